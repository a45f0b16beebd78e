"""Which stretches of a log tell how fast its logger sees: around its edges and amid its key-ons, on logs by hand."""

import numpy as np
import pytest
from hand_bench import HandLog, story, times

from benchlog.analysis.levels import Crossing
from benchlog.analysis.true_step import TrueSteps
from benchlog.examine.context import KeyTurn
from benchlog.examine.pace import steps_of


class Asked(HandLog):
    """Notes which stretches are read, and of which channels."""

    def __init__(self, time_s, values):
        super().__init__(time_s, values)
        self.asked = []

    def trace(self, from_s, to_s, roles=None):
        """The same samples."""
        self.asked.append((from_s, to_s, tuple(roles)))
        return super().trace(from_s, to_s, roles)


def asked(time_s=None, told=None, values=None):
    """The stretches that are read of a log of 60 s."""
    t = times(60.0, 0.01) if time_s is None else time_s
    log = Asked(t, values or {"battery_v": 12.5})
    steps_of(log, told or story(((0.0, t[-1]),)))
    return log.asked


def middles(**how):
    """Of each, s."""
    return [pytest.approx((a + b) / 2) for a, b, _ in asked(**how)]


def test_voltages_and_currents_are_asked_for_and_nothing_else():
    """A temperature is slow by itself."""
    (one,) = asked(values={"battery_v": 12.5, "battery_a": 1.0, "battery_c": 20.0})

    assert one[2] == ("battery_v", "battery_a")


def test_eight_edges_and_four_key_ons_are_the_most():
    """Of twenty turns and ten key-ons, spread evenly from first to last."""
    turns = tuple(KeyTurn(2.0 * n + 1.0, 0.001, True) for n in range(20))
    on = tuple((6.0 * n, 6.0 * n + 1.0) for n in range(10))

    at = [0, 2, 5, 8, 10, 13, 16, 19]
    assert middles(told=story(on, turns=turns)) == [2.0 * n + 1.0 for n in at] + [6.0 * n + 0.5 for n in (0, 3, 6, 9)]


def test_trigger_and_key_are_edges_alike_each_once():
    """Rises, falls and turns in the order of their times."""
    rises = (Crossing(30.0, 29.99, 30.0, 0, "high"),)
    falls = (Crossing(40.0, 39.99, 40.0, 0, "low"),)
    turns = (KeyTurn(20.0, 0.01, True), KeyTurn(30.0, 0.01, True))

    told = story(((20.0, 30.0),), rises=rises, falls=falls, turns=turns)
    assert middles(told=told) == [20.0, 30.0, 40.0, 25.0]


def test_log_without_a_key_on_is_read_in_its_middle():
    """Of 10 to 70 s."""
    told = story((), ((10.0, 70.0),), turns=())

    assert middles(time_s=10.0 + times(60.0, 0.01), told=told) == [pytest.approx(39.995)]


def reach(time_s):
    """To both sides of what is read, s."""
    a, b, _ = asked(time_s)[0]
    return (b - a) / 2


def packets(apart_s):
    """Five rows 10 ms apart, then nothing for a while."""
    return np.concatenate([n * apart_s + np.arange(5) * 0.01 for n in range(20)])


def test_second_or_ten_rows_are_read_to_both_sides():
    """Of rows 10 ms and 0.3 s apart."""
    assert reach(times(60.0, 0.01)) == pytest.approx(1.0)
    assert reach(times(60.0, 0.3)) == pytest.approx(3.0)


def test_four_packets_are_read_to_both_sides_and_half_a_minute_at_most():
    """Packets 2, 7 and 9 s apart."""
    assert reach(packets(2.0)) == pytest.approx(4 * 1.96)
    assert reach(packets(7.0)) == pytest.approx(4 * 6.96)
    assert reach(packets(9.0)) == pytest.approx(30.0)


def many(apart_s, rows=20):
    """Packets of many rows 10 ms apart."""
    return np.concatenate([n * apart_s + np.arange(rows) * 0.01 for n in range(20)])


def test_gaps_in_which_half_of_the_time_lies_are_those_between_packets():
    """However many rows each has: 2 s apart with 0.2 s of rows, or with 1.5 s of them."""
    assert reach(many(2.0)) == pytest.approx(4 * 1.81)
    assert reach(many(2.0, 150)) == pytest.approx(1.0)


def test_packets_further_apart_than_half_a_minute_are_not_looked_for():
    """Of 29 s and of 31 s."""
    assert reach(many(29.0)) == pytest.approx(30.0)
    assert reach(many(31.0)) == pytest.approx(1.0)


def test_rows_further_apart_than_half_a_second_tell_nothing():
    """Nor does a log of one row."""
    assert asked(times(600.0, 0.499))
    assert asked(times(600.0, 0.501)) == []
    single = Asked(np.array([0.0]), {"battery_v": 12.5})
    assert steps_of(single, story()) == TrueSteps()
    assert single.asked == []
