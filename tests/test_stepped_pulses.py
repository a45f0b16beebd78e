"""Steps of pulsed loads, and the load that comes on as the contact closes: by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import plateau
from test_stepped import ROOT3, a_bench, on_paths, steps, stretch

from benchlog.analysis.flutter import Flutter
from benchlog.analysis.plateaus import Sustained
from benchlog.analysis.pulsed import Pulsing
from benchlog.core.trace import Trace
from benchlog.examine.closing import closing_load
from benchlog.examine.load_checks import Loads
from benchlog.examine.steady import new_pulse
from benchlog.examine.stepped import ANOTHER_BESIDE, find_steps


def test_step_that_one_path_alone_shows_may_hide_another():
    """Feed and ground that do not step in one ratio."""
    made = on_paths((3.0, 1.0), (4.0, 1.0), (5.0, 1.0))
    drop = made[3].readings["drop_v"]
    odd = {**made[3].readings, "lift_v": Sustained(0.12 + 0.05, drop.u)}
    told = find_steps(a_bench(), [[*made[:3], replace(made[3], readings=odd)]], "battery_a", ()).groups[0]

    assert {one.step.doubtful for one in told} <= {None, ANOTHER_BESIDE}


def pulse(mean=2.0, amps=4.0, samples=50.0, from_s=0.0) -> Pulsing:
    """A load that is on for half of each half second."""
    return Pulsing(from_s, from_s + 10.0, 0.5, 0.5, amps, mean, 0.03, (), (), samples)


FEW = "the load is pulsed, and the logger takes too few samples of each pulse to tell its mean"


@pytest.mark.parametrize(
    ("more", "amps", "told"),
    [
        ([pulse()], 2.0, (4.0, 0.03, None)),
        ([pulse()], 3.07, (4.0, 0.03, None)),
        ([pulse()], 3.09, (None, 0.0, None)),
        ([pulse()], 1.49, (4.0, 0.03, None)),
        ([pulse()], 1.47, (None, 0.0, None)),
        ([pulse(samples=5.0)], 2.0, (4.0, 0.03, FEW)),
        ([pulse(2.5, 9.0), pulse(2.1, 5.0)], 2.0, (5.0, 0.03, None)),
        ([], 2.0, (None, 0.0, None)),
    ],
)
def test_new_pulses_of_a_steps_mean_are_its_load(more, amps, told):
    """To within 35 % of the step; whether it comes on or goes off."""
    calm, busy = plateau(0, 10), replace(plateau(0, 10), pulses=tuple(more))

    assert new_pulse(calm, busy, amps) == told
    assert new_pulse(busy, calm, -amps) == told
    assert new_pulse(busy, busy, amps) == (None, 0.0, None)


@pytest.mark.parametrize(
    ("swing", "samples", "before", "amps", "told"),
    [
        (4.0, math.inf, None, 2.0, (4.0, 0.08, None)),
        (4.0, 8.0, None, 2.0, (4.0, 4.0 / 8.0 / math.sqrt(6), None)),
        (4.0, 12.5, None, 2.0, (4.0, 0.08, None)),
        (4.0, 0.5, None, 2.0, (4.0, 4.0 / math.sqrt(6), FEW)),
        (4.0, math.inf, None, 3.6, (4.0, 0.08, None)),
        (4.0, math.inf, None, 3.7, (None, 0.2, None)),
        (4.0, math.inf, None, 7.9, (None, 0.2, None)),
        (4.0, math.inf, None, 8.1, (None, 0.0, None)),
        (4.0, math.inf, None, 0.161, (4.0, 0.08, None)),
        (4.0, math.inf, None, 0.159, (None, 0.2, None)),
        (4.0, math.inf, 1.0, 2.0, (3.0, 0.06, None)),
        (4.0, math.inf, 3.1, 0.5, (None, 0.0, None)),
        (4.0, math.inf, 3.0, 0.5, (1.0, 0.02, None)),
        (4.0, math.inf, 1.0, 2.9, (None, 0.0, None)),
        (4.0, 5.0, None, 3.7, (None, 0.2, FEW)),
    ],
)
def test_new_flutter_of_a_step_is_its_load(swing, samples, before, amps, told):
    """From 1.1 to 25 times its mean; a lesser swing only adds doubt; one that swung before counts by what is more."""
    calm = replace(plateau(0, 10), flutter=None if before is None else Flutter(0.0, 10.0, before))
    busy = replace(plateau(0, 10), flutter=Flutter(0.0, 10.0, swing, samples))

    peak, u, why = new_pulse(calm, busy, amps)
    assert (peak, why) == (None if told[0] is None else pytest.approx(told[0]), told[2])
    assert u == pytest.approx(told[1])


def closing(waiting, sustained, step_s=0.001, took_s=0.02, starts_s=10.0, at_s=10.5, **how):
    """A pull-in at 10 s, with such a current before the contact closes and on the stretch after it."""
    t = np.arange(9.9, 10.1, step_s)
    amps = np.where(t < 10.0 + took_s, waiting(t - 10.0), sustained)
    feed = np.where(t < 10.0 + took_s, 0.0, 12.0)
    trace = Trace(t, {"feed_v": feed, "battery_a": amps, **how}, {})
    after = plateau(starts_s, at_s + 10.0, battery_a=sustained)
    return closing_load(a_bench(), Loads(((plateau(0.0, 9.0, battery_a=0.0), after),), ()), ((trace, 10.0),))


def test_closings_step_is_what_came_after_a_steady_wait():
    """1 A of coil and lamps, 4 A once closed: 3 A to one twentieth."""
    got = closing(lambda s: np.where(s > 0, 1.0, 0.0), 4.0)

    assert [(point.plateau.from_s, point.load_a) for point in got.points] == [(10.0, pytest.approx(3.0))]
    assert (got.how, got.zero_known, got.role) == ("by the step of battery_a as the contact closed", True, "battery_a")
    assert got.extra_rel == 0.05


@pytest.mark.parametrize(("moved", "steady"), [(0.028, True), (0.032, False)])
def test_wait_is_steady_where_it_moves_by_a_twentieth_of_the_step_over_an_inrush(moved, steady):
    """Over 20 ms, a fifth of an inrush, so that a fifth of the twentieth is allowed."""
    got = closing(lambda s: np.where(s < 0.0105, 1.0 + moved, 1.0), 4.0)

    assert (got.extra_rel == 0.05) is steady


def test_inrush_leaves_the_closings_step_anywhere_up_to_all_but_an_eighth_of_it():
    """6 A falling to 2 A in the wait, 4 A sustained: between 2 and 3.76 A."""
    got = closing(lambda s: np.where(s < 0.0105, 6.0, 2.0), 4.0)

    most = 4.0 - 0.12 * 2.0
    assert got.points[0].load_a == pytest.approx((2.0 + most) / 2)
    assert got.extra_rel == pytest.approx((most - 2.0) / 2 / ROOT3 / ((2.0 + most) / 2))
    below = closing(lambda s: np.where(s < 0.0105, 9.0, 5.0), 4.0)
    assert below.points[0].load_a == pytest.approx((0.0 + 4.0 - 0.6) / 2)


def test_closing_needs_three_samples_of_the_wait_and_a_steady_stretch_soon_after():
    """And a current, a feed that comes, and a load."""

    def calm(s):
        return np.where(s > 0, 1.0, 0.0)

    assert closing(calm, 4.0, took_s=0.0035) is not None
    assert closing(calm, 4.0, took_s=0.0025) is None
    assert closing(calm, 4.0, starts_s=11.5) is None
    assert closing(calm, 4.0, starts_s=8.9) is None
    assert closing(calm, 4.0, starts_s=9.1) is not None
    assert closing(calm, 4.0, feed_v=np.full(200, 4.9)) is None
    assert closing(calm, 0.05) is None


def test_surest_of_several_closings_counts():
    """One amid an inrush, then one after a steady wait; one without a load before both."""
    t = np.arange(9.9, 10.1, 0.001)
    feed = np.where(t < 10.02, 0.0, 12.0)

    def pull_in(at_s, early, late, sustained):
        amps = np.where(t < 10.02, np.where(t < 10.0105, early, late), sustained)
        return Trace(t + at_s - 10, {"feed_v": feed, "battery_a": amps}, {}), at_s

    stretches = (plateau(10.0, 20.0, battery_a=4.0), plateau(30.0, 40.0, battery_a=5.0))
    pulls = (pull_in(10.0, 6.0, 2.0, 4.0), pull_in(30.0, 1.0, 1.0, 5.0))
    for order in (pulls, pulls[::-1]):
        got = closing_load(a_bench(), Loads((stretches,), ()), order)
        assert [(point.load_a, got.extra_rel) for point in got.points] == [(pytest.approx(4.0), 0.05)]


def test_wait_moves_by_what_its_last_third_differs_from_its_first():
    """Of 19 samples the first six and the last six: a spike between them moves nothing, nor do five of them."""

    def waiting(*spans):
        return lambda s: 1.0 + np.any([(s > a) & (s < b) for a, b in spans], axis=0)

    assert closing(waiting((0.0075, 0.0125)), 4.0).extra_rel == 0.05
    assert closing(waiting((0.0005, 0.0025)), 4.0).extra_rel == 0.05
    assert closing(waiting((0.0005, 0.0045)), 4.0).extra_rel != 0.05
    assert closing(waiting((0.0155, 0.0205)), 4.0).extra_rel != 0.05


def test_feed_below_five_volts_on_one_side_of_a_step_tells_of_no_sag():
    """Neither voltage above 5 V, on either side."""
    two = [stretch(0, 4.0, 12.5, 5.5, feed_a=4.0), stretch(10.1, 9.0, 12.25, 4.9, feed_a=9.0)]

    assert steps(*two, role="feed_a")[0].answer_a == 0.0
