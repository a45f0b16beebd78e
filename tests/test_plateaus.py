"""Stretches of steady load, on made-up load steps."""

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.plateaus import find_plateaus
from benchlog.core.trace import Trace
from benchlog.log.overview import OverviewBuilder

ROLES = ("battery_a", "battery_v", "ground_v")
EMF_V, SOURCE_OHM = 12.8, 0.02


def _steps(levels, lasts_s=5.0, step_s=0.05, noise_a=0.01, seed=1):
    """Time and a current that holds each level for ``lasts_s``."""
    t = np.arange(round(len(levels) * lasts_s / step_s)) * step_s
    amps = np.repeat(np.asarray(levels, dtype=float), round(lasts_s / step_s))
    return t, amps + np.random.default_rng(seed).normal(0, noise_a, len(t))


def _found(t, amps, volts=None, resolution=0.0, roles=ROLES, over=None):
    values = {"battery_a": amps} | ({} if volts is None else {"battery_v": volts})
    builder = OverviewBuilder(values)
    builder.add(Trace(t, values, over or {}))
    return find_plateaus(coarse(builder.finish(), t[0], t[-1], 0.05), "battery_a", resolution, roles)


def _amps(plateaus):
    return [plateau.readings["battery_a"].value for plateau in plateaus]


def _best_cuts(x, pieces):
    """The cuts into so many pieces that leave the least squared residue, by dynamic programming over all of them."""
    n = len(x)
    s, q = np.concatenate(([0], np.cumsum(x))), np.concatenate(([0], np.cumsum(x * x)))

    def residue(a, b):
        return q[b] - q[a] - (s[b] - s[a]) ** 2 / (b - a)

    best = [{b: (residue(0, b), ()) for b in range(1, n + 1)}]
    for _ in range(pieces - 1):
        best.append(
            {
                b: min((best[-1][a][0] + residue(a, b), (*best[-1][a][1], a)) for a in best[-1] if a < b)
                for b in range(len(best) + 1, n + 1)
            }
        )
    return best[-1][n][1]


def test_each_level_is_a_plateau_with_its_voltage():
    """Loads of 1, 4.5, 2 and 9 A: their currents, the voltages under them and their times."""
    levels = [1.0, 4.5, 2.0, 9.0]
    t, amps = _steps(levels)

    got = _found(t, amps, EMF_V - SOURCE_OHM * amps)

    assert _amps(got) == pytest.approx(levels, abs=0.01)
    assert [p.readings["battery_v"].value for p in got] == pytest.approx([12.8 - 0.02 * a for a in levels], abs=1e-3)
    assert [p.from_s for p in got] == pytest.approx([0, 5, 10, 15])
    assert [p.to_s for p in got] == pytest.approx([4.95, 9.95, 14.95, 19.95])
    assert all("ground_v" not in p.readings for p in got)


@pytest.mark.parametrize("seed", range(4))
def test_cuts_are_those_that_explain_most(seed):
    """Random levels under noise: the cuts equal the best of all partitions into as many pieces."""
    rng = np.random.default_rng(seed)
    lengths = rng.integers(12, 25, 4)
    levels = np.cumsum(rng.choice([-2.5, 1.5, 2.0, 3.0], 4)) + 20
    amps = np.repeat(levels, lengths) + rng.normal(0, 0.25, lengths.sum())
    t = np.arange(len(amps)) * 0.05

    got = _found(t, amps)

    assert [round(p.from_s / 0.05) for p in got[1:]] == list(_best_cuts(amps, 4))


def test_sustained_value_leaves_the_inrush_out():
    """A lamp that takes 10 A and settles to 4 A within 1 s: 4 A, read from the later part."""
    t, amps = _steps([0.5, 4.5], lasts_s=6.0)
    amps = amps + np.where(t >= 6, 6.0 * np.exp(-(t - 6) / 0.15), 0.0)

    got = _found(t, amps)

    assert _amps(got)[0] == pytest.approx(0.5, abs=0.01)
    assert _amps(got)[-1] == pytest.approx(4.5, abs=0.02)
    assert got[-1].sustained_from_s >= 7.0


@pytest.mark.parametrize(("lasts_s", "inrush_s"), [(2.0, 1.0), (10.0, 2.0)])
def test_inrush_takes_half_the_stretch_but_at_most_2_s(lasts_s, inrush_s):
    """Short stretches keep their second half, long ones all but 2 s."""
    t, amps = _steps([1.0, 5.0], lasts_s=lasts_s)

    got = _found(t, amps)

    assert [p.sustained_from_s - p.from_s for p in got] == pytest.approx([inrush_s] * 2, abs=0.03)


def test_spike_is_no_plateau_and_does_not_move_one():
    """30 A for 0.2 s between two levels is on the way, not a load."""
    t, amps = _steps([1.0, 5.0])
    amps[(t > 4.99) & (t < 5.19)] = 30.0

    assert _amps(_found(t, amps)) == pytest.approx([1.0, 5.0], abs=0.01)


@pytest.mark.parametrize(
    ("step_a", "noise_a", "resolution", "count"),
    [
        (0.5, 0.01, 0.0, 2),
        *((0.15, 0.005, 0.0, 2), (0.10, 0.005, 0.0, 1)),
        (0.5, 0.2, 0.0, 1),
        *((0.2, 0.005, 0.1, 1), (0.3, 0.005, 0.1, 2)),
    ],
)
def test_step_must_stand_out(step_a, noise_a, resolution, count):
    """At least 0.12 A, four times the noise and two and a half steps of a coarse channel."""
    t, amps = _steps([2.0, 2.0 + step_a], noise_a=noise_a)

    assert len(_found(t, amps, resolution=resolution)) == count


def test_steady_load_is_one_plateau():
    """Noise and rounding make no steps."""
    t, amps = _steps([3.0, 3.0, 3.0, 3.0], noise_a=0.05)

    (got,) = _found(t, np.round(amps / 0.1) * 0.1, resolution=0.1)

    assert got.readings["battery_a"].value == pytest.approx(3.0, abs=0.05)
    assert (got.from_s, got.to_s) == pytest.approx((0.0, 19.95))


def test_channel_over_range_has_no_reading_there():
    """The voltage is over range for a moment on the second plateau: only there it is absent; the current stays."""
    t, amps = _steps([1.0, 5.0, 2.0])
    over = np.arange(len(t)) == 180
    volts = np.where(over, np.nan, EMF_V - SOURCE_OHM * amps)

    got = _found(t, amps, volts, over={"battery_v": over})

    assert ["battery_v" in p.readings for p in got] == [True, False, True]
    assert _amps(got) == pytest.approx([1.0, 5.0, 2.0], abs=0.01)


def test_single_wild_sample_does_not_move_a_reading():
    """The median leaves it out."""
    t, amps = _steps([1.0, 5.0], noise_a=0.001)
    volts = EMF_V - SOURCE_OHM * amps
    volts[180] += 3.0

    assert _found(t, amps, volts)[1].readings["battery_v"].value == pytest.approx(12.7, abs=1e-3)


def test_spike_within_a_level_leaves_one_plateau():
    """What lies before and after a pulse of 0.2 s is the same load: from its begin to its end."""
    t, amps = _steps([1.0, 5.0])
    amps[(t > 7.49) & (t < 7.69)] = 30.0

    got = _found(t, amps)

    assert _amps(got) == pytest.approx([1.0, 5.0], abs=0.01)
    assert (got[1].from_s, got[1].to_s) == pytest.approx((5.0, 9.95))


def test_slower_channel_is_read_from_the_samples_it_has():
    """A voltage logged with every fourth sample reads the same as one that is always there."""
    t, amps = _steps([1.0, 5.0, 2.0])
    volts = EMF_V - SOURCE_OHM * amps
    sparse = np.where(np.arange(len(t)) % 4 == 0, volts, np.nan)

    whole, some = (
        [plateau.readings["battery_v"].value for plateau in _found(t, amps, each)] for each in (volts, sparse)
    )

    assert some == pytest.approx(whole, abs=2e-4)


def test_gap_in_the_current_within_a_level_is_bridged():
    """The level on both sides of a gap is one plateau."""
    t, amps = _steps([1.0, 5.0, 2.0])
    amps[(t > 8) & (t < 9)] = np.nan

    assert _amps(_found(t, amps)) == pytest.approx([1.0, 5.0, 2.0], abs=0.01)


def test_overloaded_current_makes_no_plateau():
    """Where the dividing channel itself is over range nothing is read."""
    t, amps = _steps([1.0, 5.0, 2.0])
    over = (t >= 5) & (t < 10)

    got = _found(t, np.where(over, np.nan, amps), over={"battery_a": over})

    assert _amps(got) == pytest.approx([1.0, 2.0], abs=0.01)


def test_too_little_to_divide():
    """Three points, or none valid."""
    t = np.arange(3) * 0.05

    assert _found(t, np.ones(3)) == []
    assert _found(np.arange(50) * 0.05, np.full(50, np.nan)) == []


def test_plateaus_follow_scale_shift_and_clock():
    """Other zero, other clock, ten times the current: the same stretches."""
    t, amps = _steps([1.0, 4.5, 2.0])
    plain = _found(t, amps)

    moved = _found(t + 100, amps - 50)
    larger = _found(t, 10 * amps)

    assert [p.from_s - 100 for p in moved] == pytest.approx([p.from_s for p in plain])
    assert _amps(moved) == pytest.approx([a - 50 for a in _amps(plain)])
    assert [p.from_s for p in larger] == [p.from_s for p in plain]
    assert [p.readings["battery_a"].u for p in larger] == pytest.approx([10 * p.readings["battery_a"].u for p in plain])


@pytest.mark.parametrize("step_s", [0.001, 0.01, 0.1, 0.5])
def test_plateaus_do_not_hang_on_the_rate(step_s):
    """A thousand samples a second or two."""
    t, amps = _steps([1.0, 4.5, 2.0], step_s=step_s)

    assert _amps(_found(t, amps)) == pytest.approx([1.0, 4.5, 2.0], abs=0.02)


def test_uncertainty_covers_noise():
    """In at least 90 of 100 steady stretches the level lies within k = 2; u is at most three times too wide."""
    readings = [_found(*_steps([3.0], noise_a=0.05, seed=seed))[0].readings["battery_a"] for seed in range(300)]

    hits = np.mean([abs(r.value - 3.0) <= 2 * r.u for r in readings])

    assert hits >= 0.9
    assert np.mean([r.u for r in readings]) < 3 * np.std([r.value for r in readings])


def test_uncertainty_covers_drift():
    """A level that still falls by 0.1 A over the reading is known no better than that."""
    t, amps = _steps([3.0], lasts_s=10.0, noise_a=0.001)
    drift = np.interp(t, [2.0, 10.0], [0.1, 0.0])

    steady, drifting = (_found(t, x)[0].readings["battery_a"].u for x in (amps, amps + drift))

    assert steady < 0.001
    assert drifting == pytest.approx(0.05 / np.sqrt(3), rel=0.1)


def test_few_points_are_known_by_their_range():
    """Two or three samples of a slow log: a rectangular width, not a scatter."""
    t, amps = np.arange(8) * 1.0, np.array([1.0, 1.0, 1.0, 1.0, 5.0, 5.0, 5.0, 5.06])

    got = _found(t, amps)

    assert got[1].readings["battery_a"].u == pytest.approx(0.06 / np.sqrt(12 * 2))
