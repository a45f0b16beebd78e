"""Cranks in whole tables, by voltage and by current alone, and the levels that they are compared with."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.crank_levels_before import level_before, median_before, points_in, recovered_at
from benchlog.analysis.cranking import Crank, find_cranks

NAN = math.nan


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def cranks(role_levels: dict, key_on_s=(), marked_s=(), step_s: float = 0.1, **how) -> list[Crank]:
    """Of points that hold one sample each."""
    return find_cranks(points(step_s, role_levels, **how), key_on_s, marked_s)


@pytest.mark.parametrize(
    ("amps", "found"),
    [
        (((20, 5.0), (10, 26.0), (20, 5.0)), [(2.0, 3.0, 5.0)]),
        (((20, 5.0), (10, 24.0), (20, 5.0)), []),
        (((20, 5.0), (1, 100.0), (20, 5.0)), []),
        (((20, 5.0), (2, 100.0), (20, 5.0)), [(2.0, 2.2, 5.0)]),
        (((20, 5.0), (199, 100.0), (20, 5.0)), [(2.0, 21.9, 5.0)]),
        (((20, 5.0), (201, 100.0), (20, 5.0)), []),
        (((20, 0.2), (10, 100.0), (20, 5.0)), []),
        (((20, 0.4), (10, 100.0), (20, 5.0)), [(2.0, 3.0, 0.4)]),
        (((20, NAN), (10, 100.0), (20, 5.0)), [(2.0, 3.0, NAN)]),
        (((20, 5.0), (10, 100.0), (2, 5.0), (10, 100.0), (20, 5.0)), [(2.0, 4.2, 5.0)]),
        (((20, 5.0), (10, 100.0), (4, 5.0), (10, 100.0), (20, 5.0)), [(2.0, 3.0, 5.0), (3.4, 4.4, 5.0)]),
        (((10, 100.0), (20, 5.0)), []),
        (((20, 5.0), (10, 100.0)), []),
        (((2, 5.0), (10, 100.0), (2, 5.0)), [(0.2, 1.2, 5.0)]),
    ],
)
def test_crank_by_current_alone(amps: tuple, found: list):
    """25 A for 0.15 to 20 s, strokes less than 0.3 s apart joined, from a key that is on (0.3 A), to its end."""
    got = cranks({"battery_a": parts(*amps)})

    assert [(each.from_s, each.to_s, each.before_a) for each in got] == [
        (pytest.approx(a), pytest.approx(b), pytest.approx(c, nan_ok=True)) for a, b, c in found
    ]
    assert all(math.isnan(each.before_v) for each in got)


def test_current_beyond_the_range_is_a_starters():
    """Where nothing else is known."""
    over = np.where((np.arange(50) >= 20) & (np.arange(50) < 30), 1, 0)

    (crank,) = cranks({"battery_a": np.where(over > 0, NAN, 5.0)}, over={"battery_a": over})

    assert crank.from_s == pytest.approx(2.0)


@pytest.mark.parametrize(("rise_s", "found"), [(1.65, 1), (1.75, 0), (2.14, 0), (2.16, 1)])
def test_nobody_cranks_within_three_tenths_of_the_key(rise_s: float, found: int):
    """Nor is a line that comes up 0.15 s into it anything but the key; by voltage and by current."""
    volts, amps = parts((20, 12.5), (10, 9.0), (40, 12.5)), parts((20, 5.0), (10, 100.0), (40, 5.0))

    assert len(cranks({"battery_a": amps}, [rise_s])) == found
    assert len(cranks({"battery_v": volts, "battery_a": amps}, [rise_s])) == found
    assert len(cranks({"battery_v": volts}, [rise_s])) == found


@pytest.mark.parametrize(
    ("volts", "found"),
    [
        (((30, 12.5), (10, 10.9), (40, 12.5)), [(3.0, 4.0)]),
        (((30, 12.5), (10, 11.1), (40, 12.5)), []),
        (((30, 14.5), (10, 11.7), (40, 14.5)), [(3.0, 4.0)]),
        (((30, 14.5), (10, 11.9), (40, 14.5)), []),
        (((30, 12.5), (10, 9.0), (40, 10.7)), []),
        (((30, 12.5), (199, 9.0), (40, 12.5)), [(3.0, 22.9)]),
        (((30, 12.5), (203, 9.0), (40, 12.5)), []),
        (((30, 12.5), (10, 9.0), (5, 12.5), (10, 9.0), (40, 12.5)), [(3.0, 4.0), (4.5, 5.5)]),
        (((30, 12.5), (40, 9.0)), []),
        (((10, 9.0), (40, 12.5)), []),
    ],
)
def test_crank_by_voltage_alone(volts: tuple, found: list):
    """1.5 V below what it was, or below 13.3 V where it was charged, for up to 20 s, until it has come back."""
    got = cranks({"battery_v": parts(*volts)})

    assert [(each.from_s, each.to_s) for each in got] == [(pytest.approx(a), pytest.approx(b)) for a, b in found]
    assert all(math.isnan(each.before_a) for each in got)


@pytest.mark.parametrize(
    ("dip_v", "back_v", "ends_s"), [(11.9, 12.15, 5.0), (11.9, 12.25, 4.0), (12.05, 12.4, None), (11.6, 12.15, 5.0)]
)
def test_shallow_dip_with_a_starters_current_ends_at_0_32_v(dip_v: float, back_v: float, ends_s: float | None):
    """Half a volt beside 100 A is a crank; 12.5 V less 0.32 V ends it."""
    volts = parts((30, 12.5), (10, dip_v), (10, back_v), (40, 12.5))

    got = cranks({"battery_v": volts, "battery_a": parts((30, 5.0), (10, 100.0), (50, 5.0))})

    assert [each.to_s for each in got] == ([] if ends_s is None else [pytest.approx(ends_s)])


def test_load_that_stays_is_no_crank_unless_a_mark_says_so():
    """40 A for a second, and 20 A after it, with a dip of 2 V."""
    table = {"battery_v": parts((30, 12.5), (10, 10.5), (40, 12.3)), "battery_a": parts((30, 5), (10, 45), (40, 25))}

    assert cranks(table) == []
    assert len(cranks(table, marked_s=[3.0])) == 1


def test_dip_of_single_samples_whose_mean_holds_is_none():
    """The lowest sample of a point is 9 V, its mean 12.5 V."""
    volts = np.full(60, 12.5)

    assert cranks({"battery_v": volts}, low={"battery_v": np.where(np.arange(60) == 30, 9.0, 12.5)}) == []


def test_starter_in_a_dip_of_loads_counts_from_where_it_turns():
    """The key's loads take 1 V for 3 s, then the starter 3 V more."""
    volts = parts((30, 12.5), (30, 11.5), (10, 8.5), (10, 11.5), (40, 12.5))

    (crank,) = cranks({"battery_v": volts})

    assert (crank.from_s, crank.before_v) == (pytest.approx(6.0), pytest.approx(11.5))


def test_level_before_a_second_crank_is_that_since_the_first():
    """11.9 V for half a second between two, though 12.5 V were before both."""
    volts = parts((30, 12.5), (10, 9.0), (6, 12.3), (10, 9.0), (40, 12.5))

    assert [each.before_v for each in cranks({"battery_v": volts})] == pytest.approx([12.5, 12.3])


@pytest.mark.parametrize(
    ("volts", "step_s", "at"),
    [
        (((5, 0), (3, 9), (2, 0), (9, 9)), 0.0625, 10),
        (((5, 0), (4, 9), (2, 0), (9, 9)), 0.0625, 5),
        (((5, 0), (2, 9)), 0.0625, 5),
        (((5, 0), (1, 9), (3, 0)), 0.0625, 5),
        (((5, 0), (1, 9), (1, 0), (1, 9), (3, 0)), 0.0625, 7),
        (((5, 0),), 0.0625, 5),
        (((5, 0), (1, 9), (3, 0)), 1.0, 5),
        (((5, 0), (1, 9), (3, 0), (9, 9)), 0.5, 5),
        (((5, 0), (1, 9), (1, 0), (1600, 9)), 0.0002, 7),
    ],
)
def test_voltage_is_back_once_it_stays_for_three_tenths(volts: tuple, step_s: float, at: int):
    """Four points of 62.5 ms, at the end of the log as many as there are; else the last that came back."""
    assert recovered_at(parts(*volts), step_s, 0, 5.0) == at
    assert recovered_at(parts((7, 9), *volts), step_s, 7, 5.0) == 7 + at


@pytest.mark.parametrize("low", [1020, 1024, 1025, 1027, 1028, 1029, 1500, 8224, 8230, 9000])
@pytest.mark.parametrize("after", [3, 4, 50])
def test_long_dip_is_looked_at_piece_by_piece_and_ends_as_if_whole(low: int, after: int):
    """A touch of two points on the way, then the recovery, at the first piece's end and behind it."""
    volts = parts((low - 2, 0), (2, 9), (1, 0), (after, 9))

    assert recovered_at(volts, 0.0625, 0, 5.0) == low + 1


def test_points_of_a_time_before_one():
    """Two seconds of half-second points are four; at the beginning two count all the same."""
    t = np.arange(20) * 0.5

    assert points_in(t, 10, 2.0) == 4
    assert points_in(t, 1, 2.0) == 2


@pytest.mark.parametrize(
    ("at", "since", "level"), [(10, 0, 7.5), (10, 8, 8.5), (10, 10, 9.0), (10, 12, 9.0), (1, 0, 0.0), (0, 0, NAN)]
)
def test_level_before_a_point_is_the_median_of_two_seconds(at: int, since: int, level: float):
    """Points 6 to 9 of readings that count up; none before a time, but one at the least."""
    x = np.arange(20.0)

    assert median_before(np.arange(20) * 0.5, x, at, since) == pytest.approx(level, nan_ok=True)


def test_missing_readings_before_a_point_do_not_count():
    """Of 6, 7, 8 and 9 two are there; of none nothing is known."""
    x = np.where(np.isin(np.arange(20), (7, 8)), NAN, np.arange(20.0))

    assert median_before(np.arange(20) * 0.5, x, 10) == 7.5
    assert math.isnan(median_before(np.arange(20) * 0.5, np.full(20, NAN), 10))


@pytest.mark.parametrize(("step_s", "long", "short"), [(0.125, 16, 2), (0.011, 40, 27), (1.5, 2, 2), (0.05, 40, 6)])
def test_level_before_each_point_is_the_higher_of_two_means(step_s: float, long: int, short: int):
    """Over 2 s and 0.3 s, 2 to 40 points; missing readings do not count."""
    x = np.random.default_rng(1).uniform(9, 13, 120)
    x[50] = NAN

    found = level_before(np.arange(120) * step_s, x)

    expected = [
        max(np.nanmean(x[max(at - n, 0) : at]) for n in (long, short) if np.isfinite(x[max(at - n, 0) : at]).any())
        for at in range(1, 120)
    ]
    assert math.isnan(found[0])
    assert found[1:] == pytest.approx(expected)
