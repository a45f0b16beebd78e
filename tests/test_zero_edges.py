"""What a zero is and is not, and the drain of a settled stretch: limits from both sides, on readings by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.drain import _uneven, drain
from benchlog.analysis.settling import Settled
from benchlog.analysis.zero import Zero, inner, pooled, read_zero, zero_stretches
from benchlog.core.trace import Band, Mark, Overview
from benchlog.core.uncertainty import Accuracy, block_mean, combine, rectangular

NAN = math.nan


@pytest.mark.parametrize(
    ("from_s", "to_s", "part"),
    [(0, 5, (0.5, 4.5)), (0, 8, (0.8, 7.2)), (0, 20, (1.0, 19.0)), (0, 500, (1.0, 121.0)), (10, 15, (10.5, 14.5))],
)
def test_inner_part_leaves_a_tenth_out_and_ends_after_two_minutes(from_s: float, to_s: float, part):
    """A second at the most, at either end."""
    assert inner(from_s, to_s) == pytest.approx(part)


def test_zeros_are_pairs_of_marks():
    """One that begins anew, one without a beginning and one without an end are named."""
    marks = [Mark(float(t), text) for t, text in enumerate(["zero end", "zero", "zero", "zero end", "zero"])]

    found, faults = zero_stretches(marks)

    assert found == [(2.0, 3.0)]
    assert [fault[:24] for fault in faults] == [
        'the mark "zero end" at 0', "the zero at 1.0 s was no", "the zero at 4.0 s was no",
    ]  # fmt: skip


def read(x, offset=0.05, resolution=0.0, step_s=0.1):
    """Of readings so far apart."""
    return read_zero(5 + np.arange(len(x)) * step_s, np.array(x, dtype=float), offset, resolution)


NOISE = np.tile([0.0, 0.001], 40)


@pytest.mark.parametrize(
    ("x", "step_s", "enough"),
    [
        *(([0.01] * 10, 0.1, True), ([0.01] * 9, 0.2, False)),
        *(([0.01] * 10, 0.08, False), ([0.01] * 10, 0.089, True)),
        *(([0.01] * 9 + [NAN], 0.2, False), ([], 0.1, False)),
    ],
)
def test_zero_lasts_0_8_s_and_holds_ten_samples(x: list[float], step_s: float, enough: bool):
    """Of its inner part; else the reason says what to mark."""
    got = read(x, step_s=step_s)

    assert isinstance(got, Zero) is enough
    if not enough:
        assert got.endswith("mark at least 2 s and 20 samples")


@pytest.mark.parametrize(
    ("drift", "offset", "resolution", "steady"),
    [
        *((0.0098, 0.05, 0.0, True), (0.0102, 0.05, 0.0, False)),
        *((0.0038, 0.0, 0.002, True), (0.0042, 0.0, 0.002, False)),
    ],
)
def test_zero_varies_by_a_fifth_of_the_offset_or_two_codes(
    drift: float, offset: float, resolution: float, steady: bool
):
    """Between the means of its eighths, where it has no noise."""
    x = np.repeat([0.0, drift], 40)

    got = read(x, offset, resolution)

    assert (got == f"the current varied by {drift * 1000:.3g} mA in it, so some flowed") is not steady


@pytest.mark.parametrize(("drift", "steady"), [(0.00185, True), (0.0021, False)])
def test_zero_varies_by_six_deviations_of_an_eighth(drift: float, steady: bool):
    """Ten readings to and fro by 1 mA: 1.05 mA of noise, 0.33 mA of a mean, six times that 1.99 mA."""
    got = read(NOISE + np.repeat([0.0, drift], 40), 0.0)

    assert str(got).startswith("the current varied") is not steady


@pytest.mark.parametrize(
    ("amps", "offset", "resolution", "zero"),
    [
        (0.074, 0.05, 0.0, True),
        (0.076, 0.05, 0.0, False),
        (-0.076, 0.05, 0.0, False),
        (0.078, 0.05, 0.004, True),
        (0.080, 0.05, 0.004, False),
        (0.24, None, 0.0, True),
        (0.26, None, 0.0, False),
    ],
)
def test_zero_reads_no_more_than_one_and_a_half_offsets(amps: float, offset, resolution: float, zero: bool):
    """And a code; 0.25 A where none is stated."""
    got = read([amps] * 20, offset, resolution)

    if zero:
        assert got == Zero(pytest.approx(amps), pytest.approx(rectangular(resolution / 2)))
    else:
        stated = "" if offset is None else ", where the logger file states ± 50 mA"
        sign = "\N{MINUS SIGN}" if amps < 0 else ""
        assert got == f"it reads {sign}{abs(amps) * 1000:.3g} mA{stated}, so a current may have flowed"


def test_zero_is_in_doubt_by_scatter_and_rounding():
    """In squares."""
    got = read(NOISE, resolution=0.002)

    assert got.offset == pytest.approx(0.0005)
    assert got.u == pytest.approx(combine(block_mean(NOISE).u, rectangular(0.001)))


def test_several_zeros_may_have_drifted_between():
    """The middle of 10, 12 and 20 mA, 5 mA to either side, and the worst one's own doubt."""
    got = pooled([Zero(0.010, 0.001), Zero(0.012, 0.002), Zero(0.020, 0.0)])

    assert got == Zero(pytest.approx(0.015), pytest.approx(combine(0.002, rectangular(0.005))))


def log(amps, over=None, gap_s=None, weight=None) -> Overview:
    """Buckets of one sample a second."""
    x = np.array(amps, dtype=float)
    n = len(x)
    t = np.arange(float(n))
    counts = np.zeros(n, dtype=np.int64) if over is None else np.array(over)
    each = np.ones(n) if weight is None else np.array(weight, dtype=float)
    band = Band(x, x, x, x * each, each, counts)
    return Overview(t, t, np.ones(n, dtype=np.int64), {"battery_a": band},
                    np.ones(n) if gap_s is None else np.array(gap_s, dtype=float), 1.0)  # fmt: skip


def drained(amps, from_s=0.0, to_s=None, wakeups=(), base_a=0.001, accuracy=None, left_out=(), memory_s=0.0, **how):
    """Over a settled stretch."""
    settled = Settled(from_s, len(amps) - 1.0 if to_s is None else to_s, 1.0, base_a, tuple(wakeups))
    return drain(log(amps, **how), "battery_a", settled, accuracy, left_out, memory_s)


def test_drain_is_charge_over_time_from_the_first_sample_on():
    """Ten samples of 1 to 10 mA: the first one only starts the clock."""
    got = drained(np.arange(1, 11) * 0.001)

    assert got.mean_a == pytest.approx(0.006)
    assert (got.averaged_s, got.over, got.wakeups, got.widest_gap_s) == (9.0, 0, 0, 1.0)
    assert got.u is None
    assert got.type_a_u == pytest.approx(block_mean(np.arange(2, 11) * 0.001, np.ones(9)).u)


@pytest.mark.parametrize(("from_s", "to_s", "known"), [(2.0, 4.0, True), (2.0, 3.9, False), (2.1, 4.0, False)])
def test_drain_needs_three_buckets(from_s: float, to_s: float, known: bool):
    """Wholly inside, of which two have time."""
    got = drained([0.001] * 10, from_s, to_s)

    assert (got is not None) is known
    if known:
        assert got.averaged_s == 2.0


def test_drain_without_any_time_is_none():
    """Nothing was read, or all of it is left out."""
    assert drained([0.001] * 10, weight=[0] * 10) is None
    assert drained([0.001] * 10, left_out=[(0.0, 9.0)]) is None


def test_what_is_left_out_and_what_leads_out_of_it_do_not_count():
    """Seconds 4 and 5, and the one that leads from 5 to 6."""
    got = drained([0.001] * 4 + [9.0] * 2 + [5.0] + [0.001] * 3, left_out=[(4.0, 5.0)])

    assert got.mean_a == pytest.approx(0.001)
    assert got.averaged_s == 6.0


def test_channel_adds_its_doubt():
    """Offset, gain and rounding of the mean."""
    accuracy = Accuracy(0.01, 0.002, 0.001)

    assert drained([0.01] * 10, accuracy=accuracy).u == pytest.approx(accuracy.level_u(0.01))


def test_samples_over_range_make_the_mean_a_lower_bound():
    """Two of nine seconds were not read: they count as nothing."""
    got = drained([0.009] * 10, over=[0] * 4 + [1, 1] + [0] * 4, weight=[1] * 4 + [0, 0] + [1] * 4)

    assert (got.over, got.averaged_s) == (2, 9.0)
    assert got.mean_a == pytest.approx(0.007)


def test_one_wakeup_more_or_less_is_in_doubt():
    """101 mA for 2 s of 99, above a base of 1 mA: 0.2 As. It is no calm, and no visit below 0.25 A."""
    x = np.full(100, 0.001)
    x[50:52] = 0.101

    got = drained(x, wakeups=[(50.0, 51.0)])

    assert got.mean_a == pytest.approx((97 * 0.001 + 2 * 0.101) / 99)
    assert got.type_a_u == pytest.approx(rectangular(0.2 / 99))
    assert (got.wakeups, got.visits) == (1, ())


@pytest.mark.parametrize(("amps", "over", "visit"), [(0.26, 0, True), (0.24, 0, False), (0.26, 1, False)])
def test_wakeup_above_a_quarter_ampere_is_a_visit(amps: float, over: int, visit: bool):
    """Where the channel could read it."""
    x = np.full(100, 0.001)
    x[50:52] = amps
    flags = np.zeros(100, dtype=int)
    flags[50] = over

    got = drained(x, wakeups=[(50.0, 51.0)], over=flags)

    assert got.visits == (((50.0, 51.0),) if visit else ())


@pytest.mark.parametrize(
    ("base_a", "wake_a", "hidden_a"), [(0.001, None, 1e-4), (0.0001, None, 5e-5), (0.001, 0.101, 0.1)]
)
def test_gap_may_hide_a_wakeup(base_a: float, wake_a: float | None, hidden_a: float):
    """120 s of 218: as high as the highest wake-up, a tenth of the base or 50 µA."""
    x = np.full(100, base_a)
    gaps, weight = np.ones(100), np.ones(100)
    gaps[70], weight[70] = 120.0, 120.0
    if wake_a:
        x[50:52] = wake_a

    got = drained(x, base_a=base_a, wakeups=[(50.0, 51.0)] if wake_a else (), gap_s=gaps, weight=weight)

    once = rectangular(0.2 / 218) if wake_a else 0.0
    assert got.widest_gap_s == 120.0
    assert got.type_a_u == pytest.approx(combine(once, rectangular(hidden_a * 120 / 218)), abs=1e-9)


def test_scatter_remembers_what_the_noise_does():
    """The log's memory in buckets of a second."""
    x = np.random.default_rng(3).normal(0.01, 0.001, 60)

    got = drained(x, memory_s=5.0)

    assert got.type_a_u == pytest.approx(block_mean(x[1:], np.ones(59), memory=5.0).u)


@pytest.mark.parametrize(
    ("charges", "lasts_s", "u"),
    [
        ([], 1.0, 0.0),
        ([2.0], 1.0, 0.0),
        ([2.0], 0.4, 2.0),
        ([2.0, 4.0], 1.0, math.sqrt(2) * math.sqrt(2)),
        ([2.0, 4.0], 0.4, math.sqrt(2) * 3.0),
        ([-3.0, -3.0], 0.4, math.sqrt(2) * 3.0),
    ],
)
def test_charges_of_wakeups_scatter_or_are_left_to_chance(charges: list[float], lasts_s: float, u: float):
    """Their scatter times the root of their number; those that fill half a sample may be more or fewer."""
    assert _uneven(charges, [(9.0, 9.0 + lasts_s)] * len(charges), 1.0) == pytest.approx(u)


def test_half_of_the_wakeups_in_one_sample_are_not_most():
    """More than half."""
    stretches = [(0.0, 0.1), (5.0, 9.0)]

    assert _uneven([3.0, 3.0], stretches, 1.0) == 0.0
    assert _uneven([3.0, 3.0, 3.0], [*stretches, (20.0, 20.1)], 1.0) == pytest.approx(math.sqrt(3) * 3.0)
