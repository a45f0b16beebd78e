"""What the paths lose by proven steps, and where the load through the feed is taken from: by hand."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hand_bench import AMPS, VOLTS, times
from test_path_checks import NONE, ONE_BY_ONE, ROOT2, ROOT3, a_bench, drop, lift, load_of, stretch

from benchlog.analysis.load_steps import LoadStep
from benchlog.analysis.plateaus import Plateau
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad, feed_load
from benchlog.examine.stepped import Stepped


@pytest.mark.parametrize(
    ("milliohm", "role", "told"), [(1.9, "battery_a", False), (2.1, "battery_a", True), (1.9, "feed_a", True)]
)
def test_less_than_the_bare_wire_has_did_not_come_through_the_feed(milliohm, role, told):
    """2 mΩ at the least, where the load is the battery's own step."""
    one = load_of(stretch(0, 8.0, ohm=milliohm / 1000), role=role)

    assert (getattr(drop(one), "why", None) is None) is told
    assert drop(one, accuracy={"battery_v": None}).value == pytest.approx(milliohm / 100)


@pytest.mark.parametrize(("offset", "told"), [(0.0025, True), (0.0024, False)])
def test_two_uncertainties_may_lift_a_loss_to_that_of_the_bare_wire(offset, told):
    """1.5 mΩ at 10 A, and 5 mV more by two of two channels' offsets, over 8 A."""
    one = load_of(stretch(0, 8.0, ohm=0.0015), role="battery_a")

    assert (getattr(drop(one, volts=Accuracy(0.0, offset, 0.0)), "why", None) is None) is told


def step_of(before: Plateau, after: Plateau, owner="block", u=0.0) -> Stepped:
    """The step between two stretches."""
    amps = after.readings["battery_a"].value - before.readings["battery_a"].value
    return Stepped(LoadStep(after.from_s, amps, u, before.from_s, after.to_s, owner), before, after)


def by_steps(*stretches, owner="block", u=0.0, extra=0.0) -> FeedLoad:
    """Neighbouring stretches' steps beside the stretches."""
    steps = tuple(step_of(a, b, owner, u) for a, b in pairwise(stretches))
    return load_of(*stretches, role="battery_a", steps=steps, extra=extra)


def test_proven_steps_alone_give_the_slope():
    """Steps of 3 and 5 A; what lies between the stretches of both does not count."""
    low, middle, high = stretch(0, 1.0, offset=0.5), stretch(10, 4.0, offset=0.5), stretch(20, 9.0, offset=0.5)
    found = drop(by_steps(low, middle, high))

    assert found.value == pytest.approx(0.2)
    assert found.story == "20.0 mΩ in the feed, load by hand up to 9.0 A, scaled to the planned 10.0 A"
    assert lift(by_steps(low, middle, high)).value == pytest.approx(0.1)
    both = by_steps(low, middle, high, owner="both")
    assert drop(both).value != pytest.approx(0.2)
    assert drop(by_steps(stretch(0, 0.1), stretch(10, 0.9))).why == NONE
    assert drop(by_steps(low, high), planned=()).why.startswith("the plan names no circuit")


def test_steps_carry_noise_gains_drift_and_the_step_doubt():
    """Voltages' noise, rounding and gains, the current's own doubt through the path, and one hundredth."""
    volts, amps = replace(VOLTS, resolution=0.01), AMPS
    low, high = stretch(0, 1.0, u=0.002, sag=0.03), stretch(10, 9.0, u=0.002, sag=0.03)
    found = drop(by_steps(low, high, u=0.05, extra=0.01), volts=volts, amps=amps)

    apart = 0.002 * ROOT2 / ROOT3
    noise = combine(0.002, 0.002, *(2 * [ROOT2 * volts.resolution_u]), apart * 0.24)
    own = combine(noise, 0.02 * 0.05) / 8
    gains = 0.02 * math.hypot(0.002, 0.01) / ROOT3
    drift = ROOT2 * volts.drift_u(20.0) / 8
    parts = own, gains, 0.02 * 0.01, apart * 0.03, drift
    assert found.u == pytest.approx(10 * combine(*parts), rel=1e-3)
    returned = lift(by_steps(low, high, u=0.05, extra=0.01), volts=volts, amps=amps)
    noise = combine(0.002, 0.002, ROOT2 * volts.resolution_u)
    parts = combine(noise, 0.01 * 0.05) / 8, gains / 2, 0.01 * 0.01, volts.drift_u(20.0) / 8
    assert returned.u == pytest.approx(10 * combine(*parts), rel=1e-3)
    for role in ("battery_v", "feed_v", "battery_a"):
        assert drop(by_steps(low, high), volts=volts, amps=amps, accuracy={role: None}).u is None


def test_load_comes_from_the_feeds_own_channel_where_it_is_logged():
    """On the stretches where the feed is live; none, where it is on none."""
    alive, dead = stretch(0, 3.0), stretch(10, 5.0, feed_v=1.0)
    loads = Loads((), ((alive, dead),))
    got = feed_load(a_bench(), loads, (), None)

    assert [(point.plateau, point.load_a) for point in got.points] == [(alive, 3.0)]
    assert (got.how, got.zero_known, got.role, got.extra_rel, got.steps) == ("by feed_a", True, "feed_a", 0.0, ())
    assert feed_load(a_bench(), Loads((), ((dead,),)), (), load_of(alive)) is None


def test_load_comes_from_the_proven_steps_else_from_the_closing():
    """Summed up to each stretch, and never less than none; a feed that is dead beside a step proves nothing."""
    low, high, back = stretch(0, 1.0), stretch(10, 4.0), stretch(20, 0.5)
    other, dead = stretch(30, 7.0), stretch(40, 9.0, feed_v=1.0)
    up, down = step_of(low, high), step_of(high, back)
    loads = Loads(((low, high, back), (other,), (dead,)), ())
    one = a_bench(without=["feed_a"])

    got = feed_load(one, loads, ((up, down), (), ()), None)
    assert [(point.plateau.from_s, point.load_a) for point in got.points] == [(0, 0.0), (10, 3.0), (20, 0.0)]
    assert (got.how, got.zero_known, got.role) == ("by the matched load steps of battery_a", True, "battery_a")
    assert (got.extra_rel, got.steps) == (0.01, (up, down))
    closing = load_of(low)
    assert feed_load(one, loads, ((down,), (), ()), closing) is closing
    assert feed_load(one, loads, ((step_of(low, dead),), (), ()), closing) is closing
    assert feed_load(one, loads, ((step_of(dead, low),), (), ()), closing) is closing
    assert feed_load(one, loads, ((), (), ()), None) is None


def test_step_of_less_than_an_ampere_proves_the_blocks_load():
    """0.8 A up."""
    low, high = stretch(0, 1.0), stretch(10, 1.8)

    assert feed_load(a_bench(without=["feed_a"]), Loads(((low, high),), ()), ((step_of(low, high),),), None) is not None


def test_bus_that_stands_at_the_feeds_voltage_has_no_return():
    """Above two fifths of the battery for a second, with the feed live, in any key-on."""
    t = times(60.0, 0.05)

    def at(share, lasts_s=3.0, feed=12.4):
        bus = np.where((t >= 20) & (t < 20 + lasts_s), share * 12.5, 0.05)
        return lift(ONE_BY_ONE, values={"ground_v": bus, "feed_v": feed}, on=((0.0, 10.0), (15.0, 60.0)))

    found = at(0.8)
    assert found.failed == "the ground bus stood at 10.0 V with the feed live, for 3 s"
    assert (found.from_s, found.to_s) == (pytest.approx(20.0), pytest.approx(22.95))
    assert (found.value, found.u) == (None, None)
    assert at(0.41).failed is not None
    assert at(0.39).failed is None
    assert at(0.8, 0.9).failed is None
    assert at(0.8, 1.2).failed is not None
    assert at(0.8, feed=8.6).failed is None
    assert at(0.8, feed=8.9).failed is not None
    assert lift(ONE_BY_ONE, values={"ground_v": np.full(len(t), 10.0)}, without=["feed_v"]).failed is None
