"""What slow samples may have missed of a relay, and when one that does not move is one that never will."""

import numpy as np
import pytest
from hand_relay import during, edge, relay

from benchlog.core.trace import Trace
from benchlog.examine.context import KeyTurn
from benchlog.examine.relay_checks import examine_relay
from benchlog.examine.relay_still import sinks, stays_dead, stays_live, watched_longer_than

SLOW = {"step_s": 0.01, "up": ((2.0, 8.0),)}
BOUNCE = "samples 10 ms apart can miss the bounce of the key's contact"
CLOSED = "samples 10 ms apart can miss that the contact closed before"


def pull_in(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_pull_in"]


def drop_out(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_drop_out"]


@pytest.mark.parametrize(
    ("took_s", "limit", "doubt"),
    [
        (0.05, 60.0, None),
        (0.06, 11.0, BOUNCE),
        *((0.07, 19.0, None), (0.07, 9.9, CLOSED)),
        (0.07, None, None),
    ],
)
def test_late_pull_in_on_slow_samples_fails_only_beyond_a_bounce(took_s, limit, doubt):
    """Up to 50 ms more than the limit may be the key's bounce; steps that are longer than the limit hide a closing."""
    found = pull_in(**SLOW, live=((2.0 + took_s, 8.02),), limits=(limit, None))

    assert found.disqualified == doubt
    if doubt:
        assert found.remedy == "a log at 200 samples a second or more would show it"


def test_samples_five_milliseconds_apart_miss_no_bounce():
    """At that pace a late pull-in fails, at 5.1 ms it does not."""
    how = {"live": ((2.035, 8.02),), "limits": (20.0, None)}

    assert pull_in(step_s=0.005, **how).disqualified is None
    assert pull_in(step_s=0.0051, **how).disqualified == BOUNCE.replace("10 ms", "5 ms")


@pytest.mark.parametrize(
    ("opened", "step_s", "doubt"),
    [((5.0, 5.1), 0.01, True), ((13.0, 13.1), 0.01, False), ((5.0, 5.1), 0.005, False), (None, 0.01, False)],
)
def test_contact_that_opens_again_may_have_closed_before(opened, step_s, doubt):
    """Within ten seconds of the rise, on samples that would not show all of it."""

    def feed(t):
        return 12.4 * (during(t, (2.2, 16.02)) & ~(during(t, opened) if opened else False))

    found = pull_in(step_s=step_s, up=((2.0, 16.0),), lines={"feed_v": feed}, end_s=18.0, limits=(20.0, None))
    assert (found.disqualified == CLOSED) is doubt


@pytest.mark.parametrize(
    ("took_s", "limit", "doubt"), [(0.012, 11.0, True), (0.012, 8.5, False), (0.012, 9.5, True), (0.012, 12.5, False)]
)
def test_pull_in_that_is_late_by_a_bounce_may_have_touched_before(took_s, limit, doubt):
    """By up to 2 ms and a step of a millisecond; one that samples 0.1 ms apart show has not."""
    found = pull_in(live=((2.0 + took_s, 8.02),), limits=(limit, None))

    missed = "samples 1 ms apart can miss that the contact touched before, and bounced"
    assert found.disqualified == (missed if doubt else None)
    if doubt:
        assert found.remedy == "a log at 10000 samples a second or more would prove it"
    quick = {"step_s": 0.0001, "up": ((0.2, 0.5),), "live": ((0.2 + took_s, 0.52),), "end_s": 0.8}
    assert pull_in(**quick, limits=(limit, None)).disqualified is None


def falling(from_s: float, over_s: float):
    """A trigger that falls in a straight line."""
    return lambda t: np.where(t < 2, 0.0, np.clip(12.4 * (1 - (t - from_s) / over_s), 0.0, 12.4))


@pytest.mark.parametrize(("over_s", "doubt"), [(0.008, True), (0.3, False)])
def test_late_drop_out_on_slow_samples_fails_where_the_line_shows_every_return(over_s, doubt):
    """A trigger that takes 20 samples to fall cannot have bounced unseen."""
    line = {"trigger_v": falling(8.0 - over_s / 2, over_s)}
    found = drop_out(step_s=0.01, lines=line, live=((2.01, 8.3),), limits=(None, 260.0))

    assert (found.disqualified is not None) is doubt


def test_feed_that_sinks_after_the_trigger_is_held_up_and_tells_nothing():
    """A capacitor holds it: it has left the battery, and never falls to half."""

    def held(t):
        return np.where(t < 2.01, 0.0, np.where(t < 8.02, 12.4, 12.4 - 0.2 * (t - 8.02)))

    def flat(t):
        return np.where(t < 2.01, 0.0, 12.4)

    assert drop_out(lines={"feed_v": held}).why == "no drop-out could be timed: something holds the feed up after it"
    assert drop_out(lines={"feed_v": flat}).failed == "the contact never opened after the trigger fell, for 2.0 s"


@pytest.mark.parametrize(("over_s", "vague"), [(0.005, False), (0.5, True)])
def test_slow_fall_of_a_feed_without_the_battery_may_be_the_engines(over_s, vague):
    """More than 10 ms from 90 to 50 %."""
    feed = {"feed_v": lambda t: np.where(t < 2.01, 0.0, np.clip(12.4 * (1 - (t - 8.02) / over_s), 0.0, 12.4))}
    found = drop_out(lines=feed, without=["battery_v"])

    assert found.one_sided == (
        "without battery_v the fall of the feed may be the engine stopping, before the contact opens" if vague else None
    )
    assert (found.remedy == "log battery_v beside it") is vague


def a_trace(before: float, *after: float, n: int = 20, noise: float = 0.0) -> Trace:
    """Shares of the battery before a fall at 1.0 s and in the four quarters after it, a sample a hundredth second."""
    share = np.concatenate([np.full(60, before), *(np.full(n // 4, one) for one in after)])
    share[:60] += noise * np.where(np.arange(60) % 2, 1, -1)
    t = np.arange(len(share)) * 0.01 + 0.4
    return Trace(t, {"feed_v": 12.5 * share, "battery_v": np.full(len(t), 12.5)}, {})


@pytest.mark.parametrize(
    ("before", "after", "noise", "n", "sunk"),
    [
        (1.0, (0.999, 0.9985, 0.998, 0.9975), 0.0, 20, True),
        (1.0, (0.999, 0.9985, 0.998, 0.9975), 0.0, 16, True),
        (1.0, (0.9999, 0.9995, 0.999, 0.9985), 0.0, 20, False),
        (1.0, (0.999, 0.999, 0.998, 0.99), 0.0, 20, False),
        (1.0, (0.99, 0.98, 0.97, 0.96), 0.01, 20, False),
        (1.0, (0.99, 0.98, 0.97, 0.90), 0.005, 20, True),
        (1.0, (0.999, 0.998, 0.997, 0.996), 0.0, 12, False),
    ],
)
def test_feed_sinks_where_each_quarter_is_lower_and_the_last_by_enough(before, after, noise, n, sunk):
    """By two thousandths of the battery and five times the noise, over 16 samples."""
    fall = edge(1.0, "low")

    assert sinks(a_trace(before, *after, n=n, noise=noise), fall) is sunk


def test_feed_beside_no_battery_or_too_few_samples_does_not_sink():
    """Eight before are the fewest."""
    whole = a_trace(1.0, 0.99, 0.98, 0.97, 0.96)
    only_feed = Trace(whole.time_s, {"feed_v": whole.values["feed_v"]}, {})

    assert not sinks(only_feed, edge(1.0, "low"))
    for first_s, sunk in ((0.925, False), (0.905, True)):
        assert sinks(whole.between(first_s, 2.0), edge(1.0, "low", 0.01)) is sunk


@pytest.mark.parametrize(
    ("until", "limit", "long"),
    [
        (2.99, None, False),
        (3.01, None, True),
        (2.102, 30.0, False),
        (2.104, 30.0, True),
        (2.202, 200.0, False),
        (2.204, 200.0, True),
    ],
)
def test_watch_must_exceed_a_second_or_the_limit_a_tenth_at_least_and_the_steps(until, limit, long):
    """Three steps of a millisecond are taken off."""
    assert watched_longer_than(relay(), edge(2.0005, "high"), until, limit) is long


def test_gap_is_not_watched():
    """0.9 of 1.5 s are missing."""
    one = relay(keep=lambda t: (t < 2.2) | (t >= 3.1))

    assert not watched_longer_than(one, edge(2.0, "high"), 3.5, None)
    assert watched_longer_than(one, edge(2.0, "high"), 4.0, None)


def dead(**how):
    """A key-on from 2 to 8 s with both lines down."""
    lines = {"trigger_v": lambda t: 0 * t, "feed_v": lambda t: 0 * t, **how.pop("lines", {})}
    return relay(lines=lines, **how)


@pytest.mark.parametrize(
    ("source", "told"), [("marks", True), ("key_v", True), ("trigger_v", False), ("battery_a", False)]
)
def test_still_lines_tell_of_the_relay_where_the_key_is_known_by_another(source, told):
    """By marks or the key's own line."""
    live = {role: (lambda t: 12.4 + 0 * t) for role in ("trigger_v", "feed_v")}

    assert (stays_dead(dead(told={"source": source}), 30.0) is not None) is told
    assert (stays_live(dead(lines=live, end_s=12.0, told={"source": source})) is not None) is told


def test_relay_that_stays_dead_is_told_from_the_key_on_to_the_key_off():
    """Both lines below 5 V throughout; a lamp's test pulses of the trigger do not count, of the feed they do."""
    found = stays_dead(dead(), 30.0)
    assert (found[0].time_s, found[0].to, found[1]) == (2.0, "high", 8.0)
    assert (found[0].before_s, found[0].after_s, found[0].index) == (2.0, 2.0, 0)

    def pulses(t):
        return np.where(np.abs(t - 4.0) < 0.002, 12.0, 4.0)

    assert stays_dead(dead(lines={"trigger_v": pulses}), 30.0)
    assert stays_dead(dead(lines={"feed_v": pulses}), 30.0) is None
    assert stays_dead(dead(lines={"feed_v": lambda t: 4.9 + 0 * t}), 30.0)
    assert stays_dead(dead(lines={"trigger_v": lambda t: 5.1 + 0 * t}), 30.0) is None
    assert stays_dead(dead(lines={"trigger_v": lambda t: np.nan * t}), 30.0) is None


@pytest.mark.parametrize(
    ("off_s", "limit", "half_s", "told"),
    [
        *((2.99, None, 0.0, False), (3.02, None, 0.0, True)),
        *((3.02, 1100.0, 0.0, False), (3.2, 1100.0, 0.0, True)),
        (3.02, None, 0.1, False),
    ],
)
def test_key_on_must_outlast_a_second_or_the_limit_to_show_a_dead_relay(off_s, limit, half_s, told):
    """What is not known of the turns is taken off."""
    turns = (KeyTurn(2.0, half_s, True), KeyTurn(off_s, half_s, False))
    one = dead(up=((2.0, off_s),), told={"turns": turns})

    assert (stays_dead(one, limit) is not None) is told


def test_dead_relay_shows_in_any_key_on():
    """The first is too short, the second lasts to the end of the log."""
    turns = (KeyTurn(2.0, 0.0, True), KeyTurn(2.5, 0.0, False), KeyTurn(5.0, 0.0, True))

    assert stays_dead(dead(told={"turns": turns}), 30.0)[1] == pytest.approx(9.999)


def live_after(volts: float = 12.4, end_s: float = 12.0, **how):
    """A key-off at 8 s after which the feed stays up."""
    return relay(live=(), lines={"feed_v": lambda t: volts + 0 * t}, end_s=end_s, **how)


def test_relay_that_stays_live_is_told_from_the_key_off_on():
    """The feed above 5 V from a second after the key-off on, for more than two seconds in all."""
    found = stays_live(live_after())
    assert (found[0].time_s, found[0].to, found[1]) == (8.0, "low", pytest.approx(11.999))
    assert (found[0].before_s, found[0].after_s, found[0].index) == (8.0, 8.0, 0)
    assert stays_live(live_after(4.9)) is None
    assert stays_live(live_after(5.1)) is not None
    assert stays_live(live_after(end_s=9.95)) is None
    assert stays_live(live_after(end_s=10.1)) is not None


def test_pulled_fuse_ends_what_a_live_relay_shows():
    """A second after the key-off is too soon; a fuse out before the key-off changes nothing."""
    assert stays_live(live_after(left_out=((9.0, 11.0),))) is None
    assert stays_live(live_after(left_out=((10.5, 11.0),)))[1] == 10.5
    assert stays_live(live_after(left_out=((5.0, 6.0),)))[1] == pytest.approx(11.999)


def test_live_relay_shows_in_any_key_off():
    """It goes dead 0.5 s after the first key-off, and not after the second."""
    turns = (KeyTurn(2.0, 0.0, False), KeyTurn(5.0, 0.0, True), KeyTurn(8.0, 0.0, False))
    feed = {"feed_v": lambda t: np.where((t > 3.4) & (t < 5), 0.0, 12.4)}

    assert stays_live(relay(lines=feed, end_s=12.0, told={"turns": turns}))[0].time_s == 8.0


def test_key_on_with_a_trigger_that_rises_for_a_while_shows_no_dead_relay():
    """Up for one of six seconds."""
    assert stays_dead(dead(lines={"trigger_v": lambda t: 12.0 * ((t > 4) & (t < 5))}), 30.0) is None
