"""Every check and every cause held against something outside the project: which, and in which test.

ngspice must be installed; without it these tests fail.
"""

import ast
import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from outside_circuit import CIRCUITS_S, CRANK_S, KEY_OFF_S, LOADS_OHM, RATE_HZ, Circuit, Solved, changed, solve

import benchlog
from benchlog.verdict.causes.faults import FAULTS
from benchlog.verdict.registry.table import CHECKS
from benchlog.verdict.result import Check, Result

HERE = Path(__file__).parent
NGSPICE, CLOSED = "ngspice's own .meas figure", "closed form"
#: Check -> (source outside the project, test that holds the check against it).
OF_CHECK = {
    "feed_fuse": ("33 CFR 183.425 as quoted", "test_fuses_against_the_printed_table"),
    "slot_N_fuse": ("33 CFR 183.425 as quoted", "test_fuses_against_the_printed_table"),
    "off_state_drain": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "added_drain": (CLOSED + ": 12.8 V over two resistors", "test_added_drain_is_what_ohms_law_adds"),
    "settle_time": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "feed_off_voltage": (CLOSED + ": a divider", "test_leaking_contact_is_a_divider"),
    "relay_pull_in": (NGSPICE + " and the coil's closed form", "test_relay_times_are_those_of_coil_and_closed_form"),
    "relay_drop_out": (NGSPICE + " and the coil's closed form", "test_relay_times_are_those_of_coil_and_closed_form"),
    "relay_chatter": ("the circuit's own openings, counted", "test_openings_are_counted"),
    "battery_sag": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "feed_drop": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "ground_lift": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "slot_N_current": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "resting_voltage": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "source_resistance": ("the circuit's own resistor", "test_figures_are_those_that_ngspice_measures"),
    "crank_minimum": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "feed_in_crank": (NGSPICE, "test_loss_while_cranking_is_as_long_as_ngspice_says"),
    "charging_voltage": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
    "charging_balance": (NGSPICE, "test_figures_are_those_that_ngspice_measures"),
}
_FLASH = tuple((15.0 + n, 15.5 + n) for n in range(41))
#: Cause -> the circuit that has it; ngspice is the source of each, and the test is the one over all of them.
CIRCUIT_OF: dict[str, Circuit] = {
    "trigger_always_live": changed(trigger=((0.0, 91.0),)),
    "backfed_coil": changed(backfeed=True),
    "welded_contact": changed(contact_off_ohm=0.001),
    "inverted_contact": changed(normally_closed=True),
    "coil_open": changed(coil_ohm=1e8),
    "feed_open": changed(feed_ohm=1e8),
    "feed_resistance": changed(feed_ohm=0.06),
    "ground_resistance": changed(ground_ohm=0.03),
    "ground_open": changed(ground_ohm=1e6),
    "slot_dead": changed(loads_ohm=(3.4, 1e8, 4.0)),
    "slot_overload": changed(loads_ohm=(3.4, 3.0, 4.0)),
    "unswitched_device": changed(drain_ohm=2.5e3),
    "waking_device": changed(wakes_a=0.05),
    "slow_to_sleep": changed(sleeps_late=(0.12, 20.0)),
    "slow_trigger_decay": changed(trigger_f=0.05, trigger_ohm=0.2),
    "weak_coil_supply": changed(trigger_ohm=62.0, coil_h=1.5),
    "weak_battery": changed(battery_ohm=0.06),
    "no_charge": changed(alternator_a=0.0),
    "overcharge": changed(regulated_v=15.6),
    "load_exceeds_charging": changed(alternator_a=7.0),
    "trigger_dead": changed(trigger=()),
    "slow_relay": changed(coil_h=4.0),
    "pulsed_trigger": changed(trigger=_FLASH),
    "intermittent_feed": changed(feed_cut=((22.0, 22.04), (24.5, 24.53), (30.0, 30.02), (31.0, 31.05), (45.0, 45.03))),
    "charging_while_off": changed(source_in_a=0.8),
    "clips_swapped": Circuit(),
}

PLAN: dict[str, Any] = {
    "install": {"bike": "Rowan"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"coil_a": 0.14, "pull_in_max_ms": 20, "drop_out_max_ms": 30},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5, "drop_max_v": 0.25},
    "ground": {"conductor": "4 mm2", "length_m": 1.6, "lift_max_v": 0.08},
    "circuit": [
        {"slot": n, "device": f"heater {n}", "planned_a": amps, "fuse_a": 7.5, "conductor": "1.5 mm2", "length_m": 1.0}
        for n, amps in enumerate((3.7, 2.6, 3.1), start=1)
    ],
    "limits": {
        **{"off_state_drain_ma": 1.0, "settle_max_s": 12, "feed_off_max_v": 0.5, "battery_sag_max_v": 0.3},
        **{"source_resistance_max_mohm": 30, "resting_min_v": 12.6, "crank_min_v": 9.6, "feed_in_crank": "hold"},
        **{"charging_min_v": 13.5, "charging_max_v": 14.8, "charging_balance_min_a": 0.0, "added_drain_ma": 0.2},
    },
}
LOGGER = {
    "logger": {"name": "four-wire logger"},
    "channel": [
        *(
            {
                "column": role,
                "role": role,
                "unit": "V",
                "gain_error_pct": 0.02,
                "offset_error": 0.002,
                "resolution": 0.001,
            }
            for role in ("battery_v", "key_v", "trigger_v", "feed_v", "ground_v")
        ),
        *(
            {
                "column": role,
                "role": role,
                "unit": "A",
                "gain_error_pct": 0.05,
                "offset_error": 2e-5,
                "resolution": 1e-5,
            }
            for role in ("battery_a", "feed_a")
        ),
    ],
}


@cache
def solved(circuit: Circuit) -> Solved:
    """What ngspice makes of it, once."""
    return solve(circuit)


def judged(frame: pd.DataFrame, **limits: float | str) -> Result:
    """The result of one log."""
    return benchlog.check(frame, plan={**PLAN, "limits": {**PLAN["limits"], **limits}}, logger=LOGGER)


@cache
def good() -> Result:
    """The result of the good install."""
    return judged(solved(Circuit()).frame)


def within(check: Check, truth: float, slack: float = 0.0) -> None:
    """The check's value is the truth, to within its own uncertainty and what the definition leaves open."""
    assert check.measured is not None
    assert check.uncertainty is not None
    assert abs(check.measured - truth) <= check.uncertainty + slack, (check.id, check.measured, truth)


def test_every_check_and_every_cause_has_its_outside_check():
    """No check and no cause is left out of the tables, and the tests that they name are here."""
    here = ast.parse(Path(__file__).read_text(encoding="utf-8")).body
    tests = {node.name for node in here if isinstance(node, ast.FunctionDef)}

    assert set(OF_CHECK) == {kind.id for kind in CHECKS}
    assert set(CIRCUIT_OF) == {fault.id for fault in FAULTS}
    assert {test for _, test in OF_CHECK.values()} <= tests
    assert all(source for source, _ in OF_CHECK.values())


def test_figures_are_those_that_ngspice_measures():
    """Drain, settling, sag, drops, currents, rest, crank and charging of the good install, beside ngspice's figures."""
    told, result = solved(Circuit()).measured, good()
    planned_a = 3.7 + 2.6 + 3.1
    drawn_a = told["slot_1"] + told["slot_2"] + told["slot_3"]

    within(result.check("off_state_drain"), 1000 * told["drain_a"])
    within(result.check("settle_time"), told["asleep_at"] - KEY_OFF_S, slack=0.05)
    within(result.check("resting_voltage"), told["rest_v"])
    within(result.check("feed_drop"), told["drop_v"] * planned_a / drawn_a, slack=0.0005)
    within(result.check("ground_lift"), told["lift_v"] * planned_a / drawn_a, slack=0.0005)
    for n in (1, 2, 3):
        within(result.check(f"slot_{n}_current"), told[f"slot_{n}"], slack=0.01)
    sag_ohm = (told["idle_v"] - told["loaded_v"]) / (told["loaded_a"] - told["idle_a"])
    within(result.check("battery_sag"), sag_ohm * planned_a, slack=0.001)
    within(result.check("source_resistance"), 1000 * Circuit().battery_ohm, slack=0.05)
    within(result.check("crank_minimum"), told["crank_v"], slack=0.005)
    within(result.check("charging_voltage"), told["run_v"], slack=0.005)
    within(result.check("charging_balance"), -told["run_a"], slack=0.05)


def test_good_install_passes_every_check():
    """What the circuit does right is not called wrong, nor left open."""
    left = {check.id: check.verdict for check in good().checks if check.verdict != "pass"}

    assert left == {"added_drain": "not seen"}
    assert good().causes == []


@pytest.mark.parametrize("coil_h", [0.3, 0.6])
def test_relay_times_are_those_of_coil_and_closed_form(coil_h: float):
    """Coil of 90 ohm: tau ln(1/(1 - I/If)) to 80 mA, tau ln((I0 + Ud/R) / (I + Ud/R)) with its diode to 30 mA."""
    run = solved(changed(coil_h=coil_h))
    result = judged(run.frame)
    tau_s, lamp_v = coil_h / 90.0, run.measured["idle_v"]
    rise_ms = 1000 * tau_s * math.log(1 / (1 - 0.080 * 90 / lamp_v))
    let_go_a, diode_a = (run.measured["run_v"] - 0.05) / 90, 0.68 / 90
    fall_ms = 1000 * tau_s * math.log((let_go_a + diode_a) / (0.030 + diode_a))

    assert 1000 * run.measured["pull_in"] == pytest.approx(rise_ms, rel=0.03)
    assert 1000 * run.measured["drop_out"] == pytest.approx(fall_ms, rel=0.05)
    within(result.check("relay_pull_in"), 1000 * run.measured["pull_in"])
    within(result.check("relay_drop_out"), 1000 * run.measured["drop_out"])
    assert result.check("relay_pull_in").uncertainty <= 2 * 1000 / RATE_HZ


def test_added_drain_is_what_ohms_law_adds():
    """12.8 V over 21 kohm before, with 56 kohm beside it after: 0.2286 mA more."""
    before = solved(Circuit()).frame
    after = solved(changed(drain_ohm=21e3 * 56e3 / 77e3)).frame

    result = benchlog.check(after, plan=PLAN, logger=LOGGER, before=before)

    within(result.check("added_drain"), 1000 * 12.8 / 56e3, slack=0.001)
    assert result.check("added_drain").verdict == "fail"


def test_leaking_contact_is_a_divider():
    """A contact of 40 kohm over the block's loads of 1.33 ohm and its stud: the feed stays at less than a millivolt.

    With the circuits switched off the stud's 10 kohm alone are left: 12.8 V x 10 / 50 = 2.56 V before the key-on.
    """
    run = solved(changed(contact_off_ohm=40e3))
    before_v = float(run.frame["feed_v"][(run.frame["time_s"] > 2) & (run.frame["time_s"] < 14)].mean())

    result = judged(run.frame)

    assert before_v == pytest.approx(12.8 * 10 / 50, abs=0.005)
    within(result.check("feed_off_voltage"), before_v, slack=0.003)
    assert result.check("feed_off_voltage").verdict == "fail"


def test_openings_are_counted():
    """Five openings of the feed's joint, of 20 to 50 ms, are five."""
    run = solved(CIRCUIT_OF["intermittent_feed"])

    assert judged(run.frame).check("relay_chatter").measured == len(CIRCUIT_OF["intermittent_feed"].feed_cut)


def test_loss_while_cranking_is_as_long_as_ngspice_says():
    """A trigger that the bike cuts for 1.24 s while it cranks, and the relay's own times."""
    run = solved(changed(drops_in_crank=True))

    result = judged(run.frame)

    assert run.measured["loss"] == pytest.approx(1.24, abs=0.01)
    within(result.check("feed_in_crank"), run.measured["loss"])
    assert result.check("feed_in_crank").verdict == "fail"
    assert judged(run.frame, feed_in_crank="drop").check("feed_in_crank").verdict == "pass"


def test_fuses_against_the_printed_table():
    """12 AWG bears 31.5 A and 16 AWG 17.5 A (33 CFR 183.425, 105 degC, three in a bundle, 30 degC, as quoted)."""
    for gauge, bears_a in ((12, 31.5), (16, 17.5)):
        verdicts = []
        for fuse_a in (bears_a - 0.5, bears_a + 0.5):
            plan = {**PLAN, "feed": {"fuse_a": fuse_a, "conductor": f"{gauge} AWG", "length_m": 1.5}}
            plan["circuit"] = [{**PLAN["circuit"][0], "fuse_a": fuse_a, "conductor": f"{gauge} AWG"}]
            result = benchlog.check(solved(Circuit()).frame.iloc[:2000], plan=plan, logger=LOGGER)
            verdicts.append((result.check("feed_fuse").verdict, result.check("slot_1_fuse").verdict))
        assert verdicts == [("not proven", "not proven"), ("fail", "fail")]


def log_of(cause: str) -> Result:
    """The result of the circuit that has one cause."""
    frame = solved(CIRCUIT_OF[cause]).frame
    if cause == "clips_swapped":
        frame = frame.rename(columns={"trigger_v": "feed_v", "feed_v": "trigger_v"})
    return judged(frame)


@pytest.mark.parametrize("cause", CIRCUIT_OF)
def test_circuit_with_one_cause_has_it_named_first(cause: str):
    """A circuit with one thing wrong: that stands first, alone or with what the log cannot part from it."""
    causes = log_of(cause).causes
    first = [found.id for found in causes if found.fit == causes[0].fit]

    assert cause in first
    assert len(first) <= 2


def test_circuits_differ_from_the_good_one_in_what_the_cause_says():
    """No cause's circuit is the good one by mistake, but for the clips, which no circuit has."""
    same = [cause for cause, circuit in CIRCUIT_OF.items() if circuit == Circuit()]

    assert same == ["clips_swapped"]
    assert (len(LOADS_OHM), CIRCUITS_S[-1] < CRANK_S) == (3, True)
    assert np.isfinite(solved(Circuit()).frame.drop(columns="mark").to_numpy()).all()
