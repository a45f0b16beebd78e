"""A key-on's loads from its steps up and down."""

import math

import pytest

from benchlog.analysis.load_steps import LoadStep, follow, hidden_beside


def _steps(*amps, owners=None, u=0.01):
    owners = owners or ["unknown"] * len(amps)
    return [
        LoadStep(10.0 * (n + 1), a, u, 10.0 * n, 10.0 * (n + 2), owner)
        for n, (a, owner) in enumerate(zip(amps, owners, strict=True))
    ]


def _shape(loads):
    return [([step.amps for step in load.ons], [step.amps for step in load.offs]) for load in loads]


def test_load_that_comes_back_is_the_same_load():
    """A fan of 4 A that runs three times is one load."""
    loads = follow(_steps(2.0, 4.0, -4.02, 3.98, -4.0, 4.0))

    assert _shape(loads) == [([2.0], []), ([4.0, 3.98, 4.0], [-4.02, -4.0])]
    assert [load.on for load in loads] == [True, True]


def test_like_circuits_that_stay_on_are_two_loads():
    """Two lamps of 2 A, both on: nothing went off in between."""
    assert _shape(follow(_steps(2.0, 2.0))) == [([2.0], []), ([2.0], [])]


def test_brake_light_does_not_undo_a_circuit_of_its_size():
    """The circuit of 1.8 A stays on as the brake light of 1.8 A goes: their owners tell."""
    loads = follow(_steps(1.8, 1.8, -1.8, owners=["block", "bike", "bike"]))

    assert [load.on for load in loads] == [True, False]


def test_fall_of_what_was_on_from_the_beginning_undoes_nothing():
    """The fuel pump of 5 A, on since the key, goes off; no circuit went with it."""
    assert _shape(follow(_steps(2.0, -5.0, 3.0))) == [([2.0], []), ([3.0], [])]


def test_warm_lamp_draws_less_as_it_goes():
    """A lamp that came on with 4.4 A goes off with 4.0 A."""
    assert [load.on for load in follow(_steps(4.4, 1.0, -4.0))] == [False, True]


def test_load_that_was_off_may_hide_in_a_circuits_step():
    """A cool box of 4 A went off; the circuit planned at 2 A then shows 6 A: both may have come at once."""
    steps = _steps(4.0, -4.0, 6.0)

    assert hidden_beside(steps[2], 2.0, steps) == 4.0
    assert hidden_beside(steps[2], 4.5, steps) is None


def test_load_that_went_in_a_circuits_step_shows_by_coming_on_again():
    """1.6 A of 5.7 A planned, with 4.1 A on that later come on once more; without that, the circuit is too small."""
    again, once = _steps(4.1, 1.6, 4.1), _steps(4.1, 1.6, 3.0)

    assert hidden_beside(again[1], 5.7, again) == 4.1
    assert hidden_beside(once[1], 5.7, once) is None


def test_load_that_was_never_seen_to_come_may_hide_in_a_circuits_step():
    """Two circuits of 3 A that show 6.1 and 5.9 A, and 3.2 A that went between: it came with either."""
    steps = _steps(4.4, 6.1, -3.2, 5.9)

    assert hidden_beside(steps[1], 3.1, steps) == 3.2
    assert hidden_beside(steps[3], 2.8, steps) == 3.2
    assert hidden_beside(steps[1], 5.0, steps) is None


def test_bikes_own_load_cannot_hide_in_a_step_of_the_blocks():
    """Feed and ground have said that all of it is the fuse block's."""
    steps = _steps(1.8, -1.8, 4.8, owners=["bike", "bike", "block"])

    assert hidden_beside(steps[2], 3.0, steps) is None


def test_load_that_steps_is_what_was_read_and_what_the_others_gave_up():
    """4.00 A read as the voltage fell by 2 % under 10 A: the others drew 0.2 A less if in proportion, so 0 to 0.2 A."""
    step = LoadStep(10.0, 4.0, math.hypot(0.01, 0.2 / math.sqrt(3)), 0.0, 20.0, answer_a=0.2)

    low, high = step.load_a - 2 * step.load_u, step.load_a + 2 * step.load_u
    assert step.load_a == pytest.approx(4.06)
    assert low < 4.0
    assert high > 4.2
    assert step.load_u < step.u


def test_step_without_a_sag_is_what_was_read():
    """Nothing to answer: value and doubt are the step's own."""
    (step,) = _steps(4.0)

    assert step.load_a == 4.0
    assert step.load_u == pytest.approx(0.01)
