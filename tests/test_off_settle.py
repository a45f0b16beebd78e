"""When the drain had settled: how well that is known, and bikes that never sleep, on key-offs written by hand."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, times
from test_off_state import FINE, a_bench, found

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.context import KeyTurn
from benchlog.examine.off_settle import _counted, _hidden_by_charger, _never_asleep
from benchlog.examine.off_spans import OffSpan, off_spans


def test_bike_that_never_sleeps_fails_its_settling():
    """0.4 A for the whole of 250 s; not proven as far as the channel can tell, or by the battery alone."""
    _, settle = found(amps=0.4)
    assert settle.failed == "0.4 A still flowed 250 s after the key-off, so the bike was awake"
    assert (settle.value, settle.from_s, settle.to_s, settle.story) == (None, 50.0, 300.0, "after one key-off")
    assert found(amps=0.24)[1].failed is None
    doubt = found(amps=0.27, accuracy=Accuracy(0.0, 0.02, 0.0))[1]
    assert (
        doubt.disqualified
        == "0.27 A still flowed 250 s after the key-off, so the bike was awake, as far as the channel can tell"
    )
    assert doubt.failed is None
    assert found(amps=0.28, accuracy=Accuracy(0.0, 0.02, 0.0))[1].failed is not None
    assert found(amps=0.49, accuracy=None)[1].failed is None
    assert found(amps=0.51, accuracy=None)[1].failed is not None
    for source in ("battery_a", "battery_v"):
        alone = found(amps=0.4, told={"source": source})[1]
        assert alone.disqualified.startswith("the key-off was read from the battery alone")
        assert alone.failed is None


def test_bike_must_be_watched_for_its_settling_time_to_be_awake():
    """30 s, and what is not known of the key-off."""

    def awake(to_s, half_s=0.0):
        settled = Settled(60.0, to_s, 0.1, 0.4, (), awake=True)
        one = a_bench(told={"turns": (KeyTurn(50.0, half_s, False),)})
        return _never_asleep(one, [OffSpan(50.0, to_s, False, settled, "battery_a")], measured(1.0))

    assert awake(79.9) is None
    assert awake(80.1) is not None
    assert awake(80.1, 0.2) is None


def test_longest_watch_of_a_bike_that_is_awake_is_told():
    """Of two."""
    one = a_bench()
    spans = [
        OffSpan(50.0, 100.0, False, Settled(60.0, 100.0, 0.1, 0.5, (), awake=True), "battery_a"),
        OffSpan(150.0, 250.0, False, Settled(160.0, 250.0, 0.1, 0.4, (), awake=True), "battery_a"),
    ]
    assert _never_asleep(one, spans, measured(1.0, one_sided="short")).failed.startswith("0.4 A still flowed 100 s")
    assert _never_asleep(one, spans, measured(1.0, one_sided="short")).one_sided == "short"


def test_key_off_that_is_known_roughly_widens_the_settling():
    """By the battery 2 s, by the feed half a second, by slow stamps what they hide."""

    def width(**how):
        low, high = found(**how)[1].interval
        return high - low

    by_line = width()
    assert width(told={"source": "battery_a"}) == pytest.approx(by_line + 4.0, abs=0.25)
    assert width(told={"source": "feed_v"}) == pytest.approx(by_line + 1.0, abs=0.25)
    rough = {"turns": (KeyTurn(50.0, 1.0, False),)}
    assert width(told=rough) == pytest.approx(by_line + 2.0, abs=0.25)
    assert found(told={"source": "battery_v"})[1].one_sided.startswith("the key-off was read from the battery alone")
    assert found(told={"source": "feed_v"})[1].one_sided is None


def test_key_offs_that_were_late_for_sure_count_without_a_long_watch():
    """Ten seconds of the settled stretch are enough then."""

    def span(from_s, to_s, **more):
        return OffSpan(50.0, to_s, False, Settled(from_s, to_s, 1.0, 0.005, (), **more), "battery_a")

    def counts(one, limit=30.0):
        return bool(_counted([one], 30.0, limit))

    assert counts(span(60.0, 90.0))
    assert not counts(span(60.0, 89.9))
    assert not counts(span(60.0, 95.0, awake=True))
    assert counts(span(81.1, 91.2))
    assert not counts(span(80.9, 91.2))
    assert not counts(span(81.1, 91.0))
    assert not counts(span(81.1, 91.2), None)


def test_charger_hides_when_the_bikes_own_current_settled():
    """A current into the battery beyond its doubt; a quarter ampere where none is stated."""

    def hidden(base_a, accuracy=FINE):
        settled = Settled(60.0, 90.0, 1.0, base_a, ())
        return _hidden_by_charger(a_bench(accuracy=accuracy), OffSpan(50.0, 90.0, False, settled, "battery_a"), settled)

    assert hidden(-0.0007).startswith("a current flows into the battery by this reading")
    assert hidden(-0.0005) is None
    assert hidden(-0.24, None) is None
    assert hidden(-0.26, None) is not None


def test_finer_channel_tells_unless_it_is_over_range_at_the_end():
    """drain_a before battery_a."""
    one = a_bench(values={"drain_a": lambda t: np.full(len(t), 0.003)})
    assert [span.role for span in off_spans(one, ["drain_a", "battery_a"])] == ["drain_a"]
    assert [(span.from_s, span.to_s, span.opens) for span in off_spans(one, ["drain_a"])] == [(50.0, 300.0, False)]
    t = times(300.0, 0.1)
    log = HandLog(
        t,
        {"drain_a": np.where(t > 52, np.nan, 0.1), "battery_a": one.log.samples.values["battery_a"]},
        over={"drain_a": t > 52},
    )
    blind = bench(log, one.story, one.plan)
    assert [span.role for span in off_spans(blind, ["drain_a", "battery_a", "feed_v"])] == ["battery_a"]
    assert [span.role for span in off_spans(blind, ["drain_a"])] == ["drain_a"]
    opening = a_bench(off=((0.0, 300.0),), on=())
    assert off_spans(opening, ["battery_a"])[0].opens is True


def test_bike_that_is_awake_at_the_end_has_its_drain_from_the_last_settling_time():
    """30 s before the end at 300 s; wake-ups before that do not count."""
    one = a_bench(amps=0.4, wakes=((100.0, 2.0, 1.0), (280.0, 2.0, 1.0)))
    (span,) = off_spans(one, ["battery_a"])

    assert span.settled.awake is True
    assert span.settled.from_s == pytest.approx(269.9, abs=0.11)
    assert len(span.settled.wakeups) == 1
    assert off_spans(a_bench(amps=0.24), ["battery_a"])[0].settled.awake is False
    assert off_spans(a_bench(amps=0.26), ["battery_a"])[0].settled.awake is True


def test_bridge_across_the_key_off_leaves_the_settling_open_until_its_end():
    """Bridged from 40 to 60 s and 5 s of a hand."""
    t = times(300.0, 0.1)
    values = {"battery_a": lambda _: np.where((t > 35) & (t < 65), np.nan, np.where(t < 50, 4.0, 0.005))}
    one = a_bench(values=values, bridged=(Bridge(40.0, 60.0),))

    assert off_spans(one, ["battery_a"])[0].settled.width_s == pytest.approx(15.0, abs=0.11)
    apart = a_bench(values=values, bridged=(Bridge(20.0, 30.0),))
    assert off_spans(apart, ["battery_a"])[0].settled.width_s < 1.0
