"""Where in a log each channel's noise is read: beside engines, in pieces, and with the feed live, on logs by hand."""

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.noisy import noise_in


def points(log, role="battery_v", **told):
    """Times, s, and values of the points that a channel's noise is read from."""
    return noise_in(log, story(((log.start_s, log.end_s),), **told), {}, {})._points[role]


def plain(end_s=60.0, step_s=0.05, start_s=0.0):
    """A battery at 12.5 V."""
    return HandLog(start_s + times(end_s, step_s), {"battery_v": 12.5})


@pytest.mark.parametrize(
    "told", [{"cranks": (Crank(30.0, 32.0, 12.5, 1.0),)}, {"running": (Running(30.0, 32.0, "mark", 12.5, 1.0),)}]
)
def test_engine_is_left_out_from_half_a_second_before_to_five_after(told):
    """A crank and a run alike."""
    at, values = points(plain(), **told)
    beside = at[np.argmax(np.diff(at))], at[np.argmax(np.diff(at)) + 1]

    assert beside == (pytest.approx(29.5, abs=0.06), pytest.approx(37.0, abs=0.06))
    assert len(at) == len(values) == pytest.approx(1200 - 150, abs=3)


def test_two_hundred_points_beside_the_engine_are_enough():
    """Fewer are not, and all of the log is taken."""

    def left(from_s):
        return len(points(plain(), running=(Running(from_s, 60.0, "mark", 12.5, 1.0),))[0])

    assert left(10.475) == 200
    assert left(10.425) == 1200


def test_log_is_read_whole_up_to_twenty_minutes():
    """A longer one in six pieces of 200 s, from its first to its last; its clock may begin anywhere."""
    whole, _ = points(plain(1195.0, 0.5, start_s=5000.0))
    assert (len(whole), whole[0], whole[-1]) == (2390, 5000.0, 6194.5)
    parts, _ = points(plain(1250.0, 0.5, start_s=5000.0))
    assert len(parts) == pytest.approx(2400, abs=6)
    apart = np.flatnonzero(np.diff(parts) > 1.0)
    assert list(parts[apart + 1]) == pytest.approx([5210.0, 5420.0, 5630.0, 5840.0, 6050.0], abs=1.5)
    assert (parts[0], parts[-1]) == (5000.0, pytest.approx(6249.5, abs=0.6))


def test_points_are_twentieths_of_a_second():
    """Of samples 10 ms apart five make one."""
    assert len(points(plain(10.0, 0.01))[0]) == 200


def paths(feed=12.4, low_side_ohm=0.0, stated=None):
    """A battery at 12.5 V, a feed, and a bus that a shunt of 4 A lifts beside its own 20 mV."""
    t = times(20.0, 0.05)
    values = {"battery_v": 12.5, "feed_v": feed, "battery_a": 4.0, "ground_v": 0.02 + 4.0 * low_side_ohm}
    shunts = {"battery_a": low_side_ohm} if low_side_ohm else {}
    return noise_in(HandLog(t, values), story((), ((0.0, 20.0),)), stated or {}, shunts)


def test_drop_and_lift_have_noise_of_their_own():
    """The drop where the feed is above half of the battery, the lift without what a shunt adds."""
    found = paths(np.where(times(20.0, 0.05) < 10, 6.2, 6.3), 0.001)

    drop = found._points["drop_v"][1]
    assert np.isnan(drop[:200]).all()
    assert drop[200:] == pytest.approx(6.2)
    assert found._points["lift_v"][1] == pytest.approx(0.02)


def test_path_is_rounded_as_its_coarsest_channel():
    """Channels of no stated accuracy are as fine as can be."""
    assert paths()._resolutions == {"drop_v": 0.0, "lift_v": 0.0}
    stated = {"battery_v": Accuracy(0.0, 0.0, 0.01), "feed_v": EXACT, "ground_v": None, "battery_a": None}
    assert paths(stated=stated)._resolutions == {"battery_v": 0.01, "feed_v": 0.0, "drop_v": 0.01, "lift_v": 0.0}
    shunt = {"ground_v": Accuracy(0.0, 0.0, 0.001), "battery_a": Accuracy(0.0, 0.0, 0.02)}
    assert paths(low_side_ohm=0.001, stated=shunt)._resolutions["lift_v"] == 0.02
