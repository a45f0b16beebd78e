"""The lowest held level, the samples behind it and the feed's loss, worked out by hand on a few samples."""

import math

import numpy as np
import pytest

from benchlog.analysis import crank_level
from benchlog.core.trace import Trace

NAN = math.nan


def trace(t, **values) -> Trace:
    """Samples without any over range."""
    return Trace(np.array(t, dtype=float), {role: np.array(x, dtype=float) for role, x in values.items()}, {})


def held(level, half_width, upper, time_s, gap_s) -> crank_level.Held:
    """The same to within the last bits."""
    return crank_level.Held(*(pytest.approx(value, abs=1e-9) for value in (level, half_width, upper, time_s, gap_s)))


def test_held_level_lies_between_the_runs_that_surely_and_possibly_last():
    """Samples 5 ms apart: three span 10 ms (at most 11 V), two may be all that 10 ms hold (at most 10 V)."""
    found = crank_level.held_minimum(trace([0, 0.005, 0.010, 0.015, 0.020], battery_v=[12, 10, 9, 11, 12]))

    assert found == held(10.5, 0.5, 11.0, 0.005, 0.005)


def test_two_samples_just_10_ms_apart_are_enough():
    """They are the run, and only the second is surely within it; 9.9 ms are too brief, and one sample is none."""
    assert crank_level.held_minimum(trace([0, 0.010], battery_v=[10, 9])) == held(9.5, 0.5, 10.0, 0.0, 0.010)
    assert crank_level.held_minimum(trace([5, 5.0099], battery_v=[10, 9])) is None
    assert crank_level.held_minimum(trace([0, 0.010], battery_v=[10, NAN])) is None


def test_samples_50_ms_apart_bound_the_level_from_above_alone():
    """Two neighbours are the run, however long they last."""
    assert crank_level.held_minimum(trace([0, 0.05, 0.1, 0.16], battery_v=[12, 9, 10, 12])) == held(
        10.0, 0.0, 10.0, 0.05, 0.05
    )


def test_run_among_rows_of_any_distance():
    """A gap of 50 ms, then rows 5 and 10 ms apart: 9, 10 and 11 V last 15 ms, 10 V alone may last 10 ms."""
    found = crank_level.held_minimum(trace([0, 0.05, 0.055, 0.065], battery_v=[12, 9, 10, 11]))

    assert found == held(10.5, 0.5, 11.0, 0.05, 0.010)


def test_run_must_last_10_ms_to_the_last_microsecond():
    """9.95 ms are no 10 ms, so the lowest two samples are no run."""
    assert crank_level.held_minimum(trace([0, 0.00995, 0.02], battery_v=[9, 9, 12])).upper == 12.0


@pytest.mark.parametrize("rows", [3, 10, 13, 40])
def test_held_level_is_that_of_every_run_looked_at_by_itself(rows: int):
    """Rows 1 ms apart: the maxima of all runs of so many rows, and one less, from the definition."""
    x = 11 + np.random.default_rng(rows).normal(0, 0.5, 60)
    highest = [min(x[n : n + k].max() for n in range(first, 61 - k)) for first, k in ((0, rows + 1), (1, rows))]

    found = crank_level.held_minimum(trace(np.arange(60) * 0.001, battery_v=x), held_s=rows * 0.001)

    assert found.upper == highest[0]
    assert found.level - found.half_width == pytest.approx(min(highest[1], x[60 - rows :].max(), x[-1]))


@pytest.mark.parametrize(
    ("feed", "rows"), [((12, 5.9, 5, 5, 12), 4), ((12, 6.1, 6.2, 12, 12), 5), ((5, 5, 12, 12, 12), 5)]
)
def test_crank_counts_until_a_lost_feed_is_back(feed: tuple[float, ...], rows: int):
    """Lost is below half of the battery; a feed that was never there is not lost."""
    assert len(crank_level.until_recovery(trace(range(5), battery_v=[12] * 5, feed_v=feed))) == rows


def test_crank_without_a_feed_is_whole():
    """Nothing to be lost."""
    assert len(crank_level.until_recovery(trace(range(5), battery_v=[12] * 5))) == 5


@pytest.mark.parametrize(
    ("rows", "over_ms", "half"),
    [
        *((7, 2.9, 1), (7, 1.9, 0)),
        *((7, 6.5, 3), (6, 6.5, 0)),
        *((7, 4.5, 2), (3, 2.9, 1)),
        *((2, 2.9, 0), (1, 2.9, 0)),
        (7, 4.0, 2),
    ],
)
def test_median_takes_as_many_rows_as_its_width_holds(rows: int, over_ms: float, half: int):
    """A spike goes with three rows or more; where the stretch is too short nothing is taken off."""
    x = [10.0] * rows
    x[rows // 2] = 13.0

    smooth, _ = crank_level.without_noise(trace(np.arange(rows) * 0.001, battery_v=x), "battery_v", over_ms / 1000)

    padded = np.pad(x, half, mode="edge")
    assert smooth.values["battery_v"].tolist() == [float(np.median(padded[n : n + 2 * half + 1])) for n in range(rows)]


def test_width_of_just_five_rows_is_five_rows():
    """Four steps of 1.1 ms are 4.4 ms, whatever the last bit of the times says."""
    smooth, _ = crank_level.without_noise(
        trace(np.arange(9) * 0.0011, battery_v=[9, 9, 9, 5, 5, 9, 9, 9, 9]), "battery_v", 0.0044
    )

    assert set(smooth.values["battery_v"]) == {9.0}


def test_noise_is_that_of_the_second_differences_and_less_by_the_median():
    """To and fro by 1: second differences of 2, over √6; a median of three leaves √(π/2)/√3. Four say nothing."""
    one = 2 / 0.6744897501960817 / math.sqrt(6)
    five, four = (trace(np.arange(n) * 0.001, battery_v=[0, 1, 0, 1, 0][:n]) for n in (5, 4))

    assert crank_level.without_noise(five, "battery_v", 0.0001)[1] == pytest.approx(one)
    assert crank_level.without_noise(five, "battery_v", 0.0029)[1] == pytest.approx(
        math.sqrt(math.pi / 2) * one / math.sqrt(3)
    )
    assert crank_level.without_noise(five, "battery_v", 0.0049)[1] == pytest.approx(
        math.sqrt(math.pi / 2) * one / math.sqrt(5)
    )
    assert crank_level.without_noise(four, "battery_v", 0.0001)[1] == 0.0


def packets(*sizes_s: tuple[int, float], apart_s: float = 1e-5) -> Trace:
    """So many rows with about each stamp."""
    t = [at_s + n * apart_s for size, at_s in sizes_s for n in range(size)]
    return trace(t, battery_v=range(len(t)))


def test_rows_of_packets_are_laid_out_at_their_pace():
    """The last row of each packet keeps its stamp; those before lie evenly, the first packet's at the whole pace."""
    even = crank_level.evenly(packets((4, 0.0), (4, 0.4), (6, 1.0))).time_s

    pace_s = (1.00005 - 3e-5) / 10
    assert even[[3, 7, 13]] == pytest.approx([3e-5, 0.40003, 1.00005])
    assert even[:3] == pytest.approx(3e-5 - pace_s * np.array([3, 2, 1]))
    assert np.diff(even[7:]) == pytest.approx((1.00005 - 0.40003) / 6)


@pytest.mark.parametrize(("rows", "laid_out"), [(9, True), (8, False)])
def test_eight_steps_show_packets(rows: int, laid_out: bool):
    """Seven are too few to tell."""
    given = packets((4, 0.0), (rows - 4, 0.4))

    assert (crank_level.evenly(given) is not given) is laid_out


@pytest.mark.parametrize(("wait_s", "laid_out"), [(1.48, False), (1.66, True)])
def test_packets_are_steps_below_a_fifth_of_the_mean(wait_s: float, laid_out: bool):
    """Steps of 0.1 s beside such a wait: a mean of 0.476 or 0.526 s."""
    given = packets(*((3, n * (0.2 + wait_s)) for n in range(4)), apart_s=0.1)

    assert (crank_level.evenly(given) is not given) is laid_out


def test_one_row_a_reading_is_kept():
    """Readings that stand for 30 ms in rows of 10 ms; one that comes out alike twice is kept twice."""
    given = trace(np.arange(15) * 0.01, battery_v=[1] * 6 + [2] * 3 + [3] * 3 + [NAN] + [4] * 2)

    kept = crank_level.one_a_reading(given, "battery_v", 0.03)

    assert kept.time_s.tolist() == pytest.approx([0.0, 0.04, 0.06, 0.09, 0.13])
    assert kept.values["battery_v"].tolist() == [1, 1, 2, 3, 4]


@pytest.mark.parametrize(("step_s", "rows"), [(0.0149, 4), (0.0151, 2)])
def test_reading_that_stands_for_half_a_row_more_is_thinned(step_s: float, rows: int):
    """Below one and a half rows every row is its own; three rows at least are needed."""
    assert (
        len(crank_level.one_a_reading(trace(np.arange(4) * 0.01, battery_v=[1, 1, 2, 2]), "battery_v", step_s)) == rows
    )
    assert len(crank_level.one_a_reading(trace([0, 0.01], battery_v=[1, 1]), "battery_v", step_s)) == 2
    assert len(crank_level.one_a_reading(trace([0, 0.01, 0.02], battery_v=[1, 1, 1]), "battery_v", 0.03)) == 1


def test_move_between_samples_is_the_median_of_a_stretch():
    """2, 1 and 4 V from row to row; beyond the stretch there is 90 V, and within one row nothing."""
    given = trace(range(6), battery_v=[1, 3, 4, NAN, 8, 98])

    assert crank_level.between(given, "battery_v", 0, 4) == 2.0
    assert crank_level.between(given, "battery_v", 0.5, 1.5) == 0.0


@pytest.mark.parametrize(
    ("t", "from_s", "to_s", "gap_s"),
    [
        ([0, 1, 2, 5, 6], 2.5, 3, 3),
        ([0, 1, 2, 5, 6], 0.5, 1.5, 1),
        ([0, 1, 2, 3, 6], 0.0, 2.5, 1),
        ([0, 3, 4], -1.0, 4, 3),
        ([0, 3, 4, 5], 3.0, 5, 1),
        ([0, 3], 9.0, 10, math.inf),
        ([0], 0.0, 10, math.inf),
    ],
)
def test_widest_gap_reaches_to_the_samples_around_a_stretch(t: list[float], from_s: float, to_s: float, gap_s: float):
    """The step that a stretch begins or ends in counts, the next one does not."""
    assert crank_level.widest_gap_s(trace(t, battery_v=[1] * len(t)), "battery_v", from_s, to_s) == gap_s


def test_loss_lasts_from_half_to_half():
    """12 V to nothing within one row, however far apart: from 1.5 to 4.5 rows; the width is the steps' mean."""
    given = trace([0, 0.01, 0.02, 0.05, 0.06, 0.10, 0.11], feed_v=[12, 12, 0, 0, 0, 12, 12], battery_v=[12] * 7)

    assert crank_level.longest_loss(given) == pytest.approx((0.08 - 0.015, 0.015, (0.01 + 0.04) / 2))


@pytest.mark.parametrize(
    ("feed", "expected"),
    [
        ([3, 3, 9, 9, 9, 9], (1.5, 0.0, 1.0)),
        ([9, 9, 9, 9, 9, 3], (0.5, 4.5, 1.0)),
        ([9, 3, 9, 3, 3, 9], (2.0, 2.5, 1.0)),
        ([9, 3, 3, 9, 3, 9], (2.0, 0.5, 1.0)),
        ([9, 6.1, 6.1, 9, 9, 9], (0.0, 0.0, 1.0)),
        ([NAN] * 6, (0.0, 0.0, math.inf)),
        ([NAN, NAN, 9, NAN, NAN, NAN], (0.0, 2.0, math.inf)),
    ],
)
def test_longest_loss_counts_to_the_ends_of_the_log(feed: list[float], expected: tuple[float, float, float]):
    """Rows 1 s apart beside 12 V: between 9 V and 3 V half is passed half way. 6.1 V are no loss."""
    assert crank_level.longest_loss(
        trace(range(6), feed_v=feed, battery_v=[12, NAN, 12, 12, NAN, 12])
    ) == pytest.approx(expected)


def test_loss_needs_a_battery_and_one_that_lives():
    """No battery, no loss; beside one at nothing, 0.1 V count as its own."""
    assert crank_level.longest_loss(trace([3, 4], feed_v=[12, 12], battery_v=[NAN, NAN])) == (0.0, 3.0, math.inf)
    assert crank_level.longest_loss(trace([], feed_v=[], battery_v=[])) == (0.0, 0.0, math.inf)
    assert crank_level.longest_loss(trace([0, 1], feed_v=[12, 12], battery_v=[12, 12])) == (0.0, 0.0, 1.0)
    assert crank_level.longest_loss(trace(range(3), feed_v=[0.06] * 3, battery_v=[0.0] * 3))[0] == 0.0
    assert crank_level.longest_loss(trace(range(3), feed_v=[0.04] * 3, battery_v=[0.0] * 3))[0] == 2.0
