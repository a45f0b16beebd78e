"""Pull-in and drop-out on lines written by hand: what they take, what fails, and what cannot be timed."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_relay import STEP_S, during, relay

from benchlog.analysis.cranking import Crank
from benchlog.analysis.pulsing import Pulses
from benchlog.analysis.true_step import TrueSteps
from benchlog.examine.relay_checks import examine_relay

MS = 1000 * STEP_S
SHORT = ((2.0, 8.0), (12.0, 18.0))


def pull_in(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_pull_in"]


def drop_out(**how):
    """Its finding."""
    return examine_relay(relay(**how)).findings["relay_drop_out"]


def test_relay_is_timed_from_the_triggers_passage_to_the_feeds():
    """10 ms and 20 ms, each known to a sample at both ends."""
    found = examine_relay(relay())
    closing, opening = found.findings["relay_pull_in"], found.findings["relay_drop_out"]

    assert closing.value == pytest.approx(10.0, abs=0.01)
    assert closing.u == pytest.approx(MS * math.sqrt(2 / 3))
    assert (closing.from_s, closing.to_s) == (pytest.approx(1.9995), pytest.approx(2.0095))
    assert opening.value == pytest.approx(20.0, abs=0.6)
    assert opening.u == pytest.approx(MS * math.sqrt(2 / 3))
    assert (opening.from_s, opening.to_s) == (pytest.approx(7.9995), pytest.approx(8.0195, abs=6e-4))
    assert {one.story for one in (closing, opening)} == {"one event"}
    assert {(one.disqualified, one.one_sided, one.failed) for one in (closing, opening)} == {(None, None, None)}
    assert [(at, round(trace.time_s[0], 3), round(trace.time_s[-1], 3)) for trace, at in found.pull_ins] == [
        (1.9995, 1.499, 3.0)
    ]
    assert [(at, round(trace.time_s[0], 3), round(trace.time_s[-1], 3)) for trace, at in found.drop_outs] == [
        (7.9995, 7.499, 9.0)
    ]
    assert set(found.pull_ins[0][0].values) == {"trigger_v", "feed_v", "battery_v"}


@pytest.mark.parametrize(
    ("limit", "hz"), [(30.0, 100), (77.0, 50), (81.0, 20), (11.0, 2000), (10.1, 5000), (1.0, 200), (None, None)]
)
def test_remedy_names_the_rate_at_which_the_margin_would_be_proven(limit, hz):
    """1.645 times the root of two thirds of a step must fit the margin, or a twentieth of the limit."""
    assert pull_in(limits=(limit, None)).remedy == (hz and f"a log at {hz} samples a second or more would prove it")


def test_margin_of_next_to_nothing_is_no_rate_of_millions():
    """Of 2 ms and a limit of 2.05 ms a twentieth of the limit counts: 13,103 a second, in ten thousands."""
    assert pull_in(live=((2.002, 8.02),), limits=(2.05, None)).remedy == (
        "a log at 20000 samples a second or more would prove it"
    )


def test_slowest_of_several_counts():
    """10 and 14 ms; 20 and 31 ms."""
    how = {"up": SHORT, "live": ((2.01, 8.031), (12.014, 18.02)), "end_s": 20.0}

    assert pull_in(**how).value == pytest.approx(14.0, abs=0.01)
    assert pull_in(**how).story == "the slowest of 2"
    assert pull_in(**how).from_s == pytest.approx(11.9995)
    assert drop_out(**how).value == pytest.approx(31.0, abs=0.6)


def test_effect_before_its_cause_takes_no_time():
    """A feed that moves between the same two samples."""
    assert pull_in(live=((2.0, 8.02),)).value == 0.0


@pytest.mark.parametrize("missing", ["trigger_v", "feed_v"])
def test_relay_needs_both_lines(missing):
    """The one that lacks is named."""
    how = {"without": [missing], "told": {"rises": (), "falls": ()}}
    assert pull_in(**how).why == drop_out(**how).why == f"{missing} is not logged"


def test_trigger_that_does_not_move_shows_no_event():
    """And says what to do."""
    still = {"lines": {"trigger_v": lambda t: 12.4 + 0 * t, "feed_v": lambda t: 12.4 + 0 * t}}
    how = {**still, "told": {"rises": (), "falls": (), "source": "trigger_v"}}

    assert pull_in(**how).why == "the trigger does not rise in this log; turn the key on while it records"
    assert drop_out(**how).why == "the trigger does not fall in this log; turn the key off while it records"


def test_trigger_and_feed_that_stay_dead_through_a_key_on_fail_the_pull_in():
    """The key is known by its own line."""
    found = pull_in(live=(), lines={"trigger_v": lambda t: 0 * t}, told={"rises": (), "falls": ()})

    assert found.failed == "the trigger never rose and the feed stayed dead with the key on, for 6.0 s"
    assert (found.value, found.u, found.from_s, found.to_s) == (None, None, 2.0, 8.0)


def test_trigger_and_feed_that_stay_live_after_a_key_off_fail_the_drop_out():
    """Both stay up to the log's end."""
    up = {"trigger_v": lambda t: 12.4 * (t > 2), "feed_v": lambda t: 12.4 * (t > 2.01)}
    found = drop_out(end_s=12.0, lines=up, told={"falls": ()})

    assert found.failed == (
        "the trigger never fell and the contact never opened after the key was turned off, for 4.0 s"
    )


def test_feed_that_never_becomes_live_fails():
    """Watched from the trigger's rise to its fall."""
    found = pull_in(live=())

    assert found.failed == "the feed never became live after the trigger rose, for 6.0 s"
    assert (found.from_s, found.to_s) == (pytest.approx(1.9995), pytest.approx(7.999))


def test_feed_that_never_opens_fails():
    """Watched from the trigger's fall to the end of the log."""
    found = drop_out(live=((2.01, 20.0),))

    assert found.failed == "the contact never opened after the trigger fell, for 2.0 s"


def test_feed_may_come_late():
    """After 1.5 s, beyond the first look; and after 25 s of a slow one."""
    assert pull_in(live=((3.5, 8.02),)).value == pytest.approx(1500.0, abs=0.01)
    late = {"up": ((2.0, 40.0),), "live": ((27.0, 40.02),), "end_s": 42.0, "step_s": 0.004}
    assert pull_in(**late).value == pytest.approx(25000.0, abs=0.01)
    assert pull_in(**{**late, "live": ((33.0, 40.02),)}).failed == (
        "the feed never became live after the trigger rose, for 38.0 s"
    )


def test_contact_may_open_late():
    """After 1.5 s, beyond the first look."""
    assert drop_out(live=((2.01, 9.5),), end_s=12.0).value == pytest.approx(1500.0, abs=0.6)


@pytest.mark.parametrize(
    ("limit", "off_s", "failed"), [(None, 2.9, False), (None, 3.1, True), (1500.0, 3.4, False), (1500.0, 3.6, True)]
)
def test_relay_that_does_not_move_is_watched_for_longer_than_its_limit(limit, off_s, failed):
    """Or for a second, where the plan names none: else the trigger goes down too soon after."""
    found = pull_in(up=((2.0, off_s),), live=(), limits=(limit, None))

    assert bool(getattr(found, "failed", None)) is failed
    if not failed:
        assert found.why == "no pull-in could be timed: the log ends too soon after it"


def test_feed_that_was_live_already_gives_no_pull_in():
    """The contact was closed when the trigger rose."""
    found = pull_in(live=((0.0, 8.02),))

    assert found.why == "no pull-in could be timed: the feed was live already"


def test_feed_that_was_dead_already_gives_no_drop_out():
    """The contact had opened before the trigger fell."""
    assert drop_out(live=((2.01, 5.0),)).why == "no drop-out could be timed: the feed was dead already"


def test_feed_at_the_edge_of_being_live():
    """5.1 V is live and 4.9 V is not."""
    for volts, live in ((5.1, True), (4.9, False)):
        lines = {"feed_v": lambda t, v=volts: v * during(t, (2.01, 8.02))}
        assert (pull_in(lines=lines).failed is None) is live
        assert hasattr(drop_out(lines=lines, without=["battery_v"]), "why") is not live


def test_half_dead_feed_is_timed_from_its_own_level():
    """It stands at 4 V before: half of its swing is 8.2 V; at 7 V before it was live already."""

    def ramp(before):
        return lambda t: np.where(t < 2.0, before, np.clip(before + (t - 2.0) * 1000, before, 12.4))

    low = pull_in(lines={"feed_v": ramp(4.0)})
    assert low.value == pytest.approx(4.7, abs=0.1)
    assert pull_in(lines={"feed_v": ramp(0.0)}).value == pytest.approx(6.7, abs=0.1)
    assert hasattr(pull_in(lines={"feed_v": ramp(7.0)}), "why")


@pytest.mark.parametrize(("gap", "told"), [((2.004, 2.6), True), ((2.1, 2.7), False)])
def test_gap_amid_a_move_hides_when_it_came(gap, told):
    """The feed came in it, or before."""
    found = pull_in(keep=lambda t: (t < gap[0]) | (t >= gap[1]))

    assert (getattr(found, "why", None) == "no pull-in could be timed: the log has a gap in its samples there") is told


def test_crank_ends_the_watch():
    """The starter turns 1.2 s after the trigger's rise, and the feed comes only afterwards."""
    how = {"live": ((4.0, 8.02),), "limits": (None, None)}
    cranked = {"told": {"cranks": (Crank(3.2, 3.8, 12.5, 0.0),)}}

    assert pull_in(**how).value == pytest.approx(2000.0, abs=0.01)
    assert pull_in(**how, **cranked).failed.endswith("for 1.2 s")


def test_fall_that_a_pulled_fuse_brought_about_is_no_drop_out():
    """It lies in what is left out."""
    assert drop_out(left_out=((7.0, 9.0),)).why.startswith("the trigger does not fall")
    assert drop_out(left_out=((8.5, 9.0),)).value == pytest.approx(20.0, abs=0.6)


def test_slower_logger_widens_both_ends():
    """4 ms behind the trigger's rows, 6 ms behind the feed's."""
    found = pull_in(steps=TrueSteps({"trigger_v": 0.004, "feed_v": 0.006}))

    assert found.u == pytest.approx(math.hypot(4, 6) / math.sqrt(3))
    by_battery = pull_in(steps=TrueSteps({"battery_v": 0.006}))
    assert by_battery.u == pytest.approx(math.hypot(1, 6) / math.sqrt(3))


@pytest.mark.parametrize(
    ("step_s", "pause_s", "width_ms"), [(0.001, 0.02, 1.0), (0.00102, 0.02, 40.0), (0.002, 0.0005, 2.0)]
)
def test_first_pulses_may_have_been_missed_by_slow_samples(step_s, pause_s, width_ms):
    """A trigger that is pulsed is known to two pauses where samples lie over 1 ms apart."""
    pulses = Pulses(0.5, 100.0, pause_s, 2.0, 8.0)
    found = pull_in(step_s=step_s, told={"trigger_pulses": pulses})

    assert found.u == pytest.approx(math.hypot(width_ms, 1000 * step_s) / math.sqrt(3), rel=0.02)


def test_bounce_of_the_key_counts_from_the_edge_that_held():
    """The trigger goes down again from 2.003 to 2.013 s: the feed at 2.03 s comes 17 ms after the edge that held."""

    def bounced(t):
        return 12.4 * (during(t, (2.0, 8.0)) & ~during(t, (2.003, 2.013)))

    how = {"lines": {"trigger_v": bounced}, "live": ((2.03, 8.02),)}
    assert pull_in(**how).value == pytest.approx(17.0, abs=0.01)
    pulses = Pulses(0.5, 100.0, 0.0, 2.0, 8.0)
    assert pull_in(**how, told={"trigger_pulses": pulses}).value == pytest.approx(30.0, abs=0.01)


def test_closing_is_timed_against_what_the_feed_settles_at():
    """It dips to 6 V from 0.1 to 0.25 s after the trigger's rise, and stands at 12.4 V from 0.3 s on."""

    def feed(t):
        return np.where(during(t, (2.1, 2.25)), 6.0, 12.4 * during(t, (2.01, 8.02)))

    assert pull_in(lines={"feed_v": feed}).value == pytest.approx(10.0, abs=0.1)


def test_feed_that_is_not_read_before_a_fall_was_dead():
    """None within two seconds of it."""
    nothing = drop_out(lines={"feed_v": lambda t: np.where(t < 2.5, 12.4 * (t > 2.01), np.nan)})

    assert nothing.why == "no drop-out could be timed: the feed was dead already"


@pytest.mark.parametrize(("before", "took_ms"), [(4.0, 4.6), (4.9, 4.2), (6.3, 10.0)])
def test_feed_that_stands_below_half_before_is_timed_from_there(before, took_ms):
    """Above half of its level it counts from nothing, and is live already above 5 V."""

    def ramp(t):
        return np.where(t < 2.0, before, np.clip(before + (t - 2.0) * 1000, before, 12.4))

    found = pull_in(lines={"feed_v": ramp})
    if before < 5:
        assert found.value == pytest.approx(took_ms, abs=0.2)
    else:
        assert found.why == "no pull-in could be timed: the feed was live already"


@pytest.mark.parametrize(("noted_s", "counts"), [(60.0, True), (40.0, False)])
def test_trigger_that_falls_long_after_the_key_off_was_not_let_go_by_the_key(noted_s: float, counts: bool):
    """The key-off is marked 20 s or 40 s before the trigger falls: what backfed it was taken away since."""
    bench = relay(up=((2.0, 80.0),), live=((2.01, 80.02),), end_s=90.0)
    noted = replace(bench, story=replace(bench.story, off=((0.0, 2.0), (noted_s, 90.0)), on=((2.0, noted_s),)))

    found = examine_relay(noted).findings["relay_drop_out"]
    assert (getattr(found, "value", None) is not None) is counts
