"""Off-state drain: the settling time and the charge over time, on currents whose truth is known."""

import math

import numpy as np
import pytest

from benchlog.analysis.coarse import coarse
from benchlog.analysis.drain import drain
from benchlog.analysis.settling import Settled, settle
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Accuracy
from benchlog.log.overview import OverviewBuilder

BASE_A, WAKE_A = 0.0006, 0.010


def _overview(t, amps, over=None, max_buckets=None):
    builder = OverviewBuilder(["drain_a"], max_buckets)
    builder.add(Trace(t, {"drain_a": amps}, {} if over is None else {"drain_a": over}))
    return builder.finish()


def _times(lasts_s=300.0, step_s=0.1):
    return np.arange(0, lasts_s, step_s)


def _settled(t, amps, over=None, resolution=0.0):
    return settle(coarse(_overview(t, amps, over), t[0], t[-1], 0.1), "drain_a", resolution)


def _wakes(t, first_s, every_s=60.0, lasts_s=2.0, height_a=WAKE_A):
    return np.where((t >= first_s) & ((t - first_s) % every_s < lasts_s - 1e-9), height_a, 0.0)


def _noise(t, sigma=5e-6, seed=1):
    return np.random.default_rng(seed).normal(0, sigma, len(t))


def test_step_settles_when_it_falls():
    """0.2 A for 20 s, then the base: settled at 20 s, known to a sample."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _noise(t))

    assert got.from_s == pytest.approx(20.0, abs=0.11)
    assert got.width_s == pytest.approx(0.1)
    assert got.to_s == pytest.approx(t[-1])
    assert got.lasts_s == pytest.approx(280.0, abs=0.3)
    assert got.base_a == pytest.approx(BASE_A, abs=2e-6)
    assert got.wakeups == ()


@pytest.mark.parametrize("tau_s", [2.0, 10.0, 25.0])
def test_exponential_settles_where_it_enters_its_band(tau_s):
    """0.2 A that fades: inside a tenth of the base after tau·ln(0.2 A / 0.06 mA)."""
    t = _times(600.0)

    got = _settled(t, BASE_A + 0.2 * np.exp(-t / tau_s))

    assert got.from_s == pytest.approx(tau_s * math.log(0.2 / (0.1 * BASE_A)), abs=0.15)


@pytest.mark.parametrize("resolution", [0.0, 0.001])
def test_band_is_never_narrower_than_the_channel_can_tell(resolution):
    """At no drain at all the band is 50 µA, or two steps of a coarse channel."""
    t, tau_s = _times(), 5.0
    band = max(50e-6, 2 * resolution)

    got = _settled(t, 0.2 * np.exp(-t / tau_s), resolution=resolution)

    assert got.from_s == pytest.approx(tau_s * math.log(0.2 / band), abs=0.15)


def test_noise_does_not_delay_settling():
    """A noisy channel has a wider band, five times its scatter."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _noise(t, 5e-4))

    assert got.from_s == pytest.approx(20.0, abs=0.11)
    assert got.wakeups == ()


def test_current_without_fall_is_settled_from_its_start():
    """A parked log settles with its first sample."""
    t = 50 + _times()

    got = _settled(t, BASE_A + _noise(t))

    assert got.from_s == 50.0
    assert got.width_s == pytest.approx(0.1)


def test_wakeups_delay_nothing():
    """Pulses of 2 s every minute return to the base: settled at 20 s, and each is listed."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _wakes(t, 60.0) + _noise(t))

    assert got.from_s == pytest.approx(20.0, abs=0.11)
    assert [from_s for from_s, _ in got.wakeups] == pytest.approx([60, 120, 180, 240], abs=0.11)
    assert [to_s - from_s for from_s, to_s in got.wakeups] == pytest.approx([2.0] * 4, abs=0.11)


@pytest.mark.parametrize("after_s", [0.5, 1.5])
def test_wakeup_right_after_settling_is_told_by_the_later_ones(after_s):
    """A first wake-up sooner after settling than it lasts looks like those that follow."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _wakes(t, 20 + after_s) + _noise(t))

    assert got.from_s == pytest.approx(20.0, abs=0.11)
    assert len(got.wakeups) == 5


def test_wakeup_under_way_as_it_settles_leaves_the_time_open():
    """The bike falls asleep at 20 s in the midst of a wake-up that ends at 21.5 s: the time lies between the two."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _wakes(t, 19.5) + _noise(t))

    assert got.from_s == pytest.approx(21.5, abs=0.11)
    assert got.from_s - got.width_s == pytest.approx(19.9, abs=0.11)


@pytest.mark.parametrize(("lasts_s", "height_a"), [(3.5, WAKE_A), (1.5, 0.03)])
def test_last_step_unlike_the_wakeups_is_not_open(lasts_s, height_a):
    """A last step longer or higher than the wake-ups of 2 s and 10 mA was the bike, awake: known to a sample."""
    t = _times()
    amps = np.where(t < 20, 0.2, BASE_A) + np.where((t >= 20) & (t < 20 + lasts_s), height_a, 0.0)

    got = _settled(t, amps + _wakes(t, 80.0) + _noise(t))

    assert got.from_s == pytest.approx(20 + lasts_s, abs=0.11)
    assert got.width_s == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize(("lasts_s", "height_a"), [(30.0, 0.05), (30.0, WAKE_A), (2.0, 0.05)])
def test_excursion_unlike_the_wakeups_belongs_to_settling(lasts_s, height_a):
    """Longer or higher than the wake-ups of 2 s and 10 mA, after 1.5 s of calm: settled when it ends."""
    t = _times()
    late = np.where((t >= 21.5) & (t < 21.5 + lasts_s), height_a, 0.0)

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + late + _wakes(t, 100.0) + _noise(t))

    assert got.from_s == pytest.approx(21.5 + lasts_s, abs=0.11)
    assert len(got.wakeups) == 4


def test_excursion_longer_than_the_calm_before_it_is_no_wakeup():
    """Calm for 10 s, awake for 40 s, then asleep: it settled at 70 s."""
    t = _times()

    got = _settled(t, np.where((t < 20) | ((t >= 30) & (t < 70)), 0.05, BASE_A))

    assert got.from_s == pytest.approx(70.0, abs=0.11)
    assert got.wakeups == ()


def test_wakeup_at_the_very_end_is_a_wakeup():
    """The log stops in the middle of one."""
    t = _times(301.0)

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _wakes(t, 60.0) + _noise(t))

    assert got.from_s == pytest.approx(20.0, abs=0.11)
    assert len(got.wakeups) == 5
    assert got.wakeups[-1] == pytest.approx((300.0, 300.9), abs=0.11)


def test_wakeup_over_the_last_tenth_does_not_set_the_base():
    """The lowest of the last tenth, quarter and half is the level."""
    t = _times()

    got = _settled(t, np.where(t < 20, 0.2, np.where(t >= 262, 0.01, BASE_A)))

    assert got.base_a == BASE_A
    assert got.from_s == pytest.approx(20.0, abs=0.11)


@pytest.mark.parametrize(("falls_s", "base_a", "lasts_s"), [(280.0, BASE_A, 20.0), (290.0, 0.2, 300.0)])
def test_log_that_ends_soon_after_the_fall_has_a_short_settled_stretch(falls_s, base_a, lasts_s):
    """A tail of more than half of the last tenth is what settled; a shorter one sets no base."""
    t = _times()

    got = _settled(t, np.where(t < falls_s, 0.2, BASE_A) + _noise(t))

    assert got.base_a == pytest.approx(base_a, rel=0.01)
    assert got.lasts_s == pytest.approx(lasts_s, abs=0.3)


def test_still_falling_current_leaves_a_short_stretch():
    """A fade that the log cuts off settles only near its end."""
    t = _times()

    got = _settled(t, 0.001 + 0.2 * np.exp(-t / 100.0))

    assert got.lasts_s < 60


def test_over_range_before_settling_is_far_outside():
    """A low-range shunt overflows for 20 s: that is no missing sample but a large current."""
    t = _times()
    over = t < 20

    got = _settled(t, np.where(over, np.nan, BASE_A), over)

    assert got.from_s == pytest.approx(20.0, abs=0.11)


def test_over_range_at_the_end_never_settles():
    """The current is beyond the channel to the last: no base, no length."""
    t = _times()

    got = _settled(t, np.full(len(t), np.nan), np.ones(len(t), dtype=bool))

    assert got.base_a == math.inf
    assert got.lasts_s == 0.0


def test_missing_samples_do_not_count():
    """A gap is neither calm nor an excursion; fewer than four valid points tell nothing."""
    t = _times()
    amps = np.where(t < 20, 0.2, BASE_A)
    amps[(t > 100) & (t < 130)] = np.nan

    assert _settled(t, amps).from_s == pytest.approx(20.0, abs=0.11)
    assert _settled(t, amps).wakeups == ()
    assert _settled(t, np.where(np.arange(len(t)) < 3, BASE_A, np.nan)) is None


def test_settling_keeps_under_scale_shift_and_sign():
    """Ten times the current, another clock, or a channel turned round: the same instant."""
    t = _times()
    amps = 5 * BASE_A + 0.2 * np.exp(-t / 10.0) + _wakes(t, 150.0)
    plain = _settled(t, amps)

    for other in (_settled(t, 10 * amps), _settled(t, -amps)):
        assert (other.from_s, other.wakeups) == (plain.from_s, plain.wakeups)
    assert _settled(t + 1000, amps).from_s == pytest.approx(plain.from_s + 1000, abs=0.11)


@pytest.mark.parametrize("step_s", [0.01, 0.1, 1.0])
def test_settling_does_not_hang_on_the_rate(step_s):
    """From 100 samples a second to one."""
    t = _times(step_s=step_s)

    got = _settled(t, np.where(t < 20, 0.2, BASE_A) + _wakes(t, 60.0, lasts_s=5.0) + _noise(t))

    assert got.from_s == pytest.approx(20.0, abs=0.11 + step_s)
    assert len(got.wakeups) == 4


def _stretch(from_s, to_s, wakeups=(), base_a=BASE_A):
    return Settled(from_s, to_s, 0.1, base_a, tuple(wakeups))


@pytest.mark.parametrize("seed", range(5))
def test_drain_is_the_exact_charge_on_uneven_time_stamps(seed):
    """Sample by sample: the trapezoids between the stretch's first and last sample over the time between them."""
    rng = np.random.default_rng(seed)
    t = np.cumsum(rng.uniform(0.02, 0.5, 3000))
    amps = BASE_A + _wakes(t, 30.0) + rng.normal(0, 1e-5, 3000)
    inside = np.flatnonzero((t >= 100.0) & (t <= 600.0))
    charge = sum((amps[n] + amps[n - 1]) / 2 * (t[n] - t[n - 1]) for n in inside[1:])
    lasts = t[inside[-1]] - t[inside[0]]

    got = drain(_overview(t, amps), "drain_a", _stretch(100.0, 600.0), None)

    assert got.mean_a == pytest.approx(charge / lasts, rel=1e-12)
    assert got.averaged_s == pytest.approx(lasts)
    assert got.widest_gap_s == pytest.approx(float(np.diff(t[inside]).max()))


def test_drain_from_joined_buckets_is_the_same_charge():
    """From the end of the first whole bucket to the end of the last, as numpy integrates it."""
    rng = np.random.default_rng(6)
    t = np.cumsum(rng.uniform(0.02, 0.5, 4096))
    amps = BASE_A + _wakes(t, 30.0)
    overview = _overview(t, amps, max_buckets=512)
    ends = np.searchsorted(t, overview.end_s)
    first = int(np.searchsorted(overview.start_s, 100.0))
    last = int(np.searchsorted(overview.end_s, 600.0)) - 1
    part = slice(ends[first], ends[last] + 1)

    got = drain(overview, "drain_a", _stretch(100.0, 600.0), None)

    assert got.mean_a * got.averaged_s == pytest.approx(float(np.trapezoid(amps[part], t[part])))
    assert got.averaged_s == pytest.approx(t[part][-1] - t[part][0])


def test_wakeups_count_in_full():
    """0.6 mA and 10 mA for 2 s of every 60 s: 0.6 + 10·2/60 mA over whole periods."""
    t = _times(700.0, 0.05)
    amps = BASE_A + _wakes(t, 10.0)
    settled = _settled(t, amps)

    got = drain(_overview(t, amps), "drain_a", _stretch(40.0, 640.0, settled.wakeups[1:11]), None)

    assert got.mean_a == pytest.approx(BASE_A + WAKE_A * 2 / 60, rel=2e-3)
    assert got.wakeups == 10
    assert got.base_a == BASE_A


def test_dense_rows_do_not_pull_the_mean():
    """90 s at 1 mA in four samples, 10 s at 11 mA in hundreds: 2 mA."""
    t = np.concatenate((np.arange(0, 91, 30.0), np.arange(90.01, 100.005, 0.01)))

    got = drain(_overview(t, np.where(t <= 90, 0.001, 0.011)), "drain_a", _stretch(0, 100), None)

    assert got.mean_a == pytest.approx(0.002, abs=1e-5)


def test_one_wakeup_more_or_less_is_in_the_uncertainty():
    """Its charge over the averaged time, as a rectangular half-width."""
    t = _times(300.0, 0.05)
    amps = BASE_A + _wakes(t, 10.0)
    wakeups = [(at, at + 1.95) for at in (10.0, 70.0, 130.0, 190.0, 250.0)]

    got = drain(_overview(t, amps), "drain_a", _stretch(0.0, 299.9, wakeups), None)

    assert got.type_a_u == pytest.approx(WAKE_A * 2 / 299.9 / math.sqrt(3), rel=0.02)


def test_uncertainty_covers_the_long_run_mean():
    """However a 200 s span falls on a 60 s rhythm, in at least 95 of 100 the true mean lies within k = 2."""
    t = _times(200.0)
    rng = np.random.default_rng(8)
    true = BASE_A + WAKE_A * 2 / 60
    hits = 0
    for _ in range(200):
        amps = BASE_A + _wakes(t + 600, rng.uniform(0, 60)) + rng.normal(0, 2e-5, len(t))
        overview = _overview(t, amps)
        got = drain(overview, "drain_a", settle(coarse(overview, 0, t[-1], 0.1), "drain_a", 0.0), None)
        hits += abs(got.mean_a - true) <= 2 * got.type_a_u

    assert hits >= 190


def test_uneven_wakeups_widen_the_uncertainty():
    """Pulses of two sizes say less about the next hour than equal ones of the same charge."""
    t = _times(300.0, 0.05)
    wakeups = [(at, at + 1.95) for at in (10.0, 70.0, 130.0, 190.0, 250.0)]
    height = np.interp(t, [0, 100, 101, 300], [0.2, 0.2, 1.0, 1.0])

    even = drain(_overview(t, BASE_A + _wakes(t, 10.0)), "drain_a", _stretch(0, 299.9, wakeups), None)
    uneven = drain(_overview(t, BASE_A + height * _wakes(t, 10.0)), "drain_a", _stretch(0, 299.9, wakeups), None)
    charges = np.array([0.2, 0.2, 1.0, 1.0, 1.0]) * WAKE_A * 2

    assert uneven.type_a_u == pytest.approx(
        math.hypot(charges.max() / math.sqrt(3), charges.std() * math.sqrt(5)) / 299.9, rel=0.06
    )
    assert uneven.type_a_u > even.type_a_u


def test_channel_limits_add_to_the_scatter():
    """Offset, gain and rounding of the channel combine with the type A part; unstated accuracy gives no u."""
    t = _times()
    overview = _overview(t, BASE_A + _noise(t, 1e-4))
    accuracy = Accuracy(0.01, 5e-5, 1e-5)

    got = drain(overview, "drain_a", _stretch(0, 299.9), accuracy)

    assert got.u == pytest.approx(math.hypot(got.type_a_u, accuracy.level_u(got.mean_a)))
    assert got.type_a_u == pytest.approx(1e-4 / math.sqrt(3000), rel=0.6)
    assert drain(overview, "drain_a", _stretch(0, 299.9), None).u is None


def test_drain_follows_scale_and_repetition():
    """Twice the current is twice the drain and its u; the same record twice over has the same mean."""
    t = _times()
    amps = BASE_A + _wakes(t, 30.0) + _noise(t)
    wakeups = [(at, at + 1.9) for at in (30.0, 90.0, 150.0, 210.0, 270.0)]
    plain = drain(_overview(t, amps), "drain_a", _stretch(0, 299.9, wakeups), None)

    double = drain(_overview(t, 2 * amps), "drain_a", _stretch(0, 299.9, wakeups, 2 * BASE_A), None)
    again = drain(_overview(np.append(t, t + 300), np.tile(amps, 2)), "drain_a", _stretch(0, 599.9), None)

    assert double.mean_a == pytest.approx(2 * plain.mean_a)
    assert double.type_a_u == pytest.approx(2 * plain.type_a_u)
    assert again.mean_a == pytest.approx(plain.mean_a, rel=1e-3)


def test_samples_over_range_make_the_mean_a_lower_bound():
    """What lies beyond the range counts as nothing over the whole time, and is counted."""
    t = _times()
    over = (t > 100) & (t < 110)
    amps = np.where(over, np.nan, BASE_A)

    got = drain(_overview(t, amps, over), "drain_a", _stretch(0, 299.9), None)

    valid_s = 299.9 - (over.sum() + 1) * 0.1
    assert got.mean_a == pytest.approx(BASE_A * valid_s / 299.9)
    assert got.over == over.sum()
    assert got.averaged_s == pytest.approx(299.9)


def test_empty_cells_are_spanned():
    """A current logged with every tenth sample only has its charge over all of the time."""
    t = _times()
    amps = np.where(np.arange(len(t)) % 10 == 0, BASE_A, np.nan)

    got = drain(_overview(t, amps), "drain_a", _stretch(0, 299.9), None)

    assert got.mean_a == pytest.approx(BASE_A)
    assert got.averaged_s == pytest.approx(299.0, abs=1.1)


def test_stretch_of_two_buckets_is_no_drain():
    """Two samples inside say too little, three do; a stretch without a valid pair says nothing."""
    t = _times()
    overview = _overview(t, np.full(len(t), BASE_A))

    assert drain(overview, "drain_a", _stretch(10.0, 10.15), None) is None
    assert drain(overview, "drain_a", _stretch(10.0, 10.25), None).mean_a == pytest.approx(BASE_A)
    assert drain(_overview(t, np.full(len(t), np.nan)), "drain_a", _stretch(0, 299.9), None) is None


def test_what_is_left_out_is_no_part_of_a_channel_that_is_sampled_less_often():
    """Where every tenth cell is filled, the trapezoid out of a stretch with a fuse out does not count either."""
    t = np.arange(400.0)
    out = (t >= 100) & (t <= 160)
    amps = np.where(t % 10 == 0, np.where(out, 0.0, 0.01), np.nan)
    settled = Settled(0.0, 390.0, 10.0, 0.01, ())

    found = drain(_overview(t, amps), "drain_a", settled, None, [(100.0, 160.0)])

    assert found is not None
    assert found.mean_a == pytest.approx(0.01)
    assert found.averaged_s == pytest.approx(90 + 220)
