"""Which clip moves first and which sinks under the load; and what is drawn and said of a log: by hand."""

import math
import numpy as np
import pytest
from hand_bench import EXACT, HandLog, bench, measured, plan, plateau, story, times
from hand_relay import edge

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.bypass import lift_bypass
from benchlog.examine.context import KeyTurn
from benchlog.examine.drawn import battery_points, feed_points, ground_points, settlings
from benchlog.examine.everything import LogFindings
from benchlog.examine.load_checks import Loads
from benchlog.examine.observe_clips import clip_slope, feed_lead
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.examine.path_checks import FeedLoad, PathPoint
from benchlog.examine.read_from import key_events, story_notes
from benchlog.logger.model import logger_from_mapping

NAN = float("nan")


def a_bench(trigger=0.001, feed=0.02, without=(), planned=(10.0,), accuracy=EXACT, noise=0.0, step_s=0.05, **lines):
    """Loads of 1, 4 and 9 A, ten seconds each from 10 s on; each line loses so many Ω of them."""
    t = times(60.0, step_s)
    amps = np.where(t < 20, 1.0, np.where(t < 30, 4.0, 9.0))
    battery = 12.6 - 0.03 * amps
    rough = noise * np.random.default_rng(1).normal(0, 1, (2, len(t)))
    values = {"battery_v": battery, "trigger_v": battery - trigger * amps + rough[0], "feed_v": battery - feed * amps + rough[1]}
    values |= {role: make(t) for role, make in lines.items()}
    for role in without:
        del values[role]
    known = dict.fromkeys(values, accuracy)
    return bench(HandLog(t, values), story(((5.0, 55.0),), ((0.0, 5.0),)), plan(*planned), accuracy=known)


STRETCHES = (plateau(10.0, 19.9, battery_a=1.0), plateau(20.1, 29.9, battery_a=4.0), plateau(30.1, 39.9, battery_a=9.0))


def load_of(*amps) -> FeedLoad:
    """The load on the first stretches."""
    return FeedLoad(tuple(PathPoint(p, a) for p, a in zip(STRETCHES, amps, strict=False)), "", True, "feed_a")


NO_LOADS = Loads((), ())


def slope(load, loads=NO_LOADS, **how):
    """The quantity, or None."""
    return clip_slope(a_bench(**how), loads, load).get("clip_slope")


def test_line_that_sinks_with_the_load_is_the_feeds():
    """20 mΩ against 1 mΩ: (1 − 20) of 22 mΩ with the one that is added."""
    seen = slope(load_of(1.0, 4.0, 9.0))

    assert seen.value == pytest.approx(-19 / 22)
    assert seen.u == pytest.approx(0.0, abs=1e-9)
    assert seen.text == "1.0 mΩ from the battery to trigger_v, 20.0 mΩ to feed_v"
    assert slope(load_of(1.0, 4.0, 9.0), trigger=0.02, feed=0.001).value == pytest.approx(19 / 22)
    assert slope(load_of(1.0, 4.0, 9.0), trigger=-0.002).value == pytest.approx(-22 / 23)
    for role in ("battery_v", "trigger_v", "feed_v"):
        assert slope(load_of(1.0, 4.0, 9.0), without=[role]) is None


def test_slopes_doubt_is_of_each_stretchs_noise_and_rounding():
    """Steps of 10 mV on three channels of two: 4.1 mV a stretch, over loads 5.7 A about their mean."""
    fine = slope(load_of(1.0, 4.0, 9.0), accuracy=Accuracy(0.0, 0.0, 0.01))

    below = math.sqrt(2) * 0.005 / math.sqrt(3)
    spread = math.sqrt(sum((a - 14 / 3) ** 2 for a in (1, 4, 9)))
    assert fine.u == pytest.approx(math.sqrt(2) * below / spread / 0.022)
    rough = slope(load_of(1.0, 4.0, 9.0), noise=0.01)
    assert 0.0005 < rough.u * 0.022 * spread / 0.01 < 1.0
    assert slope(load_of(1.0, 4.0, 9.0), accuracy=None).u == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("amps", "told"), [((1.0, 1.99), False), ((1.0, 2.01), True), ((1.0,), False), ((), False)])
def test_loads_through_the_feed_must_differ_by_an_ampere(amps, told):
    """And be two at least."""
    assert (slope(load_of(*amps)) is not None) is told


def test_batterys_loads_tell_where_none_is_known_to_be_the_feeds():
    """They must differ by two fifths of the planned load, with the key on."""
    loads = Loads((STRETCHES[:2],), ())

    assert slope(None, loads, planned=(7.4,)).value == pytest.approx(-19 / 22)
    assert slope(None, loads, planned=(7.6,)) is None
    assert slope(load_of(1.0), loads, planned=(7.4,)) is not None
    early = Loads(((plateau(4.0, 19.9, battery_a=1.0), STRETCHES[1]),), ())
    assert slope(None, early, planned=(7.4,)) is None
    late = Loads(((STRETCHES[0], plateau(40.1, 56.0, battery_a=9.0)),), ())
    assert slope(None, late, planned=(7.4,)) is None
    blind = Loads(((STRETCHES[0], plateau(20.1, 29.9, feed_a=4.0)),), ())
    assert slope(None, blind, planned=(7.4,)) is None
    little = Loads(((plateau(10.0, 19.9, battery_a=1.0), plateau(20.1, 29.9, battery_a=1.9)),), ())
    assert slope(None, little, planned=(1.0,)) is None


def test_line_that_comes_and_goes_has_no_fall_of_its_own():
    """Below 70 % of the battery in one sample; or too few points of it."""
    def dipped(t):
        return np.where(np.abs(t - 25.0) < 0.01, 8.0, 12.4)

    def shallow(t):
        return np.where(np.abs(t - 25.0) < 0.01, 9.0, 12.4)

    assert slope(load_of(1.0, 4.0), trigger_v=dipped) is None
    assert slope(load_of(1.0, 4.0), trigger_v=shallow) is not None

    def lost(until):
        return lambda t: np.where((t > 21.0) & (t < until), NAN, 12.4)

    assert slope(load_of(1.0, 4.0), feed_v=lost(29.86)) is None
    assert slope(load_of(1.0, 4.0), feed_v=lost(29.79)) is not None


def moving(*events, step_s=0.001, end_s=10.0, without=(), **lines):
    """Trigger and feed that move at each ``(trigger_s, feed_s, to)``."""
    t = times(end_s, step_s)
    values = {"trigger_v": np.zeros(len(t)), "feed_v": np.zeros(len(t))}
    for trigger_s, feed_s, to in events:
        for role, at in (("trigger_v", trigger_s), ("feed_v", feed_s)):
            values[role][t >= at - 1e-9] = 12.0 if to == "high" else 0.0
    values |= {role: make(t) for role, make in lines.items()}
    for role in without:
        del values[role]
    told = {
        "rises": tuple(edge(at, to, step_s) for at, _, to in events if to == "high"),
        "falls": tuple(edge(at, to, step_s) for at, _, to in events if to == "low"),
    }
    return feed_lead(bench(HandLog(t, values), story(((2.0, 8.0),), ((0.0, 2.0), (8.0, 10.0)), **told))).get("feed_lead_s")


def test_feed_that_moves_after_its_trigger_lags():
    """By 10 ms at the key-on and 20 ms at the key-off: the least of them counts."""
    seen = moving((2.0, 2.01, "high"), (8.0, 8.02, "low"))

    assert seen.value == pytest.approx(-0.02, abs=1e-6)
    assert seen.u == pytest.approx(0.001 / math.sqrt(12))
    assert seen.text == "the feed moves -20.0 ms before the trigger, over 2 key events"
    assert moving((2.0, 2.01, "high")).u == pytest.approx(0.001 / math.sqrt(6))


def test_feed_that_leads_at_every_key_event_leads_by_their_mean():
    """10 and 20 ms; a lag of half a sample at one of them tells against it no more than chance."""
    assert moving((2.01, 2.0, "high"), (8.02, 8.0, "low")).value == pytest.approx(0.015, abs=1e-6)
    assert moving((2.01, 2.0, "high"), (8.0, 8.0, "low")).value == pytest.approx(0.005, abs=1e-6)
    assert moving((2.01, 2.0, "high"), (8.0, 8.001, "low")).value == pytest.approx(-0.001, abs=1e-6)


def test_lines_must_move_within_four_tenths_of_a_second():
    """And both of them; each is logged."""
    assert moving((2.0, 2.3, "high")).value == pytest.approx(-0.3, abs=1e-6)
    assert moving((2.0, 2.41, "high")) is None
    assert moving() is None
    for role in ("trigger_v", "feed_v"):
        assert moving((2.0, 2.01, "high"), without=[role]) is None
    assert moving((2.0, 2.01, "high"), feed_v=lambda t: np.where(t < 2.01, 6.1, 12.0)) is None
    assert moving((2.0, 2.01, "high"), feed_v=lambda t: np.where(t < 2.01, 5.9, 12.0)) is not None


def test_line_that_moves_for_longer_than_a_bounce_moves_at_no_key_event():
    """Over 100 ms."""
    def chatters(until):
        return lambda t: 12.0 * ((t >= 2.01) & ((t >= until) | (((t - 2.01) * 100 % 2) < 1)))

    assert moving((2.0, 2.01, "high"), feed_v=chatters(2.10)) is not None
    assert moving((2.0, 2.01, "high"), feed_v=chatters(2.13)) is None


def test_coil_that_rings_is_no_line_that_is_up():
    """Above 1.3 of its level a line counts as down already: 16 V for 50 ms shortly before it falls to nothing."""
    def rings(volts):
        return lambda t: np.where((t >= 7.93) & (t < 7.98), volts, 12.0 * ((t >= 2.0) & (t < 8.0)))

    assert moving((2.0, 2.0, "high"), (8.0, 8.0, "low"), trigger_v=rings(15.0)).value == pytest.approx(0.0, abs=1e-6)
    assert moving((2.0, 2.0, "high"), (8.0, 8.0, "low"), trigger_v=rings(16.0)).value < -0.05


def test_points_for_drawing_are_what_each_stretch_read():
    """Groups of two and more; losses less a shunt's own drop; not under a bridge that hides it."""
    two = (plateau(0, 5, battery_a=1.0, battery_v=12.5), plateau(5, 9, battery_a=4.0, battery_v=12.4))
    groups = battery_points(Loads((two, two[:1], (plateau(0, 5, battery_a=1.0), *two)), ()))
    assert [[(p.load_a, p.volts) for p in group] for group in groups] == [[(1.0, 12.5), (4.0, 12.4)]] * 2
    assert len(battery_points(Loads((two[:1] * 300,), ()))[0]) == 200
    full = plateau(0.0, 5.0, battery_v=12.5, feed_v=12.3, ground_v=0.1, battery_a=4.0)
    load = FeedLoad((PathPoint(full, 4.0), PathPoint(plateau(20.0, 30.0, ground_v=0.1, battery_a=4.0), 3.0)), "", True, "x")
    assert [(p.load_a, p.volts) for p in feed_points(load)] == [(4.0, pytest.approx(0.2))]
    assert feed_points(None) == ()
    one = bench(HandLog(times(60.0), {"battery_a": 0.0}), story(), low_side_ohm={"battery_a": 0.005, "feed_a": 9.0}, bridged=(Bridge(26.0, 28.0),))
    assert [(p.load_a, p.volts) for p in ground_points(one, load)] == [(4.0, pytest.approx(0.08))]
    assert ground_points(one, None) == ()
    many = FeedLoad((PathPoint(full, 4.0),) * 300, "", True, "x")
    assert (len(feed_points(many)), len(ground_points(one, many))) == (200, 200)


def test_settlings_for_drawing_are_those_of_a_current():
    """One that never settled has no time; a feed's is none."""
    spans = (
        OffSpan(0.0, 9.0, True, Settled(3.0, 9.0, 0.1, 0.0, ()), "drain_a"),
        OffSpan(10.0, 19.0, False, None, None),
        OffSpan(20.0, 29.0, False, None, "feed_v"),
    )
    drawn = settlings(OffState({}, None, None, spans))

    assert [(one.from_s, one.settled_s, one.role) for one in drawn] == [(0.0, 3.0, "drain_a"), (10.0, None, "battery_a")]


LOGGER = {"logger": {"name": "L"}, "time": {"column": "t"}, "channel": [{"column": "i", "role": "battery_a", "unit": "A"}]}


def log_of(name="a", waits=True, role="battery_a", loaded=(), logger=None, **more):
    """What one log says of its drain."""
    drain = measured(0.1, one_sided="bypassed", needs_load_step=waits, story="watched")
    findings = {"off_state_drain": drain, "settle_time": measured(1.0, one_sided="else")}
    state = OffState(dict(findings), None, role, loaded=loaded)
    made = logger_from_mapping({**LOGGER, **(logger or {})})
    return LogFindings(name, more.pop("told", story()), findings, state, made, None, {}, **more)


def test_doubt_of_a_bypass_is_lifted_by_a_load_in_another_log_of_the_channel():
    """Of the same logger; what else is open stays."""
    lifted = lift_bypass([log_of(), log_of("b", False, loaded=("battery_a",))])[0]
    drain = lifted.findings["off_state_drain"]

    assert (drain.one_sided, drain.needs_load_step) == (None, False)
    assert drain.story == "watched, the channel showed a load in b"
    assert lifted.findings["settle_time"].one_sided == "else"
    assert lifted.off_state.findings["off_state_drain"] is drain


@pytest.mark.parametrize(
    "other",
    [
        log_of("b"),
        log_of("b", loaded=("drain_a",)),
        log_of("b", loaded=("battery_a",), logger={"logger": {"name": "M"}}),
        log_of("b", loaded=("battery_a",), logger={"channel": [{"column": "j", "role": "battery_a", "unit": "A"}]}),
    ],
)
def test_doubt_of_a_bypass_stays_where_no_such_log_shows_a_load(other):
    """None, another channel's, another logger's, or one that is read otherwise."""
    assert lift_bypass([log_of(), other])[0].findings["off_state_drain"].needs_load_step is True


def test_doubt_stays_of_a_channel_that_is_not_known_or_waits_for_nothing():
    """Nor does a log lift its own."""
    shows = log_of("b", loaded=("battery_a",))
    for one in (log_of(role=None), log_of(role="drain_a"), log_of(waits=False), log_of(loaded=("battery_a",))):
        found = lift_bypass([one, shows] if one.off_state.role != "battery_a" or not one.off_state.loaded else [one])
        assert found[0].findings["off_state_drain"] is one.findings["off_state_drain"]


def notes(**told) -> list[str]:
    """What is said of the key's state."""
    return story_notes(log_of(told=story(**told)))


def test_keys_state_is_said_with_what_it_was_read_from():
    """And what makes it doubtful."""
    on, off = ((5.0, 9.0),), ((0.0, 5.0),)
    assert notes(on=on, off=off) == ["the key's state was read from the key line (key_v)"]
    assert notes(on=on, off=off, marks_contradict=True)[0].endswith(
        "(key_v), since the marks of the key contradict the others: one was forgotten"
    )
    assert notes(off=off, source="marks") == [
        "the key's state was read from the marks in the log: off throughout, so this is treated as a parked log"
    ]
    assert notes(on=on, source="feed_v") == ["the key's state was read from the feed (feed_v): on throughout"]
    assert notes(on=on, source="trigger_v", sure=False)[0].endswith("or a trigger that the key does not switch")
    assert notes(source="none") == [
        "no channel shows the key's state; the log is assumed to be recorded with the key off"
    ]
    assert notes(source="none", marks_contradict=True)[0].endswith("contradict each other: one of the key was forgotten")
    turned = log_of(told=story(turns=(KeyTurn(1.0, 0.1, True), KeyTurn(2.0, 0.2, False))))
    assert [(e.log, e.time_s, e.half_width_s, e.to) for e in key_events(turned)] == [("a", 1.0, 0.1, "on"), ("a", 2.0, 0.2, "off")]


def test_log_gives_its_drain_and_its_findings_with_what_was_added():
    """Without a log from before nothing was."""
    one = log_of()
    assert one.drain is one.off_state.findings["off_state_drain"]
    ((name, findings),) = one.each(None)
    assert name == "a"
    assert isinstance(findings["added_drain"], NotEvaluated)
