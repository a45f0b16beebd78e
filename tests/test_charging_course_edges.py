"""Courses, passages and cycles of what the battery gets: each limit from both sides, on points written by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.charging import course_mean, rises_slowly, steadied, whole_cycles, without_pulses
from benchlog.core.trace import Array, Trace
from benchlog.core.uncertainty import block_mean

NAN = math.nan


def parts(*levels: tuple[int, float]) -> Array:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def slow(x: Array, half_s: float = 1.0, step_s: float = 0.01, **more: float) -> bool:
    """Whether a change takes its time, on samples so far apart."""
    return rises_slowly(Trace(np.arange(len(x)) * step_s, {"battery_a": x}, {}), "battery_a", half_s, **more)


def test_points_are_steadied_over_a_second():
    """Three points half a second apart are enough, two are left as they are."""
    half_s = np.arange(9) * 0.5

    assert steadied(np.array([1.0, 9, 2]), half_s[:3]).tolist() == [1.0, 2.0, 2.0]
    assert steadied(np.array([1.0, 9]), half_s[:2]).tolist() == [1.0, 9.0]
    assert steadied(parts((4, 1.0), (1, 9.0), (4, 1.0)), half_s).tolist() == [1.0] * 9
    assert steadied(parts((3, 1.0), (2, 9.0), (4, 1.0)), half_s).tolist() == parts((3, 1), (2, 9), (4, 1)).tolist()


def test_median_wider_than_a_stretch_is_as_wide_as_it():
    """Of five points, and their ends as often again."""
    x = np.array([5.0, 1, 2, 3, 9])

    assert steadied(x, np.arange(5) * 0.5, 5.0).tolist() == steadied(x, np.arange(5) * 0.5, 500.0).tolist()
    assert without_pulses(parts((3, 5.0), (1, 0.0)), np.arange(4) * 1e-4).tolist() == [5.0] * 4


@pytest.mark.parametrize(
    ("step_s", "spike_rows", "slowly"), [(0.001, 2, True), (0.001, 3, False), (0.02, 1, True), (0.02, 2, False)]
)
def test_spikes_of_a_change_are_taken_off_by_five_rows_or_50_ms(step_s: float, spike_rows: int, slowly: bool):
    """Whichever is less: after a ramp of 0.8 s it is back for so many rows, and that is the last passage."""
    rows = round(4.0 / step_s)
    x = np.interp(np.arange(rows) * step_s, [1.6, 2.4], [4.0, 10.0])
    at = round(2.7 / step_s)
    x[at : at + spike_rows] = 4.0

    assert slow(x, step_s=step_s) is slowly


def staired(before: int, after: int) -> Array:
    """401 rows of 10 ms: so many of 4 A first and of 10 A last; between them 7 A, and no 4 A behind the middle."""
    return np.concatenate((parts((before, 4.0), (200 - before, 7.0)), parts((201 - after, 7.0), (after, 10.0))))


@pytest.mark.parametrize(
    ("before", "after", "slowly"), [(75, 76, True), (74, 76, False), (76, 75, True), (76, 74, False)]
)
def test_levels_of_a_change_are_medians_up_to_half_of_the_way_to_its_middle(before: int, after: int, slowly: bool):
    """150 rows at either side: 75 leave the level between two steps, 74 make the other one the level."""
    x = staired(before, after)
    x[:75] = np.where(np.arange(75) < before, 4.0, 7.0)

    assert slow(x) is slowly


def test_stretch_that_reaches_no_further_than_the_levels_tells_nothing():
    """Half a distance at either side of the middle is left out: of four seconds four leave none, 3.9 do."""
    x = np.interp(np.arange(401) * 0.01, [1.0, 3.0], [4.0, 10.0])

    assert slow(x, 2.0)
    assert slow(x, 3.995)
    assert not slow(x, 4.0)
    assert not slow(x, 9.0)
    later = Trace(1000.0 + np.arange(401) * 0.01, {"battery_a": x}, {})
    assert not rises_slowly(later, "battery_a", 4.0)


def test_one_row_near_the_old_level_begins_a_passage():
    """The first of all; what follows is half way, and the last few are there."""
    assert slow(np.concatenate(([4.0], np.full(395, 7.0), np.full(5, 10.0))), 3.995)


@pytest.mark.parametrize(
    ("x", "slowly"),
    [
        (parts((18, 4.0), (4, 7.0), (19, 10.0)), True),
        (parts((18, 4.0), (4, 7.0), (8, 10.0), (1, 4.0), (10, 10.0)), False),
        (parts((18, 4.0), (1, 10.0), (4, 7.0), (17, 10.0), (1, 4.0)), False),
    ],
)
def test_passage_of_slow_rows_is_the_last_one_or_the_first(x: Array, slowly: bool):
    """Rows 0.1 s apart, one of which counts: a later return is the last passage, and one that stays hides none."""
    assert slow(x, step_s=0.1) is slowly


def test_level_that_comes_back_at_the_end_does_not_hide_the_passage():
    """The last row is as before; the first one near the new level counts then, unless nothing old lies before it."""
    x = np.interp(np.arange(401) * 0.01, [1.5, 2.5], [4.0, 10.0])
    x[-4:] = 4.0
    quick = np.where(np.arange(401) < 200, 4.0, 10.0)
    quick[-4:] = 4.0
    begun = x.copy()
    begun[:4] = 10.0

    assert slow(x)
    assert not slow(quick)
    assert not slow(begun)


@pytest.mark.parametrize(("rows", "slowly"), [(14, False), (16, True)])
def test_passage_is_timed_from_the_last_old_row_to_the_first_new_one(rows: int, slowly: bool):
    """140 ms and 160 ms, whether or not more rows of either level stand beyond."""
    x = parts((200, 4.0), (rows - 1, 7.0), (200, 10.0))

    assert slow(x) is slowly
    assert slow(14.0 - x) is slowly


def test_peaks_and_pauses_of_points_0_6_s_apart():
    """Two points of inrush are taken off and three stay; a pause of four is filled and one of five stays."""
    t = np.arange(40) * 0.6

    def level(*levels: tuple[int, float]) -> list[float]:
        return without_pulses(parts(*levels), t).tolist()

    assert level((20, 5.0), (2, 9.0), (18, 5.0)) == [5.0] * 40
    assert level((20, 5.0), (3, 9.0), (17, 5.0)) == parts((20, 5), (3, 9), (17, 5)).tolist()
    assert level((20, 5.0), (4, 0.0), (16, 5.0)) == [5.0] * 40
    assert level((20, 5.0), (5, 0.0), (15, 5.0)) == parts((20, 5), (5, 0), (15, 5)).tolist()


def test_few_points_have_their_pauses_filled_too():
    """Of two the greater; one, or none, is as it is."""
    assert without_pulses(np.array([5.0, 0.0]), np.arange(2) * 0.5).tolist() == [5.0, 5.0]
    assert without_pulses(np.array([5.0]), np.zeros(1)).tolist() == [5.0]
    assert without_pulses(np.empty(0), np.empty(0)).tolist() == []


@pytest.mark.parametrize(("points_", "begins_s", "over_s"), [(13, 0.0, 1.5), (13, 100.0, 1.5), (12, 0.0, 1.3)])
def test_course_of_a_short_stretch_is_a_median_over_a_quarter_of_it(points_: int, begins_s: float, over_s: float):
    """Thirteen points half a second apart span 6 s, wherever the clock stands: five of them; twelve: three."""
    t = begins_s + np.arange(points_) * 0.5
    x = 10 - 0.05 * t + np.random.default_rng(2).normal(0, 0.3, points_)

    assert course_mean(x, t).u == pytest.approx(block_mean(x - steadied(x, t, over_s)).u)


def cycled(*cycles: Array, base: float = 20.0) -> Array:
    """Cycles that begin up, with ten points of the lower level before them and five behind."""
    return np.concatenate((np.full(10, base), *cycles, np.full(5, base)))


UP, DOWN = parts((10, 30.0), (10, 20.0)), parts((10, 30.0), (10, 23.5))


@pytest.mark.parametrize(
    ("cycle", "rise"),
    [
        (UP, True),
        (DOWN, True),
        (parts((4, 30.0), (2, 24.5), (4, 30.0), (10, 20.0)), True),
        (parts((10, 30.0), (4, 20.0), (2, 25.5), (4, 20.0)), True),
        (parts((4, 30.0), (2, 23.5), (4, 30.0), (10, 20.0)), False),
        (parts((10, 30.0), (4, 20.0), (2, 26.5), (4, 20.0)), False),
    ],
)
def test_state_of_a_cycle_changes_at_40_and_60_per_cent_of_its_swing(cycle: Array, rise: bool):
    """Of 20 and 30: 24.5 leaves it up and 25.5 down; 23.5 and 26.5 make two uneven cycles of one."""
    x = cycled(UP, cycle, UP, UP)

    found = whole_cycles(x)

    assert found == (slice(10, 70) if rise else slice(0, len(x)))


def test_one_reading_far_off_is_no_swing():
    """Of forty the highest and the lowest do not count."""
    x = cycled(UP, UP, UP)
    x[33], x[45] = 900.0, -900.0

    assert whole_cycles(x) == slice(10, 50)


def test_three_of_41_are_a_level_of_their_own():
    """So far down that what was low before lies between the states; two are none."""
    x = np.concatenate((np.zeros(5), *[parts((5, 9.0), (5, 0.0))] * 3, np.full(5, 9.0), [0.0]))
    two, three = x.copy(), x.copy()
    two[10:12] = -8.0
    three[10:13] = -8.0

    assert whole_cycles(two) == slice(5, 35)
    assert whole_cycles(three) == slice(0, 41)


def test_cycles_are_told_from_noise_wherever_their_level_lies():
    """A slow wave of five times its noise stays hidden at 100 A as it does at nothing."""
    noise, slow_wave = np.tile([0.0, 1.0], 40), np.where(np.arange(80) % 20 < 10, 0.0, 1.0)

    assert whole_cycles(100.0 + noise + 4.0 * slow_wave) == slice(0, 80)
    assert whole_cycles(100.0 + noise + 9.0 * slow_wave) == slice(10, 70)
    assert whole_cycles(np.array([1.0, 2.0])) == slice(0, 2)
