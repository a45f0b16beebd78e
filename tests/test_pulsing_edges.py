"""Pulsed or switched, up or down: each share from both sides, on points written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.levels import Levels
from benchlog.analysis.pulses import Duty, duty
from benchlog.analysis.pulsing import Pulses, pulsed_points, pulses_of, steady_cycles
from benchlog.analysis.switched import drop_short, hold_state, line_state, without_chatter
from benchlog.core.trace import Trace

NAN = math.nan
LEVELS = Levels(0.0, 10.0)


def states(text: str) -> np.ndarray:
    """One letter a point: u for up."""
    return np.array([letter == "u" for letter in text])


def both(text: str, low=0.0, high=10.0, mean=5.0, step_s: float = 0.1) -> str:
    """Points that hold both states where there is a ``b``, else are up; which of them are pulsed, as ``p``."""
    mixed = np.array([letter == "b" for letter in text])
    found = pulsed_points(
        np.where(mixed, low, 10.0), np.where(mixed, high, 10.0), np.where(mixed, mean, 10.0), LEVELS,
        np.arange(len(text)) * step_s,
    )  # fmt: skip
    return "".join("p" if each else "." for each in found)


@pytest.mark.parametrize(
    ("low", "high", "mean", "pulsed"),
    [
        (3.9, 6.1, 5.0, True),
        *((4.1, 6.1, 5.0, False), (3.9, 5.9, 5.0, False)),
        *((0.0, 10.0, 0.9, True), (0.0, 10.0, 0.7, False)),
        *((0.0, 10.0, 9.1, True), (0.0, 10.0, 9.3, False)),
    ],
)
def test_pulsed_point_holds_both_states(low: float, high: float, mean: float, pulsed: bool):
    """Below 40 and above 60 %, up for 8 % of it and down for 8 %."""
    assert both("bbbbbbbb", low, high, mean) == ("p" if pulsed else ".") * 8


@pytest.mark.parametrize(
    ("text", "step_s", "found"),
    [
        *(("uubbbbuu", 0.1, "..pppp.."), ("uubbbuu", 0.1, ".......")),
        *(("uubbbbuu", 0.06, "........"), ("uubbbbuu", 0.065, "..pppp..")),
        *(("bbbb", 0.1, "pppp"), ("bbb", 0.1, "...")),
        *(("buubuubuub", 0.1, "pppppppppp"), ("buuubuuubuuub", 0.1, ".............")),
        ("buubuub", 0.1, "......."),
    ],
)
def test_train_lasts_a_quarter_of_a_second_and_holds_four_points(text: str, step_s: float, found: str):
    """Pauses of a tenth of the slowest cycle are bridged; three in ten hold both states."""
    assert both(text, step_s=step_s) == found


def train(*lengths: int, on: int = 5) -> np.ndarray:
    """Cycles of so many points, up first; down before and behind them."""
    return states("d" * 20 + "".join("u" * on + "d" * (n - on) for n in lengths) + "d" * 20)


@pytest.mark.parametrize(
    ("lengths", "on", "pulsed"),
    [
        *(([10] * 6, 5, True), ([10] * 5, 5, False)),
        *(([20] * 7, 5, True), ([26] * 7, 5, False)),
        *(([20, 20, 20, 23, 20, 20, 20, 20], 5, True), ([20, 20, 20, 25, 20, 20, 20, 20], 5, False)),
        *(([9] * 4 + [10] * 4, 1, False), ([8] * 7, 2, True)),
    ],
)
def test_even_cycles_are_no_hands(lengths: list[int], on: int, pulsed: bool):
    """Six of them at least, up to 2.5 s, within a tenth and two points; up for 8 % (16 % where one point is up)."""
    up = train(*lengths, on=on)

    found = steady_cycles(up, np.arange(len(up)) * 0.1)

    assert found.any() == pulsed
    if pulsed:
        assert not found[:20].any()
        assert found[20 : 20 + sum(lengths[:-1])].all()


def test_slow_cycles_need_points_that_lie_close():
    """Cycles of 1.5 s: two points of 0.1 s are more than a tenth of them, of 0.05 s they are not."""
    near, far = train(*[30] * 7, on=15), train(*[15] * 7, on=7)

    assert steady_cycles(near, np.arange(len(near)) * 0.05).any()
    assert not steady_cycles(far, np.arange(len(far)) * 0.1).any()


@pytest.mark.parametrize(("cycles", "step_s", "pulsed"), [(11, 0.6, True), (10, 0.6, False)])
def test_states_of_few_points_each_are_faster_pulses(cycles: int, step_s: float, pulsed: bool):
    """Ten cycles of five points where points lie 50 ms apart or more, however uneven they are."""
    up = train(*([5, 2] * cycles)[:cycles], on=1)

    assert steady_cycles(up, np.arange(len(up)) * step_s).any() == pulsed


def pulses(x, step_s: float = 0.01) -> Pulses | None:
    """Of single samples."""
    return pulses_of(Trace(np.arange(len(x)) * step_s, {"key_v": np.array(x, dtype=float)}, {}), "key_v", LEVELS)


def test_pulses_have_a_duty_a_rate_and_a_longest_pause():
    """Four pulses of 4 rows in cycles of 10 rows of 10 ms, one pause of 16 rows."""
    x = [0] * 5 + ([10] * 4 + [0] * 6) * 2 + [10] * 4 + [0] * 16 + [10] * 4 + [0] * 5

    found = pulses(x)

    assert found.duty == pytest.approx(16 / len(x))
    assert found.hz == pytest.approx(10.0)
    assert found.pause_s == pytest.approx(0.16)
    assert (found.from_s, found.to_s) == pytest.approx((0.0, 0.01 * (len(x) - 1)))


@pytest.mark.parametrize(
    ("x", "found"),
    [
        ([0, 10] * 2 + [0], False),
        ([0, 10] * 3 + [0], True),
        ([10] * 4, False),
        (([0] + [10] * 11) * 4, True),
        (([0] + [10] * 12) * 4, False),
        ([NAN, 0, 10, 0, 10, 0, 10], True),
    ],
)
def test_pulses_are_three_rises_and_pauses_of_a_twelfth(x: list[float], found: bool):
    """Down for less than 8 % it is spiked."""
    assert (pulses(x) is not None) is found


def test_pulse_is_up_above_half_of_its_levels():
    """A top of 9 of 10 V is up; levels of 2 and 12 V are as good."""
    x = ([0] * 5 + [9] * 5) * 4

    assert pulses(x).duty == 0.5
    assert pulsed_points(np.full(9, 2.0), np.full(9, 12.0), np.full(9, 3.0), Levels(2, 12), np.arange(9) * 0.1).all()
    assert not pulsed_points(
        np.full(9, 2.0), np.full(9, 12.0), np.full(9, 2.7), Levels(2, 12), np.arange(9) * 0.1
    ).any()


@pytest.mark.parametrize(("rows", "known"), [(8, True), (7, False)])
def test_rate_is_known_from_eight_rows_a_cycle(rows: int, known: bool):
    """Fewer may be a faster one."""
    assert math.isnan(pulses(([0] * 3 + [10] * (rows - 3)) * 5, 0.0625).hz) is not known


@pytest.mark.parametrize(
    ("mean", "low", "high", "expected"),
    [
        ([12, 12, 0, 0], [12, 12, 0, 0], [12, 12, 0, 0], Duty(1.0, 0.5, 1)),
        ([6, 6, 6, 6], [0, 0, 0, 0], [12, 12, 12, 12], Duty(1.0, 0.5, 4)),
        ([6, 6, 6, 6], [0, 0, 0, 0], [24, 24, 24, 24], Duty(1.2, 0.5 / 1.2, 4)),
        ([9, 9, 9, 9], [6.1, 6.1, 6.1, 6.1], [12, 12, 12, 12], Duty(0.75, 1.0, 0)),
        ([9, 9, 9, 9], [5.9, 5.9, 5.9, 5.9], [12, 12, 12, 12], Duty(1.0, 0.75, 4)),
        ([2.5, 2.5, 2.5, 2.5], [2.5] * 4, [2.5] * 4, Duty(2.5 / 12, 1.0, 0)),
        ([2.3, 2.3, 2.3, 2.3], [2.3] * 4, [2.3] * 4, Duty(2.3 / 12, 0.0, 0)),
        ([12, 0, 12, 0], [12, 0, 12, 0], [12, 0, 12, 0], Duty(1.0, 0.5, 2)),
        ([12, 6, 0, 0], [12, 0, 0, 0], [12, 12, 0, 0], Duty(1.0, 0.375, 1)),
        ([0.6, 0.6, 0.6, 0.6], [0, 0, 0, 0], [12, 12, 12, 12], Duty(0.05, 0.05, 4)),
        ([0.8, 0.8, 0.8, 0.8], [0, 0, 0, 0], [12, 12, 12, 12], Duty(1.0, 0.8 / 12, 4)),
    ],
)
def test_duty_of_a_line(mean, low, high, expected: Duty):
    """Beside 12 V: points that hold both states by half of it, or are up above a fifth; below 6 % it is down."""
    found = duty(*(np.array(x, dtype=float) for x in (mean, low, high)), np.full(4, 12.0))

    assert (found.level, found.part, found.falls) == (
        pytest.approx(expected.level), pytest.approx(expected.part), expected.falls,
    )  # fmt: skip


def test_duty_needs_two_points_beside_a_live_supply():
    """Of more than 1 V."""
    x = np.array([12.0, 12.0, NAN])

    assert duty(x, x, x, np.array([12.0, 12.0, 12.0])) is not None
    assert duty(x, x, x, np.array([12.0, 0.9, 12.0])) is None
    assert duty(x, x, x, np.array([12.0, 1.1, 12.0])) is not None
    assert duty(x, x, x, np.array([12.0, NAN, 12.0])) is None


def test_state_holds_between_its_two_thresholds():
    """Up from 6 on, down from 4 on, between them as it was; before the first that tells as that one."""
    assert hold_state(np.array([5.0, 5, 6, 5, 4, 5, 7]), 4.0, 6.0).tolist() == [
        True,
        True,
        True,
        True,
        False,
        False,
        True,
    ]
    assert hold_state(np.array([5.0, 4, 5]), 4.0, 6.0).tolist() == [False] * 3
    assert hold_state(np.array([5.0, 5]), 4.0, 6.0).tolist() == [False, False]


@pytest.mark.parametrize(
    ("text", "shortest_s", "kept"),
    [
        *(("uuuduuu", 1.5, "uuuuuuu"), ("dddudd", 1.5, "dddddd"), ("uuudduuu", 1.5, "uuudduuu")),
        *(("duuud", 9.0, "ddddd"), ("udddd", 9.0, "udddd"), ("ddddu", 9.0, "ddddu")),
    ],
)
def test_short_states_are_dropped_within_a_log(text: str, shortest_s: float, kept: str):
    """Those at its ends may have lasted longer."""
    assert drop_short(states(text), np.arange(float(len(text))), shortest_s).tolist() == states(kept).tolist()


@pytest.mark.parametrize(("step_s", "kept"), [(0.19, False), (0.21, True), (0.01, False)])
def test_one_sample_alone_is_no_dwell_in_a_fast_log(step_s: float, kept: bool):
    """Beyond 0.2 s it may be all there is of one."""
    up = states("uuuduuu")

    assert without_chatter(up, np.arange(7) * step_s, 0.005).tolist() == (up.tolist() if kept else [True] * 7)
    assert without_chatter(states("u"), np.array([0.0]), 0.05).tolist() == [True]


@pytest.mark.parametrize(
    ("volts", "up", "moves"),
    [
        ([0] * 10 + [3.1] * 10, [False] * 10 + [True] * 10, True),
        ([0] * 10 + [2.9] * 10, [False] * 20, False),
        ([5.1] * 20, [True] * 20, False),
        ([4.9] * 20, [False] * 20, False),
        ([NAN] * 10 + [12] * 10, [True] * 20, False),
    ],
)
def test_line_moves_by_three_volts_and_is_up_above_five(volts: list[float], up: list[bool], moves: bool):
    """A line of one level has no levels."""
    found = line_state(points(0.1, {"key_v": volts}), "key_v")

    assert (found.up.tolist(), found.moves, found.levels is not None) == (up, moves, moves)


def test_line_that_follows_the_battery_was_never_off():
    """Above 85 % of it and above 5 V where it seems down; else, or without a battery, it was off."""
    line = {"key_v": [7.0] * 10 + [14.0] * 10}
    seen = [line_state(points(0.1, line | {"battery_v": [b] * 10 + [14.0] * 10}), "key_v") for b in (8.0, 8.4)]

    assert [each.moves for each in seen] == [False, True]
    assert line_state(points(0.1, line), "key_v").moves
    low = {"key_v": [4.9] * 10 + [14.0] * 10, "battery_v": [5.0] * 10 + [14.0] * 10}
    assert line_state(points(0.1, low), "key_v").moves


def test_spikes_move_no_levels():
    """Beyond -1 and 18 V nothing is a state; a line that is not logged, or never read, has none."""
    spiked = line_state(points(0.1, {"key_v": [0] * 10 + [12] * 9 + [80]}), "key_v")

    assert spiked.levels.high < 18.1
    assert spiked.up.tolist() == [False] * 10 + [True] * 10
    assert line_state(points(0.1, {"key_v": [NAN] * 5}), "key_v") is None
    assert line_state(points(0.1, {"key_v": [0] * 5}), "feed_v") is None
