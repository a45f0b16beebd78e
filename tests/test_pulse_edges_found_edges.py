"""Where a current rises and falls, and which edges make a chain: limits that only a course or noise shows."""

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.pulsed import _Edge, _edges, _longest_chain, find_pulsing
from benchlog.core.trace import Array

T = np.arange(1200) * 0.01


def parts(*levels: tuple[int, float]) -> Array:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def sizes(x: Array, step_s: float = 0.01) -> list[float]:
    """Of the edges found."""
    return [edge.amps for edge in _edges(np.arange(len(x)) * step_s, x)]


@pytest.mark.parametrize(("size", "found"), [(0.32, True), (0.31, False)])
def test_edge_stands_six_times_out_of_the_noise(size: float, found: bool):
    """To and fro by 50 mA is noise of 52 mA: 0.315 A."""
    assert bool(sizes(parts((50, 0.0), (50, size)) + np.tile([0.0, 0.05], 50))) is found


@pytest.mark.parametrize(("stays", "found"), [(0.07, True), (0.05, False)])
def test_edge_leaves_half_of_what_it_jumped_by(stays: float, found: bool):
    """A rush of 0.13 A over three rows that decays to less than 60 mA is none."""
    assert bool(sizes(parts((50, 0.0), (3, 0.13), (50, stays)))) is found


def test_size_of_an_edge_is_that_of_a_quarter_of_a_second_at_either_side():
    """Of 25 rows before it the last 13, and of 26 behind it the last 13; what lies beyond does not count."""
    x = parts((50, 0.0), (12, 0.05), (1, 0.02), (12, 0.02), (14, 2.0), (12, 2.05), (40, 2.1))

    assert sizes(x) == [pytest.approx(2.05 - 0.02)]


def test_slow_rows_have_two_beside_an_edge():
    """0.2 s apart: of three rows behind it the last two, not three of four."""
    x = parts((20, 0.0), (1, 2.0), (2, 2.02), (1, 2.1), (1, 2.2), (20, 2.2))

    assert sizes(x, 0.2) == [pytest.approx(2.02)]


def test_edge_reaches_from_the_one_before_it_to_the_one_behind_it():
    """What lies beyond a neighbour is another level; where two meet there is none between them."""
    x = parts((30, 0.0), (8, 2.0), (8, 5.0), (30, 1.0))

    assert sizes(x) == pytest.approx([2.0, 3.0, -4.0])
    assert [round(edge.time_s, 3) for edge in _edges(T[:76], x)] == [0.29, 0.37, 0.45]


def test_rise_right_after_a_fall_is_an_edge_of_its_own():
    """A pause of three rows."""
    x = parts((30, 2.0), (3, 0.0), (30, 2.0))

    assert sizes(x) == pytest.approx([-2.0, 2.0])


def test_pulses_of_half_an_ampere_are_one_load():
    """The same as larger ones, and nothing beside it."""
    x = 5.0 + np.where(np.arange(1000) % 100 < 40, 0.5, 0.0)

    (found,) = find_pulsing(points(0.01, {"battery_a": x}), "battery_a", 0.01)

    assert (found.amps, found.duty, found.period_s) == pytest.approx((0.5, 0.4, 1.0))
    assert found.falls_s[0] == pytest.approx(1.39, abs=0.011)
    assert found.rises_s[0] == pytest.approx(0.99, abs=0.011)


def test_loads_stand_in_the_order_of_their_beginnings():
    """A few large pulses first, many small ones later."""
    at = np.arange(3000)
    x = np.where((at > 150) & (at < 800) & (at % 100 < 40), 4.0, 0.0)
    x += np.where((at > 900) & (at % 50 < 20), 1.0, 0.0)

    found = find_pulsing(points(0.01, {"battery_a": x}), "battery_a", 0.01)

    assert [round(each.amps) for each in found] == [4, 1]


def falls(*times: float, amps: float = -2.0) -> list[_Edge]:
    """Edges of one size."""
    return [_Edge(round(100 * t), t, amps) for t in times]


@pytest.mark.parametrize(
    ("edges", "members"),
    [
        (falls(0, 1, 3.18, 4.18, 5.18), 5),
        (falls(0, 1, 3.24, 4.24, 5.24), 3),
        (falls(0, 1, 2.18, 3.56), 0),
        (falls(0, 1, 2.18, 3.44), 4),
        (falls(0, 0.6, 1.32, 1.99), 4),
        (falls(0, 1, 1.1, 2, 2.1, 3), 4),
    ],
)
def test_chain_follows_a_pace_that_drifts(edges: list[_Edge], members: int):
    """A pulse that was lost leaves two lengths that may differ by a tenth each; a length moves the pace by its share.

    After 1 s and 1.18 s the pace is 1.06 s: 1.26 s more are alike to a fifth, 1.38 s are not.
    """
    assert len(_longest_chain(edges, 0.5)) == members


def test_pace_is_a_mean_over_the_last_five():
    """Four lengths of 1 s and then ever longer ones: each moves it by a fifth of what it is longer."""
    times = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.2, 7.45]
    pace = 1.0 + 0.2 / 5
    last = times[-1]
    limit = (pace + (1.25 - pace) / 5) / 0.8

    assert len(_longest_chain(falls(*times, last + limit - 0.01), 0.5)) == 9
    assert len(_longest_chain(falls(*times, last + limit + 0.01), 0.5)) == 8


def test_loads_that_come_on_between_pulses_are_no_pulses():
    """0.5 A for 0.4 of each second, and 0.8 A more for good half way through each."""
    at = np.arange(1000)
    x = np.where(at % 100 < 40, 0.5, 0.0) + 0.8 * ((at + 30) // 100)

    found = find_pulsing(points(0.01, {"battery_a": x}), "battery_a", 0.01)

    assert [round(each.amps, 2) for each in found] == [0.5]
