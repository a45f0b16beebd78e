"""Where loads are told apart by size and time: each limit from both sides."""

import math

import pytest

from benchlog.analysis.load_steps import ANSWERS, ANSWERS_HALF, LoadStep, follow, hidden_beside


def steps_of(*amps: float, u: float = 0.001) -> list[LoadStep]:
    """One step each 10 s."""
    return [LoadStep(10.0 * (n + 1), a, u, 10.0 * n, 10.0 * (n + 2)) for n, a in enumerate(amps)]


@pytest.mark.parametrize(("again_a", "loads"), [(4.27, 1), (4.29, 2)])
def test_load_that_comes_back_is_the_same_within_seven_per_cent(again_a: float, loads: int):
    """7 % of 4 A are 0.28 A."""
    assert len(follow(steps_of(4.0, -4.0, again_a))) == loads


@pytest.mark.parametrize(("fall_a", "on"), [(-3.53, False), (-3.51, True)])
def test_fall_undoes_a_rise_within_twelve_per_cent(fall_a: float, on: bool):
    """12 % of 4 A are 0.48 A."""
    assert [load.on for load in follow(steps_of(4.0, fall_a))] == [on]


@pytest.mark.parametrize(("again_a", "loads"), [(0.555, 1), (0.565, 2)])
def test_small_loads_are_the_same_within_60_ma(again_a: float, loads: int):
    """Of 0.5 A, 7 % are only 35 mA."""
    assert len(follow(steps_of(0.5, -0.5, again_a))) == loads


@pytest.mark.parametrize(("again_a", "loads"), [(2.20, 1), (2.23, 2)])
def test_uncertain_loads_are_the_same_within_three_uncertainties(again_a: float, loads: int):
    """Two steps of 50 mA each are 71 mA apart by chance, three times that are 212 mA."""
    assert len(follow(steps_of(2.0, -2.0, again_a, u=0.05))) == loads


def test_of_like_loads_the_last_one_goes_first_and_of_others_the_nearest():
    """Two of 2.0 A: the second goes. 2.0 beside 2.1 A: the 2.0 goes as 2.0 A fall, wherever it stands."""
    assert [load.on for load in follow(steps_of(2.0, 2.0, -2.0))] == [True, False]
    assert [load.on for load in follow(steps_of(2.0, 2.1, -2.0))] == [False, True]
    assert [load.on for load in follow(steps_of(5.0, 2.0, 2.1, -2.0))] == [True, False, True]
    assert [load.on for load in follow(steps_of(5.0, 2.1, 2.0, -2.0))] == [True, True, False]


@pytest.mark.parametrize(("rises", "hides"), [(6.1, 4.0), (10.1, 4.0), (10.3, None), (7.9, 4.0), (7.7, None)])
def test_hidden_load_makes_up_the_excess_within_a_quarter_of_the_plan(rises: float, hides: float | None):
    """Planned at 5 A (or at 2 A for the first), 24 % of it are 1.2 A around the load of 4 A."""
    planned = 2.0 if rises < 7 else 5.0
    steps = steps_of(4.0, -4.0, rises)

    assert hidden_beside(steps[2], planned, steps) == hides


@pytest.mark.parametrize(("rises", "hides"), [(7.6, 6.0), (7.8, None)])
def test_great_hidden_load_may_be_off_by_its_own_twelve_per_cent(rises: float, hides: float | None):
    """Beside a circuit of 1 A, 0.72 A of 6 A."""
    steps = steps_of(6.0, -6.0, rises)

    assert hidden_beside(steps[2], 1.0, steps) == hides


def test_small_excess_is_an_excess():
    """0.6 A that went off, or that was never seen to come, and 0.6 A too much."""
    gone, unseen = steps_of(0.6, -0.6, 2.6), steps_of(4.4, 2.6, -0.6)

    assert hidden_beside(gone[2], 2.0, gone) == 0.6
    assert hidden_beside(unseen[1], 2.0, unseen) == 0.6


def test_what_only_ever_came_is_not_hidden():
    """0.5 A that stay on explain no excess of 0.2 A, nor does what was seen to come and go after it."""
    steps = steps_of(0.5, 3.2)
    followed = steps_of(0.5, 3.7, 0.9, -0.9)

    assert hidden_beside(steps[1], 3.0, steps) is None
    assert hidden_beside(followed[1], 3.0, followed) is None


@pytest.mark.parametrize(("later", "hides"), [((0.6,), 0.6), ((3.0, 0.6), 0.6), ((0.665,), 0.6), ((0.75,), None)])
def test_load_that_went_unseen_comes_on_again_within_twelve_per_cent(later: tuple[float, ...], hides: float | None):
    """0.6 A that were on make up what 2.0 of 2.6 A lack if one such comes later: 72 mA off, and among others."""
    steps = steps_of(0.6, 2.0, *later)

    assert hidden_beside(steps[1], 2.6, steps) == hides


def test_distance_of_a_time_from_a_step():
    """Before the stretch before it ends positive, after the step negative, and none between the two."""
    slow = LoadStep(10.0, 4.0, 0.01, 0.0, 20.0, since_s=8.0)
    late = LoadStep(10.0, 4.0, 0.01, 0.0, 20.0, since_s=11.0)
    sharp = LoadStep(10.0, 4.0, 0.01, 0.0, 20.0)

    assert [slow.apart_s(at_s) for at_s in (7.0, 8.5, 9.5, 12.0)] == [1.0, 0.0, 0.0, -2.0]
    assert [sharp.apart_s(at_s) for at_s in (9.0, 10.0, 12.0)] == [1.0, 0.0, -2.0]
    assert late.apart_s(9.0) == 1.0


def test_root_mean_square_of_pulses():
    """2 A on average of 8 A while on: a quarter of the time, so √(2·8) = 4 A. A fall has none."""
    assert LoadStep(0.0, 2.0, 0.01, 0.0, 1.0).rms_a == 2.0
    assert LoadStep(0.0, 2.0, 0.01, 0.0, 1.0, peak_a=8.0).rms_a == 4.0
    assert LoadStep(0.0, -2.0, 0.01, 0.0, 1.0, peak_a=0.5).rms_a == 0.0


def test_doubt_of_an_answer_is_that_of_its_share_beside_the_readings():
    """0.2 A in proportion: all of it as doubt before, 0.3 ± 0.8 of it after; what the reading leaves stays."""
    step = LoadStep(10.0, 4.0, math.hypot(0.01, 0.2 / math.sqrt(3)), 0.0, 20.0, answer_a=0.2)

    assert step.load_a == pytest.approx(4.0 + ANSWERS * 0.2)
    assert step.load_u == pytest.approx(math.hypot(0.01, ANSWERS_HALF * 0.2 / math.sqrt(3)), rel=1e-6)
    assert LoadStep(10.0, 4.0, 0.01, 0.0, 20.0, answer_a=0.2).load_u == pytest.approx(0.16 / math.sqrt(3))
