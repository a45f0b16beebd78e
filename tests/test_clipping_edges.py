"""Where a flat top is the end of a range: each sign from both sides, on codes of 1 V written by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.clipping import clipped_at
from benchlog.core.trace import Trace

TOP = 30.0
#: Thirty readings well below the top; seven of their 29 steps are nothing.
BESIDE = [0, 0, 5, 9, 9, 2, 7, 7, 1, 8, 8, 3, 6, 6, 0, 9, 9, 4, 8, 8, 2, 9, 1, 7, 3, 8, 0, 6, 2, 9]
#: The same without one that repeats.
LIVELY = [0, 5, 1, 6] * 7 + [0, 5]


def clipped(*parts, end: str = "highest", level: float = TOP) -> bool:
    """Of stretches of readings."""
    traces = [Trace(np.arange(float(len(x))), {"battery_v": np.array(x, dtype=float)}, {}) for x in parts]
    return clipped_at(traces, "battery_v", level, end)


def flat(rows: int, before=None, after=None) -> list[float]:
    """So many rows at the top with readings before and after."""
    return [*(BESIDE if before is None else before), *[TOP] * rows, *(BESIDE if after is None else after)]


@pytest.mark.parametrize(("rows", "found"), [(11, True), (10, False)])
def test_flat_top_is_longer_than_chance_allows(rows: int, found: bool):
    """14 of 58 neighbours repeat, a quarter with one and two more: ten further by chance are one in 1,050,000."""
    assert clipped(flat(rows)) is found


@pytest.mark.parametrize(("rows", "found"), [(6, True), (5, False)])
def test_flat_top_holds_six_samples(rows: int, found: bool):
    """However lively its neighbours are; several stretches count together."""
    assert clipped(flat(rows, LIVELY, LIVELY)) is found
    assert clipped(flat(rows - 3, LIVELY, LIVELY), flat(3, LIVELY, LIVELY)) is found


def test_lowest_reading_is_an_end_as_the_highest_is():
    """The same turned round, and a level that is no reading's."""
    turned = [-each for each in flat(11)]

    assert clipped(turned, end="lowest", level=-TOP)
    assert not clipped(turned, end="highest", level=0.0)


def test_channel_that_is_missing_says_nothing():
    """No trace, none with the channel, none with a reading; one beside it does no harm."""
    other = Trace(np.arange(3.0), {"feed_v": np.ones(3)}, {})
    good = Trace(np.arange(71.0), {"battery_v": np.array(flat(11), dtype=float)}, {})

    assert not clipped_at([], "battery_v", TOP, "highest")
    assert not clipped_at([other], "battery_v", TOP, "highest")
    assert not clipped([math.nan] * 5)
    assert clipped([math.nan] * 5, flat(11))
    assert clipped_at([other, good], "battery_v", TOP, "highest")


@pytest.mark.parametrize(
    ("beside", "found"), [([0, 5, 9] * 10, True), ([0, 5] * 15, True), ([0] * 15 + [9] * 15, False)]
)
def test_channel_has_four_different_readings(beside: list[float], found: bool):
    """With the top and one of 12 V; of three nothing is claimed."""
    assert clipped([*beside, 12, *[TOP] * 9, *beside]) is found
    assert not clipped([*[0, 5] * 15, *[TOP] * 9, *[0, 5] * 15])


@pytest.mark.parametrize(("codes", "rows", "found"), [(3, 2, True), (3, 3, False), (4, 3, True)])
def test_hardly_a_sample_lies_just_off_the_end(codes: float, rows: int, found: bool):
    """Of twenty samples at the top, two may lie within three codes of it."""
    near = [0, *[each for _ in range(rows) for each in (TOP - codes, 0)]]

    assert clipped([*near, *flat(20)]) is found


@pytest.mark.parametrize(("last", "found"), [(TOP - 3, True), (TOP - 2, False)])
def test_signal_jumps_to_its_end_by_three_codes(last: float, found: bool):
    """From 27 V, not from 28 V; what lies before that does not count."""
    assert clipped([*BESIDE, last, *[TOP] * 20, *BESIDE]) is found


def test_quarter_of_the_jumps_may_be_small():
    """One of four counts still, and one of eight no more."""
    small, great = [*BESIDE, TOP - 2, *[TOP] * 20, *BESIDE], flat(20)

    assert not clipped(small, great)
    assert clipped(small, great, great, great)


def test_flat_top_at_an_end_of_the_stretch_has_one_jump():
    """Nobody saw it come, or go; one that is all of the stretch has none."""
    assert clipped([*[TOP] * 20, *BESIDE, *BESIDE])
    assert clipped([*BESIDE, *BESIDE, *[TOP] * 20])
    assert not clipped([*[TOP] * 20, TOP - 2, *BESIDE, *BESIDE])
    assert not clipped([TOP - 2, *[TOP] * 20, *BESIDE, *BESIDE])
    assert clipped([0, *[TOP] * 20, *BESIDE, *BESIDE])
    assert not clipped([TOP] * 20, BESIDE)


def test_codes_are_those_of_the_upper_half():
    """A logger with steps of 0.1 V below and 2 V above: 26 V are two codes off, 22 V four."""
    fine = [0, 5.1, 1.2, 6.3] * 7
    coarse = [20, 24, 20, 22, 18, 22, 24]

    assert clipped([*fine, *coarse, 22, *[TOP] * 30, *fine])
    assert not clipped([*fine, *coarse, 26, *[TOP] * 30, 26, *fine])


@pytest.mark.parametrize(("step", "found"), [(7, True), (9, False), (10, False)])
def test_course_without_noise_may_be_flat_anywhere(step: int, found: bool):
    """Steps of 7 and 8 bend by an eighth of themselves, 9 and 10 by less than 0.12."""
    rise = np.concatenate(([0], np.cumsum(np.tile([step, step + 1], 10)))) - 20 * step - 10 + TOP

    assert clipped([*rise[:-1], *[TOP] * 20, *rise[-2::-1]], [20, 21, 22]) is found
    assert not clipped([*np.arange(0, 30, 5.0), *[TOP] * 20, *np.arange(25, -1, -5.0), 1, 2])


def test_two_hundred_rows_on_either_side_show_how_it_varies():
    """What stood still further away does not count."""
    far, lively = [9.0] * 300, [0.0, 5.0, 1.0, 7.0] * 50

    assert clipped([*far, *lively, *[TOP] * 7, *lively, *far])
    assert not clipped([*far, *lively[:100], *[TOP] * 7, *lively[:100], *far])


@pytest.mark.parametrize(("rows", "found"), [(7, True), (6, False)])
def test_six_steps_beside_are_needed(rows: int, found: bool):
    """Seven readings have six steps."""
    assert clipped([*[0, 5, 9, 1, 7, 2, 8][-rows:], *[TOP] * 20]) is found
