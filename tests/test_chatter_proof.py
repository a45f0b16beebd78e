"""What chatter is not: the key's own bounce, a slow drop-out, a spike; and what shows that all circuits were on."""

from dataclasses import replace

import numpy as np
import pytest
from hand_bench import HandLog, bench, plan, plateau, story, times
from test_chatter_checks import a_bench, count, during, edge

from benchlog.analysis.pulsing import Pulses
from benchlog.examine.chatter_checks import examine_chatter
from benchlog.examine.context import KeyTurn
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad, PathPoint

SHORT = "no stretch with the key on shows the planned load of 8 A"


def through_feed(*pairs: tuple[float, float]) -> FeedLoad:
    """The load through the feed on stretches of a second, by their begin."""
    return FeedLoad(tuple(PathPoint(plateau(at, at + 1), a) for at, a in pairs), "", True, "feed_a")


def stretches(*pairs: tuple[float, float]) -> Loads:
    """The battery's current on stretches of a second, by their begin."""
    return Loads((tuple(plateau(at, at + 1, battery_a=a) for at, a in pairs),), ())


@pytest.mark.parametrize(
    ("marks", "proven"),
    [
        ((), False),
        ({"slot 1 on": 3.0}, False),
        ({"slot 1 on": 3.0, "slot 2 on": 4.0}, True),
        ({"slot 1 on": 1.0, "slot 2 on": 4.0}, False),
        ({"slot 1 on": 3.0, "slot 2 on": 9.0}, False),
        ([(3.0, "slot 1 on"), (3.5, "slot 1 off"), (4.0, "slot 2 on")], False),
        ([(3.0, "slot 1 on"), (3.5, "slot 1 off"), (4.0, "slot 2 on"), (5.0, "slot 1 on")], True),
        ({"slot 1 on": 3.0, "slot 2 on": 4.0, "slot 3 on": 5.0}, True),
    ],
)
def test_pass_needs_all_circuits_on_at_once_within_one_key_on(marks, proven):
    """By marks of slots 1 and 2, between 2 and 8 s."""
    found = examine_chatter(a_bench(planned=(3.0, 5.0), marks=marks))

    assert found.one_sided == (None if proven else SHORT)
    assert found.remedy == (
        None
        if proven
        else "switch all circuits on with the key on, and log feed_a or battery_a, or mark each as it is switched"
    )


@pytest.mark.parametrize(
    ("load", "loads", "proven"),
    [
        (through_feed((3.0, 6.3)), None, False),
        (through_feed((3.0, 6.5)), None, True),
        (through_feed((1.0, 6.5)), None, False),
        (through_feed((8.5, 6.5)), None, False),
        (through_feed((3.0, 1.0), (4.0, 6.5)), None, True),
        (None, stretches((3.0, 1.0), (4.0, 7.3)), False),
        (None, stretches((3.0, 1.0), (4.0, 7.5)), True),
        (None, stretches((1.0, 1.0), (4.0, 7.5)), False),
        (None, stretches((3.0, 1.0), (9.0, 7.5)), False),
        (None, stretches(), False),
        (None, Loads((), ()), False),
    ],
)
def test_four_fifths_of_the_planned_load_show_that_all_circuits_were_on(load, loads, proven):
    """6.4 A of 8 A, through the feed, or between the least and the most of the battery's current in the key-on."""
    assert examine_chatter(a_bench(planned=(3.0, 5.0)), load, loads).one_sided == (None if proven else SHORT)


@pytest.mark.parametrize(("second", "lasts_s", "proven"), [(3.5, 3.0, True), (3.3, 3.0, False), (3.5, 0.3, False)])
def test_circuits_own_currents_show_that_all_were_on(second, lasts_s, proven):
    """Their sum over half a second is 6.5 or 6.3 A."""
    lines = {
        "slot1_a": lambda t: 3.0 * during(t, (3.0, 7.0)),
        "slot2_a": lambda t: second * during(t, (4.0, 4.0 + lasts_s)),
    }

    assert (examine_chatter(a_bench(planned=(3.0, 5.0), lines=lines)).one_sided is None) is proven
    del lines["slot2_a"]
    assert examine_chatter(a_bench(planned=(3.0, 5.0), lines=lines)).one_sided == SHORT


def bouncing(at_s: float, up_after: bool, gaps: int = 3):
    """A trigger that turns at 2 and 8 s and bounces every 20 ms after one of them."""

    def line(t):
        x = 12.5 * during(t, (2.0, 8.0))
        for n in range(gaps):
            x[during(t, (at_s + 0.01 + 0.02 * n, at_s + 0.02 + 0.02 * n))] = 0.0 if up_after else 12.5
        return x

    return line


@pytest.mark.parametrize(("opened", "counts"), [((2.03, 2.04), 0), ((2.14, 2.15), 0), ((2.17, 2.18), 1)])
def test_contact_may_follow_the_bounce_of_the_key_on(opened, counts):
    """Its last edge comes 60 ms after the first; what comes up to 100 ms after that follows it."""
    how = {"lines": {"trigger_v": bouncing(2.0, True)}, "opened": [opened]}

    assert count(**how) == counts
    assert count(opened=[(2.03, 2.04)]) == 1


@pytest.mark.parametrize(("closed", "counts"), [((8.1, 8.12), 0), ((8.2, 8.3), 1), ((8.5, 8.6), 1)])
def test_contact_may_follow_the_bounce_of_the_key_off(closed, counts):
    """What opens it in the bounce is the drop-out; a closing 100 ms after the last edge and later is out of turn."""
    assert count(lines={"trigger_v": bouncing(8.0, False)}, closed=[closed]) == counts


def test_one_passage_seen_by_two_levels_is_no_bounce():
    """A contact that closes again, once and long after the key-off, counts."""
    assert count(closed=[(8.5, 8.6)]) == 1
    assert count(closed=[(8.06, 8.08)]) == 1


@pytest.mark.parametrize(("late_s", "counts"), [(0.15, 0), (0.25, 1)])
def test_edge_of_the_trigger_is_the_keys_within_two_tenths(late_s, counts):
    """The bounce is looked for at the trigger's own rise, which is that far from the key-on."""
    how = {
        "lines": {"trigger_v": bouncing(2.0, True)},
        "opened": [(2.03, 2.04)],
        "told": {"rises": (edge(2.0, "high"),)},
    }
    shifted = a_bench(**how)
    on = ((2.0 - late_s, 8.0),)
    moved = story(on, ((0.0, on[0][0]), (8.0, 10.0)), rises=shifted.story.rises, falls=shifted.story.falls)
    assert examine_chatter(replace(shifted, story=moved)).value == counts


def test_among_pulses_the_contact_may_follow_the_key_for_a_moment():
    """With the trigger pulsed, 150 ms from its first rise near the key-on are the key's; without such a rise none."""
    pulses = Pulses(0.5, 10.0, 0.05, 2.0, 8.0)

    def counts(opened, *rises):
        told = {"trigger_pulses": pulses, "rises": rises}
        return count(opened=[opened], told=told)

    assert counts((2.12, 2.13), edge(2.0, "high"), edge(2.1, "high")) == 0
    assert counts((2.17, 2.18), edge(2.0, "high"), edge(2.1, "high")) == 1
    assert counts((2.12, 2.13), edge(2.3, "high")) == 1
    assert counts((2.12, 2.13), edge(1.85, "high"), edge(1.7, "high")) == 1
    assert counts((2.12, 2.13), edge(2.15, "high"), edge(2.05, "high")) == 0


def sinking(from_s: float):
    """A trigger that falls slowly, through half of its swing at the key-off at 8 s."""
    return lambda t: np.where(t < 2, 0.0, np.clip(12.5 * (1 - (t - from_s) / (2 * (8.0 - from_s))), 0.0, 12.5))


@pytest.mark.parametrize(("opens_s", "counts"), [(7.3, 0), (7.15, 1)])
def test_contact_may_open_once_the_trigger_began_to_fall(opens_s, counts):
    """It falls from 7.0 s on, and is below 90 % from 7.2 s; a tenth of a second before that is no drop-out."""
    how = {"lines": {"trigger_v": sinking(7.0)}, "opened": [(opens_s - 0.06, 8.02)]}

    assert count(**how) == counts


@pytest.mark.parametrize(("off_by_s", "counts"), [(0.15, 0), (0.25, 1)])
def test_fall_of_the_trigger_is_the_key_offs_within_two_tenths(off_by_s, counts):
    """The opening at 7.5 s belongs to it."""
    how = {"lines": {"trigger_v": sinking(7.0)}, "opened": [(7.5, 8.02)]}

    assert count(**how, told={"falls": (edge(8.0 + off_by_s, "low"),)}) == counts
    assert count(**how, told={"falls": (edge(8.0 - off_by_s, "low"),)}) == counts
    assert count(**how, told={"falls": (edge(3.0, "low"), edge(8.0, "low"), edge(9.5, "low"))}) == 0
    assert count(**how, told={"falls": ()}) == 1


def test_key_off_that_is_known_roughly_takes_the_openings_beside_it():
    """± 0.4 s: one at 7.7 s that comes back and goes again is within it."""
    how = {"opened": [(7.7, 7.72)], "without": ["trigger_v"]}
    rough = (KeyTurn(2.0, 0.001, True), KeyTurn(8.0, 0.4, False))

    assert count(**how) == 1
    assert count(**how, told={"turns": rough}) == 1
    assert count(opened=[(7.7, 8.02)], without=["trigger_v"], told={"turns": rough}) == 0


def test_spike_and_a_dip_of_the_battery_are_no_openings():
    """1 ms below zero; and a battery at 5 V with the feed beside it."""

    def spiked(t):
        return np.where(during(t, (5.0, 5.001)), -40.0, 12.4 * during(t, (2.01, 8.01)))

    def dipped(t):
        return np.where(during(t, (5.0, 5.3)), 5.0, 12.5)

    def feed(t):
        return np.where(during(t, (5.0, 5.3)), 4.9, 12.4 * during(t, (2.01, 8.01)))

    assert count(lines={"feed_v": spiked}, step_s=0.001) == 0
    assert count(lines={"feed_v": feed, "battery_v": dipped}) == 0
    assert count(lines={"feed_v": feed}) == 1


def test_long_buckets_show_an_opening_within_one_of_them():
    """Of 64 ms each, 10 ms down: read on single samples, once."""
    assert count(opened=[(5.0, 5.01)], max_buckets=160) == 1
    assert count(opened=[(5.0, 5.01), (5.03, 5.04)], max_buckets=160) == 2
    assert count(opened=[(5.0, 5.3)], max_buckets=160) == 1
    assert count(max_buckets=160) == 0


def test_single_samples_are_read_only_where_the_feed_moves():
    """Of five thousand in buckets of 64 ms: a few hundred around the closing, the drop-out and the trigger's fall."""
    one = a_bench(max_buckets=160)
    read = []
    whole = one.log.trace

    def counted(from_s, to_s, roles=None):
        trace = whole(from_s, to_s, roles)
        read.append(len(trace) if roles and "feed_v" in roles else 0)
        return trace

    one.log.trace = counted
    assert examine_chatter(one).value == 0
    assert 0 < sum(read) < 600


def test_any_whole_key_on_with_all_circuits_on_proves_that_there_is_no_chatter():
    """Two key-ons: the marks of all circuits lie in the second."""
    t = times(20.0, 0.002)
    up = during(t, (2.01, 6.0), (10.01, 16.0))
    marks = [(12.0, "slot 1 on"), (13.0, "slot 2 on")]
    told = story(((2.0, 6.0), (10.0, 16.0)), ((0.0, 2.0), (6.0, 10.0), (16.0, 20.0)))
    log = HandLog(t, {"feed_v": 12.4 * up, "battery_v": 12.5}, marks)

    assert examine_chatter(bench(log, told, plan(3.0, 5.0))).one_sided is None


def test_two_groups_of_stretches_show_their_loads_apart():
    """1 to 4 A in one, 6 to 9 A in another: 3 A each."""
    two = Loads((stretches((3.0, 1.0), (4.0, 4.0)).engine_off[0], stretches((5.0, 6.0), (6.0, 9.0)).engine_off[0]), ())

    assert examine_chatter(a_bench(planned=(3.0, 5.0)), None, two).one_sided == SHORT


def test_small_planned_load_must_be_seen_as_well():
    """1 A, of which nothing shows."""
    found = examine_chatter(a_bench(planned=(1.0,)))

    assert found.one_sided == "no stretch with the key on shows the planned load of 1 A"
