"""Levels beside a change, and which edge of a bounce counts: each reach from both sides."""

import math

import numpy as np
import pytest

from benchlog.analysis.bounce import event_edge, line_moves, train, working_edge
from benchlog.analysis.levels import Crossing


def edges(*times: float, first: str = "high") -> list[Crossing]:
    """Passages in turn."""
    names = ("high", "low") if first == "high" else ("low", "high")
    return [Crossing(t, t, t, n, names[n % 2]) for n, t in enumerate(times)]


def moved(t, x, at_s: float, to: str, low: float | None = 0.0) -> list[float]:
    """When the line passes."""
    return [each.time_s for each in line_moves(np.array(t, dtype=float), np.array(x, dtype=float), at_s, to, low)]


@pytest.mark.parametrize(
    ("x", "low", "at_s"),
    [
        ([0, 0, 12, 12], None, [1.5]),
        ([0, 12, 12], None, []),
        ([0, 0, math.nan, 12], None, []),
        ([0, 0, 12, 12], -2.0, [1 + 5 / 12]),
        ([4, 4, 12, 12], None, [1.5]),
        ([5, 5, 5.9, 5.9], None, []),
        ([5, 5, 6.5, 6.5], None, [1.5]),
    ],
)
def test_line_passes_half_of_its_levels(x: list[float], low: float | None, at_s: list[float]):
    """Of the lowest sample, or of the low level over the log; four samples and 1 V at least."""
    assert moved(range(len(x)), x, 2.0, "high", low) == pytest.approx(at_s)


def test_high_level_is_that_of_the_two_and_a_half_seconds_before_a_fall():
    """14 V until 7 s, 12 V until 10 s, then nothing: half of 12 V."""
    t = np.arange(0, 15, 0.5)

    assert moved(t, np.where(t < 7, 14.0, np.where(t <= 10, 12.0, 0.0)), 10.0, "low") == pytest.approx([10.25])


def test_high_level_is_that_of_four_tenths_after_a_rise():
    """12 V from 10 s on, 14 V from 10.5 s on: half of 12 V; where no sample is near, that of all."""
    t = np.arange(0, 120) / 10
    x = np.where(t < 9.95, 0.0, np.where(t < 10.45, 12.0, 14.0))

    assert moved(t, x, 10.0, "high") == pytest.approx([9.95])
    assert moved(t, x, 100.0, "high") == pytest.approx([9.9 + 0.1 * 7 / 12])


@pytest.mark.parametrize(
    ("beside", "level"),
    [
        ([12.0] * 50 + [30.0], 12.0),
        ([12.0] * 3 + [5.0] * 8, 12.0),
        ([10, 11, 12, 13, 14], 13.0),
    ],
)
def test_high_level_is_the_upper_quarter_of_the_upper_half(beside: list[float], level: float):
    """A spike, and what lies in the lower half, do not count: 50 mV a row tell the level by where half is passed."""
    t = np.arange(len(beside) + 4) * 0.005
    found = moved(t, [*beside, level, 0.0, 0.0, 0.0], t[len(beside) - 1], "low")

    assert found[-1] == pytest.approx(t[len(beside)] + 0.0025)


@pytest.mark.parametrize(("again_s", "event_s"), [(1.055, 1.0), (1.065, 1.065)])
def test_pause_of_50_ms_ends_a_bounce(again_s: float, event_s: float):
    """Down from 1.01 s on for 45 or for 55 ms."""
    assert event_edge(edges(1.0, 1.01, again_s), again_s, "high").time_s == event_s


@pytest.mark.parametrize(("last_s", "event_s"), [(1.095, 1.0), (1.105, 1.06)])
def test_bounce_reaches_a_tenth_of_a_second(last_s: float, event_s: float):
    """However short its pauses are."""
    assert event_edge(edges(1.0, 1.04, 1.06, 1.09, last_s), last_s, "high").time_s == event_s


def test_line_that_is_not_pulsed_goes_down_with_its_first_edge():
    """Falls at 1.0, 1.03 and, long after, at 1.3 s; a line that never rises has no rise."""
    moves = edges(1.0, 1.01, 1.03, 1.04, 1.3, first="low")

    assert event_edge(moves, 1.03, "low").time_s == 1.0
    assert event_edge(moves, 1.03, "low", pulsed=True).time_s == 1.03
    assert event_edge(edges(1.0, first="low"), 1.0, "high") is None


def test_train_ends_with_its_reach_or_a_pause():
    """A tenth of a second after its first edge; without that, behind a tenth without an edge."""
    near, far = edges(1.0, 1.03, 1.06, 1.09, 1.12), edges(1.0, 1.03, 1.05, 1.08, 1.16)

    assert [edge.time_s for edge in train(near, near[0])] == [1.0, 1.06]
    assert [edge.time_s for edge in train(near, near[0], math.inf)] == [1.0, 1.06, 1.12]
    assert [edge.time_s for edge in train(far, far[0], math.inf)] == [1.0, 1.05]


@pytest.mark.parametrize(
    ("down_s", "up_s", "works_s"),
    [(1.010, 1.0115, 1.0), (1.010, 1.013, 1.013), (1.001, 1.0025, 1.0025), (1.0025, 1.004, 1.0)],
)
def test_coil_notices_a_pause_of_2_ms_or_one_as_long_as_the_touch(down_s: float, up_s: float, works_s: float):
    """1.5 ms within a touch of 10 ms are nothing, after one of 1 ms they are all."""
    moves = edges(1.0, down_s, up_s, 1.5)

    assert working_edge(moves, moves[0], 1.1).time_s == works_s


def test_coil_worked_from_the_first_edge_where_the_contact_moved_before_any():
    """The contact moved at 0.9 s."""
    moves = edges(1.0, 1.01, 1.02)

    assert working_edge(moves, moves[0], 0.9).time_s == 1.0
