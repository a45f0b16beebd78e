"""Where a logger sees more slowly than it writes: each sign from both sides, on rows written by hand."""

import math

import numpy as np
import pytest

from benchlog.analysis.true_step import _beside, _held_s, _packets_s, _shortest_ramp_s, _spacing_s, true_steps
from benchlog.core.trace import Trace

NAN = math.nan


def trace(t, **values) -> Trace:
    """Samples without any over range."""
    return Trace(np.array(t, dtype=float), {role: np.array(x, dtype=float) for role, x in values.items()}, {})


def after(*steps: float) -> np.ndarray:
    """Times from 0 on with these steps between."""
    return np.concatenate(([0.0], np.cumsum(steps)))


@pytest.mark.parametrize(
    ("steps", "spacing_s"),
    [
        ([0.01] * 8, 0.01),
        ([0.01] * 7, None),
        ([0.01] * 10 + [0.02] * 10, 0.02),
        ([0.01] * 21 + [0.02] * 10, 0.01),
        ([0.01] * 20 + [0.9], 0.9),
        ([0.01] * 20 + [1.1], 0.01),
    ],
)
def test_spacing_is_the_step_in_which_half_of_the_time_lies(steps: list[float], spacing_s: float | None):
    """Eight steps at least; a step of a hundred usual ones is a gap of the log."""
    given = trace(after(*steps), battery_v=[1.0] * (len(steps) + 1))

    found = _spacing_s([given], "battery_v")

    assert found == (None if spacing_s is None else pytest.approx(spacing_s))
    assert _spacing_s([given, trace([0, 1], feed_v=[1, 1])], "battery_v") == found
    assert _spacing_s([given], "feed_v") is None


def test_spacing_is_of_a_channels_own_samples():
    """Every third row only, and packets of them by their pauses."""
    t = np.arange(60) * 0.01
    bunched = after(*([0.001] * 4 + [0.1]) * 6)

    assert _spacing_s([trace(t, battery_v=np.where(np.arange(60) % 3, NAN, 1.0))], "battery_v") == pytest.approx(0.03)
    assert _spacing_s([trace(bunched, battery_v=[1] * 31)], "battery_v") == pytest.approx(0.1)


def packets(rows: list[int], pauses_s: list[float], inner_s: float = 0.001) -> np.ndarray:
    """Steps of packets of so many rows, with a pause behind each."""
    return np.concatenate([[*[inner_s] * (n - 1), pause] for n, pause in zip(rows, pauses_s, strict=True)])


@pytest.mark.parametrize(
    ("steps", "pause_s"),
    [
        ([packets([5] * 4, [0.1] * 4)], 0.1),
        ([packets([5] * 3, [0.1] * 3)], None),
        ([packets([5] * 2, [0.1] * 2)] * 2, 0.1),
        ([packets([5], [0.1])] * 6, None),
        ([packets([5] * 6, [0.04] * 6)], 0.04),
        ([packets([5] * 6, [0.03] * 6)], None),
        ([packets([2] * 6, [0.021] * 6)], 0.021),
        ([packets([2] * 6, [0.019] * 6)], None),
        ([packets([1] * 6, [0.1] * 6)], None),
        ([packets([5] * 8, [0.1, 0.118] * 4)], 0.109),
        ([packets([5] * 8, [0.1, 0.125] * 4)], None),
        ([packets([5, 6] * 4, [0.1] * 8)], 0.1),
        ([packets([5, 7] * 4, [0.1] * 8)], None),
        ([packets([20, 24] * 4, [0.5] * 8)], 0.5),
        ([packets([20, 26] * 4, [0.5] * 8)], None),
    ],
)
def test_packets_come_at_an_even_pace_with_even_rows(steps: list[np.ndarray], pause_s: float | None):
    """Four pauses of twenty usual steps that hold nine tenths of the time; paces and rows differ by a fifth at most.

    Two rows or more make one.
    """
    assert _packets_s(steps, 0.001) == (None if pause_s is None else pytest.approx(pause_s))


def readings(lengths: list[int], values: list[float], step_s: float = 0.01) -> Trace:
    """Each value for so many rows."""
    x = np.concatenate([np.full(n, v) for n, v in zip(lengths, values, strict=True)])
    return trace(np.arange(len(x)) * step_s, battery_v=x)


def cycle(count: int, different: int) -> list[float]:
    """So many readings of so many values, 5 or more apart but for 0 and 1."""
    return [(0.0, 1.0, *(5.0 * n for n in range(2, different)))[n % different] for n in range(count)]


@pytest.mark.parametrize(
    ("lengths", "values", "stands_s"),
    [
        ([5] * 14, list(range(14)), 0.05),
        ([5] * 13, list(range(13)), None),
        ([5] * 24, [n % 6 for n in range(24)], 0.05),
        ([5] * 24, [n % 5 for n in range(24)], None),
        ([3] * 20, list(range(20)), 0.03),
        ([2] * 20, list(range(20)), None),
        ([20] * 22, [n % 7 for n in range(22)], 0.20),
        ([20] * 18 + [23] * 2 + [20] * 2, [n % 7 for n in range(22)], 0.20),
        ([20] * 17 + [23] * 3 + [20] * 2, [n % 7 for n in range(22)], None),
        ([20, 21] * 11, [n % 7 for n in range(22)], 0.20),
        ([5, 10, 15] * 7, [n % 7 for n in range(21)], 0.05),
    ],
)
def test_held_channel_stands_for_whole_beats(lengths: list[int], values: list[float], stands_s: float | None):
    """Thirteen changes, six values, three rows a beat; nine of ten readings within a tenth of whole beats."""
    assert _held_s([readings(lengths, values)], "battery_v") == (None if stands_s is None else pytest.approx(stands_s))
    assert _held_s([readings(lengths, values), trace([0, 1, 2], feed_v=[1, 2, 3])], "feed_v") is None


#: Jumps of four codes, and one of one.
FAR = [4.0 * (n % 9) for n in range(30)] + [1.0, 0.0]
NEAR = [2.0 * (n % 9) for n in range(30)] + [1.0, 0.0]


@pytest.mark.parametrize(
    ("lengths", "values", "stands_s"),
    [
        ([10, 13] * 16, FAR, 0.115),
        ([10, 13] * 16, NEAR, None),
        ([10, 15] * 16, FAR, 0.125),
        ([10, 14, 14, 14] * 8, FAR, 0.14),
        ([9, 14, 14, 14] * 8, FAR, None),
        ([2, 3] * 16, FAR, None),
    ],
)
def test_channel_that_is_held_unevenly_jumps_far(lengths: list[int], values: list[float], stands_s: float | None):
    """By three codes, and nine of ten readings stand for seven tenths of the usual time."""
    assert _held_s([readings(lengths, values)], "battery_v") == (None if stands_s is None else pytest.approx(stands_s))


@pytest.mark.parametrize(
    ("count", "different", "held"), [(32, 9, True), (32, 8, False), (62, 12, True), (62, 11, False), (17, 6, True)]
)
def test_channel_that_is_held_unevenly_shows_many_values(count: int, different: int, held: bool):
    """Three of ten readings, six to twelve; a pulsed load has few."""
    given = readings([10, 13] * (count // 2) + [10] * (count % 2), cycle(count, different))

    assert (_held_s([given], "battery_v") is not None) is held


def beside(own_rows: list[int], every: int = 5, rows: int = 60) -> str | None:
    """A channel that changes in these rows beside one that changes in every fifth."""
    at = np.arange(rows)
    own = np.cumsum(np.isin(at, own_rows)).astype(float)
    given = trace(at * 0.01, feed_v=own, battery_v=at // every)
    return _beside([given, trace([0, 1], load_a=[1, 1])], "feed_v", {"battery_v": 0.01 * every}, 0.01)


@pytest.mark.parametrize(
    ("own_rows", "found"),
    [
        ([10, 20], True),
        ([10], False),
        ([10, 11], False),
        ([5 * n for n in range(1, 10)] + [48], True),
        ([5 * n for n in range(1, 9)] + [48], False),
        ([10, 20, 1, 2, 57, 58], True),
        ([], False),
    ],
)
def test_channel_that_changes_in_a_held_ones_rows_is_held_with_it(own_rows: list[int], found: bool):
    """Two hits of one in five are a chance of 4 %; nine of ten must hit, between the other's first and last."""
    assert (beside(own_rows) == "battery_v") is found


def test_longest_held_channel_is_named_first():
    """Both change with it; and a channel that never changes tells nothing of others."""
    at = np.arange(80)
    given = trace(at * 0.01, key_v=at // 10, feed_v=at // 10, battery_v=at // 5, load_a=at * 0)

    assert _beside([given], "key_v", {"battery_v": 0.05, "feed_v": 0.1}, 0.01) == "feed_v"
    assert _beside([given], "key_v", {"load_a": 0.05}, 0.01) is None


@pytest.mark.parametrize(
    ("x", "ramp_s"),
    [
        ([0, 0, 0, 3, 6, 9, 12, 12, 12], 0.04 / 0.6),
        ([0, 0, 0, 4, 8, 12, 12, 12], None),
        ([12, 12, 12, 9, 6, 3, 0, 0, 0], 0.04 / 0.6),
        ([0, 0, 2.3, 3, 6, 9, 9.7, 12, 12], 0.04 / 0.6),
        ([0, 0, 2.5, 3, 6, 9, 9.5, 12, 12], 0.06 / 0.6),
        ([0, 0, 0, 0.7, 1.4, 2.1, 2.8, 2.8, 2.8], None),
        ([0, 0, 0, 0.8, 1.6, 2.4, 3.2, 3.2, 3.2], 0.04 / 0.6),
        ([0, 0, 2.5, 5, 7.5, 10, 12, 12, 9, 6, 3, 0, 0], 0.04 / 0.6),
        ([NAN] * 9, None),
    ],
)
def test_ramp_is_an_edge_of_four_rows(x: list[float], ramp_s: float | None):
    """From a fifth to four fifths of a swing of 3 V or more, carried on to its whole; the shortest counts."""
    given = trace(np.arange(len(x)) * 0.01, trigger_v=x, battery_v=[12.0] * len(x))

    assert _shortest_ramp_s([given]) == (None if ramp_s is None else pytest.approx(ramp_s))


def test_longer_step_is_claimed_from_one_and_a_half_rows_on():
    """Samples in every other row are 20 ms apart, one in two and the rows' own 10 ms are not claimed."""
    t = np.arange(60) * 0.01
    half = trace(t, battery_v=np.where(np.arange(60) % 2, NAN, 1.0), feed_v=np.ones(60))

    assert true_steps([half]).by_role == {"battery_v": pytest.approx(0.02)}
    assert true_steps([trace(after(*[0.01, 0.014] * 10), feed_v=np.ones(21))]).by_role == {}
    assert true_steps([trace([0, 1], feed_v=[1, 2])]) == true_steps([])


def test_held_channel_and_what_changes_with_it_are_claimed():
    """Readings that stand for 50 ms; a circuit changes in the same rows, the battery's current in others."""
    at = np.arange(120)
    given = trace(at * 0.01, battery_v=at // 5, slot1_a=at // 10, battery_a=(at + 2) // 40)

    assert true_steps([given]).by_role == {"battery_v": pytest.approx(0.05), "slot1_a": pytest.approx(0.05)}
