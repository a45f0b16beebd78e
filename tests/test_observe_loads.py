"""What the circuits draw, over what the plan gives them: figures and thresholds on logs written by hand."""

import math

import numpy as np
import pytest
from hand_bench import HandLog, bench, limit, measured, plan, plateau, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import NotEvaluated
from benchlog.examine.observe_loads import circuits, load_on
from benchlog.examine.path_checks import FeedLoad, PathPoint

ROOT3 = math.sqrt(3)


def drained(base_a: float, type_a_u: float = 0.001, u: float | None = 0.002) -> Drain:
    """A drain over 60 s without wake-ups."""
    return Drain(base_a, type_a_u, u, base_a, 0, 60.0, 0, 0.01)


def a_bench(values, marks=(), planned=(3.0, 5.0), end_s=60.0, on=((10.0, 40.0),), **more):
    """A log of 50 samples a second whose key is on from 10 to 40 s."""
    off = more.pop("off", ((0.0, 10.0), (40.0, end_s)))
    tables = more.pop("tables", {})
    told = story(on, off, **more.pop("told", {}))
    return bench(HandLog(times(end_s, 0.02), values, marks), told, plan(*planned, **tables), **more)


def through_feed(*amps: float, steps=()) -> FeedLoad:
    """The load through the feed on stretches of 4 s."""
    points = [PathPoint(plateau(10.0 + 4 * n, 14.0 + 4 * n), a) for n, a in enumerate(amps)]
    return FeedLoad(tuple(points), "", True, "battery_a", steps=steps)


BOTH = {"slot_1_current": measured(3.3, 0.06), "slot_2_current": measured(4.0, 0.1)}


def test_circuits_current_is_told_over_its_planned_one_with_its_limits():
    """3.3 A of 3 A planned, allowed 2.4 to 3.6 A: 1.1 ± 0.02 within 0.8 to 1.2."""
    one = a_bench({"battery_a": 0.0})

    (name, seen), *rest = circuits(one, BOTH, {"slot_1_current": limit(2.4, 3.6)}).items()

    assert (name, rest) == ("slot_1", [])
    assert (seen.value, seen.u, seen.low, seen.high) == pytest.approx((1.1, 0.02, 0.8, 1.2))
    assert seen.text == "slot 1 draws 3.3 A, 3 A planned"


@pytest.mark.parametrize(
    ("finding", "allowed"),
    [
        (NotEvaluated("nothing"), limit(2.4, 3.6)),
        (None, limit(2.4, 3.6)),
        (measured(None), limit(2.4, 3.6)),
        (measured(3.3, disqualified="doubtful"), limit(2.4, 3.6)),
        (measured(3.3), None),
        (measured(3.3), limit(None, 3.6)),
        (measured(3.3), limit(2.4, None)),
    ],
)
def test_circuit_without_a_sure_figure_or_two_limits_is_not_told(finding, allowed):
    """Each lacks one of what is needed."""
    findings = {"slot_1_current": finding} if finding else {}

    assert circuits(a_bench({"battery_a": 0.0}), findings, {"slot_1_current": allowed} if allowed else {}) == {}


@pytest.mark.parametrize(
    ("more", "u"),
    [
        ({"u": 0.6, "likely_u": 0.3}, 0.2),
        ({"u": 0.6, "likely_u": 0.3, "failed": "by any"}, 0.1),
        ({"u": 0.6, "failed": "by any"}, 0.2),
        ({"u": None}, 0.0),
    ],
)
def test_of_several_steps_that_all_fail_the_likeliest_tells(more, u):
    """The wide doubt that covers all of them counts only where they do not all fail."""
    seen = circuits(
        a_bench({"battery_a": 0.0}), {"slot_1_current": measured(3.3, **more)}, {"slot_1_current": limit(2, 4)}
    )

    assert seen["slot_1"].u == pytest.approx(u)


def test_load_is_nothing_without_a_key_on_or_a_planned_load():
    """There is nothing to see it in, or to hold it against."""
    assert load_on(a_bench({"feed_a": 4.0}, on=(), off=((0.0, 60.0),)), through_feed(4.0), {}) == {}
    assert load_on(a_bench({"feed_a": 4.0}, planned=()), through_feed(4.0), {}) == {}


def test_load_by_the_feeds_own_channel_is_its_greatest():
    """6 A on one stretch of 2 and 6 A, of 8 A planned: 0.75 ± 0.01; without stretches the channel's median counts."""
    t = times(60.0, 0.02)
    one = a_bench({"feed_a": np.where((t > 10) & (t < 40), 4.0, 9.0)})

    by_points = load_on(one, through_feed(2.0, 6.0), BOTH)["load_on"]
    assert (by_points.value, by_points.u, by_points.text) == (0.75, 0.01, "6 A through the feed of 8 A planned")
    for none in (None, through_feed()):
        assert load_on(one, none, BOTH)["load_on"].value == pytest.approx(0.5)


def test_feeds_channel_tells_by_the_greatest_of_its_key_ons_and_by_nothing_where_it_is_empty():
    """1 A and 4 A in two key-ons; a key-on without samples counts for nothing."""
    t = times(60.0, 0.02)
    amps = np.where(t < 20, 1.0, 4.0)
    on = ((2.0, 18.0), (22.0, 40.0))

    assert load_on(a_bench({"feed_a": amps}, on=on), None, {})["load_on"].value == pytest.approx(0.5)
    assert load_on(a_bench({"feed_a": np.where(t > 19, np.nan, amps)}, on=on), None, {})["load_on"].value == 0.125
    assert load_on(a_bench({"feed_a": np.where(t < 41, np.nan, amps)}, on=on), None, {})["load_on"].value == 0.0


def test_load_by_the_circuits_own_figures_is_their_sum():
    """3.3 and 4 A of 8 A planned; where one of them is not known the stretches tell, by their greatest."""
    one = a_bench({"battery_a": 0.0})
    few = {"slot_1_current": measured(3.3)}

    assert load_on(one, through_feed(1.0), BOTH)["load_on"].value == pytest.approx(7.3 / 8)
    by_closing = load_on(one, through_feed(2.0, 4.0), few)["load_on"]
    by_steps = load_on(one, through_feed(2.0, 4.0, steps=("one",)), few)["load_on"]
    assert (by_closing.value, by_closing.u) == (0.5, 0.2)
    assert (by_steps.value, by_steps.u) == (0.5, 0.01)


@pytest.mark.parametrize(("amps", "told"), [(0.05, {"load_on": 0.0}), (0.101, {}), (0.2, {})])
def test_circuit_that_draws_beside_no_sum_leaves_the_load_open(amps, told):
    """One of two circuits shows more than 0.1 A by a step: the load is not nothing, and not known."""
    marks = {"slot 1 on": 15.0}
    one = a_bench({"battery_a": 0.0}, marks)

    found = load_on(one, None, {"slot_1_current": measured(amps), "slot_2_current": measured(None)})

    assert {name: seen.value for name, seen in found.items()} == told


def test_circuits_that_were_marked_on_without_a_step_draw_nothing():
    """It takes a mark, the battery's current, and no bridge across its shunt at the mark."""
    marks = {"slot 1 on": 15.0}
    bridged = {"shunt bridged": 14.0, "slot 1 on": 15.0, "shunt free": 16.0}

    assert load_on(a_bench({"battery_a": 0.0}, marks), None, {})["load_on"].value == 0.0
    assert load_on(a_bench({"battery_a": 0.0}, {"slot 1 off": 15.0}), None, {})["load_on"].value == 0.0
    assert load_on(a_bench({"battery_a": 0.0}, {"key on": 10.0}), None, {}) == {}
    assert load_on(a_bench({"battery_v": 12.0}, marks), None, {}) == {}
    hidden = a_bench({"battery_a": 0.0}, bridged, bridged=(Bridge(14.0, 16.0),))
    assert load_on(hidden, None, {}) == {}
