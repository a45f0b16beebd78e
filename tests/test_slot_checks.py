"""Which steps are whose, over the key-ons of a log: matched, shared, unseen and dead circuits, on stretches by hand."""

import pytest
from hand_bench import EXACT, HandLog, bench, limit, measured, plan, plateau, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.slots import Match
from benchlog.core.trace import Mark
from benchlog.examine.load_checks import Loads
from benchlog.examine.slot_checks import examine_slots
from benchlog.examine.slot_match import KeyOnSteps, match_key_on, proven_steps, switched_unseen
from benchlog.examine.stepped import Stepped

LIMITS = {"slot_1_current": limit(2.4, 3.6), "slot_2_current": limit(4.0, 6.0)}


def stretches(*levels, at_s=10.0, role="battery_a", ohm=0.02):
    """Ten seconds at each level, with a feed of 20 mΩ and a return of 10 mΩ that carry all of it."""
    made = []
    for n, a in enumerate(levels):
        drop = ohm * (a - levels[0])
        read = {role: a, "battery_v": 12.0 - 0.03 * a, "feed_v": 12.0 - 0.03 * a - drop, "ground_v": drop / 2}
        made.append(plateau(at_s + 10.1 * n, at_s + 10 + 10.1 * n, 0.0005, drop_v=drop, lift_v=drop / 2, **read))
    return tuple(made)


def a_bench(
    marks=(), planned=(3.0, 5.0), roles=("battery_v", "feed_v", "ground_v", "battery_a"), on=((9.5, 90.0),), **more
):
    """A log of these channels; the stretches are given."""
    log = HandLog(times(100.0, 0.1), dict.fromkeys(roles, 1.0), marks)
    known = dict.fromkeys(("battery_v", "feed_v", "ground_v", "battery_a", "feed_a"), EXACT)
    return bench(log, story(on, ((0.0, on[0][0]),)), plan(*planned), accuracy=known, **more)


def work(*groups, marks=(), feed=(), limits=LIMITS, **how):
    """The circuits' examination of such key-ons."""
    return examine_slots(a_bench(marks, **how), Loads(tuple(groups), tuple(feed)), limits)


def found(*groups, slot=1, **how):
    """One slot's finding."""
    return work(*groups, **how).findings[f"slot_{slot}_current"]


MARKS = {"slot 1 on": 20.0, "slot 2 on": 30.1}
TWO = stretches(1.0, 4.0, 9.0)


def test_marked_circuits_have_their_steps():
    """3 and 5 A; the steps are the block's and the first came on at 20.1 s."""
    both = work(TWO, marks=MARKS)

    assert [both.findings[f"slot_{n}_current"].value for n in (1, 2)] == [
        pytest.approx(3.0, abs=0.1),
        pytest.approx(5.0, abs=0.1),
    ]
    assert "marked as slot 1" in both.findings["slot_1_current"].story
    assert [[one.step.time_s for one in group] for group in both.proven] == [[pytest.approx(20.1), pytest.approx(30.2)]]
    assert both.first_on == (pytest.approx(20.1),)
    unmarked = work(TWO)
    assert "taken for slot 2 by its size" in unmarked.findings["slot_2_current"].story


def test_plan_without_circuits_has_nothing_to_match():
    """And no step."""
    none = work(TWO, planned=())
    assert (none.findings, none.proven, none.first_on) == ({}, (), ())


def test_circuits_with_channels_of_their_own_need_no_steps():
    """Where feed_a is logged its own rises tell of the first."""
    roles = ("slot1_a", "slot2_a", "feed_a")
    feed = (stretches(0.0, 3.0, role="feed_a"),)
    one = work(roles=roles, feed=feed)
    assert one.findings["slot_1_current"].story == "by its own channel"
    assert (one.proven, one.first_on) == ((), (pytest.approx(20.1),))
    assert work(roles=("slot1_a", "slot2_a", "battery_a")).first_on == ()


def test_feeds_own_channel_gives_the_steps_of_the_others():
    """By feed_a all are the block's; nothing is left to prove."""
    roles = ("slot1_a", "feed_a", "battery_a")
    one = work(roles=roles, feed=(stretches(0.0, 5.0, role="feed_a"),), planned=(3.0, 5.0))

    assert one.findings["slot_2_current"].value == pytest.approx(5.0)
    assert (one.proven, one.first_on) == ((), (pytest.approx(20.1),))


def test_log_without_a_current_shows_no_circuit():
    """Neither the slot's own, nor the feed's, nor the battery's."""
    assert found(roles=("battery_v",)).why == "neither the slot's own current, feed_a nor battery_a is logged"


def test_circuit_that_was_switched_under_a_bridge_is_not_seen():
    """Its step is nowhere, and no other is taken for it."""
    one = found(TWO, marks=MARKS, bridged=(Bridge(19.0, 21.0),))

    assert one.why.startswith(
        "slot 1 was switched on while battery_a was not measured; switch it on again with the shunt"
    )
    assert one.why.endswith("; the shunt was bridged from 19.0 s to 21.0 s, so no current was measured there")
    assert found(TWO, marks=MARKS, slot=2, bridged=(Bridge(19.0, 21.0),)).value == pytest.approx(5.0, abs=0.1)
    twice = a_bench([(20.0, "slot 1 on"), (60.0, "slot 1 on")], bridged=(Bridge(19.0, 21.0),))
    assert switched_unseen(twice, 1) is False
    assert switched_unseen(a_bench(MARKS), 1) is False
    assert switched_unseen(a_bench((), bridged=(Bridge(19.0, 21.0),)), 1) is False


def test_circuits_that_came_on_in_one_step_are_not_told_apart():
    """8 A for 3 and 5 A planned."""
    one = found(stretches(1.0, 9.0))

    assert one.why == "slots 1 and 2 seem to have come on in one step of 8.00 A at 20.1 s; switch them on one by one"


def test_marked_key_on_comes_before_one_by_size():
    """3.5 A at its mark in the second key-on, 3 A by its size in the first."""
    first, second = stretches(1.0, 4.0, 9.0), stretches(1.0, 4.5, 9.5, at_s=50.0)
    marks = {"slot 1 on": 60.0, "slot 2 on": 70.1}

    assert found(first, second, marks=marks).value == pytest.approx(3.5, abs=0.1)
    assert found(first, second).value == pytest.approx(3.0, abs=0.1)


def test_key_ons_that_disagree_prove_nothing_unless_a_mark_shows_the_failure():
    """3 A and 4.5 A of 2.4 to 3.6 A."""
    first, second = stretches(1.0, 4.0, 9.0), stretches(1.0, 5.5, 10.5, at_s=50.0)

    one = found(first, second)
    assert one.disqualified == "the key-ons of this log give it different currents"
    assert one.value == pytest.approx(3.0, abs=0.1)
    assert one.remedy == 'note "slot 1 on" as a mark when switching it on, or log slot1_a'
    marks = [(20.0, "slot 1 on"), (30.1, "slot 2 on"), (60.0, "slot 1 on"), (70.1, "slot 2 on")]
    assert found(first, second, marks=marks).value == pytest.approx(4.5, abs=0.1)
    assert found(first, second, marks=marks).disqualified is None
    assert found(first, first).disqualified is None
    assert found(first, second, limits={}).disqualified is None


def test_mark_without_a_step_is_a_dead_circuit_where_the_load_was_steady():
    """Marked at 25 s, amid ten steady seconds; a mark amid nothing leaves it open."""
    marks = {"slot 1 on": 25.0, "slot 2 on": 30.1}
    dead = found(stretches(1.0, 1.0, 6.0), marks=marks)
    assert (dead.value, dead.story) == (0.0, "marked on, and battery_a shows no step there")
    gone = found((TWO[0],), marks={"slot 1 on": 45.0, "slot 2 on": 50.0})
    assert gone.why == (
        "no load step of battery_a fits slot 1; switch it on by itself with the key on and the engine off"
    ) or gone.why.startswith("the load was not steady around the mark of slot 1")


def test_circuit_without_step_or_mark_is_dead_beside_all_others():
    """Where the paths prove that the other's step is the block's; else nothing is said of it."""
    one = found(stretches(1.0, 1.0, 6.0, 6.0), marks={"slot 2 on": 30.1})
    assert one.story == "every other circuit came on, and no step of battery_a is left for this one"
    none = found(stretches(1.0, 1.0), bridged=(Bridge(70.0, 75.0),))
    assert none.why == (
        "no load step of battery_a fits slot 1; switch it on by itself with the key on and the "
        "engine off; the shunt was "
        "bridged from 70.0 s to 75.0 s, so no current was measured there"
    )
    by_feed = found(
        roles=("feed_a", "battery_a"), feed=(stretches(0.0, 0.0, role="feed_a"),), bridged=(Bridge(70.0, 75.0),)
    )
    assert (
        by_feed.why == "no load step of feed_a fits slot 1; switch it on by itself with the key on and the engine off"
    )


def test_step_as_the_key_comes_on_is_no_circuits():
    """At 20.05 s."""
    on = ((20.05, 90.0),)

    assert work(TWO, on=on).first_on == (pytest.approx(30.2),)


def test_key_on_without_stretches_leaves_its_place_empty():
    """So that what is proven stands beside its own stretches."""
    proven = work((), TWO, (), marks=MARKS).proven

    assert [len(group) for group in proven] == [0, 2, 0]


def step(at_s, amps, owner="unknown") -> LoadStep:
    """A step."""
    return LoadStep(at_s, amps, 0.01, at_s - 5, at_s + 5, owner)


def proven(steps, matches):
    """Which of them are surely the block's, by their times."""
    stepped = tuple(Stepped(one, plateau(0, 1), plateau(1, 2)) for one in steps)
    return [one.step.time_s for one in proven_steps(KeyOnSteps(stepped, (), matches, {}, None, 60.0))]


def test_steps_are_proven_by_paths_marks_and_chances():
    """The paths' own; a mark that nothing else fits; 95 % over all circuits."""
    up, other = step(10.0, 3.0), step(20.0, 5.0)

    assert proven([step(10.0, 3.0, "block"), step(20.0, 5.0, "both"), step(30.0, 1.0, "bike")], {}) == [10.0, 20.0]
    assert proven([up], {1: Match(up, (), True)}) == [10.0]
    assert proven([up], {1: Match(up, (other,), True)}) == []
    assert proven([up], {1: Match(up, (), False)}) == []
    assert proven([up], {1: Match(None, (), True)}) == []
    assert proven([up], {1: Match(up, (), False, ((up, 0.95), (None, 0.05)))}) == [10.0]
    assert proven([up], {1: Match(up, (), False, ((up, 0.94), (None, 0.06)))}) == []
    shared = {1: Match(up, (), False, ((up, 0.5), (None, 0.5))), 2: Match(None, (), False, ((up, 0.46), (None, 0.54)))}
    assert proven([up], shared) == [10.0]
    bike = step(10.0, 3.0, "bike")
    assert proven([bike], {1: Match(bike, (), True, ((bike, 1.0),))}) == []


def test_load_of_a_proven_step_is_proven_as_it_goes_and_comes_again():
    """3 A on, off and on again; the bike's own between is not."""
    steps = [step(10.0, 3.0), step(20.0, -3.0), step(30.0, 3.0), step(40.0, 7.0)]

    assert proven(steps, {1: Match(steps[0], (), True)}) == [10.0, 20.0, 30.0]


def test_marks_belong_to_the_key_on_that_holds_them():
    """From two seconds before its first stretch to three seconds after its last."""
    noted = [(7.9, "slot 1 on"), (8.1, "slot 1 on"), (43.1, "slot 2 on"), (43.3, "slot 2 on")]
    one = a_bench(noted)
    got = match_key_on(one, "battery_a", TWO, (), {1: 3.0, 2: 5.0})

    assert got.marks == (Mark(8.1, "slot 1 on"), Mark(43.1, "slot 2 on"))
    assert (got.first, got.ends_s) == (TWO[0], TWO[-1].to_s)
    assert measured(1.0).value == 1.0


def test_any_mark_that_was_watched_shows_a_dead_circuit():
    """At 25 s, amid ten steady seconds; the one at 60 s lies after all of them."""
    marks = [(25.0, "slot 1 on"), (30.1, "slot 2 on"), (60.0, "slot 1 on")]

    assert found(stretches(1.0, 1.0, 6.0), marks=marks).story == "marked on, and battery_a shows no step there"
