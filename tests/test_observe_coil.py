"""A coil that is held with the key off, the key's own load and a swing of it: figures on logs written by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hand_bench import HandLog, bench, measured, plan, story, times

from benchlog.analysis.cranking import Crank
from benchlog.analysis.drain import Drain
from benchlog.analysis.running import Running
from benchlog.core.uncertainty import Accuracy, combine
from benchlog.examine.observe_loads import held_coil, keyed, load_swing

NAN = float("nan")
#: Good to 40 mA in all: two fifths of a coil of 0.2 A are 80 mA.
FINE = Accuracy(0.01, 0.04, 0.0)
BOTH = {"slot_1_current": measured(3.3, 0.06), "slot_2_current": measured(4.0, 0.1)}
MARKS = {"slot 1 on": 20.0, "slot 2 on": 25.0}


def off_with(amps: float, zero: float = 0.0, late_a: float | None = None):
    """Key on from 10 to 40 s, circuits marked on at 20 and 25 s; then so many amperes with it off."""
    t = times(60.0, 0.02)
    late = amps if late_a is None else late_a
    current = np.where(t < 10, zero, np.where(t < 40, 7.3, np.where(t < 55, amps, late)))
    volts = np.where((t > 25) & (t < 40), 12.0, 12.3)
    return {"battery_a": current, "battery_v": volts}


def a_bench(values, marks=MARKS, planned=(3.0, 5.0), coil_a=0.2, fine=FINE, **more):
    """The key is on from 10 to 40 s of 60 s."""
    told = story(more.pop("on", ((10.0, 40.0),)), more.pop("off", ((0.0, 10.0), (40.0, 60.0))), **more.pop("told", {}))
    log = HandLog(times(60.0, 0.02), values, marks)
    tables = {"relay": {"coil_a": coil_a}} if coil_a else {}
    accuracy = {"battery_a": fine, "drain_a": fine}
    return bench(log, told, plan(*planned, **tables), accuracy=accuracy, **more)


def drained(base_a: float) -> Drain:
    """As settled after the key-off, known to 3 mA."""
    return Drain(base_a, 0.003, 0.02, base_a, 0, 15.0, 0, 0.01)


def test_held_coil_is_what_flows_beyond_the_circuits():
    """7.5 A with the key off, 7.3 A drawn by the circuits with it on: one coil of 0.2 A."""
    seen = held_coil(a_bench(off_with(7.5, 0.01)), drained(7.5), BOTH)["coil_held"]

    assert seen.value == pytest.approx((7.5 - 0.01 - 7.3) / 0.2)
    assert seen.text == "190 mA with the key off beyond the circuits, 200 mA the coil's"
    by_kind = 7.3 * 0.3 / 12.0 / math.sqrt(3)
    parts = FINE.change_u(7.5, 40.0), by_kind, 0.003, 0.06, 0.1
    assert seen.u == pytest.approx(combine(*parts) / 0.2)


@pytest.mark.parametrize(("zero", "offset"), [(0.041, 0.04), (0.01, 0.081)])
def test_zero_that_may_be_the_coils_own_current_is_not_taken_off(zero, offset):
    """More than the channel's offset before the key-on, or an offset that may hide two fifths of the coil's current."""
    fine = replace(FINE, offset=offset)
    one = a_bench(off_with(7.5, zero), fine=fine)

    seen = held_coil(one, drained(7.5), BOTH)["coil_held"]

    by_kind = 7.3 * 0.3 / 12.0 / math.sqrt(3)
    assert seen.value == pytest.approx(1.0)
    assert seen.u == pytest.approx(combine(fine.level_u(7.5), by_kind, 0.003, 0.06, 0.1) / 0.2)
    assert held_coil(a_bench(off_with(7.5, -0.039)), drained(7.5), BOTH)["coil_held"].value == pytest.approx(1.195)


def test_log_that_begins_with_the_key_on_has_no_zero():
    """Its first key-off is the one after the circuits."""
    one = a_bench(off_with(7.5, 7.3), on=((0.0, 40.0),), off=((40.0, 60.0),))

    assert held_coil(one, drained(7.5), BOTH)["coil_held"].value == pytest.approx(1.0)


@pytest.mark.parametrize(("late_a", "let_go"), [(0.079, True), (0.081, False), (0.0, True)])
def test_coil_that_was_let_go_after_any_key_off_is_not_held(late_a, let_go):
    """Two fifths of its current are the most that tell of a coil without any."""
    seen = held_coil(a_bench(off_with(7.5, late_a=late_a)), drained(7.5), BOTH)["coil_held"]

    if let_go:
        assert (seen.value, seen.u) == (pytest.approx(late_a / 0.2), pytest.approx(FINE.level_u(late_a) / 0.2))
        assert seen.text == f"no more than {late_a * 1000:.3g} mA with the key off, from 40 to 60 s"
    else:
        assert seen.value == pytest.approx(1.0)


def test_key_off_that_opens_the_log_lets_no_coil_go():
    """Nothing flowed before the first key-on, and after the key-off a coil's worth."""
    assert held_coil(a_bench(off_with(0.2), ()), drained(0.2), BOTH) == {}


@pytest.mark.parametrize(
    "changed",
    [
        {"marks": ()},
        {"coil_a": None},
        {"fine": None},
        {"marks": {"slot 1 on": 45.0}},
        {"marks": {"slot 1 on": 20.0, "slot 1 off": 30.0}},
    ],
)
def test_held_coil_needs_circuits_marked_on_a_coil_planned_and_an_accuracy(changed):
    """Each lacks one."""
    assert held_coil(a_bench(off_with(7.5), **changed), drained(7.5), BOTH) == {}


def test_held_coil_needs_a_drain_and_the_batterys_own_channels():
    """No drain; a channel of its own for it; no voltage; a voltage of nothing."""
    values = off_with(7.5)

    assert held_coil(a_bench(values), None, BOTH) == {}
    assert held_coil(a_bench({**values, "drain_a": 7.5}), drained(7.5), BOTH) == {}
    assert held_coil(a_bench({"battery_a": values["battery_a"]}), drained(7.5), BOTH) == {}
    assert held_coil(a_bench({**values, "battery_v": 0.9}), drained(7.5), BOTH) == {}
    assert held_coil(a_bench({**values, "battery_v": 1.1}), drained(7.5), BOTH)
    assert held_coil(a_bench({**values, "battery_v": NAN}), drained(7.5), BOTH) == {}


def test_held_coil_needs_every_marked_circuit_and_a_fifth_of_their_plan():
    """One of them is not known; or they draw, or there flows, less than a fifth of the 8 A planned."""
    few = {"slot_1_current": measured(3.3)}
    weak = {"slot_1_current": measured(0.7), "slot_2_current": measured(0.8)}
    strong = {"slot_1_current": measured(0.8), "slot_2_current": measured(0.9)}

    assert held_coil(a_bench(off_with(7.5)), drained(7.5), few) == {}
    assert held_coil(a_bench(off_with(7.5)), drained(7.5), weak) == {}
    assert held_coil(a_bench(off_with(7.5)), drained(7.5), strong)
    assert held_coil(a_bench(off_with(1.5)), drained(1.5), BOTH) == {}
    assert held_coil(a_bench(off_with(1.7)), drained(1.7), BOTH)
    only_one = {**MARKS, "slot 2 off": 30.0}
    assert held_coil(a_bench(off_with(3.5), only_one), drained(3.5), few)["coil_held"].value == pytest.approx(1.0)


def test_keyed_current_is_the_greatest_median_before_the_engine_turns():
    """2 A with inrush for half a second in one key-on, 3 A in another until the crank, 9 A with the engine."""
    t = times(60.0, 0.02)
    amps = np.where(t < 20, 2.0, np.where(t < 35, 3.0, 9.0))
    amps = np.where((t > 10) & (t < 10.48), 50.0, amps)
    spans = {"on": ((10.0, 11.1), (30.0, 58.0)), "off": ((0.0, 10.0), (11.1, 30.0))}
    cranked = {"told": {"cranks": (Crank(35.0, 36.0, 12.0, 3.0),)}}
    started = {"told": {"running": (Running(35.0, 58.0, "mark", 12.0, 3.0),)}}

    for told in (cranked, started):
        seen = keyed(a_bench({"battery_a": amps}, **spans, **told))["keyed_a"]
        assert (seen.value, seen.u) == (3.0, 0.1)
        assert seen.text == "3 A with the key on before the engine was started"
    assert keyed(a_bench({"battery_a": amps}, on=((10.0, 11.1),), off=((0.0, 10.0),)))["keyed_a"].value == 2.0
    assert keyed(a_bench({"battery_v": 12.0}, **spans)) == {}
    assert keyed(a_bench({"battery_a": amps}, on=((10.0, 10.45),), off=((0.0, 10.0),))) == {}


def swings(early_a: float, late_a: float, marks=MARKS, **more):
    """The current swings by so much before the first mark and after the last, within samples of 20 ms."""
    t = times(60.0, 0.02)
    to_and_fro = np.where(np.arange(len(t)) % 2, 0.5, -0.5)
    size = np.where(t < 19.9, early_a, np.where(t > 25.6, late_a, 0.0))
    size = np.where(t < 10.4, 30.0, np.where(t > 39.98, 30.0, size))
    return load_swing(a_bench({"battery_a": 3 + to_and_fro * size}, marks, **more))


def test_swing_is_that_after_the_last_mark_beyond_that_before_the_first():
    """1 A before, 3 A after: 2 A of 8 A planned."""
    seen = swings(1.0, 3.0)["load_swing"]

    assert (seen.value, seen.u) == (pytest.approx(0.25), 0.02)
    assert seen.text == "the current swings by 2 A more with the circuits on, 8 A planned for them"


def test_swing_after_the_marks_ends_with_the_next_mark_crank_or_run():
    """What comes after the last circuit changes the load: the second half of the time would swing by far more."""
    t = times(60.0, 0.02)
    to_and_fro = np.where(np.arange(len(t)) % 2, 0.5, -0.5)
    amps = 3 + to_and_fro * np.where(t < 30, 1.0, 20.0)
    for more in (
        {"told": {"cranks": (Crank(30.0, 31.0, 12.0, 3.0),)}},
        {"told": {"running": (Running(30.0, 38.0, "mark", 12.0, 3.0),)}},
        {"marks": {**MARKS, "slot 1 off": 30.0}},
    ):
        assert load_swing(a_bench({"battery_a": amps}, **more))["load_swing"].value == pytest.approx(0.0)
    assert load_swing(a_bench({"battery_a": amps}))["load_swing"].value == pytest.approx(19 / 8)


@pytest.mark.parametrize(
    "more",
    [
        {"planned": ()},
        {"marks": ()},
        {"marks": {"slot 1 on": 45.0}},
        {"marks": {"slot 1 on": 10.9}},
        {"marks": {"slot 1 on": 39.0}},
    ],
)
def test_swing_needs_a_planned_load_and_a_second_on_either_side_of_the_marks(more):
    """Without them nothing is said."""
    assert swings(1.0, 3.0, **more) == {}
    assert load_swing(a_bench({"battery_v": 12.0})) == {}


def test_second_before_or_after_the_marks_is_enough_for_a_swing():
    """Ten points of a tenth of a second."""
    assert swings(1.0, 3.0, marks={"slot 1 on": 11.7})
    assert swings(1.0, 3.0, marks={"slot 1 on": 38.3})


def test_zero_before_the_key_on_is_that_of_the_second_half_of_the_time():
    """30 mA from 5 s on, and 30 A before that and in the last moment, where the key is turned already."""
    t = times(60.0, 0.02)
    values = off_with(7.5)
    values["battery_a"] = np.where(t < 5, 30.0, np.where(t < 9.9, 0.03, values["battery_a"]))

    assert held_coil(a_bench(values), drained(7.5), BOTH)["coil_held"].value == pytest.approx((0.2 - 0.03) / 0.2)


def test_lowest_second_of_any_key_off_tells_that_the_coil_was_let_go():
    """A first key-off with 7.5 A, a second with 0.02 A; half a second of nothing amid it is no proof."""
    t = times(60.0, 0.02)
    spans = {"on": ((10.0, 20.0), (30.0, 40.0)), "off": ((0.0, 10.0), (20.0, 30.0), (40.0, 60.0))}
    values = off_with(7.5)
    twice = {**values, "battery_a": np.where(t < 40, 7.5, 0.02)}
    moment = {**values, "battery_a": np.where((t > 45.05) & (t < 45.45), 0.0, values["battery_a"])}
    rush = {**values, "battery_a": np.where((t > 39.5) & (t < 40.5), 0.0, values["battery_a"])}

    assert held_coil(a_bench(twice, **spans), drained(7.5), BOTH)["coil_held"].value == pytest.approx(0.1)
    assert held_coil(a_bench(moment), drained(7.5), BOTH)["coil_held"].value == pytest.approx(1.0)
    assert held_coil(a_bench(rush), drained(7.5), BOTH)["coil_held"].value == pytest.approx(1.0)
