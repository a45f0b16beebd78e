"""Logs seen otherwise than they are: zeros taken off, ends of ranges, bridged shunts; on samples by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hand_bench import HandLog, measured, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.clipping import Clip
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.zero import Zero
from benchlog.core.uncertainty import Accuracy, combine, rectangular
from benchlog.examine.added import added_drain
from benchlog.examine.bridged import use_bridges
from benchlog.examine.clipped import ClippedLog, clipped_overview, use_clips
from benchlog.examine.off_state import OffState
from benchlog.examine.zeroed import ZeroedLog, use_zeros, zeroed_overview
from benchlog.logger.model import logger_from_mapping

STATED = {"gain_error_pct": 1.0, "offset_error": 0.05, "resolution": 0.001}


def logger(name="L", **channel):
    """One current channel, and a voltage."""
    first = {"column": "i", "role": "battery_a", "unit": "A", **STATED, **channel}
    second = {"column": "v", "role": "battery_v", "unit": "V", "gain_error_pct": 0.1, "offset_error": 0.01}
    first = {key: value for key, value in first.items() if value is not None}
    return logger_from_mapping({"logger": {"name": name}, "time": {"column": "t"}, "channel": [first, second]})


def a_log(zero_a=0.02, marks=((10.0, "zero"), (20.0, "zero end")), end_s=60.0, **lines):
    """2.02 A with an offset of 20 mA, which alone is read from 10 to 20 s."""
    t = times(end_s, 0.1)
    values = {"battery_a": np.where((t >= 10) & (t <= 20.05), zero_a, 2.0 + zero_a), "battery_v": np.full(len(t), 12.5)}
    values |= {role: make(t) for role, make in lines.items()}
    return HandLog(t, values, list(marks))


ACCURACY = {"battery_a": Accuracy(0.01, 0.05, 0.001), "battery_v": Accuracy(0.001, 0.01, 0.0)}


def test_zero_takes_the_offset_off_and_its_own_samples_out():
    """2 A remain, with a gap of ten seconds; the offset is known to the rounding."""
    got = use_zeros(a_log(), logger(), ACCURACY)

    assert got.zeros["battery_a"].offset == pytest.approx(0.02)
    assert got.log.overview.mean("battery_a") == pytest.approx(2.0)
    assert got.log.overview.mean("battery_v") == pytest.approx(12.5)
    assert len(got.log.overview) == 600 - 101
    u = got.zeros["battery_a"].u
    assert u == pytest.approx(0.0005 / math.sqrt(3), rel=0.01)
    assert got.accuracy["battery_a"] == Accuracy(0.01, pytest.approx(u * math.sqrt(3)), 0.001)
    assert got.accuracy["battery_v"] == ACCURACY["battery_v"]
    assert got.notes == ("the zero at 10.0 s to 20.0 s corrected battery_a by −20.00 ± 0.58 mA",)
    trace = got.log.trace(5.0, 25.0)
    assert np.allclose(trace.values["battery_a"], 2.0)
    assert len(trace) == 201 - 101
    assert got.log.trace(30.0, 31.0, ["battery_v"]).values["battery_v"].tolist() == [12.5] * 11
    assert use_zeros(a_log(-0.02), logger(), ACCURACY).notes[0].endswith("battery_a by +20.00 ± 0.58 mA")


def test_zero_never_widens_what_is_stated_and_needs_a_gain_where_nothing_is():
    """A stated offset of 0.1 mA stays; without one the gain alone must be stated."""
    fine = {"battery_a": Accuracy(0.01, 0.0001, 0.001)}
    assert use_zeros(a_log(), logger(), fine).accuracy["battery_a"].offset == 0.0001
    bare = use_zeros(a_log(), logger(offset_error=None), {"battery_a": None})
    assert bare.accuracy["battery_a"] == Accuracy(0.01, pytest.approx(0.0005, rel=0.01), 0.001)
    nothing = use_zeros(a_log(), logger(offset_error=None, gain_error_pct=None), {"battery_a": None})
    assert nothing.accuracy["battery_a"] is None
    assert nothing.zeros["battery_a"].offset == pytest.approx(0.02)


def test_log_without_a_zero_or_a_current_stays_as_it_is():
    """The very same; and one that is all zero."""
    plain = a_log(marks=())
    assert use_zeros(plain, logger(), ACCURACY).log is plain
    t = times(60.0, 0.1)
    volts = HandLog(t, {"battery_v": 12.5}, [(10.0, "zero"), (20.0, "zero end")])
    assert use_zeros(volts, logger(), ACCURACY).log is volts
    whole = a_log(marks=((0.0, "zero"), (59.95, "zero end")))
    assert use_zeros(whole, logger(), ACCURACY).notes == ("the zero was not used: it covers the whole log",)


def test_zero_with_a_current_or_under_a_bridge_is_refused():
    """It is cut out all the same; a channel behind the bridge keeps its own."""
    flowed = use_zeros(a_log(0.2), logger(), ACCURACY)
    assert flowed.notes[0].startswith("the zero at 10.0 s to 20.0 s was not used for battery_a: it reads 200 mA")
    assert flowed.zeros == {}
    assert flowed.accuracy == ACCURACY
    log = a_log(feed_a=lambda t: np.full(len(t), 0.01))
    bridged = use_zeros(log, logger(), ACCURACY, (Bridge(16.0, 18.0),))
    assert bridged.notes[0] == "the zero at 10.0 s to 20.0 s was not used for battery_a: the shunt was bridged in it"
    assert list(bridged.zeros) == ["feed_a"]
    assert list(use_zeros(log, logger(), ACCURACY, (Bridge(26.0, 28.0),)).zeros) == ["battery_a", "feed_a"]


def test_two_zeros_are_one_with_their_drift():
    """20 and 24 mA."""
    marks = ((10.0, "zero"), (20.0, "zero end"), (40.0, "zero"), (50.0, "zero end"))
    t = times(60.0, 0.1)
    amps = np.where((t >= 10) & (t <= 20.05), 0.02, np.where((t >= 40) & (t <= 50.05), 0.024, 2.0))
    got = use_zeros(HandLog(t, {"battery_a": amps}, list(marks)), logger(), ACCURACY)

    assert got.zeros["battery_a"].offset == pytest.approx(0.022)
    assert got.notes[0].startswith("the zeros at 10.0 s to 20.0 s and 40.0 s to 50.0 s corrected battery_a by")


def test_zeros_gap_is_as_long_as_what_it_took_out():
    """And an area that leads out of it is none."""
    log = a_log()
    view = zeroed_overview(log.overview, {"battery_a": 0.02}, [(10.0, 20.0)])
    at = int(np.searchsorted(view.start_s, 20.05))

    assert view.gap_s[at] == pytest.approx(20.1 - 9.9)
    assert view.gap_s[at - 1] == pytest.approx(0.1)
    assert view.gap_s[at + 1] == pytest.approx(0.1)
    assert view.bands["battery_a"].area[at] == 0.0
    assert view.bands["battery_a"].weight_s[at] == 0.0
    assert view.bands["battery_a"].area[at + 1] == pytest.approx(0.2)
    assert view.bands["battery_a"].min[0] == view.bands["battery_a"].max[0] == pytest.approx(2.0)
    begin = zeroed_overview(log.overview, {}, [(-1.0, 5.0)])
    assert begin.gap_s[0] == pytest.approx(0.1)
    same = ZeroedLog(log, {}, [(70.0, 80.0)])
    assert len(same.overview) == 600
    assert (same.name, same.marks, same.start_s, same.end_s) == (log.name, log.marks, log.start_s, log.end_s)


def test_bridge_takes_the_batterys_currents_out_and_leaves_all_else():
    """From 20 to 30 s, five seconds of a hand on either side."""
    t = times(60.0, 0.1)
    over = {"battery_a": (t > 24.95) & (t < 25.05)}
    marks = [(20.0, "shunt bridged"), (30.0, "shunt free")]
    log = HandLog(t, {"battery_a": 2.0, "battery_v": 12.5, "feed_a": 1.0}, marks, over)
    got = use_bridges(log)

    assert got.notes == ("the shunt was bridged from 20.0 s to 30.0 s, so battery_a does not count there",)
    band = got.log.overview.bands["battery_a"]
    hidden = np.isnan(band.mean)
    assert [float(x) for x in t[hidden][[0, -1]]] == [pytest.approx(15.0), pytest.approx(35.0)]
    assert np.isnan(band.min[hidden]).all()
    assert np.isnan(band.max[hidden]).all()
    assert band.over.sum() == 0
    after = int(np.flatnonzero(hidden)[-1]) + 1
    assert (band.area[after], band.weight_s[after]) == (0.0, 0.0)
    assert band.area[after + 1] == pytest.approx(0.2)
    assert np.isfinite(got.log.overview.bands["feed_a"].mean).all()
    assert np.isnan(got.log.trace(20.0, 21.0).values["battery_a"]).all()
    assert [(span.kind, span.from_s, span.to_s) for span in got.spans] == [("shunt bridged", 15.0, 35.0)]
    assert use_bridges(HandLog(t, {"battery_v": 12.5}, marks)).bridges == ()
    both = HandLog(t, {"battery_a": 2.0, "drain_a": 2.0}, [(58.0, "shunt bridged")])
    assert "battery_a and drain_a do not count there" in use_bridges(both).notes[0]
    assert use_bridges(both).spans[0].to_s == both.end_s


def clipped(level=5.0, rows=40, role="battery_a", beside=3.5, sign=1.0, noise=0.4):
    """A noisy channel that stands at a figure for so many rows from the 300th on."""
    n = np.arange(1000)
    x = beside + noise * np.random.default_rng(2).normal(0, 1, 1000)
    x = np.minimum(np.round(x, 2), level - 0.5)
    x[(n >= 300) & (n < 300 + rows)] = level
    return HandLog(n * 0.1, {role: sign * x})


def test_channel_at_the_end_of_its_range_counts_as_over_range():
    """40 samples of 5 A: they are unknown, and said so."""
    got = use_clips(clipped())

    assert [(clip.role, clip.end, clip.level) for clip in got.clips] == [("battery_a", "highest", 5.0)]
    assert got.notes[0].startswith(
        "battery_a stands at exactly 5 A, its highest, from 30.0 to 33.9 s, where it should vary: "
        "the logger's range ends"
    )
    trace = got.log.trace(29.0, 35.0)
    assert np.isnan(trace.values["battery_a"]).sum() == 40
    assert trace.over["battery_a"].sum() == 40
    assert got.log.overview.bands["battery_a"].over.sum() == 40
    low = use_clips(clipped(sign=-1.0))
    assert [(clip.end, clip.level) for clip in low.clips] == [("lowest", -5.0)]
    assert "its lowest" in low.notes[0]
    assert use_clips(clipped(rows=5)).clips == ()
    assert use_clips(clipped(role="trigger_v")).clips == ()
    assert use_clips(clipped(role="battery_c")).clips == ()
    assert use_clips(clipped(level=0.0, beside=-2.0)).clips == ()
    plain = clipped(rows=0)
    assert use_clips(plain).log is plain


def test_voltage_and_a_starters_current_keep_their_figure_at_the_end():
    """16 V tell that a line is up; 55 A are a starter's, 45 A are not known."""
    volts = use_clips(clipped(16.0, role="battery_v", beside=13.0))
    assert np.isfinite(volts.log.trace(29.0, 35.0).values["battery_v"]).all()
    assert volts.log.trace(29.0, 35.0).over["battery_v"].sum() == 40
    for level, known in ((55.0, True), (45.0, False)):
        got = use_clips(clipped(level, beside=20.0))
        assert np.isfinite(got.log.trace(29.0, 35.0).values["battery_a"]).all() == known


def test_bucket_that_holds_one_sample_at_the_end_counts_one_and_keeps_its_mean():
    """One that holds nothing else counts all of its rows and has no mean."""
    x = np.array([1.0, 2.0, 5.0, 3.0, 5.0, 5.0, 1.0, 1.0])
    log = HandLog(np.arange(8.0), {"battery_a": x}, max_buckets=4)
    band = clipped_overview(log.overview, [Clip("battery_a", "highest", 5.0)]).bands["battery_a"]

    assert band.over.tolist() == [0, 1, 2, 0]
    assert np.isnan(band.mean).tolist() == [False, False, True, False]
    assert band.mean[1] == 4.0
    low = clipped_overview(log.overview, [Clip("battery_a", "lowest", 1.0)]).bands["battery_a"]
    assert low.over.tolist() == [1, 0, 0, 2]
    view = ClippedLog(log, [Clip("battery_a", "highest", 5.0), Clip("feed_a", "highest", 1.0)][:1])
    assert view.trace(0.0, 1.0).over == {}


def off(mean_a=0.010, u=0.002, type_a=0.0005, zero=None, role="battery_a", over=0, finding=None, **more) -> OffState:
    """A drain as settled."""
    figure = Drain(mean_a, type_a, u, mean_a, 0, 100.0, over, 0.1)
    told = measured(mean_a * 1000, 1.0, watched_s=100.0, **more) if finding is None else finding
    return OffState({"off_state_drain": told}, figure, role, (), zero)


def added(after, before, here=None, there=None):
    """What the install added."""
    one = SimpleNamespace(off_state=after, logger=here or logger())
    return added_drain(one, SimpleNamespace(off_state=before, logger=there or logger()))


def test_added_drain_of_one_logger_has_no_offset_but_its_drift():
    """10 less 4 mA: scatter of both, gain of the difference, drift and rounding."""
    found = added(off(), off(0.004, type_a=0.0003))

    assert found.value == pytest.approx(6.0)
    channel = Accuracy(0.0, 0.05, 0.001)
    u = combine(
        0.0005, 0.0003, rectangular(0.01 * 0.006), channel.drift_u(math.inf), math.sqrt(2) * channel.resolution_u
    )
    assert found.u == pytest.approx(1000 * u)
    assert found.story == "10 mA now, 4 mA before the install"
    assert (found.from_s, found.to_s, found.watched_s) == (0.0, 10.0, 100.0)
    assert (found.disqualified, found.one_sided, found.needs_load_step) == (None, None, False)


def test_added_drain_with_two_zeros_has_theirs_in_place_of_the_drift():
    """One zero alone takes nothing off: the offset is in the other log."""
    both = added(off(zero=Zero(0.02, 0.0004)), off(0.004, type_a=0.0003, zero=Zero(0.01, 0.0003)))
    rounding = math.sqrt(2) * Accuracy(0.0, 0.0, 0.001).resolution_u
    u = combine(0.0005, 0.0003, combine(0.0004, 0.0003), rectangular(0.01 * 0.006), rounding)
    assert (both.value, both.u) == (pytest.approx(6.0), pytest.approx(1000 * u))
    one = added(off(zero=Zero(0.02, 0.0004)), off(0.004))
    assert (one.value, one.story) == (pytest.approx(26.0), "30 mA now, 4 mA before the install")
    assert added(off(), off(0.004, zero=Zero(0.01, 0.0003))).value == pytest.approx(-4.0)


def test_added_drain_of_two_loggers_has_the_doubt_of_both():
    """By name, or by what a channel is."""
    plain = 1000 * combine(0.002, 0.001)

    assert added(off(), off(0.004, 0.001), there=logger("M")).u == pytest.approx(plain)
    assert added(off(), off(0.004, 0.001), there=logger(resolution=0.002)).u == pytest.approx(plain)
    assert added(off(role="drain_a"), off(0.004, 0.001, role="drain_a")).u == pytest.approx(plain)
    assert added(off(u=None), off(0.004, 0.001), there=logger("M")).u is None
    assert added(off(), off(0.004, None), there=logger("M")).u is None
    bare = logger(gain_error_pct=None)
    assert added(off(), off(0.004), bare, bare).u is None
    vague = logger(offset_error=None)
    assert added(off(u=None), off(0.004), vague, vague).u is None
    scatter = 0.0005, 0.0005, rectangular(0.01 * 0.006)
    rounding = math.sqrt(2) * Accuracy(0.0, 0.0, 0.001).resolution_u
    assert added(off(), off(0.004), vague, vague).u == pytest.approx(1000 * combine(*scatter, rounding))
    fine = logger(resolution=None)
    drift = Accuracy(0.0, 0.05, 0.0).drift_u(math.inf)
    assert added(off(), off(0.004), fine, fine).u == pytest.approx(1000 * combine(*scatter, drift))


def test_added_drain_carries_what_either_log_leaves_open():
    """In each log's own words."""
    none = OffState({"off_state_drain": NotEvaluated("no key-off")}, None, None)
    assert added(off(), none).why == "the log from before the install does not give a drain: no key-off"
    empty = OffState({"off_state_drain": measured(1.0)}, None, None)
    assert added(off(), empty).why.endswith("does not give a drain: it shows no drain")
    assert added(none, off()).why == "no key-off"
    assert added(off(finding=NotEvaluated("short")), off()).why == "short"
    assert added(off(disqualified="doubt"), off()).disqualified == "doubt"
    assert added(off(one_sided="blind"), off()).disqualified == "blind"
    over = added(off(one_sided="larger", over=3), off())
    assert (over.disqualified, over.one_sided) == (None, "larger")
    earlier = "in the log from before the install "
    assert added(off(), off(disqualified="doubt")).disqualified == earlier + "doubt"
    assert added(off(), off(one_sided="blind")).disqualified == earlier + "blind"
    assert added(off(needs_load_step=True), off()).needs_load_step is True
    assert added(off(), off(finding=NotEvaluated("gone"))).disqualified is None
