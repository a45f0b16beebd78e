"""What flows with the key off, after it and before the first key-on, over circuits and coil: on logs by hand."""

import math

import numpy as np
import pytest
from hand_bench import AMPS, HandLog, bench, measured, plan, story, times
from test_observe_loads import BOTH, a_bench, drained

from benchlog.examine.observe_loads import before, key_off, load_on


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
    """From 105.0 to 109.8 s of a log that begins at 100 s: 4 A, though nearly all else reads 9 A; 4.9 s are none."""

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
