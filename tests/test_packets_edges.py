"""Rows that share about one stamp: how fast the logger really sees, and what is steadied over a time."""

import numpy as np
import pytest
from coarse_points import points
from hand_bench import HandLog, story, times

from benchlog.analysis.charging import _step_s, course_mean, rises_slowly, steadied, without_pulses
from benchlog.analysis.cranking import find_cranks
from benchlog.analysis.true_step import in_packets
from benchlog.core.trace import Array, Trace
from benchlog.examine.pace import _apart_s, steps_of


def packed(t: Array, rows: int) -> Array:
    """Each packet's rows stamped as it is sent, 10 µs apart."""
    at = np.arange(len(t))
    return t[np.minimum((at // rows + 1) * rows, len(t)) - 1] + at % rows * 1e-5


def a_log(rows: int, step_s: float = 0.05, pause_s: float = 0.0) -> HandLog:
    """A key line that comes up half way through two minutes, with a pause in the log after the first."""
    t = times(120.0, step_s)
    stamps = packed(t, rows)
    volts = 12.4 * (t > 60.2) + np.random.default_rng(3).normal(0, 0.01, len(t))
    return HandLog(np.where(t > 30, stamps + pause_s, stamps), {"key_v": volts})


@pytest.mark.parametrize(("rows", "step_s"), [(4, 0.2), (20, 1.0), (60, 3.0), (120, 6.0)])
def test_packets_tell_their_distance_however_many_rows_they_hold(rows: int, step_s: float):
    """Twenty rows a second: half of the log's time lies between packets."""
    found = steps_of(a_log(rows), story(on=((60.2, 120.0),), off=((0.0, 60.2),)))

    assert found.by_role["key_v"] == pytest.approx(step_s, rel=0.01)


def test_pauses_of_an_even_log_are_no_packets():
    """Nor are rows half a second apart and more timed at all."""
    told = story(on=((60.2, 120.0),), off=((0.0, 60.2),))

    assert steps_of(a_log(1), told).by_role == {}
    assert steps_of(a_log(1, pause_s=20.0), told).by_role == {}
    assert steps_of(a_log(20, 0.6), told).by_role != {}
    assert steps_of(HandLog(times(120.0, 0.6), {"key_v": np.zeros(200)}), told).by_role == {}


def test_rows_between_captures_are_no_packets():
    """A second at a kilohertz here, half a second there, and a row every 0.7 s else; nor are two rows, or none."""
    fine = [at + np.arange(rows) * 0.001 for at, rows in ((10.0, 1000), (20.0, 500), (30.0, 1000), (40.0, 90))]
    captures = np.sort(np.concatenate([np.arange(70) * 0.7 + 0.0005, *fine]))

    assert in_packets([Trace(packed(times(60.0, 0.05), 20), {}, {})])
    assert not in_packets([Trace(captures, {}, {})])
    assert not in_packets([Trace(times(60.0, 0.05), {}, {})])
    assert not in_packets([Trace(times(2.0, 1.0), {}, {})])
    assert not in_packets([])


def test_distance_is_the_step_in_which_half_of_the_time_lies():
    """A gap of more than 30 s is none; without any step it is nothing."""
    assert _apart_s(np.array([0.0, 0.1, 0.1, 2.0, 0.1, 0.1, 2.0])) == 2.0
    assert _apart_s(np.array([0.0, 0.1, 0.1, 0.1, 29.0])) == 29.0
    assert _apart_s(np.array([0.0, 0.1, 0.1, 0.1, 31.0])) == 0.1
    assert _apart_s(np.empty(0)) == 0.0


@pytest.mark.parametrize("packet_s", [1.0, 5.0, 9.0])
def test_points_of_packets_are_steadied_as_if_they_came_evenly(packet_s: float):
    """Points 0.195 s apart: 1.2 s of them are seven, whatever their stamps."""
    t = times(156.0, 0.195)
    x = np.random.default_rng(4).normal(0, 1.0, len(t))
    stamps = packed(t, round(packet_s / 0.195))

    assert steadied(x, stamps, 1.2).tolist() == steadied(x, t, 1.2).tolist()
    assert without_pulses(x, stamps).tolist() == without_pulses(x, t).tolist()


@pytest.mark.parametrize(("packet_s", "told"), [(9.0, True), (12.0, False)])
def test_packets_come_within_ten_seconds(packet_s: float, told: bool):
    """What lies further apart is a part left out."""
    step_s = _step_s(packed(times(156.0, 0.195), round(packet_s / 0.195)))

    assert step_s == pytest.approx(0.195 if told else 1e-5, rel=0.1)


@pytest.mark.parametrize("apart_s", [8.0, 70.0])
def test_parts_that_were_left_out_are_no_packets(apart_s: float):
    """Six stretches of 6 s, some time or a minute and more apart, are steadied as one of 36 s."""
    t = times(36.0, 0.19)
    x = np.random.default_rng(4).normal(0, 1.0, len(t))
    apart = t + np.arange(len(t)) // 30 * apart_s

    assert steadied(x, apart, 1.2).tolist() == steadied(x, t, 1.2).tolist()
    assert course_mean(x, apart) == course_mean(x, t)


def test_points_further_apart_than_any_packets_are_taken_as_they_come():
    """12 s apart: two and a half make half a minute."""
    t = np.arange(20) * 12.0
    x = np.random.default_rng(4).normal(0, 1.0, 20)

    assert steadied(x, t, 30.0).tolist() == steadied(x, t / 12.0, 2.5).tolist()


@pytest.mark.parametrize(("true_step_s", "slow"), [(0.0, True), (0.39, True), (0.41, False)])
def test_change_is_slow_only_beyond_what_the_logger_can_see(true_step_s: float, slow: bool):
    """A second from a quarter to three quarters, two and a half true steps at the most."""
    t = times(4.0, 0.01)
    x = np.interp(t, [1.0, 3.0], [4.0, 10.0])

    assert rises_slowly(Trace(t, {"battery_a": x}, {}), "battery_a", 1.0, true_step_s) is slow


def test_switch_between_two_packets_is_not_slow():
    """Their second apart is no ramp, once it is known that they come a second apart."""
    t = times(4.0, 0.05)
    given = Trace(packed(t, 20), {"battery_a": np.where(t < 2.0, 4.0, 10.0)}, {})

    assert rises_slowly(given, "battery_a", 2.0)
    assert not rises_slowly(given, "battery_a", 2.0, 1.0)


@pytest.mark.parametrize("rows", [1, 10, 25, 50])
def test_each_crank_of_packets_is_found(rows: int):
    """Two of a second each, 20 s apart, in rows 20 ms apart: the first one recovers before the second."""
    t = times(60.0, 0.02)
    turns = ((t > 20) & (t < 21)) | ((t > 40) & (t < 41))
    table = points(packed(t, rows), {"battery_v": np.where(turns, 10.0, 12.6), "battery_a": np.where(turns, 90.0, 3.0)})

    assert [crank.from_s for crank in find_cranks(table)] == pytest.approx([20.0, 40.0], abs=1.0)
