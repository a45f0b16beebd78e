"""What makes a dip a starter's: each threshold from both sides, on points 0.1 s apart."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.cranking import (
    Crank,
    _borne_out,
    _by_starter,
    _cut_until,
    _deeper,
    _load_came_on,
    _own_end,
    find_cranks,
    line_ohm,
)

NAN = math.nan
T = np.arange(300) * 0.1


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


@pytest.mark.parametrize(
    ("depth_v", "before_a", "inside", "lines_known", "borne_out", "starter"),
    [
        (1.6, NAN, None, False, False, True),
        (1.4, NAN, None, False, False, False),
        (0.9, 1.0, [NAN, 5], False, False, True),
        (0.7, 1.0, [NAN, 5], False, False, False),
        (0.6, 1.0, [7.5], False, True, True),
        (0.6, 1.0, [7.5], False, False, False),
        (0.4, 1.0, [7.5], False, True, False),
        (0.6, 1.0, [6.5], False, True, False),
        (0.6, -5.0, [5.5], False, True, False),
        (0.6, 1.0, [31], False, False, True),
        (0.6, 1.0, [21], False, False, False),
        (1.0, 1.0, [27], False, False, True),
        (1.0, 1.0, [25], False, False, False),
        (1.0, -5.0, [24], True, False, False),
        (1.0, 0.2, [30], False, False, False),
        (1.0, 0.2, [30], True, False, True),
        (1.0, 0.4, [30], False, False, True),
        (1.4, 1.0, [3], False, False, False),
        (1.6, 1.0, [3], False, False, True),
        (1.6, 0.0, [2.5], False, False, True),
        (2.0, 1.0, [4.5], False, False, False),
        (2.0, 10.0, [6.5], False, False, False),
        (2.0, 10.0, [7.5], False, False, True),
        (1.0, 1.0, [0, 0, 30], False, False, False),
        (1.6, 1.0, [0, 0, 30], False, False, True),
        (1.0, 1.0, [30, 30, 0], False, False, True),
    ],
)
def test_starter_is_told_by_depth_and_current(
    depth_v: float, before_a: float, inside: list | None, lines_known: bool, borne_out: bool, starter: bool
):
    """1.5 V alone or with a shunt bypassed (3 A), 0.8 V with 25 A or over range, 0.5 V with 25 A, or 6 A and a witness.

    From less than 0.3 A at once it is the key that is turned, unless lines tell when that was.
    """
    amps = None if inside is None else np.array(inside, dtype=float)

    assert _by_starter(depth_v, before_a, amps, lines_known, borne_out) is starter


@pytest.mark.parametrize(
    ("before_a", "inside_a", "after_a", "stays"),
    [
        *((2.0, 42.0, 8.5, True), (2.0, 42.0, 7.5, False)),
        *((2.0, 4.0, 3.1, True), (2.0, 4.0, 2.9, False)),
        *((-5.0, 10.0, 1.6, True), (-5.0, 10.0, 1.4, False)),
        *((2.0, NAN, 30.0, False), (2.0, 42.0, NAN, False)),
    ],
)
def test_load_keeps_a_good_part_of_its_inrush(before_a: float, inside_a: float, after_a: float, stays: bool):
    """15 % of the peak and 1 A over the first second after it; what comes later is another load."""
    amps = parts((10, before_a), (9, 3.0), (1, inside_a), (1, 99.0), (9, after_a), (20, 99.0))

    assert _load_came_on(amps, T, 10, 20, before_a) is stays


@pytest.mark.parametrize(
    ("volts", "end", "own"),
    [
        *((((10, 12.0), (8, 10.0), (40, 11.3)), 40, 18), (((10, 12.0), (8, 10.0), (40, 10.9)), 40, 40)),
        *((((10, 12.0), (8, 10.6), (40, 11.5)), 40, 40), (((10, 12.0), (8, 10.4), (40, 11.5)), 40, 18)),
        *((((10, 12.0), (8, 10.0), (40, 11.3)), 14, 14), (((10, 12.0), (4, 10.0), (40, 11.3)), 40, 40)),
        *((((10, 12.0), (6, 10.0), (40, 11.3)), 40, 16), (((10, 12.0), (8, NAN), (40, 11.3)), 18, 18)),
    ],
)
def test_starter_lets_go_of_half_of_the_first_seconds_dip(volts: tuple, end: int, own: int):
    """From 1.5 V on: a median over a second, which 0.6 s of it decide."""
    assert _own_end(parts(*volts), T, 10, end, 12.0) == own


@pytest.mark.parametrize(
    ("line", "before_v", "back"),
    [
        (((10, 12.0), (20, 2.0), (100, 12.0)), 12.0, 30),
        *((((10, 12.0), (20, 4.1), (100, 12.0)), 12.0, 30), (((10, 12.0), (20, 4.3), (100, 12.0)), 12.0, 20)),
        *((((10, 6.1), (20, 2.0), (100, 12.0)), 12.0, 30), (((10, 5.9), (20, 2.0), (100, 12.0)), 12.0, 20)),
        *((((10, 12.0), (20, 2.0), (100, 8.5)), 12.0, 30), (((10, 12.0), (20, 2.0), (100, 8.3)), 12.0, 20)),
        (((10, NAN), (20, 2.0), (100, 12.0)), 12.0, 20),
        *((((10, 12.0), (195, 2.0), (95, 12.0)), 12.0, 205), (((10, 12.0), (205, 2.0), (85, 12.0)), 12.0, 20)),
    ],
)
@pytest.mark.parametrize("role", ["key_v", "trigger_v"])
def test_crank_lasts_until_the_line_that_it_cut_is_back(role: str, line: tuple, before_v: float, back: int):
    """From above half of the battery to below 35 % of itself, and above 70 %, within 20 s."""
    assert _cut_until(points(0.1, {role: parts(*line)}), 10, 20, before_v) == back


def test_line_is_as_high_as_it_was_over_the_last_second():
    """What it was before that does not count."""
    line = parts((20, 2.0), (10, 12.0), (20, 2.0), (50, 12.0))

    assert _cut_until(points(0.1, {"key_v": line}), 30, 40, 12.0) == 50
    assert _cut_until(points(0.1, {"battery_v": line}), 30, 40, 12.0) == 40


@pytest.mark.parametrize(("mark_s", "found"), [(-0.9, True), (-1.1, False), (4.9, True), (5.1, False)])
def test_mark_bears_a_crank_out(mark_s: float, found: bool):
    """2 s before it begins at 1 s, up to 4 s after."""
    assert _borne_out(points(0.1, {"battery_v": np.full(300, 12.0)}), 10, 20, 12.0, [mark_s]) is found


@pytest.mark.parametrize(
    ("line", "found"),
    [
        (((10, 12.0), (10, 4.1), (200, 12.0)), True),
        (((10, 12.0), (10, 4.3), (200, 12.0)), False),
        (((10, 6.1), (10, 2.0), (200, 12.0)), True),
        (((10, 5.9), (10, 2.0), (200, 12.0)), False),
        (((10, 12.0), (10, 2.0), (200, 8.5)), True),
        (((10, 12.0), (10, 2.0), (200, 8.3)), False),
        (((10, 12.0), (9, 12.0), (1, 2.0), (200, 12.0)), True),
        (((10, 12.0), (198, 2.0), (92, 12.0)), True),
        (((10, 12.0), (203, 2.0), (87, 12.0)), False),
        (((10, NAN), (10, 2.0), (200, 12.0)), False),
        (((10, 12.0), (10, NAN), (200, 12.0)), False),
        (((10, 12.0), (10, 2.0), (280, NAN)), False),
    ],
)
@pytest.mark.parametrize("role", ["key_v", "trigger_v", "feed_v"])
def test_line_that_goes_and_comes_back_bears_a_crank_out(role: str, line: tuple, found: bool):
    """From above half of the battery to below 35 % of itself in it, and above 70 % within 20 s of its beginning."""
    table = points(0.1, {"battery_v": np.full(300, 12.0), role: np.resize(parts(*line), 300)})

    assert _borne_out(table, 10, 20, 12.0, []) is found


@pytest.mark.parametrize(
    ("volts", "found"),
    [
        (((20, 12.0), (10, 12.6), (270, 12.0)), True),
        (((20, 12.0), (10, 12.4), (270, 12.0)), False),
        (((54, 12.0), (246, 12.6)), True),
        (((56, 12.0), (244, 12.6)), False),
        (((20, 12.0), (280, NAN)), False),
    ],
)
def test_engine_that_charges_soon_after_bears_a_crank_out(volts: tuple, found: bool):
    """0.5 V above the level before, within 3.5 s of its end at 2 s."""
    assert _borne_out(points(0.1, {"battery_v": parts(*volts)}), 10, 20, 12.0, []) is found


@pytest.mark.parametrize(
    ("volts", "begin", "before_v", "found"),
    [
        (((30, 11.0), (10, 10.4)), 30, 12.0, True),
        (((30, 11.0), (10, 10.6)), 30, 12.0, False),
        (((30, 11.7), (10, 11.2)), 30, 12.0, True),
        (((30, 11.7), (10, 11.4)), 30, 12.0, False),
        (((21, 11.0), (10, 10.4)), 21, 12.0, True),
        (((20, 11.0), (10, 10.4)), 20, 12.0, False),
        (((24, 9.0), (6, 11.0), (10, 10.4)), 30, 12.0, True),
        (((27, 11.38), (3, 11.0), (10, 9.9)), 30, 12.0, True),
        (((27, 11.42), (3, 11.0), (10, 9.9)), 30, 12.0, False),
        (((30, 11.0), (2, 10.9), (8, 10.4)), 30, 12.0, True),
        (((30, 11.0), (3, 10.9), (8, 10.4)), 30, 12.0, False),
        (((24, 9.0), (6, NAN), (10, 5.0)), 30, 12.0, False),
    ],
)
def test_deeper_dip_in_a_long_one_is_the_starters(volts: tuple, begin: int, before_v: float, found: bool):
    """More than 1 s later, from a level that was steady to 0.4 V for 0.6 s, by 0.4 V and half of what was lost before.

    Its first three points tell how deep it is.
    """
    x = np.concatenate((parts(*volts), np.full(60, 12.0)))

    assert _deeper([(10, 15), (begin, begin + 5)], x, T, 10, 60, before_v) == (begin if found else None)


@pytest.mark.parametrize(("at", "found"), [(28, False), (29, True)])
def test_last_point_before_a_deeper_dip_may_hold_some_of_it(at: int, found: bool):
    """What it reads makes nothing unsteady; the point before it does."""
    x = parts((30, 11.0), (10, 10.0), (60, 12.0))
    x[at] = 11.5

    assert _deeper([(10, 15), (30, 35)], x, T, 10, 60, 12.0) == (30 if found else None)


def test_deeper_dip_of_a_slow_log_has_one_point_before_it():
    """Points 1.5 s apart."""
    x = parts((10, 12.0), (1, 11.0), (3, 10.4), (10, 12.0))

    assert _deeper([(10, 11), (11, 12)], x, np.arange(24) * 1.5, 10, 20, 12.0) == 11


def test_dips_outside_a_long_one_are_their_own():
    """Before it or after it."""
    x = parts((30, 11.0), (10, 5.0), (60, 12.0))

    assert _deeper([(30, 35)], x, T, 10, 30, 12.0) is None
    assert _deeper([(30, 35)], x, T, 31, 60, 12.0) is None


@pytest.mark.parametrize(
    ("amps", "volts", "before_a", "ohm"),
    [
        *((104.0, 10.0, 4.0, 0.03), (104.0, 1.0, 4.0, 0.15), (104.0, 11.95, 4.0, 0.0075)),
        *((28.0, 11.52, 4.0, 0.045), (30.0, 11.48, 4.0, 0.03)),
        *((NAN, 10.0, 4.0, 0.045), (104.0, NAN, 4.0, 0.045), (104.0, 10.0, NAN, 0.045)),
    ],
)
def test_resistance_that_a_crank_shows(amps: float, volts: float, before_a: float, ohm: float):
    """1.5 times dip over current, for currents of 25 A and more, between 5 and 100 mΩ; 30 mΩ where it shows none."""
    table = points(0.1, {"battery_v": parts((10, 12.0), (10, volts)), "battery_a": parts((10, 4.0), (10, amps))})

    assert line_ohm(table, Crank(1.0, 1.9, 12.0, before_a)) == pytest.approx(ohm)


def test_resistance_needs_voltage_and_current():
    """And points within the crank."""
    whole = {"battery_v": np.full(20, 10.0), "battery_a": np.full(20, 104.0)}

    assert line_ohm(points(0.1, {"battery_v": whole["battery_v"]}), Crank(1.0, 1.9, 12.0, 4.0)) == pytest.approx(0.045)
    assert line_ohm(points(0.1, {"battery_a": whole["battery_a"]}), Crank(1.0, 1.9, 12.0, 4.0)) == pytest.approx(0.045)
    assert line_ohm(points(0.1, whole), Crank(5.0, 5.9, 12.0, 4.0)) == pytest.approx(0.045)


def test_log_without_the_battery_has_no_cranks():
    """Nor has one of three points."""
    assert find_cranks(points(0.1, {"feed_v": np.zeros(9)})) == []
    assert find_cranks(points(0.1, {"battery_v": [12, 5, 12]})) == []
