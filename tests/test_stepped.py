"""Load steps between steady stretches: size, doubt, whose they are, and which are no steps, on stretches by hand."""

import math
from dataclasses import replace

import pytest
from hand_bench import EXACT, VOLTS, HandLog, bench, plan, plateau, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.stepped import find_steps, gain_apart, least_ohm, live, path_step_u
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
