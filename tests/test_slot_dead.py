"""A circuit without a load step: whether the log can tell that it drew nothing, on steps written by hand."""

import math

import numpy as np
import pytest
from hand_bench import AMPS, EXACT, HandLog, bench, limit, plan, plateau, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.slots import Match
from benchlog.core.trace import Mark
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.slot_dead import comes_and_goes, in_pulses, no_step, watched
from benchlog.examine.slot_match import KeyOnSteps
from benchlog.examine.stepped import Stepped

WITHIN = limit(2.4, 3.6)


def step(at_s: float, amps: float, owner="block", u: float = 0.01) -> LoadStep:
    """A step between two stretches of ten seconds."""
    return LoadStep(at_s, amps, u, at_s - 8.0, at_s + 10.0, owner)


def key_on(steps, matches, marks=(), ends_s=60.0, before=None, first=None, together=()) -> KeyOnSteps:
    """These steps and matches; ``before`` is the stretch before the first step."""
    stepped = []
    for n, one in enumerate(steps):
        earlier = before if before is not None and not n else plateau(one.from_s, one.time_s, battery_a=0.0)
        stepped.append(Stepped(one, earlier, plateau(one.time_s, one.to_s)))
    noted = tuple(Mark(at, text) for text, at in dict(marks).items())
    return KeyOnSteps(tuple(stepped), noted, matches, dict(together), first, ends_s)


def a_bench(marks=(), accuracy=EXACT, values=None, lasts_s=70.0, **told):
    """Three circuits of 3 A planned; the key is on for the first minute."""
    t = times(lasts_s, 0.1)
    log = HandLog(t, {"battery_a": 0.0} if values is None else values(t), marks)
    known = dict.fromkeys(("battery_a", "feed_a", "battery_v", "feed_v", "ground_v"), accuracy)
    return bench(log, story(((0.0, 60.0),), **told), plan(3.0, 3.0, 3.0), accuracy=known)


@pytest.mark.parametrize(
    ("stretches", "seen"),
    [
        (((15.0, 19.9), (20.1, 30.0)), True),
        (((15.0, 30.0),), True),
        (((15.0, 20.9),), False),
        (((15.0, 21.1),), True),
        (((15.0, 18.9), (20.6, 30.0)), False),
        (((15.0, 18.9), (19.6, 30.0)), True),
        (((15.0, 19.5), (20.6, 30.0)), False),
        (((15.0, 19.6), (20.4, 30.0)), True),
        (((15.0, 18.1), (18.4, 18.6), (19.0, 19.2), (21.3, 23.0)), False),
        (((21.0, 30.0),), False),
        (((20.4, 30.0),), False),
        (((20.6, 30.0),), False),
        (((1.0, 17.0),), False),
        (((24.0, 30.0),), False),
        ((), False),
    ],
)
def test_mark_is_watched_where_steady_stretches_fill_half_of_the_time_around_it(stretches, seen):
    """From 2 s before the mark at 20 s to 3 s after it, from before it to 1 s beyond it, no slow change across it."""
    groups = [tuple(plateau(a, b) for a, b in stretches)] if stretches else []

    assert watched(a_bench(), 20.0, groups) is seen


@pytest.mark.parametrize(("from_s", "seen"), [(19.9, True), (20.1, False)])
def test_mark_at_which_the_log_begins_is_not_watched(from_s, seen):
    """What came before anything steady was seen is no step: a log cut just before its mark fails no circuit."""
    assert watched(a_bench(), 20.0, [(plateau(from_s, 40.0),)]) is seen


@pytest.mark.parametrize(("mark_s", "seen"), [(1.9, False), (2.1, True), (66.8, True), (67.1, False)])
def test_mark_in_reach_of_the_logs_ends_is_not_watched(mark_s, seen):
    """Its step may have come up to 2 s before the mark, or 3 s after it, where a log of 70 s has no samples."""
    assert watched(a_bench(), mark_s, [(plateau(0.0, 70.0),)]) is seen


@pytest.mark.parametrize(
    ("from_s", "to_s", "seen"), [(10.0, 17.9, True), (10.0, 18.1, False), (22.9, 24.0, False), (23.1, 24.0, True)]
)
def test_mark_beside_a_crank_is_not_watched(from_s, to_s, seen):
    """Within 2 s before and 3 s after the mark at 20 s."""
    cranked = a_bench(cranks=(Crank(from_s, to_s, 12.5, 1.0),))

    assert watched(cranked, 20.0, [(plateau(10.0, 30.0),)]) is seen


def test_any_key_on_may_hold_the_mark():
    """The second of two."""
    assert watched(a_bench(), 20.0, [(plateau(1.0, 9.0),), (plateau(15.0, 30.0),)])


def swinging(before_a: float, after_a: float, **marks: float):
    """A current of 5 A that swings by so much from sample to sample before and after 20 s."""

    def amps(t):
        size = np.where(t < 20.4, before_a, after_a)
        return {"battery_a": 5 + np.where(np.arange(len(t)) % 2, 0.5, -0.5) * size}

    return a_bench([(at, name.replace("_", " ")) for name, at in marks.items()], values=amps)


@pytest.mark.parametrize(("after_a", "comes"), [(2.4, False), (2.6, True)])
def test_circuit_comes_and_goes_where_the_current_swings_by_half_of_it_more(after_a, comes):
    """1.5 A more than the 1 A before."""
    assert in_pulses(swinging(1.0, after_a), 1, 20.0, "battery_a") is comes


def test_swing_is_looked_at_between_the_marks_beside():
    """Half a second after the one before, up to the one after; less than a second of it tells nothing."""
    assert in_pulses(swinging(1.0, 4.0, slot_2_on=18.3), 1, 20.0, "battery_a")
    assert not in_pulses(swinging(1.0, 4.0, slot_2_on=18.7), 1, 20.0, "battery_a")
    assert in_pulses(swinging(1.0, 4.0, slot_2_on=21.7), 1, 20.0, "battery_a")
    assert not in_pulses(swinging(1.0, 4.0, slot_2_on=21.3), 1, 20.0, "battery_a")


def test_circuit_that_was_marked_on_without_a_step_draws_nothing():
    """For three seconds from its mark on; to a third of the least step."""
    one = key_on([], {1: Match(None, (), True)}, {"slot 1 on": 20.0})
    found = no_step(a_bench({"slot 1 on": 20.0}, AMPS), 1, one, "battery_a", WITHIN)

    assert (found.value, found.from_s, found.to_s) == (0.0, 20.0, 23.0)
    assert found.u == pytest.approx(math.hypot(AMPS.change_u(0.0), 0.12 / 3))
    assert found.story == "marked on, and battery_a shows no step there"
    assert (found.disqualified, found.remedy) == (None, None)
    assert no_step(a_bench({"slot 1 on": 20.0}, None), 1, one, "battery_a", WITHIN).u is None
    coarse = Accuracy(0.0, 0.0, 0.1)
    wide = no_step(a_bench({"slot 1 on": 20.0}, coarse), 1, one, "battery_a", WITHIN).u
    assert wide == pytest.approx(math.hypot(coarse.change_u(0.0), 0.25 / 3))


def test_step_beside_the_mark_may_be_the_circuits():
    """As the matching says."""
    near = step(24.5, 3.1)
    one = key_on([near], {1: Match(None, (None, near), True)}, {"slot 1 on": 20.0})
    found = no_step(a_bench({"slot 1 on": 20.0}), 1, one, "battery_a", WITHIN)

    assert found.disqualified == "the step of 3.10 A at 24.5 s may be this circuit"
    assert found.remedy == "set the mark as the circuit is switched on"


@pytest.mark.parametrize(
    ("late", "allowed", "may"),
    [
        (step(34.0, 3.1), WITHIN, True),
        (step(36.0, 3.1), WITHIN, False),
        (step(6.0, 3.1), WITHIN, True),
        (step(34.0, 5.0), WITHIN, False),
        (step(34.0, 3.1), None, False),
        (step(34.0, 3.1, "bike"), WITHIN, False),
        (step(34.0, -3.1), WITHIN, False),
        (step(34.0, 3.616), WITHIN, True),
        (step(34.0, 3.617), WITHIN, False),
    ],
)
def test_mark_may_be_fifteen_seconds_late_for_a_step_that_fits(late, allowed, may):
    """A step that no other circuit took, that conforms with more than 5 %."""
    one = key_on([late], {1: Match(None, (), True)}, {"slot 1 on": 20.0})
    told = no_step(a_bench({"slot 1 on": 20.0}), 1, one, "battery_a", allowed).disqualified

    assert (told is not None) is may


def test_step_that_no_mark_names_comes_before_those_that_only_fit():
    """None among what the matching says is no step."""
    near, late = step(24.5, 9.0), step(34.0, 3.1)
    for those in ((near, None), (None, near)):
        one = key_on([near, late], {1: Match(None, those, True)}, {"slot 1 on": 20.0})
        told = no_step(a_bench({"slot 1 on": 20.0}), 1, one, "battery_a", WITHIN).disqualified
        assert told == "the step of 9.00 A at 24.5 s may be this circuit"


def test_any_mark_of_the_circuit_may_be_the_late_one():
    """Marked at 20 and at 50 s; the step at 34 s is near the first alone."""
    one = key_on([step(34.0, 3.1)], {1: Match(None, (), True)})
    noted = (Mark(20.0, "slot 1 on"), Mark(50.0, "slot 1 on"))
    twice = KeyOnSteps(one.steps, noted, one.matches, {}, None, 60.0)

    assert no_step(a_bench({"slot 1 on": 20.0}), 1, twice, "battery_a", WITHIN).disqualified is not None


def test_unstated_channel_leaves_a_steps_own_doubt():
    """3.7 A of at most 3.6 A, ± 10 mA: it does not conform, and is no late step of this circuit."""
    one = key_on([step(34.0, 3.7)], {1: Match(None, (), True)}, {"slot 1 on": 20.0})

    assert no_step(a_bench({"slot 1 on": 20.0}, None), 1, one, "battery_a", WITHIN).disqualified is None


def test_step_that_another_circuit_took_is_not_this_ones():
    """Nor is one that came on again."""
    late = step(30.0, 3.1)
    taken = key_on([late], {1: Match(None, (), True), 2: Match(late, (), True)}, {"slot 1 on": 20.0})
    assert no_step(a_bench({"slot 1 on": 20.0}), 1, taken, "battery_a", WITHIN).disqualified is None
    again = [step(5.0, 3.1), step(10.0, -3.1), late]
    back = key_on(again, {1: Match(None, (), True), 2: Match(again[0], (), True)}, {"slot 1 on": 20.0})
    assert no_step(a_bench({"slot 1 on": 20.0}), 1, back, "battery_a", WITHIN).disqualified is None


@pytest.mark.parametrize(
    ("dead_from", "dead_to", "flutters"),
    [(21.0, 21.1, True), (0.0, 60.0, False), (60.0, 60.0, False), (23.2, 25.0, False), (19.0, 19.9, False)],
)
def test_feed_that_is_live_and_dead_within_three_seconds_of_a_mark_leaves_no_step_to_see(dead_from, dead_to, flutters):
    """Marked at 20 s; live or dead throughout, or a drop-out before or long after, the step would be seen."""

    def values(t):
        return {"battery_a": 0.0 * t, "feed_v": np.where((t >= dead_from) & (t < dead_to), 0.02, 12.4)}

    one = a_bench(values=values)

    assert comes_and_goes(one, 20.0) is flutters
    assert not comes_and_goes(a_bench(), 20.0)
