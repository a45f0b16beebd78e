"""A circuit that no step is left for, beside others that all came on: on steps written by hand."""

import math

import pytest
from hand_bench import EXACT, HandLog, bench, limit, plan, plateau, story, times
from test_slot_dead import WITHIN, a_bench, key_on, step

from benchlog.analysis.cranking import Crank
from benchlog.analysis.running import Running
from benchlog.analysis.slots import Match
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.slot_dead import left_out, no_step
from benchlog.examine.stepped import AllSteps


@pytest.mark.parametrize(("free_s", "mine_s", "may"), [(40.0, 25.9, True), (51.0, 25.9, False), (40.0, 26.1, False)])
def test_marks_of_two_circuits_may_have_moved_together(free_s, mine_s, may):
    """The step at this mark was taken for another slot, whose own may be the one that is at no mark."""
    mine, free = step(mine_s, 3.1), step(free_s, 3.2)
    marks = {"slot 1 on": 20.0, "slot 2 on": 35.0}
    one = key_on([mine, free], {1: Match(None, (), True), 2: Match(mine, (), True)}, marks)

    told = no_step(a_bench({"slot 1 on": 20.0}), 1, one, "battery_a", WITHIN).disqualified
    assert (told == f"the step of 3.10 A at {mine_s:.1f} s may be this circuit") is may


def others(*amps: float, owner="block"):
    """Steps of other circuits, five seconds apart from 10 s on, and the match of each from slot 2 on."""
    steps = [step(10.0 + 5 * n, a, owner) for n, a in enumerate(amps)]
    return steps, {n: Match(one, (), True) for n, one in enumerate(steps, 2)}


BEFORE = plateau(2.0, 9.9, battery_a=0.5, drop_v=0.0, lift_v=0.0)


def dead(steps, matches, role="battery_a", ratios=(("drop_v", 0.02),), allowed=WITHIN, bench_=None, **how):
    """What is said of slot 1."""
    how.setdefault("before", BEFORE)
    one = key_on(steps, {1: Match(None, (), False), **matches}, **how)
    return left_out(bench_ or a_bench(accuracy=EXACT), 1, one, AllSteps((one.steps,), role, dict(ratios)), allowed)


def test_circuit_without_a_step_beside_all_others_draws_nothing():
    """From the stretch before the first step to the end."""
    steps, matches = others(3.0, 3.1)
    channel = Accuracy(0.0, 0.0, 0.01)
    found = dead(steps, matches, bench_=a_bench(accuracy=channel))

    assert (found.value, found.from_s, found.to_s) == (0.0, 2.0, 60.0)
    assert found.u == found.likely_u == pytest.approx(math.hypot(channel.change_u(0.0), 0.12 / 3))
    assert found.story == "every other circuit came on, and no step of battery_a is left for this one"
    assert found.failed is None


@pytest.mark.parametrize(
    "change",
    [
        {"ratios": ()},
        {"allowed": None},
        {"together": {1: ("a step", (1, 2))}},
        {"ends_s": 18.9},
        {"before": plateau(2.0, 9.9, battery_a=0.5, drop_v=0.06, lift_v=0.0)},
        {"before": plateau(2.0, 9.9, battery_a=0.5)},
    ],
)
def test_dead_circuit_needs_paths_that_tell_time_and_nothing_on_before(change):
    """Each lacks one: the paths, a limit, a step of its own, four seconds, a block that carried nothing."""
    assert dead(*others(3.0, 3.1), **change) is None
    assert dead(*others(3.0, 3.1), ends_s=19.1) is not None


def test_no_circuit_is_dead_where_the_log_ends_before_the_key_on_does():
    """It may come on right after; not where a crank, or the engine's run, shows that the switching was over."""
    steps, matches = others(3.0, 3.1)

    def found(**told):
        return dead(steps, matches, bench_=a_bench(accuracy=EXACT, lasts_s=60.0, **told), ends_s=50.0)

    assert found() is None
    assert found(cranks=(Crank(49.1, 50.0, 12.5, 1.0),)) is not None
    assert found(cranks=(Crank(48.9, 50.0, 12.5, 1.0),)) is None
    assert found(running=(Running(51.0, 60.0, "share", 12.5, 1.0),)) is not None


def test_dead_circuit_needs_others_each_with_a_step_of_known_owner():
    """None at all; one without a step; one by its size alone, unless it was marked."""
    assert dead([], {}) is None
    steps, matches = others(3.0)
    assert dead(steps, matches) is not None
    assert dead(steps, {**matches, 3: Match(None, (), True)}) is None
    steps, matches = others(3.0, owner="unknown")
    assert dead(steps, matches) is not None
    assert dead(steps, {2: Match(steps[0], (), False)}) is None


def test_step_that_no_circuit_took_may_be_this_ones():
    """It is the block's; the bike's own is not."""
    steps, matches = others(3.0, 7.0)
    assert dead(steps, {2: matches[2]}) is None
    steps[1] = step(15.0, 7.0, "bike")
    assert dead(steps, {2: matches[2]}) is not None


def test_circuit_that_may_have_a_step_fails_only_where_it_fits_none():
    """With 6 % for a step of 5 A; with 6 % for one of 3 A, or 94 % for one of 3.65 A that may be 3.6, it is open."""
    steps, matches = others(3.0, 5.0)

    def by_chance(chance, n):
        one = key_on(
            steps, {1: Match(None, (), False, ((steps[n], chance), (None, 1 - chance))), **matches}, before=BEFORE
        )
        return left_out(a_bench(accuracy=EXACT), 1, one, AllSteps((one.steps,), "battery_a", {"drop_v": 0.02}), WITHIN)

    found = by_chance(0.06, 1)
    assert found.failed == (
        "whichever step of battery_a is whose, this circuit draws 0 A or 5 A, and none of these fits the plan"
    )
    assert found.u == pytest.approx(math.hypot(found.likely_u, 5.0 / 2))
    assert by_chance(0.06, 0) is None
    assert by_chance(0.04, 0).failed is None
    assert by_chance(0.04, 1).failed is None


@pytest.mark.parametrize(
    ("drop_v", "lift_v", "nothing"),
    [
        *((0.035, 0.0, True), (0.037, 0.0, False)),
        *((0.0, 0.059, True), (0.0, 0.060, False)),
        *((0.0, 0.0, True), (None, 0.0, True), (0.0, None, True)),
    ],
)
def test_block_carried_nothing_where_the_paths_show_less_than_six_tenths_of_the_circuit(drop_v, lift_v, nothing):
    """1.8 A: 36 mV over 20 mΩ; over 8 mΩ a voltage counts by a quarter beside it, by its channels' doubt in Ω."""
    read = {"drop_v": drop_v, "lift_v": lift_v}
    before = plateau(2.0, 9.9, battery_a=0.5, **{path: volts for path, volts in read.items() if volts is not None})
    fine = Accuracy(0.0, 1e-5, 0.0)
    ratios = (("drop_v", 0.02),) if lift_v == 0.0 and drop_v else (("drop_v", 0.02), ("lift_v", 0.008))

    found = dead(*others(3.0), before=before, ratios=ratios, bench_=a_bench(accuracy=fine))
    assert (found is not None) is nothing


def test_unstated_voltages_leave_open_what_the_block_carried():
    """± 50 mV each are 3.5 A over 20 mΩ, and 0.5 A over 0.14 Ω."""
    one = a_bench(accuracy=None)

    assert dead(*others(3.0), bench_=one) is None
    assert dead(*others(3.0), bench_=one, ratios=(("drop_v", 0.05 * math.sqrt(2) / 1.75),)) is not None
    assert dead(*others(3.0), bench_=one, ratios=(("drop_v", 0.05 * math.sqrt(2) / 1.85),)) is None
    assert dead(*others(3.0), bench_=one, ratios=(("lift_v", 0.05 / 1.75),)) is not None


@pytest.mark.parametrize(("first_a", "nothing"), [(1.49, True), (1.51, False), (-1.49, True), (-1.51, False)])
def test_feeds_own_channel_shows_that_nothing_was_on(first_a, nothing):
    """Less than half of the circuit's 3 A on the first stretch; without one nothing is known."""
    first = plateau(1.0, 9.0, feed_a=first_a)

    assert (dead(*others(3.0), role="feed_a", ratios=(), first=first) is not None) is nothing
    assert dead(*others(3.0), role="feed_a", ratios=()) is None


def test_steps_below_an_ampere_count_as_well():
    """A circuit of 0.5 A that came late; and one that no circuit took."""
    small = limit(0.4, 0.6)
    one = key_on([step(34.0, 0.5)], {1: Match(None, (), True)}, {"slot 1 on": 20.0})
    assert no_step(a_bench({"slot 1 on": 20.0}), 1, one, "battery_a", small).disqualified is not None
    steps, matches = others(3.0, 0.5)
    assert dead(steps, {2: matches[2]}) is None
    mine = [step(22.0, 0.5), step(40.0, 0.5)]
    moved = key_on(
        mine, {1: Match(None, (), True), 2: Match(mine[0], (), True)}, {"slot 1 on": 20.0, "slot 2 on": 35.0}
    )
    assert no_step(a_bench({"slot 1 on": 20.0}), 1, moved, "battery_a", small).disqualified is not None


def test_circuits_own_plan_tells_what_the_block_may_have_carried():
    """30 mV over 20 mΩ are 1.5 A: less than 0.6 of 3 A, not of 2 A."""
    fine = Accuracy(0.0, 1e-5, 0.0)
    before = plateau(2.0, 9.9, battery_a=0.5, drop_v=0.03)
    log = HandLog(times(70.0, 0.1), {"battery_a": 0.0})
    for planned, told in (((3.0, 2.0), True), ((2.0, 3.0), False)):
        one = bench(
            log,
            story(((0.0, 60.0),)),
            plan(*planned),
            accuracy=dict.fromkeys(("battery_a", "battery_v", "feed_v"), fine),
        )
        assert (dead(*others(3.0), before=before, bench_=one) is not None) is told


def test_doubt_of_a_dead_circuit_reaches_its_greatest_step():
    """5 or 7 A."""
    steps, matches = others(3.0, 5.0, 7.0)
    chances = ((steps[1], 0.06), (steps[2], 0.06), (None, 0.88))
    one = key_on(steps, {1: Match(None, (), False, chances), **matches}, before=BEFORE)
    found = left_out(a_bench(accuracy=EXACT), 1, one, AllSteps((one.steps,), "battery_a", {"drop_v": 0.02}), WITHIN)

    assert found.u == pytest.approx(math.hypot(found.likely_u, 7.0 / 2))
