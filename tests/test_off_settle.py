"""When the drain had settled: how well that is known, and bikes that never sleep, on key-offs written by hand."""

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, times
from test_chatter_checks import edge
from test_off_state import FINE, a_bench, found

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.context import KeyTurn
from benchlog.examine.off_settle import _counted, _hidden_by_charger, _never_asleep, _unseen_until
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


def unseen(sigma=0.001, early_a=0.005, late_s=160.0, seen_a=0.02, known=True):
    """Until when more than 10 mA may have flowed on: settled from 60 to 300 s, so many amperes until 100 s."""
    windows = tuple(0.1 * 2**n for n in range(12))
    noise = {"battery_a": NoiseModel(sigma, sigma, 0.1, windows, (sigma,) * 12)} if known else {}
    t = times(300.0, 0.1)
    amps = np.where(t < 60, 0.1, np.where(t < 100, early_a, 0.005))
    one = a_bench(values={"battery_a": lambda _: amps}, noise=noise)
    settled = Settled(60.0, 300.0, 0.1, 0.005, (), seen_a=seen_a)
    return _unseen_until(one, OffSpan(50.0, 300.0, False, settled, "battery_a"), settled, late_s)


def test_settling_may_be_as_late_as_what_the_noise_hides():
    """1 mA of noise hides 2.3 mA: a twentieth of the way to the limit is the finest that is looked at."""
    assert unseen() == (pytest.approx(65.0), None)
    assert unseen(known=False) == (60.0, None)
    assert unseen(seen_a=0.0099) == (60.0, None)
    assert unseen(late_s=400.0) == (pytest.approx(66.0), None)
    assert unseen(late_s=59.0) == (pytest.approx(66.0), None)
    until, why = unseen(0.02)
    assert until == 300.0
    assert why == (
        "up to 46.52 mA may have flowed for longer, unseen in the noise of battery_a; a channel "
        "with a finer range, such "
        "as drain_a, would show it"
    )
    assert unseen(late_s=299.8)[1] == (
        "what flowed for longer would not be seen in what the log holds after that; record for longer"
    )


@pytest.mark.parametrize(("early_a", "until_s"), [(0.020, 160.0), (0.0155, 135.0), (0.0135, 110.0), (0.006, 65.0)])
def test_settling_may_be_as_late_as_a_higher_mean_before_allows(early_a, until_s):
    """So much until 100 s: the earliest share of the way at which less than 10 mA can have ended."""
    until, why = unseen(early_a=early_a)

    assert why is None
    assert until == pytest.approx(until_s)


def test_noisy_settling_is_told_with_what_was_seen_and_open_to_its_end():
    """Noise of 10 mA: the base is seen to 50 mA at first, and the value is what was seen."""
    rough = np.random.default_rng(8).normal(0, 0.01, 3000)
    windows = tuple(0.1 * 2**n for n in range(12))
    noise = {"battery_a": NoiseModel(0.01, 0.01, 0.1, windows, (0.01,) * 12)}
    t = times(300.0, 0.1)
    amps = np.where(t < 50, 4.0, np.where(t < 58, 1.0, 0.005)) + rough
    _, settle = found(values={"battery_a": lambda _: amps}, noise=noise)

    assert settle.one_sided.startswith("up to ")
    assert settle.value == pytest.approx(8.0, abs=0.2)
    assert settle.interval[1] > 240.0
    assert settle.story.startswith("after one key-off, to within 5")


def test_key_on_that_ends_a_key_off_is_no_wake_up():
    """The current rises half a second before the line shows the key-on; at the log's end it is the bike's own."""
    t = times(300.0, 0.1)
    amps = np.where(t < 50, 4.0, np.where(t < 149.5, 0.005, np.where(t < 180, 4.0, 0.005)))
    how = {"on": ((0.0, 50.0), (150.0, 180.0)), "values": {"battery_a": lambda _: amps}}
    (first, _) = off_spans(a_bench(off=((50.0, 150.0), (180.0, 300.0)), **how), ["battery_a"])

    assert first.settled.from_s == pytest.approx(50.0, abs=0.11)
    assert first.settled.to_s == pytest.approx(149.4, abs=0.11)
    assert first.settled.wakeups == ()


def test_only_a_bridge_across_the_key_off_leaves_the_settling_open():
    """Of two, that from 40 to 60 s."""
    t = times(300.0, 0.1)
    hidden = ((t > 35) & (t < 65)) | ((t > 195) & (t < 215))
    values = {"battery_a": lambda _: np.where(hidden, np.nan, np.where(t < 50, 4.0, 0.005))}
    both = a_bench(values=values, bridged=(Bridge(40.0, 60.0), Bridge(200.0, 210.0)))

    assert off_spans(both, ["battery_a"])[0].settled.width_s == pytest.approx(15.0, abs=0.11)


def test_pulled_fuses_take_their_time_out_of_the_last_stretch_of_a_bike_that_is_awake():
    """Ten seconds of the last forty: it begins ten seconds earlier, and is seen for its settling time."""
    (span,) = off_spans(a_bench(amps=0.4, left_out=((270.0, 280.0),)), ["battery_a"])

    assert span.settled.from_s == pytest.approx(259.8, abs=0.25)
    assert span.settled.lasts_s == pytest.approx(30.0, abs=0.05)
    early = off_spans(a_bench(amps=0.4, left_out=((100.0, 110.0),)), ["battery_a"])[0].settled
    assert early.unseen_s == pytest.approx(10.2, abs=0.25)
    assert early.from_s == pytest.approx(259.8, abs=0.3)


def test_slowest_of_several_key_offs_counts():
    """Eight seconds after the first, three after the second."""
    t = times(300.0, 0.1)
    awake = ((t >= 50) & (t < 58)) | ((t >= 180) & (t < 183))
    amps = np.where((t < 50) | ((t >= 150) & (t < 180)), 4.0, np.where(awake, 0.1, 0.005))
    how = {"on": ((0.0, 50.0), (150.0, 180.0)), "off": ((50.0, 150.0), (180.0, 300.0))}
    settle = found(values={"battery_a": lambda _: amps}, **how)[1]

    assert settle.value == pytest.approx(8.0, abs=0.2)
    assert settle.story.startswith("after") is False


@pytest.mark.parametrize(
    ("out", "counts"), [((20.0, 100.0), False), ((55.0, 57.0), False), ((100.0, 150.0), True), ((20.0, 50.0), True)]
)
def test_key_off_with_a_fuse_out_before_it_settled_tells_nothing_of_settling(out, counts):
    """The key goes off at 50 s and the drain settles at 58 s: a fuse that is out meanwhile takes a load away."""
    settle = found(left_out=(out,))[1]

    assert (getattr(settle, "value", None) == pytest.approx(8.0, abs=0.3)) is counts
    assert counts or settle.why.startswith("a fuse was out before the drain had settled")


@pytest.mark.parametrize(("out_s", "fails"), [(81.0, True), (79.0, False)])
def test_fuse_that_comes_out_after_the_time_allowed_hides_no_bike_that_stays_awake(out_s, fails):
    """30 s are allowed from 50 s on, and the drain is still there at 80 s: late, whatever the fuse did after."""
    settle = found(settles_s=60.0, left_out=((out_s, 85.0),))[1]

    assert (getattr(settle, "value", None) is not None) is fails
    assert not fails or settle.value > 30.0


@pytest.mark.parametrize(
    ("told", "doubted"), [({}, True), ({"rises": (edge(1.0, "high"),)}, False)], ids=["no line", "by the trigger"]
)
def test_current_that_comes_back_after_the_key_off_may_be_the_key_where_no_line_shows_it(told, doubted):
    """From 4 A to 0.1 A at 50 s and to 4.2 A from 90 s on: a bike that woke for good, or a key turned on again."""
    how = {"values": {"battery_a": lambda t: np.where(t < 50, 4.0, np.where(t < 90, 0.1, 4.2))}, "told": told}
    drain, settle = found(**how)

    for one in (drain, settle):
        assert ("came back after it had gone" in (one.disqualified or "")) is doubted
    assert (settle.failed is None) is doubted
    # awake from the key-off on, nothing came back
    assert found(amps=0.4)[1].failed is not None
