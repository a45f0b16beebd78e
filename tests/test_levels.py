"""State levels and crossing instants: closed forms of IEEE 181-2011, a second algorithm, invariances."""

import math

import numpy as np
import pytest

from benchlog.analysis.levels import Levels, crossings, first_reach, state_levels

UNIT = Levels(0.0, 1.0)
TAU_S = 0.010


def _two_levels(rng, low=0.2, high=12.6, rows=4000, noise=0.02):
    """A line that is up for 30 % of the time."""
    return np.where(np.arange(rows) % 1000 < 300, high, low) + rng.normal(0, noise, rows)


def _walked(time_s, x, level, upper, lower):
    """Crossing instants and directions by one walk over the samples, sample after sample."""
    state, last, found = None, {}, []
    for n in range(len(x)):
        if n and (x[n - 1] < level) != (x[n] < level):
            to = "high" if x[n] >= level else "low"
            share = (level - x[n - 1]) / (x[n] - x[n - 1])
            last[to] = time_s[n - 1] + share * (time_s[n] - time_s[n - 1])
        now = "high" if x[n] >= upper else "low" if x[n] <= lower else state
        if state and now != state:
            found.append((last[now], now))
        state = now
    return found


def test_state_levels_are_the_modes_of_each_half():
    """Two levels under noise are found within the noise (IEEE 181-2011, 5.2.1: histogram, split at mid-range)."""
    got = state_levels(_two_levels(np.random.default_rng(1)))

    assert got.low == pytest.approx(0.2, abs=0.03)
    assert got.high == pytest.approx(12.6, abs=0.03)
    assert got.amplitude == got.high - got.low


def test_state_levels_are_blind_to_ringing_and_slow_tails():
    """A fifth of the samples on overshoot and tail move a mean by volts, the modes by nothing."""
    line = np.where(np.arange(1000) < 500, 12.0, 0.0)
    line[:50] += np.linspace(3.0, 0.1, 50)
    line[500:650] = 12 * np.exp(-np.arange(150) / 40)

    got = state_levels(line)

    assert got.high == pytest.approx(12.0, abs=0.05)
    assert got.low == pytest.approx(0.0, abs=0.1)
    assert abs(line[500:].mean() - 0.0) > 0.5


def test_halves_are_split_at_mid_range():
    """A crowded level at 5 V of a signal from 0 to 12 V belongs to the low half and is its mode."""
    got = state_levels(np.repeat([0.0, 5.0, 12.0], [10, 100, 60]))

    assert got == Levels(5.0, 12.0)


def test_rare_state_of_a_long_log_is_not_lost():
    """Fifty samples up among 300 000 down: both levels, as without the long wait."""
    rng = np.random.default_rng(4)
    line = rng.normal(0.2, 0.02, 300_000)
    line[100_000:100_050] = rng.normal(12.6, 0.02, 50)

    got = state_levels(line)

    assert (got.low, got.high) == pytest.approx((0.2, 12.6), abs=0.05)


def test_state_levels_follow_scale_shift_order_and_repetition():
    """Levels belong to the set of values: unit, zero, order and repeated samples do not matter."""
    rng = np.random.default_rng(2)
    line = _two_levels(rng)
    plain = state_levels(line)

    scaled = state_levels(1000 * line + 500)
    shuffled = state_levels(rng.permutation(line))
    repeated = state_levels(np.tile(line, 3))

    assert scaled.low == pytest.approx(1000 * plain.low + 500, abs=20)
    assert scaled.high == pytest.approx(1000 * plain.high + 500, abs=20)
    assert shuffled == plain
    assert repeated == plain


def test_state_levels_leave_missing_samples_out():
    """NaN does not take part."""
    line = _two_levels(np.random.default_rng(3))
    gappy = np.insert(line, [0, 700, len(line)], np.nan)

    assert state_levels(gappy) == state_levels(line)


@pytest.mark.parametrize("samples", [[], [12.0], [12.0, np.nan], [12.0, 12.0, 12.0], [np.nan, np.nan]])
def test_signal_without_range_has_no_levels(samples):
    """One value, or the same value always, has no two states."""
    assert state_levels(np.array(samples)) is None


def test_thin_histogram_takes_bins_ten_times_as_wide():
    """Where the fullest of 200 bins holds under 1 % of a half, the fullest of 20 wide bins is the mode."""
    centres = (np.arange(200) + 0.5) / 400
    counts = np.full(200, 50)
    counts[40:50] = 58  # the fullest wide bin
    counts[150] = 70  # the fullest narrow bin, 0.7 % of the half
    low_half = np.repeat(centres, counts)

    got = state_levels(np.concatenate((low_half, [0.0], np.full(1000, 1.0))))

    assert got.low == pytest.approx(45 / 400, abs=5 / 400)
    assert got.high == 1.0


def test_rc_rise_takes_ln_9_from_10_to_90_pct_and_ln_2_to_half():
    """One RC: 10-90 % duration 2.19722 tau, 50 % instant 0.69315 tau (IEEE 181-2011 reference levels)."""
    t = np.arange(-0.001, 0.2, 2e-5)
    x = np.where(t > 0, 1 - np.exp(-t / TAU_S), 0.0)

    at = {level: crossings(t, x, UNIT, level, band=0.05)[0].time_s for level in (0.1, 0.5, 0.9)}

    assert (at[0.9] - at[0.1]) / TAU_S == pytest.approx(2.19722, abs=2e-5)
    assert at[0.5] / TAU_S == pytest.approx(0.69315, abs=2e-5)


def test_rc_fall_reaches_90_pct_after_a_tenth_of_tau():
    """A falling RC passes 90 % after 0.10536 tau and 50 % after 0.69315 tau."""
    t = np.arange(-0.001, 0.2, 2e-5)
    x = np.where(t > 0, np.exp(-t / TAU_S), 1.0)

    assert first_reach(t, x, 0.9, "low").time_s / TAU_S == pytest.approx(math.log(1 / 0.9), abs=2e-4)
    assert crossings(t, x, UNIT)[0].time_s / TAU_S == pytest.approx(0.69315, abs=2e-5)
    assert crossings(t, x, UNIT)[0].to == "low"


@pytest.mark.parametrize("seed", range(5))
def test_ramp_is_crossed_where_the_line_says_whatever_the_samples(seed):
    """Interpolation is exact on a ramp at any sample times; its 10-90 % duration is 0.8 of the ramp."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 3, 25))
    t = np.concatenate(([0.0], t[(t < 0.9) | (t > 1.1)], [1.05, 1.95, 3.0]))
    t.sort()
    x = np.clip(t - 1, 0, 1)  # rises from 1 s to 2 s
    inner = (t > 1) & (t < 2)
    levels = {share: x[inner].min() + share * (x[inner].max() - x[inner].min()) for share in (0.1, 0.5, 0.9)}

    got = {share: first_reach(t, x, level, "high").time_s for share, level in levels.items()}

    assert got == pytest.approx({share: 1 + level for share, level in levels.items()})
    assert got[0.9] - got[0.1] == pytest.approx(0.8 * (t[inner].max() - t[inner].min()))


def test_crossing_tells_the_samples_around_it():
    """Instant, both neighbours' times, their distance and the index of the later one."""
    t, x = np.array([0.0, 1.0, 1.5, 4.0]), np.array([0.0, 0.0, 10.0, 10.0])

    (got,) = crossings(t, x, Levels(0.0, 10.0))

    assert (got.time_s, got.before_s, got.after_s, got.index, got.to) == (1.25, 1.0, 1.5, 2, "high")
    assert got.width_s == 0.5


def test_crossing_skips_missing_samples_but_counts_them_in_its_index():
    """Across a gap the step between the valid samples is the width."""
    t, x = np.arange(6.0), np.array([np.nan, 0.0, np.nan, np.nan, 10.0, 10.0])

    (got,) = crossings(t, x, Levels(0.0, 10.0))
    reached = first_reach(t, x, 5.0, "high")

    assert (got.before_s, got.after_s, got.index, got.time_s) == (1.0, 4.0, 4, 2.5)
    assert reached == got


@pytest.mark.parametrize("seed", range(8))
def test_crossings_equal_a_walk_sample_by_sample(seed):
    """A random walk through the band, walked in a plain loop, turns at the same instants."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.5, 1.5, 3000))
    x = np.cumsum(rng.normal(0, 0.08, 3000))
    x = np.abs((x % 2) - 1)  # folded into 0 to 1
    levels = Levels(0.0, 1.0)

    got = crossings(t, x, levels, 0.5, 0.1)
    expected = _walked(t, x, 0.5, 0.6, 0.4)

    assert len(got) > 20
    assert [c.time_s for c in got] == pytest.approx([time for time, _ in expected])
    assert [c.to for c in got] == [to for _, to in expected]


def test_noise_on_a_slow_edge_makes_one_crossing():
    """The level itself is passed dozens of times, the band once."""
    rng = np.random.default_rng(9)
    t = np.arange(0, 1, 1e-3)
    x = np.clip(t, 0, 1) + rng.normal(0, 0.02, len(t))

    got = crossings(t, x, UNIT)

    assert np.count_nonzero(np.diff(x > 0.5)) > 5
    assert len(got) == 1
    assert got[0].time_s == pytest.approx(0.5, abs=0.06)


def test_half_a_transition_is_none():
    """A dip that turns back inside the band is no passage."""
    t = np.arange(7.0)

    assert crossings(t, np.array([1, 1, 0.45, 0.45, 1, 1, 1]), UNIT) == []
    assert len(crossings(t, np.array([1, 1, 0.39, 0.45, 1, 1, 1]), UNIT)) == 2
    assert crossings(t, np.full(7, 0.5), UNIT) == []


def test_crossings_follow_mirror_scale_and_shift():
    """Upside down the directions swap; unit and clock shift change nothing else."""
    rng = np.random.default_rng(10)
    t = np.arange(2000) * 1e-3
    x = np.sin(2 * np.pi * 3 * t) + rng.normal(0, 0.05, 2000)
    plain = crossings(t, x, Levels(-1, 1))

    mirrored = crossings(t, -x, Levels(-1, 1))
    moved = crossings(t + 100, 5 * x + 7, Levels(2, 12))

    assert [c.time_s for c in mirrored] == pytest.approx([c.time_s for c in plain])
    assert [c.to for c in mirrored] == ["low" if c.to == "high" else "high" for c in plain]
    assert [c.time_s - 100 for c in moved] == pytest.approx([c.time_s for c in plain])
    assert [c.index for c in moved] == [c.index for c in plain]


def test_first_reach_takes_the_first_not_the_last():
    """A contact that bounces has closed when it first touches."""
    t, x = np.arange(8.0), np.array([0, 0, 12, 0, 12, 12, 12, 12.0])

    assert first_reach(t, x, 6.0, "high").time_s == 1.5
    assert first_reach(t, 12 - x, 6.0, "low").time_s == 1.5


@pytest.mark.parametrize(
    ("samples", "to"),
    [([0, 1, 2, 3], "high"), ([9, 8, 7, 6], "high"), ([9, 8, 7, 6], "low"), ([1, 9, 1, 9], "low"), ([9.0], "high")],
)
def test_first_reach_needs_a_start_on_the_near_side(samples, to):
    """Never reached, or beyond from the first sample on: no instant."""
    assert first_reach(np.arange(len(samples)), np.array(samples, dtype=float), 5.0, to) is None


def test_level_itself_counts_as_up():
    """A sample on the level has reached it going up, and has not fallen below it."""
    t = np.arange(3.0)

    assert first_reach(t, np.array([0, 5, 5.0]), 5.0, "high").time_s == 1.0
    assert first_reach(t, np.array([9, 5, 5.0]), 5.0, "low") is None
