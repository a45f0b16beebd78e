"""Which step is which circuit's: likelihoods, marks and shared steps, each from both sides."""

import math

import numpy as np
import pytest

from benchlog.analysis.assignment import _chances, _likelihood, assign, cheapest
from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.slots import Match, come_together, match_slots, near_mark
from benchlog.core.trace import Mark


def step(time_s: float, amps: float, owner: str = "unknown", u: float = 0.01, **more) -> LoadStep:
    """Between steady stretches of 10 s."""
    return LoadStep(time_s, amps, u, time_s - 10, time_s + 10, owner, **more)


@pytest.mark.parametrize(("amps", "u"), [(2.0, 0.0), (2.4, 0.0), (1.0, 0.0), (8.0, 0.0), (2.4, 0.5)])
def test_likelihood_is_a_sum_of_three_spreads(amps: float, u: float):
    """30 % of circuits within 8 %, 67 % within 22 % and 3 % anywhere, of the logarithm, the step's own doubt beside."""
    off = math.log(amps / 2.0)

    expected = 0.0
    for share, spread in ((0.30, 0.08), (0.67, 0.22), (0.03, 1.0)):
        sd = math.hypot(spread, u / amps)
        expected += share / (sd * math.sqrt(2 * math.pi)) * math.exp(-(off**2) / (2 * sd**2))
    assert _likelihood(step(0, amps, u=u), 2.0) == pytest.approx(expected)


@pytest.mark.parametrize(("owner", "stray"), [("unknown", 0.1), ("block", 0.002), ("both", 0.002)])
def test_one_circuit_has_its_step_against_a_stray(owner: str, stray: float):
    """Nine to one that it steps at all, its likelihood against the density of strays."""
    one = step(0, 2.3, owner)

    found = assign([one], {1: 2.0})[1]

    odds = 9 * _likelihood(one, 2.0) / stray
    assert found.step is one
    assert found.chances == ((one, pytest.approx(odds / (1 + odds))), (None, pytest.approx(1 / (1 + odds))))


def test_step_far_off_every_plan_is_a_stray():
    """0.02 A for 5 A planned; and a slot without any step has none for certain."""
    far = assign([step(0, 0.02)], {1: 5.0})[1]

    assert far.step is None
    assert far.chances[0][1] < 0.1
    assert assign([], {1: 5.0})[1].chances == ((None, 1.0),)


@pytest.mark.parametrize("seed", range(3))
def test_chances_are_those_of_every_assignment_one_by_one(seed: int):
    """Three slots, four steps: each step is one slot's or nobody's."""
    ratio = np.random.default_rng(seed).uniform(0.1, 9, (3, 4))

    weight, total = np.zeros((3, 4)), 0.0
    for owners in np.ndindex(4, 4, 4, 4):  # of each step; 3 is nobody
        named = [slot for slot in owners if slot < 3]
        if len(set(named)) < len(named):
            continue
        product = float(np.prod([ratio[slot, n] for n, slot in enumerate(owners) if slot < 3]))
        total += product
        for n, slot in enumerate(owners):
            if slot < 3:
                weight[slot, n] += product

    assert _chances(ratio) == pytest.approx(weight / total)


def test_cheapest_assignment_leaves_out_what_costs():
    """Two slots, three steps; a step that costs more than nothing is nobody's."""
    cost = np.array([[-5.0, -4.0, 1.0], [-6.0, -1.0, 2.0]])

    assert cheapest(cost) == (-10.0, [1, 0])
    assert cheapest(np.array([[1.0, 2.0]])) == (0.0, [None])
    assert cheapest(np.array([[3.0, -2.0]])) == (-2.0, [1])


@pytest.mark.parametrize(
    ("at_s", "vague_s", "near"),
    [(11.9, 0.0, True), (12.1, 0.0, False), (7.1, 0.0, True), (6.9, 0.0, False), (12.9, 1.0, True), (6.1, 1.0, True)],
)
def test_step_belongs_to_a_mark_2_s_after_to_3_s_before_it(at_s: float, vague_s: float, near: bool):
    """A step at 10 s; a logger that stamps late widens both."""
    assert near_mark(step(10.0, 2.0), at_s, vague_s) is near


def matched(steps, planned, *marks: tuple[float, str], vague_s: float = 0.0) -> dict[int, Match]:
    """By these marks."""
    return match_slots(steps, planned, [Mark(t, text) for t, text in marks], vague_s)


def test_marked_slot_takes_the_nearest_step_however_far_off_its_plan():
    """Of two that are near the nearer, and the other may be it where only that one fits; the block's before unknown."""
    near, far, own = step(10.5, 9.0, "block"), step(9.0, 2.0, "block"), step(11.0, 2.0)

    assert matched([far, near], {1: 2.0}, (10.0, "slot 1 on"))[1] == Match(near, (far,), marked=True)
    assert matched([far, near], {1: 9.0}, (10.0, "slot 1 on"))[1] == Match(near, (), marked=True)
    assert matched([own, step(12.0, 5.0, "block")], {1: 2.0}, (11.0, "slot 1 on"))[1].step.owner == "block"
    assert matched([step(10.0, -2.0), step(10.0, 2.0, "bike")], {1: 2.0}, (10.0, "slot 1 on"))[1].step is None


def test_pairs_of_marks_and_steps_share_no_step():
    """Slots 1 and 2 marked a second apart, one step each."""
    first, second = step(10.0, 2.0, "block"), step(11.2, 3.0, "block")

    found = matched([first, second], {1: 2.0, 2: 3.0}, (10.0, "slot 1 on"), (11.0, "slot 2 on"))

    assert (found[1].step, found[2].step) == (first, second)
    alone = matched([first], {1: 2.0, 2: 3.0}, (10.0, "slot 1 on"), (11.0, "slot 2 on"))
    assert (alone[1].step, alone[2].step) == (first, None)


@pytest.mark.parametrize(
    ("time_s", "amps", "vague_s", "may"),
    [
        *((15.9, 9.0, 0.0, True), (16.1, 9.0, 0.0, False)),
        *((4.1, 9.0, 0.0, True), (3.9, 9.0, 0.0, False)),
        (16.9, 9.0, 1.0, True),
        *((60.0, 2.3, 0.0, True), (60.0, 2.5, 0.0, False)),
        (2.0, 2.0, 0.0, False),
    ],
)
def test_marked_slot_without_a_step_may_have_one_beside_or_later(time_s, amps: float, vague_s: float, may: bool):
    """Within 6 s of its mark at 10 s, or by itself later where it fits the plan of 2 A to 20 %."""
    other = step(time_s, amps)

    found = matched([other], {1: 2.0}, (10.0, "slot 1 on"), vague_s=vague_s)[1]

    assert found == Match(None, (other,) if may else (), marked=True)


def test_load_that_came_back_is_nobodys_late_step():
    """2 A that were on before the mark, went, and came again."""
    steps = [step(2.0, 2.0), step(30.0, -2.0), step(60.0, 2.0)]

    assert matched(steps, {1: 2.0}, (10.0, "slot 1 on"))[1].others == ()


def test_step_of_nobodys_at_a_mark_may_be_another():
    """Two unknown ones near it: the nearer, or the other; with the paths' word for one there is no doubt."""
    first, second = step(10.0, 2.0), step(11.5, 2.5)

    assert matched([first, second], {1: 2.0}, (10.0, "slot 1 on"))[1] == Match(first, (second,), marked=True)
    sure = step(10.0, 2.0, "block")
    assert matched([sure, second], {1: 2.0}, (10.0, "slot 1 on"))[1] == Match(sure, (), marked=True)


def test_unmarked_slots_share_what_is_left():
    """Neither a marked slot's step nor one that came back is theirs; what is likely enough may be another's."""
    steps = [step(10.0, 2.0, "block"), step(20.0, 4.0, "block"), step(25.0, -4.0, "block"), step(30.0, 4.0, "block")]

    found = matched(steps, {1: 2.0, 2: 4.0, 3: 4.2}, (10.0, "slot 1 on"))

    assert found[1].marked
    assert not found[2].marked
    assert {found[2].step, found[3].step} == {steps[1], None}
    assert {each for each, _ in found[2].chances} == {steps[1], None}
    assert found[2].others + found[3].others != ()


def together(steps, planned, *marks: tuple[float, str], found=None, vague_s: float = 0.0):
    """Slots that may have come in one step, where none has one unless given."""
    matches = found or {slot: Match(None, (), marked=False) for slot in planned}
    given = [Mark(t, text) for t, text in marks]
    return {slot: slots for slot, (_, slots) in come_together(steps, planned, given, matches, vague_s).items()}


@pytest.mark.parametrize(("amps", "shared"), [(5.7, True), (5.75, False), (4.3, True), (4.25, False)])
def test_two_circuits_come_in_one_step_of_their_sum(amps: float, shared: bool):
    """Of 2 and 3 A planned, 10 % of each in squares (0.36 A), two of these: 5 ± 0.72 A."""
    assert bool(together([step(10.0, amps)], {1: 2.0, 2: 3.0})) is shared


def test_three_circuits_may_share_a_step_too():
    """9 A of 2, 3 and 4 A; and 5 A of the first two alone."""
    planned = {1: 2.0, 2: 3.0, 3: 4.0}

    assert together([step(10.0, 9.0)], planned) == {1: (1, 2, 3), 2: (1, 2, 3), 3: (1, 2, 3)}
    assert together([step(10.0, 5.0)], planned) == {1: (1, 2), 2: (1, 2)}


def test_shared_step_is_near_the_marks_or_comes_later():
    """Marks at 9 and 60 s: the slot that is not yet switched does not share the step at 10 s."""
    steps, planned = [step(10.0, 5.0)], {1: 2.0, 2: 3.0}

    assert together(steps, planned, (9.0, "slot 1 on"), (60.0, "slot 2 on")) == {}
    assert together(steps, planned, (9.0, "slot 1 on"), (2.0, "slot 2 on")) == {1: (1, 2), 2: (1, 2)}


def test_step_of_the_bikes_own_or_of_another_slot_is_not_shared():
    """Nor where the block has as many steps of its own as circuits are left; one off its plan is looked at."""
    planned = {1: 2.0, 2: 3.0}
    sum_ = step(10.0, 5.0)
    own = {1: Match(sum_, (), marked=True), 2: Match(None, (), marked=False)}
    fits = {1: Match(step(8.0, 2.1), (), marked=True), 2: Match(None, (), marked=False)}

    assert together([step(10.0, 5.0, "bike")], planned) == {}
    assert together([step(10.0, -5.0)], planned) == {}
    assert together([sum_], planned, found=own) == {1: (1, 2), 2: (1, 2)}
    assert together([sum_], planned, found=fits) == {}
    assert together([step(10.0, 5.0, "block"), step(20.0, 9.0, "block")], planned) == {}
    assert together([step(10.0, 5.0, "block"), step(20.0, 9.0)], planned) == {1: (1, 2), 2: (1, 2)}
