"""Pulses followed edge by edge: each share from both sides, on edges written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.pulsed import (
    Pulsing,
    _clear,
    _Edge,
    _like,
    _longest_chain,
    _pulsing,
    _regular,
    _rush,
    find_pulsing,
)
from benchlog.analysis.unpulsed import _change, without_pulses

NAN = math.nan
T = np.arange(1200) * 0.01


def at(*times: float, amps: float = -2.0) -> list[_Edge]:
    """Edges of one size."""
    return [_Edge(round(100 * t), t, amps) for t in times]


def pulsing_of(falls, rises, sample_s: float = 0.01, x=None) -> Pulsing | None:
    """On a current without a rush unless another is given."""
    return _pulsing(falls, rises, T, np.zeros(len(T)) if x is None else x, sample_s)


FALLS, RISES = at(0.4, 1.4, 2.4, 3.4, 4.4), at(0.0, 1.0, 2.0, 3.0, 4.0, amps=2.0)


@pytest.mark.parametrize(
    ("a", "b", "like"), [(1.0, 1.24, True), (1.0, 1.26, False), (-2.0, -2.4, True), (2.0, -2.0, False)]
)
def test_two_sizes_are_alike_within_a_share_of_the_greater(a: float, b: float, like: bool):
    """A fifth of 1.25 is 0.25."""
    assert _like(a, b, 0.2) is like


@pytest.mark.parametrize(
    ("times", "regular"), [((0, 1, 2, 9), True), ((0, 1, 2.05), True), ((0, 1, 2.08), False), ((0, 1), False)]
)
def test_four_pulses_are_regular_and_three_if_alike_to_six_per_cent(times: tuple[float, ...], regular: bool):
    """Gaps of 1.00 and 1.05, not of 1.00 and 1.08."""
    assert _regular(at(*times)) is regular


@pytest.mark.parametrize(
    ("falls", "members"),
    [
        (at(0, 1, 2, 3, 4), 5),
        (at(0, 1, 3, 4), 4),
        (at(0, 1, 2, 5), 3),
        (at(0, 3.9, 7.8), 3),
        (at(0, 4.1, 8.2), 0),
        (at(0, 0.45, 0.9, 1.35), 0),
        (at(0, 0.55, 1.1, 1.65), 4),
        ([*at(0, 1), *at(2, amps=-3.0), *at(3, 4)], 4),
        ([*at(0, 1), *at(2, amps=-2.5), *at(3)], 4),
        (at(0, 1, 2.2, 3.2), 4),
        (at(0, 1, 2.3, 3.3), 0),
        (at(0, 0.3, 1, 1.3, 2, 2.3, 3), 4),
        ([], 0),
    ],
)
def test_chain_is_the_most_edges_of_like_size_at_like_distances(falls: list[_Edge], members: int):
    """0.5 to 4 s a pulse, a fifth off in length and a quarter in size; one in a row may be lost, two not."""
    assert len(_longest_chain(falls, 0.5)) == members


def test_pulses_have_their_mean_and_its_doubt():
    """2 A for 0.4 of each second: 0.8 A, known to an edge between two of a hundred samples in each of five pulses."""
    found = pulsing_of(FALLS, RISES)

    assert found.rises_s == (0.0, 1.0, 2.0, 3.0, 4.0)
    assert found.falls_s == (0.4, 1.4, 2.4, 3.4, 4.4)
    assert (found.from_s, found.to_s, found.period_s) == pytest.approx((0.0, 5.0, 1.0))
    assert (found.duty, found.amps, found.mean_a) == pytest.approx((0.4, 2.0, 0.8))
    assert found.u_a == pytest.approx(2 / 100 / math.sqrt(6) / math.sqrt(5))
    assert found.samples == pytest.approx(100)
    assert found.rms_a == pytest.approx(math.sqrt(1.6))
    assert not found.doubtful


@pytest.mark.parametrize(
    ("sample_s", "averaged", "doubtful"), [(0.026, True, False), (0.024, False, False), (0.17, True, True)]
)
def test_few_samples_a_pulse_do_not_average_their_edges(sample_s: float, averaged: bool, doubtful: bool):
    """Below forty the doubt of one edge stays; below six the pulses may be faster ones."""
    found = pulsing_of(FALLS, RISES, sample_s)

    assert found.u_a == pytest.approx(2 * sample_s / math.sqrt(6) / (1 if averaged else math.sqrt(5)))
    assert found.doubtful is doubtful


def test_scatter_of_the_falls_is_in_doubt_by_the_duty():
    """Falls of 1.8 and 2.2 A in turn: 0.2 A over the root of five."""
    falls = [_Edge(e.at, e.time_s, -2.0 + 0.2 * (-1) ** n) for n, e in enumerate(FALLS)]

    spread = float(np.std([-e.amps for e in falls])) / math.sqrt(5) * 0.4
    amps = pulsing_of(falls, RISES).amps
    assert pulsing_of(falls, RISES).u_a == pytest.approx(math.hypot(amps / 100 / math.sqrt(6) / math.sqrt(5), spread))


@pytest.mark.parametrize(
    ("falls", "rises", "found"),
    [
        (FALLS[:3], RISES, True),
        (FALLS[:2], RISES, False),
        (FALLS, RISES[:4], True),
        (FALLS, RISES[:3], False),
        (FALLS, at(0, 1, 2, 3, 4, amps=1.3), True),
        (FALLS, at(0, 1, 2, 3, 4, amps=1.1), False),
        (FALLS, at(0.375, 1.375, 2.375, 3.375, 4.375, amps=2.0), True),
        (FALLS, at(0.385, 1.385, 2.385, 3.385, 4.385, amps=2.0), False),
        (FALLS, at(-0.575, 0.425, 1.425, 2.425, 3.425, amps=2.0), True),
        (FALLS, at(-0.585, 0.415, 1.415, 2.415, 3.415, amps=2.0), False),
        (FALLS, at(-0.7, amps=2.0), False),
    ],
)
def test_pulse_is_a_rise_and_a_fall(falls: list[_Edge], rises: list[_Edge], found: bool):
    """Three of them, seven of ten falls with a rise of six tenths of their size; on for 2 to 98 % of the time."""
    assert (pulsing_of(falls, rises) is not None) is found


def test_of_several_rises_the_one_most_like_in_size_begins_a_pulse():
    """A rise of 3 A between each pulse's own of 2.1 A and its fall; rushes count up to half more than the fall."""
    mixed = [*at(0, 1, 2, 3, 4, amps=2.1), *at(0.2, 1.2, 2.2, 3.2, 4.2, amps=3.0)]

    assert pulsing_of(FALLS, mixed).rises_s == (0.0, 1.0, 2.0, 3.0, 4.0)
    assert pulsing_of(FALLS, at(0, 1, 2, 3, 4, amps=9.0)).amps == pytest.approx((3.0 + 2.0) / 2)


@pytest.mark.parametrize(
    ("last_s", "amps", "to_s"), [(5.0, 2.0, 5.0), (5.2, 2.0, 5.2), (5.35, 2.0, 5.0), (5.2, 3.0, 5.0)]
)
def test_last_pulse_ends_with_the_next_rise(last_s: float, amps: float, to_s: float):
    """Of like size, within one and a half pauses."""
    assert pulsing_of(FALLS, [*RISES, *at(last_s, amps=amps)]).to_s == pytest.approx(to_s)


@pytest.mark.parametrize(
    ("amps", "times", "clear"),
    [
        *((1.0, 6, True), (1.0, 7, False)),
        *((0.9, 7, False), (0.7, 7, True)),
        *((-2.9, 7, False), (3.1, 7, True)),
    ],
)
def test_pulses_stand_out_among_other_changes_of_like_size(amps: float, times: int, clear: bool):
    """Six tenths as many edges of 0.4 to 1.5 times their 2 A may lie between them; before and behind any number."""
    found = pulsing_of(FALLS, RISES)
    foreign = at(*(0.05 + 0.6 * n for n in range(times)), amps=amps)
    outside = at(*(-1.0 - n for n in range(9)), *(5.5 + n for n in range(9)), amps=2.0)

    assert _clear(found, [*RISES, *foreign], FALLS) is clear
    assert _clear(found, RISES, [*FALLS, *foreign]) is clear
    assert _clear(found, [*RISES, *outside], FALLS)


def rushing(over_a: float, rows: int = 3) -> np.ndarray:
    """2 A in each pulse, and so much more in its first rows."""
    x = np.zeros(len(T))
    for rise in range(5):
        x[100 * rise : 100 * rise + 40] = 2.0
        x[100 * rise : 100 * rise + rows] += over_a
    return x


@pytest.mark.parametrize(("over_a", "charge"), [(2.0, 0.06), (0.6, 0.018), (0.4, 0.0), (-1.0, 0.0)])
def test_rush_is_the_charge_above_the_level_of_the_later_half(over_a: float, charge: float):
    """Three rows of 10 ms; a quarter of the fall at least."""
    own = list(zip(RISES, FALLS, strict=True))

    assert _rush(own, T, rushing(over_a)) == pytest.approx(charge)
    found = pulsing_of(FALLS, RISES, x=rushing(over_a))
    assert found.mean_a == pytest.approx(0.8 + charge)
    assert found.u_a == pytest.approx(math.hypot(2 / 100 / math.sqrt(30), 0.2 * charge))


def test_rush_shows_in_more_than_half_of_the_pulses():
    """Of five three are enough; pulses of fewer than eight rows do not tell."""
    x = rushing(2.0)
    x[200:203] = x[300:303] = 2.0
    own = list(zip(RISES, FALLS, strict=True))
    few = list(zip(RISES, at(0.07, 1.07, 2.07, 3.07, 4.07), strict=True))
    eight = list(zip(RISES, at(0.08, 1.08, 2.08, 3.08, 4.08), strict=True))

    assert _rush(own, T, x) == pytest.approx(0.06)
    x[0:3] = 2.0
    assert _rush(own, T, x) == 0.0
    assert _rush(few, T, rushing(2.0)) == 0.0
    assert _rush(eight, T, rushing(2.0)) == pytest.approx(0.06)


def square(period: int = 100, on: int = 40, amps: float = 2.0) -> np.ndarray:
    """Rows of 10 ms, on first."""
    return np.where(np.arange(1000) % period < on, amps, 0.0)


@pytest.mark.parametrize(
    ("period", "sample_s", "found"), [(100, 0.01, 1), (17, 0.01, 1), (15, 0.01, 0), (40, 0.1, 0), (50, 0.1, 1)]
)
def test_pulses_are_followed_from_0_16_s_or_four_samples_on(period: int, sample_s: float, found: int):
    """0.8 of 0.2 s, or of five and a half samples; faster ones are not taken for every second of them."""
    table = points(0.01, {"battery_a": 5 + square(period, period // 2)})

    assert len(find_pulsing(table, "battery_a", sample_s)) == found


def test_seven_points_hold_no_pulses():
    """Nor does a current that was not read."""
    assert find_pulsing(points(0.01, {"battery_a": square()[:7]}), "battery_a", 0.01) == []
    assert find_pulsing(points(0.01, {"battery_a": np.full(99, NAN)}), "battery_a", 0.01) == []


def evened(**beside):
    """Five pulses of 2 A in 10 s, and what else is logged."""
    table = points(0.01, {"battery_a": 5 + square()} | beside)
    on = [_Edge(0, t, 2.0) for t in (1.0, 2.0, 3.0, 4.0, 5.0)]
    off = [_Edge(0, t, -2.0) for t in (1.4, 2.4, 3.4, 4.4, 5.4)]
    found = _pulsing(off, on, T, np.zeros(len(T)), 0.01)
    return table, found, without_pulses(table, [found], "battery_a")


def test_pulsed_load_draws_its_mean_and_every_channel_the_mean_of_its_change():
    """0.8 A of 2 A throughout; 0.1 V less while on is 0.04 V less, and what was before and after stays."""
    table, _, even = evened(battery_v=12.5 - 0.05 * square())
    amps, volts = even.mean["battery_a"], even.mean["battery_v"]
    inside = slice(100, 600)

    assert amps[inside][np.isfinite(amps[inside])] == pytest.approx(5.8)
    assert volts[inside][np.isfinite(volts[inside])] == pytest.approx(12.46)
    assert amps[:100].tolist() == table.mean["battery_a"][:100].tolist()
    assert amps[600:].tolist() == table.mean["battery_a"][600:].tolist()


def test_edges_and_rushes_are_no_levels():
    """10 ms before each edge and 60 ms behind it, or three tenths of a brief pulse or pause."""
    _, found, even = evened()

    hidden = np.flatnonzero(np.isnan(even.mean["battery_a"]))

    assert hidden[(hidden > 150) & (hidden < 250)].tolist() == [*range(199, 206), *range(239, 246)]
    assert found.period_s == pytest.approx(1.0)


def test_change_of_a_channel_is_the_median_over_its_edges():
    """0.1 V less while on; one that does not change has none, and where nothing is read there is none."""
    table, found, _ = evened()

    assert _change(table.time_s, 12.5 - 0.05 * square(), found, 0.07) == pytest.approx(-0.1)
    assert _change(table.time_s, np.full(1000, 12.5), found, 0.07) == 0.0
    assert _change(table.time_s, np.full(1000, NAN), found, 0.07) == 0.0


def test_pulses_of_two_seconds_have_their_rush_spread_over_them():
    """Twice the period: the duty is the same, a rush counts half, and an edge lies within twice as many samples."""
    falls, rises = at(0.8, 2.8, 4.8, 6.8, 8.8), at(0.0, 2.0, 4.0, 6.0, 8.0, amps=2.0)
    x = np.zeros(len(T))
    for rise in range(5):
        x[200 * rise : 200 * rise + 80] = 2.0
        x[200 * rise : 200 * rise + 3] = 4.0

    found = pulsing_of(falls, rises, x=x)

    assert (found.duty, found.mean_a, found.to_s) == pytest.approx((0.4, 0.83, 10.0))
    assert found.u_a == pytest.approx(math.hypot(2 / 200 / math.sqrt(30), 0.2 * 0.03))
    assert _regular(at(0, 2, 4.1))
    assert not _regular(at(0, 2, 4.16))


def test_two_pulsed_loads_are_found_beside_each_other():
    """2 A of each second and 5 A of each 1.5 s."""
    x = square() + np.where((np.arange(1000) + 30) % 150 < 60, 5.0, 0.0)

    found = find_pulsing(points(0.01, {"battery_a": x}), "battery_a", 0.01)

    assert sorted(round(each.period_s, 2) for each in found) == [1.0, 1.5]
    assert not Pulsing(0, 1, 1, 0.5, 2, 1, 0.1, (), (), 6.0).doubtful
    assert Pulsing(0, 1, 1, 0.5, -2, 1, 0.1, (), (), 6.0).rms_a == 0.0
