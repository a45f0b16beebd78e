"""What is drawn and said of a log, and a doubt that another log lifts: by hand."""

import pytest
from hand_bench import HandLog, bench, measured, plateau, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.measurement import NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.examine.bypass import lift_bypass
from benchlog.examine.context import KeyTurn
from benchlog.examine.drawn import battery_points, feed_points, ground_points, settlings
from benchlog.examine.everything import LogFindings
from benchlog.examine.load_checks import Loads
from benchlog.examine.off_spans import OffSpan
from benchlog.examine.off_state import OffState
from benchlog.examine.path_checks import FeedLoad, PathPoint
from benchlog.examine.read_from import key_events, story_notes
from benchlog.logger.model import logger_from_mapping


def test_points_for_drawing_are_what_each_stretch_read():
    """Groups of two and more; losses less a shunt's own drop; not under a bridge that hides it."""
    two = (plateau(0, 5, battery_a=1.0, battery_v=12.5), plateau(5, 9, battery_a=4.0, battery_v=12.4))
    groups = battery_points(Loads((two, two[:1], (plateau(0, 5, battery_a=1.0), *two)), ()))
    assert [[(p.load_a, p.volts) for p in group] for group in groups] == [[(1.0, 12.5), (4.0, 12.4)]] * 2
    assert len(battery_points(Loads((two[:1] * 300,), ()))[0]) == 200
    full = plateau(0.0, 5.0, battery_v=12.5, feed_v=12.3, ground_v=0.1, battery_a=4.0)
    load = FeedLoad(
        (PathPoint(full, 4.0), PathPoint(plateau(20.0, 30.0, ground_v=0.1, battery_a=4.0), 3.0)), "", True, "x"
    )
    assert [(p.load_a, p.volts) for p in feed_points(load)] == [(4.0, pytest.approx(0.2))]
    assert feed_points(None) == ()
    one = bench(
        HandLog(times(60.0), {"battery_a": 0.0}),
        story(),
        low_side_ohm={"battery_a": 0.005, "feed_a": 9.0},
        bridged=(Bridge(26.0, 28.0),),
    )
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

    assert [(one.from_s, one.settled_s, one.role) for one in drawn] == [
        (0.0, 3.0, "drain_a"),
        (10.0, None, "battery_a"),
    ]


LOGGER = {
    "logger": {"name": "L"},
    "time": {"column": "t"},
    "channel": [{"column": "i", "role": "battery_a", "unit": "A"}],
}


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
    assert notes(source="none", marks_contradict=True)[0].endswith(
        "contradict each other: one of the key was forgotten"
    )
    turned = log_of(told=story(turns=(KeyTurn(1.0, 0.1, True), KeyTurn(2.0, 0.2, False))))
    assert [(e.log, e.time_s, e.half_width_s, e.to) for e in key_events(turned)] == [
        ("a", 1.0, 0.1, "on"),
        ("a", 2.0, 0.2, "off"),
    ]


def test_log_gives_its_drain_and_its_findings_with_what_was_added():
    """Without a log from before nothing was."""
    one = log_of()
    assert one.drain is one.off_state.findings["off_state_drain"]
    ((name, findings),) = one.each(None)
    assert name == "a"
    assert isinstance(findings["added_drain"], NotEvaluated)
