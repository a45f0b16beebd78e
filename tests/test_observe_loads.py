"""What the circuits draw, over what the plan gives them: figures and thresholds on logs written by hand."""

import math

import numpy as np
import pytest
from hand_bench import AMPS, HandLog, bench, limit, measured, plan, plateau, story, times

from benchlog.analysis.bridge import Bridge
from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import NotEvaluated
from benchlog.examine.observe_loads import before, circuits, key_off, load_on
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


@pytest.mark.parametrize(
    ("marks", "base_a", "name", "share"),
    [
        ({"slot 1 on": 15.0}, 3.0, "load_off", 3.0 / 3.3),
        ({"slot 1 on": 15.0}, 0.1, "load_off", 0.1 / 3.3),
        ({"slot 1 on": 15.0, "slot 1 off": 20.0}, 0.1, "coil_off", 0.1 / 0.2),
        ({"slot 2 on": 15.0, "slot 1 on": 16.0, "slot 1 off": 20.0}, 3.0, "load_off", 0.75),
        ((), 3.0, "load_off", 3.0 / 7.3),
        ((), 1.47, "load_off", 1.47 / 7.3),
        ((), 1.45, "line_off", 1.45 / 0.2),
        ((), 0.27, "coil_off", 0.27 / 0.2),
        ((), 0.29, "line_off", 0.29 / 0.2),
    ],
)
def test_current_after_the_key_off_is_told_over_the_circuits_or_the_coil(marks, base_a, name, share):
    """Over the circuits that marks leave on, or, unmarked, from a fifth of all of them on; else over the coil."""
    one = a_bench({"battery_a": 0.0}, marks, tables={"relay": {"coil_a": 0.2}})

    ((told, seen),) = key_off(one, drained(base_a), BOTH).items()

    assert (told, seen.value) == (name, pytest.approx(share))
    assert seen.u == pytest.approx(0.002 * share / base_a)


def test_currents_after_the_key_off_in_words():
    """What they are held against is said."""
    one = a_bench({"battery_a": 0.0}, tables={"relay": {"coil_a": 0.2}})

    assert key_off(one, drained(3.65), BOTH)["load_off"].text == (
        "3.65 A with the key off, 7.3 A drawn by the circuits with it on"
    )
    assert key_off(one, drained(4.0), {})["load_off"].text == "4 A with the key off, 8 A planned for the circuits"
    assert key_off(one, drained(0.1), BOTH)["coil_off"].text == "100 mA with the key off, 200 mA planned for the coil"


def test_circuits_that_were_not_all_seen_count_as_planned_with_a_tenth_of_doubt():
    """One of two is known, or both draw less than a fifth of their plan: 4 of 8 A planned, ± 0.1."""
    one = a_bench({"battery_a": 0.0})
    for findings in ({}, {"slot_1_current": measured(3.3)}, {f"slot_{n}_current": measured(0.75) for n in (1, 2)}):
        seen = key_off(one, drained(4.0), findings)["load_off"]
        assert (seen.value, seen.u) == (0.5, pytest.approx(math.hypot(0.1, 0.002 / 8)))
    above = {f"slot_{n}_current": measured(0.85) for n in (1, 2)}
    assert key_off(one, drained(4.0), above)["load_off"].value == pytest.approx(4 / 1.7)


def test_current_after_the_key_off_is_told_over_nothing_without_a_coil_or_a_drain():
    """No drain was settled; the plan names no coil, or not its current."""
    for tables in ({}, {"relay": {"pull_in_max_ms": 30.0}}):
        assert key_off(a_bench({"battery_a": 0.0}, tables=tables), drained(0.1), BOTH) == {}
    assert key_off(a_bench({"battery_a": 0.0}), None, BOTH) == {}


def test_drain_of_no_stated_accuracy_counts_with_its_scatter():
    """± 1 mA of scatter on 3.65 A."""
    seen = key_off(a_bench({"battery_a": 0.0}), drained(3.65, 0.001, None), BOTH)["load_off"]

    assert seen.u == pytest.approx(0.001 / 7.3)


def first_off(amps=4.0, role="battery_a", off=None, findings=None, **more):
    """What the stretch before the first key-on says, by so many amperes there."""
    t = times(60.0, 0.02)
    level = np.where(t < 4.9, 9.0, np.where(t < 9.9, amps, 0.0))
    one = a_bench({role: level}, tables={"relay": {"coil_a": 0.2}, "limits": {"off_state_drain_ma": 10.0}}, **more)
    return before(one, off, BOTH if findings is None else findings)


def test_current_before_the_first_key_on_is_that_of_its_second_half():
    """9 A for 4.9 s and 4 A from there to the key-on: 4 A, over 7.3 A drawn later, with the channel's doubt."""
    seen = first_off(4.0)["load_before"]

    assert seen.value == pytest.approx(4 / 7.3)
    assert seen.u == pytest.approx(AMPS.level_u(4.0) / 7.3)
    assert seen.text == "4 A before the first key-on, 7.3 A drawn by the circuits with it on"
    assert first_off(4.0, accuracy={})["load_before"].u == pytest.approx(0.02 / 7.3)


@pytest.mark.parametrize(("amps", "name"), [(0.27, "coil_before"), (0.29, "line_before"), (1.47, "load_before")])
def test_current_before_the_first_key_on_is_the_coils_its_lines_or_the_circuits(amps, name):
    """Up to 1.4 coils, up to a fifth of the circuits, and more."""
    assert list(first_off(amps)) == [name]


def test_current_before_is_told_over_that_after_the_key_off_where_that_is_much():
    """30 mA before, 60 mA after; after no more than the limit, or five times the channel's doubt, it is not."""
    u = AMPS.level_u(0.03)
    seen = first_off(0.03, off=drained(0.2))["before_off"]

    assert (seen.value, seen.u) == (pytest.approx(0.15), pytest.approx(u / 0.2))
    assert seen.text == "30 mA before the first key-on, 200 mA after the key-off"
    assert "before_off" in first_off(0.03, off=drained(5.1 * u))
    assert "before_off" not in first_off(0.03, off=drained(4.9 * u))
    fine = {"battery_a": type(AMPS)(0.0, 1e-4, 0.0)}
    assert "before_off" in first_off(0.03, off=drained(0.0101), accuracy=fine)
    assert "before_off" not in first_off(0.03, off=drained(0.0099), accuracy=fine)


def test_drains_own_channel_tells_of_the_time_before_the_first_key_on():
    """drain_a reads 4 A, battery_a nothing."""
    t = times(60.0, 0.02)
    values = {"drain_a": 4.0, "battery_a": np.zeros(len(t))}

    assert before(a_bench(values), None, BOTH)["load_before"].value == pytest.approx(4 / 7.3)
    assert before(a_bench({"battery_v": 12.0}), None, BOTH) == {}


def test_time_before_the_first_key_on_must_open_the_log_and_last_five_seconds():
    """The key is on first; or it is off for 4.9 s only."""
    values = {"battery_a": 4.0}

    assert before(a_bench(values, on=((0.0, 10.0),), off=((10.0, 60.0),)), None, BOTH) == {}
    assert before(a_bench(values, on=((5.1, 40.0),), off=((0.0, 5.1),)), None, BOTH)
    assert before(a_bench(values, on=((4.9, 40.0),), off=((0.0, 4.9),)), None, BOTH) == {}
    assert before(a_bench(values, on=(), off=((0.0, 60.0),)), None, BOTH) == {}
    assert before(a_bench(values, on=((0.0, 60.0),), off=()), None, BOTH) == {}


def test_feeds_channel_that_lost_some_samples_still_tells_by_the_others():
    """Half of the key-on has none."""
    t = times(60.0, 0.02)

    assert load_on(a_bench({"feed_a": np.where(t < 25, np.nan, 4.0)}), None, {})["load_on"].value == 0.5


def test_one_mark_of_a_circuit_among_others_tells_that_circuits_were_switched():
    """Free text stands beside it."""
    assert load_on(a_bench({"battery_a": 0.0}, {"slot 1 on": 15.0, "rain": 16.0}), None, {})["load_on"].value == 0.0


def late_log(amps, key_on_s: float = 110.0, over=None):
    """A log whose first sample lies at 100 s, with the key off until ``key_on_s``."""
    t = 100 + times(60.0, 0.02)
    log = HandLog(t, {"battery_a": amps(t)}, over=over)
    told = story(((key_on_s, 140.0),), ((100.0, key_on_s), (140.0, 160.0)))
    return before(bench(log, told, plan(3.0, 5.0)), None, BOTH)


def test_second_half_before_the_key_on_is_taken_by_the_logs_own_times():
    """From 105.0 to 109.8 s, of a log that begins at 100 s: 4 A, though nearly all else reads 9 A; 4.9 s tell nothing."""

    def seen(t):
        return np.where((t > 104.99) & (t < 109.81), 4.0, np.where(t < 109.9, 9.0, -50.0))

    assert late_log(seen)["load_before"].value == pytest.approx(4 / 7.3)
    assert late_log(lambda t: np.where(t < 104.9, 4.0, 0.0), 104.9) == {}


@pytest.mark.parametrize(("from_s", "told"), [(109.5, True), (109.6, False)])
def test_four_points_before_the_key_on_are_the_fewest(from_s, told):
    """Of a tenth of a second each, the last of which begins two of them before the key-on."""
    assert bool(late_log(lambda t: np.where(t < from_s - 0.005, np.nan, 4.0))) is told


def test_current_over_range_before_the_key_on_tells_nothing():
    """One sample of it is enough."""
    t = 100 + times(60.0, 0.02)
    assert late_log(lambda t: np.full(len(t), 4.0), over={"battery_a": np.abs(t - 107) < 0.011}) == {}
