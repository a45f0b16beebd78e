"""What feed and return lose: slopes, doubts and thresholds on stretches written by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import AMPS, EXACT, VOLTS, HandLog, bench, plan, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.cranking import Crank
from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.analysis.running import Running
from benchlog.core.uncertainty import combine
from benchlog.examine.path_checks import FeedLoad, PathPoint, examine_paths

ROOT2, ROOT3 = math.sqrt(2), math.sqrt(3)
NONE = (
    "no steady load through the feed was seen that can be distinguished from the bike's own; switch the "
    "circuits on one "
    "by one with the key on, and leave each on for 4 s"
)


def stretch(at_s, amps, ohm=0.02, offset=0.0, battery=12.5, u=0.0, sag=0.0, **more) -> Plateau:
    """Ten seconds with such a load: the feed loses 20 mΩ of it, the return half as much."""
    volts = battery - sag * amps
    drop = ohm * amps + offset
    read = {"battery_v": volts, "feed_v": volts - drop, "drop_v": drop, "ground_v": drop / 2, "lift_v": drop / 2}
    read |= {"battery_a": amps, "feed_a": amps, **more}
    values = {role: Sustained(x, u) for role, x in read.items() if x is not None}
    return Plateau(at_s, at_s + 10.0, at_s + 2.0, values)


def a_bench(planned=(10.0,), volts=EXACT, amps=EXACT, without=(), values=None, tables=(), on=((0.0, 60.0),), **more):
    """All channels but some; the log's own samples matter to a floating bus alone."""
    t = times(60.0, 0.05)
    usual = {"battery_v": 12.5, "feed_v": 12.4, "ground_v": 0.05, "battery_a": 0.0, "feed_a": 0.0}
    log = HandLog(t, {role: x for role, x in {**usual, **(values or {})}.items() if role not in without})
    known = {role: amps if role.endswith("_a") else volts for role in usual}
    known |= more.pop("accuracy", {})
    told = story(on, **more.pop("told", {}))
    return bench(log, told, plan(*planned, **dict(tables)), accuracy=known, **more)


def load_of(*stretches, role="feed_a", zero_known=True, extra=0.0, steps=()) -> FeedLoad:
    """The load on these stretches, as the current reads it."""
    points = tuple(PathPoint(one, one.readings["battery_a"].value) for one in stretches)
    return FeedLoad(points, "by hand", zero_known, role, extra, steps)


def drop(load, **how):
    """The feed's."""
    return examine_paths(a_bench(**how), load)["feed_drop"]


def lift(load, **how):
    """The return's."""
    return examine_paths(a_bench(**how), load)["ground_lift"]


ONE_BY_ONE = load_of(stretch(0, 1.0), stretch(10, 4.0), stretch(20, 9.0), stretch(30, 5.0))


def test_paths_loss_is_its_slope_scaled_to_the_planned_load():
    """20 and 10 mΩ at 10 A; the stretch with the greatest load stands for it."""
    feed, ground = drop(ONE_BY_ONE), lift(ONE_BY_ONE)

    assert (feed.value, ground.value) == (pytest.approx(0.2), pytest.approx(0.1))
    assert (feed.from_s, feed.to_s) == (22.0, 30.0)
    assert feed.story == "20.0 mΩ in the feed, load by hand up to 9.0 A, scaled to the planned 10.0 A"
    assert ground.story == "10.0 mΩ in the return, load by hand up to 9.0 A, scaled to the planned 10.0 A"
    assert lift(ONE_BY_ONE, low_side_ohm={"battery_a": 0.001}).story.startswith(
        "10.0 mΩ in the return, the shunt's own drop taken off, load"
    )
    assert feed.u < 1e-5
    assert feed.disqualified is None


@pytest.mark.parametrize("role", ["battery_v", "feed_v"])
def test_feed_drop_needs_both_voltages(role):
    """The one that lacks is named."""
    assert drop(ONE_BY_ONE, without=[role]).why == f"{role} is not logged"


def test_ground_lift_needs_its_channel_and_both_need_a_load():
    """And say what to do; of a bridged shunt only where the load comes from it."""
    assert lift(ONE_BY_ONE, without=["ground_v"]).why == "ground_v is not logged"
    bridged = {"bridged": (Bridge(20.0, 30.0),)}
    tail = "; the shunt was bridged from 20.0 s to 30.0 s, so no current was measured there"
    for found in (drop(None, **bridged), lift(None, **bridged)):
        assert found.why == NONE
    assert drop(None, without=["feed_a"], **bridged).why == NONE + tail
    assert drop(ONE_BY_ONE, planned=()).why == "the plan names no circuit, so there is no planned load to scale to"
    unread = load_of(stretch(0, 4.0, drop_v=None, lift_v=None))
    assert drop(unread).why == lift(unread).why == NONE


@pytest.mark.parametrize(("amps", "told"), [(1.01, True), (0.99, False)])
def test_tenth_of_the_planned_load_is_the_least(amps, told):
    """Of 10 A."""
    found = drop(load_of(stretch(0, 0.0), stretch(10, amps)))

    assert (getattr(found, "why", None) is None) is told


def test_one_load_of_known_zero_carries_the_doubt_of_the_offsets():
    """One stretch of 8 A: both channels' levels at 12.5 V over 8 A."""
    one = load_of(stretch(0, 8.0))
    found = drop(one, volts=VOLTS)

    level = ROOT2 * VOLTS.level_u(12.5)
    noise = ROOT2 * VOLTS.resolution_u
    gain = 0.02 * VOLTS.gain_rel / ROOT3
    assert found.value == pytest.approx(0.2)
    assert found.u == pytest.approx(10 * combine(math.hypot(level, noise) / 8, gain), rel=1e-3)
    returned = lift(one, volts=VOLTS)
    level, noise = VOLTS.level_u(0.1), VOLTS.resolution_u
    assert returned.u == pytest.approx(10 * combine(math.hypot(level, noise) / 8, gain / 2), rel=1e-3)


def test_one_load_of_unknown_zero_tells_nothing():
    """Two of them do, whatever the offset."""
    assert drop(load_of(stretch(0, 8.0), zero_known=False)).why == (
        "the load's zero is not known and only one load was on; switch the circuits on one by one"
    )
    two = load_of(stretch(0, 2.0, offset=0.3), stretch(10, 8.0, offset=0.3), zero_known=False)
    assert drop(two).value == pytest.approx(0.2)


def test_unstated_channels_leave_no_doubt_and_a_slope_all_the_same():
    """The offset is taken within 50 mV then."""
    one = load_of(stretch(0, 8.0))

    for role in ("battery_v", "feed_v", "feed_a"):
        assert drop(one, accuracy={role: None}).u is None
        assert drop(one, accuracy={role: None}).value == pytest.approx(0.2)
    assert lift(one, accuracy={"ground_v": None}).u is None
    noisy = load_of(stretch(0, 2.0, u=0.02), stretch(10, 8.0, offset=0.1, u=0.02))
    free, bound = (drop(noisy, accuracy={"feed_v": None}).value, drop(noisy).value)
    weight = np.array([[68, 10], [10, 2 + (0.02 / 0.05) ** 2]])
    y = np.array([2 * 0.04 + 8 * 0.26, 0.3])
    assert free == pytest.approx(10 * np.linalg.solve(weight, y)[0])
    assert bound == pytest.approx(10 * (0.08 + 2.08) / 68, rel=1e-3)


def test_currents_doubt_is_seen_through_the_path():
    """Noise of 10 mA, rounding to 0.1 A, a gain of 1 % and an offset of 0.3 A over 20 mΩ."""
    amps = replace(AMPS, resolution=0.1)
    amps = replace(amps, offset=0.3)
    one = load_of(stretch(0, 8.0, u=0.01))
    free = load_of(stretch(0, 8.0, u=0.01), extra=0.05)
    found = drop(one, amps=amps)

    own = combine(0.01, 0.02 * combine(0.01, 0.05 / ROOT3))
    prior = 0.02 * 0.3 / ROOT3
    slope_u = math.hypot(own, prior) / 8
    assert found.u == pytest.approx(10 * combine(slope_u, 0.02 * 0.01 / ROOT3), rel=1e-4)
    assert drop(free, amps=amps).u == pytest.approx(10 * combine(slope_u, 0.02 * 0.01 / ROOT3, 0.02 * 0.05), rel=1e-4)


def test_gains_that_lie_apart_make_a_sag_look_like_a_drop():
    """0.2 % each: the battery falls by 0.24 V over 8 A, which leans the slope by a relative 0.16 % of 30 mΩ."""
    volts = replace(VOLTS, offset=0.0, resolution=0.0)
    two = load_of(stretch(0, 1.0, sag=0.03), stretch(10, 9.0, sag=0.03))
    found = drop(two, volts=volts)

    lean = 0.002 * ROOT2 / ROOT3 * 0.03
    base = drop(load_of(stretch(0, 1.0), stretch(10, 9.0)), volts=volts).u / 10
    assert found.u == pytest.approx(10 * combine(base, lean), rel=1e-3)
    alike = load_of(stretch(0, 8.0, battery=12.5), stretch(10, 8.05, battery=12.6))
    lean = 0.002 * ROOT2 / ROOT3 * 0.1 / 0.1
    assert drop(alike, volts=volts).u == pytest.approx(10 * lean, rel=0.15)


def test_offsets_drift_between_the_stretches():
    """Half an hour apart two fifths of 5 mV on each voltage; loads that are alike show no drift."""
    volts = replace(VOLTS, gain_rel=0.0, resolution=0.0)
    first, last = stretch(0, 1.0), stretch(50, 9.0)
    found = drop(load_of(first, last), volts=volts)

    drift = volts.drift_u(60.0)
    assert found.u == pytest.approx(10 * ROOT2 * drift / 8, rel=0.01)
    assert lift(load_of(first, last), volts=volts).u == pytest.approx(10 * drift / 8, rel=0.01)
    nearly = load_of(stretch(0, 8.0), stretch(50, 8.09))
    assert drop(nearly, volts=volts).u < 0.001


def test_stretches_with_the_engine_off_come_first():
    """Where these hold a tenth of the load, those after the start do not count."""
    before, after = [stretch(0, 1.5), stretch(10, 5.0)], stretch(30, 9.0, ohm=0.1)
    for told in ({"cranks": (Crank(22.0, 23.0, 12.5, 1.0),)}, {"running": (Running(22.0, 60.0, "mark", 12.5, 1.0),)}):
        assert drop(load_of(*before, after), told=told).value == pytest.approx(0.2)
        assert drop(load_of(stretch(0, 0.5), after), told=told).value > 0.9
    assert drop(load_of(*before, after)).value > 0.3


@pytest.mark.parametrize(("ohm", "turned"), [(-0.0003, True), (-0.0001, False)])
def test_fall_surely_below_zero_was_read_the_wrong_way_round(ohm, turned):
    """By more than 2 mV beyond its doubt, at 10 A."""
    one = load_of(stretch(0, 8.0, ohm=ohm))

    assert drop(one).disqualified == (
        "the feed stands above the battery by this reading: battery_v and feed_v may be changed over"
        if turned
        else None
    )
    below = load_of(stretch(0, 8.0, ohm=2 * ohm))
    assert lift(below).disqualified == (
        "the ground bus stands below battery negative by this reading: its leads may be the wrong way round"
        if turned
        else None
    )
    assert drop(one, volts=VOLTS).disqualified is None
    assert drop(one, accuracy={"feed_v": None}).disqualified is None


def test_any_stretch_with_the_engine_off_that_holds_a_load_counts():
    """0.5 and 5 A before the crank, of which only the latter is a tenth of the planned load."""
    told = {"cranks": (Crank(22.0, 23.0, 12.5, 1.0),)}
    one = load_of(stretch(0, 0.5), stretch(10, 5.0), stretch(30, 9.0, ohm=0.1))

    assert drop(one, told=told).value == pytest.approx(0.2)
