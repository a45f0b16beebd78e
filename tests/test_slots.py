"""Load steps matched to planned currents, against scipy's assignment and all assignments one by one."""

import math
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import scipy

from benchlog.analysis.slots import LoadStep, match_slots
from benchlog.core.trace import Mark

#: The prior, written out apart from the analysis: near its plan, off it, or anything at all; dead; a stray a test.
NEAR, OFF, ANY = (0.30, 0.08), (0.67, 0.22), (0.03, 1.0)
DEAD, STRAY = 0.1, 0.1


def _steps(*amps, u=0.01, every_s=10.0):
    return [LoadStep(every_s * (n + 1), a, u, every_s * n, every_s * (n + 2)) for n, a in enumerate(amps)]


def _density(step, planned):
    """Of the logarithm of the step's current over the plan."""
    x = math.log(step.amps / planned)
    return sum(
        share * scipy.stats.norm.pdf(x, scale=math.hypot(sd, step.u / step.amps)) for share, sd in (NEAR, OFF, ANY)
    )


def _costs(steps, planned_a):
    """Minus twice the logarithm of the likelihood; a dead slot and a stray step have theirs beside it."""
    return np.array([[-2 * math.log(_density(s, p) * (1 - DEAD)) for s in steps] for p in planned_a.values()])


def _least(costs):
    """Least total by scipy: every slot gets a step or is dead, every step a slot or is a stray."""
    slots, steps = costs.shape
    table = np.full((slots + steps, steps + slots), 1e9)
    table[:slots, :steps] = costs
    for slot in range(slots):
        table[slot, steps + slot] = -2 * math.log(DEAD)
    for step in range(steps):
        table[slots + step, step] = -2 * math.log(STRAY)
    table[slots:, steps:] = 0.0
    rows, columns = scipy.optimize.linear_sum_assignment(table)
    return float(table[rows, columns].sum())


def _total(found, steps, costs):
    """What the assignment that was found costs."""
    taken = [None if match.step is None else steps.index(match.step) for match in found.values()]
    paid = sum(-2 * math.log(DEAD) if step is None else costs[slot, step] for slot, step in enumerate(taken))
    return paid - 2 * math.log(STRAY) * (len(steps) - sum(step is not None for step in taken))


def _one_by_one(steps, planned_a):
    """Probabilities, slots x (steps and none), from every assignment written down and weighed."""
    choices = [*range(len(steps)), None]
    weights = np.zeros((len(planned_a), len(choices)))
    for taken in product(choices, repeat=len(planned_a)):
        used = [step for step in taken if step is not None]
        if len(set(used)) < len(used):
            continue
        weight = STRAY ** (len(steps) - len(used))
        for step, planned in zip(taken, planned_a.values(), strict=True):
            weight *= DEAD if step is None else (1 - DEAD) * _density(steps[step], planned)
        for slot, step in enumerate(taken):
            weights[slot, -1 if step is None else step] += weight
    return weights / weights.sum(axis=1, keepdims=True)


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
def test_assignment_is_as_likely_as_the_one_that_scipy_finds(seed):
    """Random slots, some dead, with stray steps: no assignment is likelier."""
    steps, planned = _case(seed)
    costs = _costs(steps, planned).reshape(len(planned), len(steps))

    found = match_slots(steps, planned, [])

    assert _total(found, steps, costs) == pytest.approx(_least(costs))
    taken = [match.step for match in found.values() if match.step]
    assert len({step.time_s for step in taken}) == len(taken)


@pytest.mark.parametrize("seed", range(40))
def test_chances_are_those_of_all_assignments_one_by_one(seed):
    """Up to four slots and six steps: each step's probability, and none's, is the sum over every assignment."""
    steps, planned = _case(seed)
    steps, planned = steps[:6], dict(list(planned.items())[:4])
    expected = _one_by_one(steps, planned)

    found = match_slots(steps, planned, [])

    for row, match in enumerate(found.values()):
        assert [step for step, _ in match.chances] == [*steps, None]
        assert [chance for _, chance in match.chances] == pytest.approx(list(expected[row]), abs=1e-9)
        named = {step for (step, _), chance in zip(match.chances, expected[row], strict=True) if chance >= 0.05}
        assert set(match.others) == named - {match.step}


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


def test_circuits_that_both_stray_may_have_changed_places():
    """Planned 4.2 A and 3.7 A, steps of 4.7 A and 2.95 A: 12 % and 20 % off this way, 27 % and 30 % the other."""
    steps = _steps(4.7, 2.95)

    found = match_slots(steps, {1: 4.2, 2: 3.7}, [])

    assert found[1].step == steps[0]
    assert found[1].others == (steps[1],)


def test_circuits_of_distinct_size_are_told_though_one_is_far_off():
    """Planned 8, 3 and 1 A: one 40 % over its plan beside two near theirs is that one."""
    steps = _steps(8.1, 4.2, 1.05)

    found = match_slots(steps, {1: 8.0, 2: 3.0, 3: 1.0}, [])

    assert found[2].step == steps[1]
    assert dict(found[2].chances)[steps[1]] > 0.95


def test_far_off_step_may_be_no_step():
    """Half as large again and twice as large is less and less surely the circuit's; 20 % off is."""
    chances = [dict(match_slots(_steps(a), {1: 3.5}, [])[1].chances)[None] for a in (4.2, 5.25, 7.0, 14.0)]

    assert chances == sorted(chances)
    assert chances[0] < 0.05 < chances[2]
    assert match_slots(_steps(28.0), {1: 3.5}, [])[1].step is None


def test_proven_step_of_the_block_is_some_circuits_whatever_its_size():
    """Four times what is planned, through the feed: no load of the bike's."""
    (step,) = (replace(step, owner="block") for step in _steps(14.0))

    (match,) = match_slots([step], {1: 3.5}, []).values()

    assert match.step == step
    assert match.others == ()


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
    tenfold = [LoadStep(s.time_s, 10 * s.amps, 10 * s.u, s.from_s, s.to_s) for s in steps]

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
    steps = [LoadStep(10.0, -3.5, 0.01, 0, 20), LoadStep(11.0, 3.4, 0.01, 0, 20)]

    assert match_slots(steps, {1: 3.5}, [Mark(10.0, "slot 1 on")])[1].step == steps[1]


def test_mark_reaches_further_where_the_logger_sends_packets():
    """Stamped 5 s after its mark: within the reach of packets of 4 s, and not of a logger that writes as it reads."""
    late = match_slots(_steps(3.5), {1: 3.5}, [Mark(5.0, "slot 1 on")])
    packets = match_slots(_steps(3.5), {1: 3.5}, [Mark(5.0, "slot 1 on")], vague_s=4.0)

    assert late[1].step is None
    assert packets[1].step is not None


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


def test_load_that_a_mark_names_as_it_came_back_is_no_other_circuits():
    """1.84 A came at 10 s, went at 16 s and came back at 20 s, marked as slot 3: its first time is not slot 4's."""
    steps = [LoadStep(at, amps, 0.02, at - 4.0, at + 4.0) for at, amps in ((10.0, 1.84), (16.0, -1.84), (20.0, 1.84))]
    found = match_slots(steps, {3: 1.8, 4: 1.0}, [Mark(20.5, "slot 3 on")])

    assert found[3].step is steps[2]
    assert found[4].step is None


def test_step_at_the_mark_that_does_not_fit_leaves_one_before_it_that_does_as_likely():
    """A mark of 3 A that came 4.1 s late lies near the next circuit's 1.84 A: the step of 2.9 A may be its own."""
    steps = [LoadStep(at, amps, 0.02, at - 4.0, at + 4.0, "block") for at, amps in ((25.6, 2.9), (32.5, 1.84))]
    late = match_slots(steps, {2: 3.0, 3: 1.8}, [Mark(29.7, "slot 2 on"), Mark(36.0, "slot 3 on")])

    assert late[2].step is steps[1]
    assert late[2].others == (steps[0],)
    # one that fits at its mark has no others
    sound = match_slots(steps, {2: 3.0, 3: 1.8}, [Mark(26.0, "slot 2 on"), Mark(33.0, "slot 3 on")])
    assert [sound[2].others, sound[3].others] == [(), ()]
    # and a step that does not fit either is no way out
    none = match_slots(steps, {2: 4.5, 3: 1.8}, [Mark(29.7, "slot 2 on")])
    assert none[2].others == ()
