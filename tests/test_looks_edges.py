"""What of a log is looked at, and how closely: ends of ranges, flutters, zeros and reversed channels; by hand."""

import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, plan, story, times
from test_load_checks import a_bench as load_bench
from test_load_checks import loads, stretch
from test_off_state import found as off_found
from test_sense_edges import drained, notes
from test_zeroed_edges import a_log, logger

from benchlog.analysis.cranking import Crank
from benchlog.analysis.flutter import Flutter
from benchlog.core.errors import BadLog
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.clipped import use_clips
from benchlog.examine.load_checks import _refuse_reversed, find_loads
from benchlog.examine.steady import _counted
from benchlog.examine.zeroed import use_zeros
from benchlog.log.readers.hints import LONGEST_S


class Asked(HandLog):
    """Notes which stretches are read."""

    def trace(self, from_s, to_s, roles=None):
        """The same samples."""
        self.asked = [*getattr(self, "asked", []), (round(from_s, 2), round(to_s, 2))]
        return super().trace(from_s, to_s, roles)


def stands(*lengths, every=1000):
    """A noisy current that stands at 5 A for so many rows a time."""
    n = np.arange(every * len(lengths))
    x = np.round(np.minimum(3.5 + 0.4 * np.random.default_rng(2).normal(0, 1, len(n)), 4.5), 2)
    for at, rows in enumerate(lengths):
        x[at * every + 400 : at * every + 400 + rows] = 5.0
    return Asked(n * 0.1, {"battery_a": x})


def test_six_of_many_samples_at_the_end_are_looked_at_with_three_hundred_around_each():
    """Of ten stands of 40 samples those with the first, a fifth, and so on to the last."""
    log = stands(*[40] * 10)

    assert use_clips(log).clips
    middles = [(a + b) / 2 for a, b in log.asked]
    assert middles == pytest.approx([40.0, 143.9, 343.9, 543.9, 743.9, 943.9], abs=0.2)
    assert {round(b - a, 1) for a, b in log.asked} == {60.0}


def test_stretches_that_are_looked_at_do_not_overlap():
    """One stand of 40 samples: six of them within four seconds, read once and on."""
    log = stands(40)

    assert use_clips(log).clips
    ends = [to for _, to in log.asked]
    assert all(later >= end - 0.01 for (later, _), end in zip(log.asked[1:], ends, strict=False))


@pytest.mark.parametrize(("lengths", "from_s", "to_s"), [((40, 60), 140.0, 145.9), ((60, 40), 40.0, 45.9)])
def test_longest_stand_is_told(lengths, from_s, to_s):
    """Of two."""
    assert f"from {from_s:.1f} to {to_s:.1f} s" in use_clips(stands(*lengths)).notes[0]


@pytest.mark.parametrize(
    ("span", "step_s", "read"),
    [((10.0, 30.0), 0.01, (19.0, 21.0)), ((10.0, 30.0), 0.05, (18.0, 22.0)), ((19.5, 20.4), 0.01, (19.5, 20.4))],
)
def test_pulses_are_counted_amid_a_flutter(span, step_s, read):
    """A second, or forty rows, to both sides of its middle, and no further than it lasts."""
    log = Asked(times(60.0, step_s), {"battery_a": 1.0})
    _counted(bench(log, story(), plan()), Flutter(*span, 2.0), "battery_a")

    assert log.asked == [read]


def test_zero_of_a_channel_whose_steps_are_not_stated_is_as_fine_as_it_reads():
    """Neither it nor what it proves is coarser."""
    plain = {"resolution": None}
    got = use_zeros(a_log(), logger(**plain), {"battery_a": Accuracy(0.01, 0.05, 0.0)})
    assert got.zeros["battery_a"].u < 0.0001
    bare = use_zeros(a_log(), logger(**plain, offset_error=None), {"battery_a": None})
    assert bare.accuracy["battery_a"].resolution == 0.0
    stated = use_zeros(a_log(), logger(offset_error=None), {"battery_a": None})
    assert stated.accuracy["battery_a"].resolution == 0.001


@pytest.mark.parametrize(("end_s", "used"), [(10.3, True), (10.2, False)])
def test_zero_must_leave_two_samples_of_the_log(end_s, used):
    """It lasts from the log's start to 10 s."""
    log = a_log(marks=((0.0, "zero"), (10.0, "zero end")), end_s=end_s, battery_a=lambda t: np.full(len(t), 0.02))
    notes = use_zeros(log, logger(), {"battery_a": Accuracy(0.01, 0.05, 0.001)}).notes

    assert ("the zero was not used: it covers the whole log" in notes) is not used


def test_bike_that_is_awake_has_a_drain_of_its_last_settling_time():
    """0.4 A of the last 30 s."""
    drained, _ = off_found(amps=0.4, limits={"settle_max_s": 30.0})

    assert drained.value == pytest.approx(400.0, abs=1.0)
    assert drained.story.startswith("watched for 30 s")


@pytest.mark.parametrize(("u", "refused"), [(0.0075, True), (0.0081, False)])
def test_channel_is_reversed_where_the_rise_exceeds_three_uncertainties(u, refused):
    """30 mΩ the wrong way, from one step of 1.1 A: the doubt of two readings over it."""
    two = loads(stretch(10, 12.5, 0.0, u), stretch(20, 12.533, 1.1, u))
    one = load_bench(accuracy=EXACT)

    if refused:
        with pytest.raises(BadLog, match="rise together"):
            _refuse_reversed(one, two)
    else:
        _refuse_reversed(one, two)


@pytest.mark.parametrize(("ohm", "refused"), [(0.0021, True), (0.0019, False)])
def test_channel_is_reversed_from_two_milliohms_on(ohm, refused):
    """Less is what a channel's own error makes."""
    two = loads(stretch(10, 12.5, 0.0), stretch(20, 12.5 + ohm * 4, 4.0))

    if refused:
        with pytest.raises(BadLog, match="rise together"):
            _refuse_reversed(load_bench(), two)
    else:
        _refuse_reversed(load_bench(), two)


def test_feeds_stretch_ends_three_tenths_before_a_crank():
    """At 40 s, and the next begins a second after it."""
    cranked = load_bench(
        values=lambda t: {"feed_a": 2.0 + 0 * t, "feed_v": 12.5 + 0 * t}, cranks=(Crank(40.0, 41.0, 12.5, 1.0),)
    )
    ends = [(p.from_s, p.to_s) for p in find_loads(cranked).feed[0]]

    assert ends == [(pytest.approx(10.0), pytest.approx(39.7)), (pytest.approx(42.0), pytest.approx(50.0))]


@pytest.mark.parametrize("unstated", [("battery_v",), ("battery_a",), ("battery_v", "battery_a")])
def test_channel_of_no_stated_accuracy_is_reversed_as_well(unstated):
    """5 mΩ the wrong way, from a step of 4 A."""
    two = loads(stretch(10, 12.5, 0.0), stretch(20, 12.52, 4.0))
    known = {role: None if role in unstated else EXACT for role in ("battery_v", "battery_a")}

    with pytest.raises(BadLog, match="rise together"):
        _refuse_reversed(load_bench(accuracy=known), two)


def test_charge_of_a_log_of_months_is_not_asked():
    """It is the time that is doubted then; of one a little shorter the charge is."""
    for longer, told in ((1.01, False), (0.99, True)):
        step_s = LONGEST_S * longer / 200
        off = drained(2.0, LONGEST_S / 2, 0.0, 200 * step_s)
        assert bool(notes({"battery_v": 12.8}, off=off, step_s=step_s, rows=201)) is told
