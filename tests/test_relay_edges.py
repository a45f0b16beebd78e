"""Pull-in and drop-out at the edges: moves of no time, levels that are hardly read, and slow rows, on lines by hand."""

import math

import numpy as np
import pytest
from hand_relay import during, relay

from benchlog.analysis.true_step import TrueSteps
from benchlog.core.trace import Trace
from benchlog.examine.observe_relay import coil_kick
from benchlog.examine.relay_checks import _level, examine_relay

NAN = float("nan")


def pull_in(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_pull_in"]


def drop_out(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_drop_out"]


def test_move_of_no_time_ends_where_it_began():
    """Trigger and feed move between the same two samples; a gap soon after hides nothing of it."""
    one = pull_in(live=((2.0, 8.02),), keep=lambda t: (t < 2.1) | (t >= 2.9))

    assert (one.value, one.from_s, one.to_s) == (0.0, 1.9995, 1.9995)


def test_slowest_of_two_is_found_beside_one_of_no_time():
    """None and 14 ms, in either order."""
    up = ((2.0, 8.0), (12.0, 18.0))

    for first, second in ((2.0, 12.014), (2.014, 12.0)):
        one = pull_in(up=up, live=((first, 8.02), (second, 18.02)), end_s=20.0)
        assert one.value == pytest.approx(14.0, abs=0.01)


@pytest.mark.parametrize(("from_s", "told"), [(2.0, 6.0), (3.5, 12.0), (8.4, 12.0), (8.6, NAN)])
def test_level_is_the_middle_of_what_was_read_there_else_around_it(from_s, told):
    """Two seconds to both sides: 6 V until 2.5 s, none until 4.5 s, and 12 V from then until 6.5 s."""
    t = np.arange(0.0, 10.0, 0.1) + 0.05
    volts = np.where(t < 2.5, 6.0, np.where((t > 4.5) & (t < 6.5), 12.0, NAN))
    trace = Trace(t, {"feed_v": volts}, {})

    found = _level(trace, from_s, from_s + 0.3)
    assert (math.isnan(found) and math.isnan(told)) or found == told


def test_level_around_is_the_middle_of_all_samples_there():
    """From 2 s before to 2 s after: 20 of 6 V and 24 of 12 V; beyond these others stand that do not count."""
    t = np.arange(0.0, 20.0, 0.1) + 0.05
    volts = np.where((t > 8) & (t < 10), 6.0, np.where((t > 10.5) & (t < 12.5), 12.0, NAN))
    wider = np.where((t < 8) | (t > 12.5), 1.0, volts)
    trace = Trace(t, {"feed_v": wider}, {})

    assert _level(trace, 10.0, 10.5) == 9.0


def test_feed_that_stands_above_half_of_a_low_level_counts_from_nothing():
    """4.6 V before and 8.8 V after: more than half, so that 4.4 V are passed already."""

    def low(t):
        return np.where(t < 2.01, 4.6, 8.8)

    assert pull_in(lines={"feed_v": low}).why == "no pull-in could be timed: the feed was live already"
    assert pull_in(lines={"feed_v": lambda t: np.where(t < 2.01, 4.3, 8.8)}).value == pytest.approx(10.0, abs=0.6)


def extents(step_s, **how):
    """How far before and after its event each window reaches, in s."""
    found = examine_relay(relay(step_s=step_s, up=((20.0, 60.0),), live=((20.0 + step_s, 60.0 + step_s),), **how))
    both = found.pull_ins[0], found.drop_outs[0]
    return [(round(at - trace.time_s[0], 1), round(trace.time_s[-1] - at, 1)) for trace, at in both]


def test_slow_rows_are_looked_at_five_before_and_eight_after():
    """Of half a second, the halves of the edge beside; of 50 ms half a second and one second are more."""
    assert extents(0.5, end_s=80.0) == [(2.8, 4.2), (2.8, 4.2)]
    assert extents(0.05, end_s=80.0) == [(0.5, 1.0), (0.5, 1.0)]


def test_end_of_a_state_ends_its_window():
    """The trigger falls again 0.6 s after its rise, and rises 0.7 s after its fall."""
    found = examine_relay(relay(up=((2.0, 2.6), (3.3, 8.0)), live=((2.01, 2.62), (3.31, 8.02))))

    assert [round(trace.time_s[-1], 3) for trace, _ in found.pull_ins] == [2.599, 4.3]
    assert [round(trace.time_s[-1], 3) for trace, _ in found.drop_outs] == [3.299, 9.0]


@pytest.mark.parametrize(("limit", "doubt"), [(10.5, False), (9.5, True)])
def test_rows_slower_than_the_limit_may_hide_an_earlier_closing(limit, doubt):
    """10 ms of the feed's, 70 ms late; those of the trigger alone hide none."""
    how = {"step_s": 0.01, "live": ((2.07, 8.02),), "limits": (limit, None)}

    closed = "samples 10 ms apart can miss that the contact closed before"
    assert (pull_in(**how).disqualified == closed) is doubt
    held = pull_in(step_s=0.001, live=((2.07, 8.02),), limits=(limit, None), steps=TrueSteps({"trigger_v": 0.01}))
    assert held.disqualified is None


def test_widest_step_of_trigger_or_feed_may_miss_the_bounce():
    """Each of 6 ms behind rows of a millisecond."""
    how = {"live": ((2.035, 8.02),), "limits": (20.0, None)}

    for role in ("trigger_v", "feed_v"):
        one = pull_in(**how, steps=TrueSteps({role: 0.006}))
        assert one.disqualified == "samples 6 ms apart can miss the bounce of the key's contact"
    assert pull_in(**how).disqualified is None


def test_feed_that_only_one_of_two_falls_leaves_open_is_in_doubt():
    """Without the battery's voltage the second falls slowly, as with the engine."""

    def feed(t):
        steep = 12.4 * during(t, (2.01, 8.02))
        return np.where(t < 12.01, steep, np.clip(12.4 * (1 - (t - 18.02) / 0.5), 0.0, 12.4))

    two = {"up": ((2.0, 8.0), (12.0, 18.0)), "end_s": 20.0, "without": ["battery_v"]}
    found = drop_out(lines={"feed_v": feed}, **two)
    assert found.story == "the slowest of 2"
    assert found.one_sided.startswith("without battery_v the fall of the feed may be the engine stopping")


def test_line_that_never_goes_shows_no_kick_by_its_level():
    """It falls from 12.4 to 11.5 V; there is no fall that would hide a coil."""
    one = relay(lines={"trigger_v": lambda t: np.where(t < 8.0, 12.4, 11.5)})

    assert coil_kick(one)["coil_kick_v"].value == pytest.approx(-11.5)
