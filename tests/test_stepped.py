"""Load steps between steady stretches: size, doubt, whose they are, and which are no steps, on stretches by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import EXACT, VOLTS, HandLog, bench, plan, plateau, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.flutter import Flutter
from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.analysis.pulsed import Pulsing
from benchlog.core.trace import Trace
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.closing import closing_load
from benchlog.examine.load_checks import Loads
from benchlog.examine.steady import new_pulse
from benchlog.examine.stepped import ANOTHER_BESIDE, find_steps, gain_apart, least_ohm, live, path_step_u
from benchlog.plan.paths import feed_path, ground_path

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)


def a_bench(accuracy=EXACT, planned=(3.0,), tables=(), **told):
    """All channels of one accuracy, or as given by role."""
    roles = ("battery_v", "feed_v", "ground_v", "battery_a", "feed_a")
    log = HandLog(times(60.0, 0.1), dict.fromkeys(roles, 1.0))
    known = accuracy if isinstance(accuracy, dict) else dict.fromkeys(roles, accuracy)
    return bench(log, story(((0.0, 60.0),), **told), plan(*planned, **dict(tables)), accuracy=known)


def stretch(at_s, amps, volts=12.0, feed=None, u=0.0, lasts_s=10.0, **more) -> Plateau:
    """Ten seconds of the battery with the feed live."""
    read = {"battery_a": amps, "battery_v": volts, "feed_v": volts if feed is None else feed, **more}
    return plateau(at_s, at_s + lasts_s, u, **{role: x for role, x in read.items() if x is not None})


def steps(*stretches, role="battery_a", key_on=(), **how):
    """Those of one key-on."""
    return [one.step for one in find_steps(a_bench(**how), [stretches], role, key_on).groups[0]]


def test_step_is_the_change_between_neighbouring_stretches():
    """3 A at 10.1 s, seen from 2.0 to 20.1 s."""
    (one,) = steps(stretch(0, 1.0), stretch(10.1, 4.0))

    assert (one.time_s, one.amps, one.from_s, one.to_s, one.since_s) == (10.1, 3.0, 2.0, 20.1, 10.0)
    assert (one.owner, one.peak_a, one.doubtful, one.answer_a) == ("unknown", None, None, 0.0)
    assert one.u == 0.0


def test_steps_doubt_is_of_both_readings_rounding_and_what_the_others_answer():
    """The voltage fell by 2 % under 4 A: up to 80 mA of them are not the new load's."""
    channel = Accuracy(0.0, 0.0, 0.1)
    (one,) = steps(stretch(0, 4.0, 12.5, u=0.01), stretch(10.1, 9.0, 12.25, u=0.02), accuracy={"battery_a": channel})

    assert one.answer_a == pytest.approx(4.0 * 0.02)
    assert one.u == pytest.approx(combine(0.01, 0.02, ROOT2 * 0.05 / ROOT3, 0.08 / ROOT3))
    (one,) = steps(stretch(0, 4.0, 12.5, u=0.01), stretch(10.1, 9.0, 12.25, u=0.02), accuracy={})
    assert one.u == pytest.approx(combine(0.01, 0.02, 0.08 / ROOT3))


def test_sag_that_is_not_logged_counts_as_one_hundredth():
    """Of the 4 A that were on."""
    (one,) = steps(stretch(0, 4.0, None, feed=4.9), stretch(10.1, 9.0, None, feed=4.8))
    assert (one.answer_a, one.u) == (0.0, pytest.approx(0.04 / ROOT3))
    blind = [replace(p, readings={"battery_a": p.readings["battery_a"]}) for p in (stretch(0, 4.0), stretch(10.1, 9.0))]
    assert steps(*blind)[0].u == pytest.approx(0.04 / ROOT3)


def test_sag_is_the_mean_of_batterys_and_feeds_and_the_feeds_alone_behind_it():
    """2 % and 4 %; by feed_a the circuits have the feed's voltage before them."""
    two = [stretch(0, 4.0, 12.5, 12.5, feed_a=4.0), stretch(10.1, 9.0, 12.25, 12.0, feed_a=9.0)]

    assert steps(*two)[0].answer_a == pytest.approx(4.0 * 0.03)
    assert steps(*two, role="feed_a")[0].answer_a == pytest.approx(4.0 * 0.04)
    only = [replace(p, readings={k: v for k, v in p.readings.items() if k != "feed_v"}) for p in two]
    assert steps(*only, role="feed_a")[0].answer_a == pytest.approx(4.0 * 0.02)
    into = [stretch(0, -4.0, 12.5), stretch(10.1, 1.0, 12.25)]
    assert steps(*into)[0].answer_a == 0.0


@pytest.mark.parametrize(
    ("key_on_s", "kept"), [(9.4, True), (9.6, False), (10.1, False), (10.19, False), (10.21, True)]
)
def test_step_across_the_key_on_is_the_bikes_own(key_on_s, kept):
    """From half a second before the stretch's end to a tenth after the next one's begin."""
    assert bool(steps(stretch(0, 1.0), stretch(10.1, 4.0), key_on=(key_on_s, 55.0))) is kept


@pytest.mark.parametrize(
    ("from_s", "to_s", "kept"),
    [(10.5, 10.9, False), (8.0, 9.9, True), (11.1, 11.5, True), (9.0, 10.5, False), (10.9, 12.0, False)],
)
def test_step_across_a_crank_is_none(from_s, to_s, kept):
    """Between the stretches that end at 10 s and begin at 11 s."""
    assert bool(steps(stretch(0, 1.0), stretch(11.0, 4.0), cranks=(Crank(from_s, to_s, 12.5, 1.0),))) is kept


@pytest.mark.parametrize(("amps", "kept"), [(0.70, False), (0.71, True), (-0.59, False), (-0.61, True)])
def test_change_that_the_voltage_explains_is_no_switching(amps, kept):
    """The voltage rises by 10 % under 4 A: up to half more than in proportion the loads that are on answer it."""
    two = stretch(0, 4.0, 12.0, 12.0), stretch(10.1, 4.0 + amps, 13.2, 13.2)

    assert bool(steps(*two)) is kept


def test_change_beside_a_dead_or_unread_battery_is_a_step():
    """There is no voltage that could explain it."""
    assert steps(stretch(0, 4.0, 4.9, 4.9), stretch(10.1, 4.2, 6.0, 6.0))
    assert steps(stretch(0, 4.0, None, 12.0), stretch(10.1, 4.2, None, 13.2))


def test_step_as_the_contact_closes_is_the_bikes_own():
    """The feed is live on one side alone; by feed_a it is the block's all the same."""
    two = stretch(0, 1.0, 12.0, 1.0, feed_a=0.0), stretch(10.1, 4.0, feed_a=3.0)

    assert steps(*two) == []
    assert [one.owner for one in steps(*two, role="feed_a")] == ["block"]


@pytest.mark.parametrize(
    ("feed", "battery", "alive"),
    [(6.1, 12.0, True), (5.9, 12.0, False), (5.1, None, True), (4.9, None, False), (None, 12.0, True)],
)
def test_feed_is_live_above_half_of_the_battery(feed, battery, alive):
    """Or above 5 V where that is not read; where the feed is not read it is taken to be."""
    read = {"battery_a": 1.0, "feed_v": feed, "battery_v": battery}

    assert live(plateau(0, 10, **{role: x for role, x in read.items() if x is not None})) is alive


def on_paths(*steps_of, sag=0.03):
    """Stretches whose steps are the block's (20 and 10 mΩ), the bike's own, or both; (A, share of the block)."""
    amps, block, made = 1.0, 0.0, []
    for n, (step, share) in enumerate([(0.0, 0.0), *steps_of]):
        amps, block = amps + step, block + share * step
        volts = 12.6 - sag * amps
        drop, lift = 0.02 * block, 0.01 * block
        made.append(stretch(10.1 * n, amps, volts, volts - drop, u=0.0005, ground_v=lift, drop_v=drop, lift_v=lift))
    return made


def test_paths_tell_whose_each_step_is():
    """The block's, the bike's own, and both at once, of which the block's part counts."""
    fine = Accuracy(0.0, 0.0, 0.0001)
    made = on_paths((3.0, 1.0), (4.0, 1.0), (2.0, 0.0), (5.0, 1.0), (6.0, 0.5))
    found = find_steps(a_bench(accuracy=fine), [made], "battery_a", ())

    assert [one.step.owner for one in found.groups[0]] == ["block", "block", "bike", "block", "both"]
    assert found.groups[0][4].step.amps == pytest.approx(3.0, abs=0.05)
    assert found.groups[0][4].step.answer_a == 0.0
    assert found.ratios == {"drop_v": pytest.approx(0.02, rel=0.01), "lift_v": pytest.approx(0.01, rel=0.01)}
    assert found.role == "battery_a"
    dead = [replace(p, readings={**p.readings, "feed_v": Sustained(1.0, 0.0)}) for p in made]
    assert find_steps(a_bench(accuracy=fine), [dead], "battery_a", ()).ratios == {}


def test_paths_step_of_gains_rounding_and_noise():
    """Two channels of 1 mV steps and 0.2 % each, or 2 mV each where nothing is stated; the battery fell by 0.5 V."""
    two = (
        stretch(0, 1.0, 12.5, drop_v=0.02, lift_v=0.01, u=0.001),
        stretch(10.1, 9.0, 12.0, drop_v=0.18, lift_v=0.09, u=0.001),
    )
    (one,) = find_steps(a_bench(), [two], "battery_a", ()).groups[0]
    volts = replace(VOLTS, resolution=0.01)

    rounding = ROOT2 * 0.005 / ROOT3
    apart = 0.002 * ROOT2 / ROOT3 * 0.5
    assert path_step_u(a_bench(accuracy=volts), "drop_v", one) == pytest.approx(
        combine(0.001, 0.001, rounding, rounding, apart)
    )
    assert path_step_u(a_bench(accuracy=volts), "lift_v", one) == pytest.approx(combine(0.001, 0.001, rounding))
    assert path_step_u(a_bench(accuracy={}), "drop_v", one) == pytest.approx(
        combine(0.001, 0.001, 0.002, 0.002, 0.005 * 0.5)
    )
    assert gain_apart(a_bench(accuracy={"battery_v": Accuracy(0.003, 0, 0), "feed_v": Accuracy(0.004, 0, 0)})) == (
        pytest.approx(0.005 / ROOT3)
    )
    assert gain_apart(a_bench(accuracy={"battery_v": VOLTS, "feed_v": None})) == 0.005
    assert gain_apart(a_bench(accuracy={"battery_v": None, "feed_v": VOLTS})) == 0.005


def test_path_has_half_of_its_wire_at_the_least():
    """1.5 m of 2.5 mm² are 12 mΩ; a short thick one, and none at all, count as 2 and 0.5 mΩ."""
    long = {"feed": {"conductor": "2.5 mm2", "length_m": 1.5}, "ground": {"conductor": "2.5 mm2", "length_m": 1.5}}
    short = {"feed": {"conductor": "10 mm2", "length_m": 0.1}, "ground": {"conductor": "10 mm2", "length_m": 0.1}}
    one = a_bench(tables=long)

    assert least_ohm(one) == {
        "drop_v": pytest.approx(feed_path(one.plan).wire_mohm / 2000),
        "lift_v": pytest.approx(ground_path(one.plan).wire_mohm / 2000),
    }
    assert least_ohm(one)["drop_v"] > 0.003
    assert least_ohm(a_bench(tables=short)) == least_ohm(a_bench()) == {"drop_v": 0.002, "lift_v": 0.0005}


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
