"""Load steps matched to planned currents, against scipy's assignment and all assignments one by one."""

import math

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from benchlog.analysis.slots import Step, match_slots
from benchlog.trace import Mark

MISSING, STRAY, AS_WELL, DOUBTFUL = 60.0, 4.0, 4.0, 16.0


def _steps(*amps, u=0.01, every_s=10.0):
    return [Step(every_s * (n + 1), a, u, every_s * n, every_s * (n + 2)) for n, a in enumerate(amps)]


def _costs(steps, planned_a):
    """Squared distance in standard deviations: 10 % of the plan and the step's own u."""
    return np.array([[(s.amps - p) ** 2 / ((0.1 * p) ** 2 + s.u**2) for s in steps] for p in planned_a.values()])


def _least(costs, forced=None):
    """Least total by scipy: every slot gets a step or pays for none, every step a slot or pays for being stray."""
    slots, steps = costs.shape
    table = np.full((slots + steps, steps + slots), 1e9)
    table[:slots, :steps] = costs
    for slot in range(slots):
        table[slot, steps + slot] = MISSING
    for step in range(steps):
        table[slots + step, step] = STRAY
    table[slots:, steps:] = 0.0
    if forced is not None:
        slot, step = forced
        keep = table[slot, steps + slot if step is None else step]
        table[slot] = 1e9
        table[slot, steps + slot if step is None else step] = keep
    rows, columns = linear_sum_assignment(table)
    return float(table[rows, columns].sum())


def _total(found, steps, costs):
    """What the assignment that was found costs."""
    taken = [None if match.step is None else steps.index(match.step) for match in found.values()]
    paid = sum(MISSING if step is None else costs[slot, step] for slot, step in enumerate(taken))
    return paid + STRAY * (len(steps) - sum(step is not None for step in taken))


def _case(seed):
    rng = np.random.default_rng(seed)
    planned = {
        int(slot): float(a)
        for slot, a in zip(rng.permutation(12)[: rng.integers(1, 7)] + 1, rng.uniform(0.3, 8, 12), strict=False)
    }
    real = [a * rng.normal(1, 0.12) for a in planned.values() if rng.random() < 0.85]
    extra = list(rng.uniform(0.2, 9, rng.integers(0, 4)))
    return _steps(*rng.permutation([*real, *extra]), u=float(rng.uniform(0.005, 0.2))), planned


@pytest.mark.parametrize("seed", range(60))
def test_assignment_costs_what_scipy_finds(seed):
    """Random slots, some dead, with stray steps: no assignment is cheaper."""
    steps, planned = _case(seed)
    costs = _costs(steps, planned).reshape(len(planned), len(steps))

    found = match_slots(steps, planned, [])

    assert _total(found, steps, costs) == pytest.approx(_least(costs))
    taken = [match.step for match in found.values() if match.step]
    assert len({step.time_s for step in taken}) == len(taken)


@pytest.mark.parametrize("seed", range(60))
def test_others_are_all_that_fit_about_as_well(seed):
    """For each slot, each step and none: listed just where scipy's best with it forced costs at most 4 more."""
    steps, planned = _case(seed)
    costs = _costs(steps, planned).reshape(len(planned), len(steps))
    best = _least(costs)

    found = match_slots(steps, planned, [])

    for row, match in enumerate(found.values()):
        expected = {
            column
            for column in (*range(len(steps)), None)
            if (None if column is None else steps[column]) != match.step
            and _least(costs, (row, column)) - best <= AS_WELL
        }
        if match.step and costs[row, steps.index(match.step)] > DOUBTFUL:
            expected.add(None)

        got = [None if step is None else steps.index(step) for step in match.others]
        assert set(got) == expected
        assert len(got) == len(expected)


def test_each_slot_gets_its_step():
    """Three clear currents in another order than the slots."""
    steps = _steps(1.05, 3.4, 7.7)

    found = match_slots(steps, {1: 7.5, 2: 1.0, 5: 3.5}, [])

    assert {slot: match.step.amps for slot, match in found.items()} == {1: 7.7, 2: 1.05, 5: 3.4}
    assert all(match.others == () and not match.marked for match in found.values())


def test_falling_steps_are_not_assigned():
    """Switching off is no switching on."""
    found = match_slots(_steps(3.5, -3.5, 1.0, -1.0), {1: 3.5, 2: 1.0}, [])

    assert [found[slot].step.amps for slot in (1, 2)] == [3.5, 1.0]
    assert match_slots(_steps(-3.5), {1: 3.5}, [])[1].step is None


def test_dead_slot_has_no_step():
    """One of two circuits draws nothing; the other keeps its own."""
    found = match_slots(_steps(3.5), {1: 3.5, 2: 1.0}, [])

    assert found[1].step.amps == 3.5
    assert found[2].step is None
    assert found[2].others == ()


def test_no_steps_leave_every_slot_without():
    """A log without loads."""
    found = match_slots([], {1: 3.5, 2: 1.0}, [])

    assert [match.step for match in found.values()] == [None, None]
    assert match_slots(_steps(1.0), {}, []) == {}


def test_circuits_of_like_current_are_told_as_such():
    """Two slots of 2.0 A and 2.1 A with steps of 2.0 A and 2.1 A: each could be the other."""
    steps = _steps(2.0, 2.1)

    found = match_slots(steps, {1: 2.0, 2: 2.1}, [])

    assert (found[1].step, found[2].step) == (steps[0], steps[1])
    assert found[1].others == (steps[1],)
    assert found[2].others == (steps[0],)


def test_far_off_step_may_be_no_step():
    """A step half as large again is taken, with none as the other answer; one 20 % off is taken for sure."""
    far, near = match_slots(_steps(5.25), {1: 3.5}, [])[1], match_slots(_steps(4.2), {1: 3.5}, [])[1]

    assert far.step.amps == 5.25
    assert far.others == (None,)
    assert near.step.amps == 4.2
    assert near.others == ()


@pytest.mark.parametrize(("squares", "taken"), [(15.5, True), (62.0, True), (66.0, False)])
def test_step_is_taken_while_it_costs_less_than_a_dead_slot_and_a_stray_step(squares, taken):
    """60 for the slot and 4 for the step, in squared standard deviations; above 16 it may be none."""
    (step,) = _steps(3.5 + 0.35 * math.sqrt(squares), u=1e-9)

    (match,) = match_slots([step], {1: 3.5}, []).values()

    assert match.step == (step if taken else None)
    assert match.others == ((None,) if 16 < squares < 64 else ())


def test_step_beyond_any_doubt_is_another_load():
    """Twice the planned current costs more than a dead slot and a stray step."""
    assert match_slots(_steps(7.0), {1: 3.5}, [])[1].step is None


def test_vague_step_fits_more():
    """A step known to 1 A may be the 3.5 A slot or the 2.5 A slot."""
    (step,) = _steps(3.0, u=1.0)

    found = match_slots([step], {1: 3.5, 2: 2.5}, [])

    assert {match.step for match in found.values()} == {step, None}
    assert all(match.others for match in found.values())


def test_match_keeps_under_scale_and_order():
    """Ten times all currents, or the steps in another order: the same step for the same slot."""
    steps, planned = _steps(1.1, 3.2, 7.7, 2.0, u=0.05), {1: 7.5, 2: 1.0, 5: 3.5}
    plain = {slot: match.step.time_s for slot, match in match_slots(steps, planned, []).items()}
    tenfold = [Step(s.time_s, 10 * s.amps, 10 * s.u, s.from_s, s.to_s) for s in steps]

    scaled = match_slots(tenfold, {slot: 10 * a for slot, a in planned.items()}, [])
    turned = match_slots(steps[::-1], planned, [])

    assert {slot: match.step.time_s for slot, match in scaled.items()} == plain
    assert {slot: match.step.time_s for slot, match in turned.items()} == plain


def test_mark_settles_its_slot():
    """A noted step counts whatever its size, and the rest goes by current."""
    steps = _steps(2.1, 2.0)

    found = match_slots(steps, {1: 2.0, 2: 2.1}, [Mark(9.5, "Slot 1 on")])

    assert found[1].step == steps[0]
    assert (found[1].marked, found[1].others) == (True, ())
    assert found[2].step == steps[1]
    assert not found[2].marked


@pytest.mark.parametrize(("mark_s", "hit"), [(6.9, False), (7.1, True), (10.0, True), (11.9, True), (12.1, False)])
def test_step_belongs_to_a_mark_close_by(mark_s, hit):
    """From 2 s before to 3 s after the mark; else the slot was noted and nothing came."""
    found = match_slots(_steps(3.5), {1: 3.5}, [Mark(mark_s, "slot 1 on")])

    assert (found[1].step is not None) is hit
    assert found[1].marked


def test_mark_takes_the_nearest_step():
    """Of two steps near a mark the closer one."""
    steps = _steps(2.0, 3.0, every_s=1.0)

    assert match_slots(steps, {1: 3.0}, [Mark(1.9, "slot 1 on")])[1].step == steps[1]
    assert match_slots(steps, {1: 3.0}, [Mark(1.1, "slot 1 on")])[1].step == steps[0]


def test_mark_of_switching_on_takes_no_falling_step():
    """Another load went just then; the slot's own came a second later."""
    steps = [Step(10.0, -3.5, 0.01, 0, 20), Step(11.0, 3.4, 0.01, 0, 20)]

    assert match_slots(steps, {1: 3.5}, [Mark(10.0, "slot 1 on")])[1].step == steps[1]


def test_one_step_is_not_given_to_two_marks():
    """Of two marks on one step the nearer has it, and the other is left in doubt."""
    found = match_slots(_steps(3.5), {1: 3.5, 2: 3.5}, [Mark(9.8, "slot 1 on"), Mark(9.9, "slot 2 on")])

    assert [found[1].step is None, found[2].step is None] == [True, False]


def test_mark_of_slot_12_is_not_that_of_slot_1():
    """Numbers are read whole, and switching off settles nothing."""
    found = match_slots(_steps(3.5), {1: 3.5}, [Mark(9.8, "slot 12 on"), Mark(9.9, "slot 1 off")])

    assert found[1].step.amps == 3.5
    assert not found[1].marked


def test_twelve_slots_with_many_steps_are_matched_exactly():
    """A full fuse block and 24 steps: still the cheapest."""
    rng = np.random.default_rng(9)
    planned = {slot: 0.4 * 1.25**slot for slot in range(1, 13)}
    steps = _steps(*rng.permutation([*(a * rng.normal(1, 0.05) for a in planned.values()), *rng.uniform(0.2, 6, 12)]))
    costs = _costs(steps, planned)

    assert _total(match_slots(steps, planned, []), steps, costs) == pytest.approx(_least(costs))
    assert math.isfinite(_least(costs))
