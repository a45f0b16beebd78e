"""Circuits by their steps, or without one, where no accuracy is stated, or gains alone: on steps written by hand."""

import math

import pytest
from hand_bench import EXACT, limit, plateau
from test_slot_dead import WITHIN, a_bench, key_on, step
from test_slot_left_out import BEFORE, dead, others
from test_slot_step import by_size, found
from test_slot_step import key_on as stepped
from test_slot_whose import OTHER, UP

from benchlog.analysis.slots import Match
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.slot_dead import left_out
from benchlog.examine.stepped import AllSteps

NONE = {"accuracy": None}


@pytest.mark.parametrize(
    ("match", "doubt"),
    [
        (by_size(UP, 0.96, (OTHER, 0.04)), None),
        (by_size(UP, 0.94, (OTHER, 0.06)), "the step of 5.00 A at 30.0 s may be slot 1 instead"),
        (by_size(UP, 0.94, (None, 0.06)), "the step at 20.0 s may be another load"),
        (by_size(OTHER, 0.96, (UP, 0.04)), None),
        (by_size(OTHER, 0.94, (UP, 0.06)), "the step of 3.00 A at 20.0 s may be slot 1 instead"),
    ],
)
def test_figures_of_no_stated_accuracy_tell_whose_a_step_is_as_they_stand(match, doubt):
    """3 A pass and 5 A fail, whatever their doubt."""
    assert found(stepped(UP, OTHER, match=match), **NONE).disqualified == doubt


def test_circuit_fails_by_every_figure_of_no_stated_accuracy():
    """5 or 5.5 A for 3 A."""
    high, higher = step(30.0, 5.0), step(40.0, 5.5)
    one = found(stepped(high, higher, match=by_size(high, 0.6, (higher, 0.4))), **NONE)

    assert one.failed.startswith("whichever step of battery_a is whose, this circuit draws 5 A or 5.5 A")
    assert one.u is None


@pytest.mark.parametrize(
    ("path", "gain", "nothing"),
    [("drop_v", 0.0034, True), ("drop_v", 0.0037, False), ("lift_v", 0.24, True), ("lift_v", 0.26, False)],
)
def test_gains_of_the_voltages_leave_open_what_the_block_carried(path, gain, nothing):
    """At 12.5 V over 20 mΩ, or at 0.1 V over 8 mΩ: 1.8 A."""
    ratios = ((path, 0.02 if path == "drop_v" else 0.008),)
    one = a_bench(accuracy=Accuracy(gain, 0.0, 0.0))

    assert (dead(*others(3.0), bench_=one, ratios=ratios) is not None) is nothing


def test_coarse_channel_shows_no_step_of_two_and_a_half_of_its_own():
    """Of 0.1 A: 0.25 A."""
    coarse = Accuracy(0.0, 0.0, 0.1)
    one = dead(*others(3.0, 3.1), bench_=a_bench(accuracy=coarse), ratios=(("drop_v", 0.05),))

    assert one.u == pytest.approx(math.hypot(coarse.change_u(0.0), 0.25 / 3))


def test_dead_circuit_of_no_stated_accuracy_has_no_doubt():
    """Though one of the steps may be its own."""
    steps, matches = others(3.0, 5.0)
    chances = ((steps[1], 0.06), (None, 0.94))
    one = key_on(steps, {1: Match(None, (), False, chances), **matches}, before=BEFORE)
    path = {"drop_v": 0.05 * math.sqrt(2) / 1.75}
    told = left_out(a_bench(accuracy=None), 1, one, AllSteps((one.steps,), "battery_a", path), WITHIN)

    assert (told.u, told.likely_u) == (None, None)
    assert told.failed is not None


def test_dead_circuit_is_told_beside_one_of_half_an_ampere():
    """Its step is a step."""
    assert dead(*others(0.5), allowed=limit(2.4, 3.6)) is not None


def test_step_of_nothing_is_left_for_no_circuit():
    """Between two stretches that were divided by hand."""
    steps, matches = others(3.0, 0.0)

    assert dead(steps, {2: matches[2]}) is not None


def test_paths_that_the_first_stretch_does_not_show_tell_nothing():
    """One of two is read there."""
    both = (("drop_v", 0.02), ("lift_v", 0.008))
    one = a_bench(accuracy=EXACT)
    bus = plateau(2.0, 9.9, battery_a=0.5, lift_v=0.0)
    feed = plateau(2.0, 9.9, battery_a=0.5, drop_v=0.0)

    assert dead(*others(3.0), before=bus, ratios=both, bench_=one) is not None
    assert dead(*others(3.0), before=feed, ratios=both, bench_=one) is not None
    assert dead(*others(3.0), before=bus, ratios=both[:1], bench_=one) is None
    high = plateau(2.0, 9.9, battery_a=0.5, drop_v=0.06, lift_v=0.0)
    assert dead(*others(3.0), before=high, ratios=both[1:], bench_=one) is not None
