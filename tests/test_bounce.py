"""Which edge of a bouncing contact is the event, and from which one the coil worked."""

import numpy as np
import pytest

from benchlog.analysis.bounce import event_edge, line_moves, train, working_edge
from benchlog.analysis.levels import Crossing


def _edges(*times, first="high"):
    """Passages in turn, each between two samples 1 ms apart."""
    other = {"high": "low", "low": "high"}
    found, to = [], first
    for n, t in enumerate(times):
        found.append(Crossing(t, t - 0.0005, t + 0.0005, n, to))
        to = other[to]
    return found


def test_first_of_a_bounce_is_the_event():
    """Three touches within 40 ms, looked for at the last of them."""
    moves = _edges(1.000, 1.004, 1.012, 1.020, 1.040)

    assert event_edge(moves, 1.041, "high").time_s == 1.000
    assert [edge.time_s for edge in train(moves, moves[0])] == [1.000, 1.012, 1.040]


def test_touch_long_before_is_another_event():
    """A pulse 0.3 s before belongs to something else."""
    moves = _edges(0.700, 0.703, 1.000, 1.004, 1.012)

    assert event_edge(moves, 1.012, "high").time_s == 1.000


def test_pulsed_line_goes_down_with_its_last_pulse():
    """Every pause is a fall; the key-off is the last of them."""
    times = np.arange(0.0, 0.5, 0.005)
    moves = _edges(*times)

    assert event_edge(moves, 0.25, "low", pulsed=True).time_s == pytest.approx(times[-1])
    assert event_edge(moves, 0.25, "high", pulsed=True).time_s == 0.0


def test_coil_works_from_the_last_edge_before_the_contact():
    """A pause of 8 ms lets the coil begin anew; one of 1 ms within a touch of 10 ms does not."""
    anew, hardly = _edges(1.000, 1.003, 1.011), _edges(1.000, 1.010, 1.011)

    assert working_edge(anew, anew[0], 1.021).time_s == 1.011
    assert working_edge(anew, anew[0], 1.002).time_s == 1.000
    assert working_edge(hardly, hardly[0], 1.021).time_s == 1.000


def test_slow_fall_is_crossed_at_half_of_the_level_before_it():
    """A line that falls with 2 s from 12.4 V, spikes on it: half way after ln 2 of that."""
    t = np.arange(0.0, 12.0, 0.001)
    x = 12.4 * np.exp(-np.maximum(t - 4.0, 0.0) / 2.0)
    x[2000:4000:97] = 18.0

    (found,) = line_moves(t, x, 4.0 + 2 * np.log(2), "low", 0.0)

    assert found.time_s - 4.0 == pytest.approx(2 * np.log(2), abs=0.1)


def test_line_without_samples_or_swing_has_no_passage():
    """Nothing valid, or noise alone."""
    t = np.arange(0.0, 1.0, 0.001)

    assert line_moves(t, np.full(len(t), np.nan), 0.5, "high", None) == []
    assert line_moves(t, np.full(len(t), 12.4), 0.5, "high", None) == []
