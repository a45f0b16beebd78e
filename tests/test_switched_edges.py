"""When a line is up: each limit from both sides, on points written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.switched import SwitchedLine, hold_state, line_state, without_chatter

NAN = math.nan


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def line(mean, low=None, high=None, battery=None) -> SwitchedLine:
    """Of points 50 ms apart."""
    means = {"trigger_v": mean} | ({} if battery is None else {"battery_v": battery})
    lows, highs = ({} if x is None else {"trigger_v": x} for x in (low, high))
    found = line_state(points(0.05, means, lows, highs), "trigger_v")
    assert found is not None
    return found


def beside(share: float, low_v: float = 10.4, known: bool = True) -> SwitchedLine:
    """A line that stands at a share of the battery, which goes from so much to 14.4 V and back."""
    battery = parts((100, low_v), (100, 14.4), (50, low_v))
    return line(share * battery, battery=np.where(battery < 14, battery if known else NAN, battery))


@pytest.mark.parametrize(
    ("share", "low_v", "moves"), [(0.84, 10.4, True), (0.86, 10.4, False), (0.88, 5.6, True), (0.88, 5.8, False)]
)
def test_line_that_keeps_85_per_cent_of_the_battery_and_5_v_was_never_off(share: float, low_v: float, moves: bool):
    """It went with the battery: up throughout, on no levels of its own."""
    found = beside(share, low_v)

    assert found.moves is moves
    assert bool(found.up.all()) is not moves
    assert (found.levels is None) is not moves
    assert not found.pulsed.any()


def test_line_is_off_where_no_battery_is_known_beside_it():
    """Not logged, or not read while the line was down."""
    battery = parts((100, 10.4), (100, 14.4), (50, 10.4))

    assert line(0.9 * battery).moves
    assert beside(0.9, known=False).moves
    assert not beside(0.9).moves


def test_states_lie_between_minus_1_and_18_v():
    """What is beyond counts as there."""
    levels = line(parts((50, -5.0), (50, 30.0))).levels

    assert levels is not None
    assert (levels.low, levels.high) == (-1.0, 18.0)


def test_one_point_that_was_read_is_enough():
    """Others may be missing."""
    assert line(parts((3, NAN), (1, 12.0))).up.tolist() == [True] * 4
    assert line(parts((20, 0.0), (3, NAN), (20, 12.0))).moves


def test_spikes_in_every_point_move_no_level():
    """0.1 and 12.6 V on the mean, with samples down to −0.9 V and up to 17 V."""
    up = parts((50, 0.0), (50, 1.0)) > 0

    levels = line(np.where(up, 12.6, 0.1), np.where(up, 12.4, -0.9), np.where(up, 17.0, 0.1)).levels

    assert levels is not None
    assert (levels.low, levels.high) == pytest.approx((0.1, 12.6), abs=0.05)


def test_pulses_that_leave_the_mean_alone_have_the_extremes_as_levels():
    """A line at 6 V on the mean in every point, between 0 and 12 V: pulsed, and up."""
    found = line(np.full(100, 6.0), np.zeros(100), np.full(100, 12.0))

    assert found.levels is not None
    assert (found.levels.low, found.levels.high) == pytest.approx((0.0, 12.0), abs=0.1)
    assert found.pulsed.all()
    assert found.up.all()
    assert not found.moves


@pytest.mark.parametrize(
    ("at_v", "before_v", "up"), [(5.0, 12.0, True), (4.6, 12.0, False), (7.0, 0.0, False), (7.4, 0.0, True)]
)
def test_state_changes_at_40_and_60_per_cent(at_v: float, before_v: float, up: bool):
    """4.8 and 7.2 of 12 V; between them it stays as it was."""
    x = parts((60, 0.0), (60, 12.0), (20, before_v), (10, at_v))

    assert line(x).up[-10:].tolist() == [up] * 10


@pytest.mark.parametrize(
    ("x", "states"),
    [
        ([6, 5, 4], [True, True, False]),
        ([4, 5, 6], [False, False, True]),
        ([5, NAN, 6, 5, 4], [True, True, True, True, False]),
        ([5, 4, 6], [False, False, True]),
        ([NAN, 5], [False, False]),
        ([], []),
    ],
)
def test_undecided_samples_are_as_the_one_before_or_the_first(x: list[float], states: list[bool]):
    """Down at 4, up at 6."""
    assert hold_state(np.array(x, dtype=float), 4.0, 6.0).tolist() == states


@pytest.mark.parametrize(
    ("step_s", "rows", "kept"),
    [(0.1, 1, False), (0.1, 2, True), (0.19, 1, False), (0.21, 1, True), (0.01, 4, False), (0.01, 6, True)],
)
def test_one_sample_of_a_fast_log_is_no_dwell(step_s: float, rows: int, kept: bool):
    """Of up to 0.2 s; nor is what lasts less than 50 ms. Of a slower log it may be all there is."""
    up = np.ones(40, dtype=bool)
    up[20 : 20 + rows] = False

    assert without_chatter(up, np.arange(40) * step_s, 0.05).all() == (not kept)
    assert without_chatter(up[:1], np.zeros(1), 0.05).tolist() == [True]
