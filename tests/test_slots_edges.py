"""Which step is whose, where marks and plans leave it open: each limit from both sides."""

import pytest

from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.slots import Match, come_together, match_slots
from benchlog.core.trace import Mark


def step(time_s: float, amps: float, owner="unknown", u: float = 0.01) -> LoadStep:
    """Between two stretches of ten seconds."""
    return LoadStep(time_s, amps, u, time_s - 10, time_s + 10, owner)


def matched(steps, planned, *marks: tuple[float, str]) -> dict[int, Match]:
    """By these marks."""
    return match_slots(steps, planned, [Mark(t, text) for t, text in marks])


def together(steps, planned, *marks: tuple[float, str], found=None):
    """Slots that may have come in one step, with that step."""
    matches = found or {slot: Match(None, (), marked=False) for slot in planned}
    return come_together(steps, planned, [Mark(t, text) for t, text in marks], matches)


def test_small_load_is_a_load():
    """0.4 A, marked or not; 0.7 A of two."""
    small, sum_ = step(10.0, 0.4), step(10.0, 0.7)

    assert matched([small], {1: 0.4})[1].step == small
    assert matched([small], {1: 0.4}, (10.0, "slot 1 on"))[1].step == small
    assert together([sum_], {1: 0.3, 2: 0.4}) == {1: (sum_, (1, 2)), 2: (sum_, (1, 2))}


@pytest.mark.parametrize(
    ("time_s", "amps", "may"),
    [(60.0, 2.0, True), (15.0, 9.0, True), (60.0, 9.0, False), (4.5, 9.0, True), (2.0, 2.0, False)],
)
def test_slot_that_was_marked_twice_may_have_come_at_or_after_either(time_s: float, amps: float, may: bool):
    """At 10 and at 100 s: near one of the two, or later than the first where it fits the plan of 2 A."""
    other = step(time_s, amps)

    found = matched([other], {1: 2.0}, (10.0, "slot 1 on"), (100.0, "slot 1 on"))[1]

    assert found == Match(None, (other,) if may else (), marked=True)


@pytest.mark.parametrize(
    ("amps", "u", "may"),
    [(2.9, 1.0, True), (2.9, 0.01, False), (2.9, 0.40, False), (2.9, 0.42, True), (1.1, 0.42, True)],
)
def test_step_known_badly_fits_more_plans(amps: float, u: float, may: bool):
    """Of 2 A planned, 0.2 A and its own doubt in squares: 0.9 A are two of them from 0.403 A on."""
    late = step(60.0, amps, u=u)

    assert matched([late], {1: 2.0}, (10.0, "slot 1 on"))[1].others == ((late,) if may else ())


@pytest.mark.parametrize(("u", "shared"), [(0.26, True), (0.24, False)])
def test_step_known_badly_may_be_more_sums(u: float, shared: bool):
    """0.88 A off the sum of 5 A: two of 0.36 A and 0.25 A in squares."""
    assert bool(together([step(10.0, 5.88, u=u)], {1: 2.0, 2: 3.0})) is shared


def test_two_circuits_share_the_first_step_that_fits():
    """A second one of the same size is somebody else's."""
    first, second = step(10.0, 5.0), step(20.0, 5.1)

    assert together([first, second], {1: 2.0, 2: 3.0}) == {1: (first, (1, 2)), 2: (first, (1, 2))}


def test_circuit_with_a_step_of_its_own_shares_no_later_one():
    """It came at its mark, if not as planned; the one that never came may come with another later."""
    own, late = step(10.0, 9.0), step(40.0, 5.0)
    planned, marks = {1: 2.0, 2: 3.0}, ((10.0, "slot 1 on"), (10.0, "slot 2 on"))
    found = {1: Match(own, (), marked=True), 2: Match(None, (), marked=True)}
    none = {1: Match(None, (), marked=True), 2: Match(None, (), marked=True)}

    assert together([own, late], planned, *marks, found=found) == {}
    assert together([own, late], planned, *marks, found=none) == {1: (late, (1, 2)), 2: (late, (1, 2))}


def test_step_of_a_circuit_as_planned_is_not_shared():
    """5 A are slot 3's own."""
    own = step(10.0, 5.0)
    found = {1: Match(None, (), False), 2: Match(None, (), False), 3: Match(own, (), marked=True)}

    assert together([own], {1: 2.0, 2: 3.0, 3: 5.0}, found=found) == {}


def test_as_many_steps_of_the_block_as_circuits_leave_none_to_share():
    """Two of two; of three circuits one may still share."""
    steps = [step(10.0, 5.0, "block"), step(20.0, 9.0, "block")]

    assert together(steps, {1: 2.0, 2: 3.0}) == {}
    assert together(steps, {1: 2.0, 2: 3.0, 3: 30.0}) == {1: (steps[0], (1, 2)), 2: (steps[0], (1, 2))}


@pytest.mark.parametrize(
    ("time_s", "amps", "may"), [(4.1, 2.0, True), (3.9, 2.0, False), (4.1, 2.35, True), (4.1, 2.45, False)]
)
def test_step_that_does_not_fit_leaves_one_that_does_near_the_mark(time_s: float, amps: float, may: bool):
    """9 A at a mark of 2 A: what came within 6 s of it and fits to 20 % may be the circuit's own."""
    other, own = step(time_s, amps, "block"), step(10.0, 9.0, "block")

    found = matched([other, own], {1: 2.0}, (10.0, "slot 1 on"))[1]

    assert found == Match(own, (other,) if may else (), marked=True)
