"""Simulated installs made from plans: a good one keeps its plan, and each fault breaks it and is named."""

import tomllib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import few
from truth_table import canonical_logger

import benchlog
from benchlog.plan.batteries import rest_voltage
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.standin import (
    FAULTS,
    Action,
    LoggerSpec,
    NoSuchFault,
    Script,
    SimulatedInstall,
    acceptance_script,
    fast_logger,
    simulate,
    slow_logger,
)
from benchlog.standin.from_plan import faulty_install_of, install_of
from benchlog.standin.logger import DrawnErrors
from benchlog.verdict.registry.table import limits_of
from benchlog.verdict.result import Result

LARCH = (Path(benchlog.__file__).parent.parent / "sample_data" / "larch.plan.toml").read_text(encoding="utf-8")
TWO_CIRCUITS = """
[install]
bike = "Sorrel"
[battery]
chemistry = "flooded"
capacity_ah = 8
[relay]
trigger = "side lamp"
suppression = "none"
pull_in_max_ms = 20
drop_out_max_ms = 25
[feed]
fuse_a = 10
conductor = "14 AWG"
length_ft = 4
[ground]
conductor = "14 AWG"
length_ft = 3
[[circuit]]
slot = 1
device = "phone charger"
planned_a = 1.2
fuse_a = 3
[[circuit]]
slot = 3
device = "heated vest"
planned_a = 4.5
tolerance_pct = 10
fuse_a = 7.5
[limits]
off_state_drain_ma = 2.5
added_drain_ma = 0.5
settle_max_s = 90
feed_off_max_v = 0.3
battery_sag_max_v = 0.4
source_resistance_max_mohm = 60
resting_min_v = 12.5
crank_min_v = 9.0
feed_in_crank = "drop"
charging_min_v = 13.5
charging_max_v = 15.0
charging_balance_min_a = 0.2
"""
CURRENTS = {1: (0.8, 2), 2: (1.5, 3), 3: (2.2, 5), 4: (2.2, 5), 5: (3.1, 5), 6: (3.8, 5), 8: (1.0, 2), 9: (1.9, 3)}
EIGHT_CIRCUITS = """
[install]
bike = "Hawthorn"
[battery]
chemistry = "lifepo4"
capacity_ah = 20
[relay]
coil_a = 0.18
contact_a = 40
suppression = "resistor"
pull_in_max_ms = 15
drop_out_max_ms = 20
[feed]
fuse_a = 30
conductor = "6 mm2"
length_m = 1.0
drop_max_v = 0.35
[ground]
conductor = "6 mm2"
length_m = 1.0
lift_max_v = 0.15
[limits]
off_state_drain_ma = 0.8
added_drain_ma = 0.3
settle_max_s = 60
feed_off_max_v = 0.5
battery_sag_max_v = 0.5
source_resistance_max_mohm = 25
resting_min_v = 13.1
crank_min_v = 10.5
feed_in_crank = "hold"
charging_min_v = 13.8
charging_max_v = 14.6
charging_balance_min_a = 0.5
""" + "".join(
    f'[[circuit]]\nslot = {slot}\ndevice = "device {slot}"\nplanned_a = {planned_a}\nfuse_a = {fuse_a}\n'
    for slot, (planned_a, fuse_a) in CURRENTS.items()
)
PLANS = {"larch": LARCH, "flooded, two circuits": TWO_CIRCUITS, "lifepo4, eight circuits": EIGHT_CIRCUITS}


def plan_of(text: str) -> Plan:
    """A plan, read."""
    return plan_from_mapping(tomllib.loads(text))


def slots_of(plan: Plan) -> tuple[int, ...]:
    """Its slots."""
    return tuple(circuit.slot for circuit in plan.circuit)


def night(install: SimulatedInstall, on: Sequence[int], spec: LoggerSpec, drawn: dict[str, DrawnErrors] | None = None):
    """Half an hour with the key off after a minute with it on."""
    script = Script(1900.0, (Action(20.0, "key on"), Action(80.0, "key off")), frozenset(on))
    return simulate(install, script, spec, np.random.default_rng(5), drawn=drawn)


@pytest.mark.parametrize("text", PLANS.values(), ids=PLANS)
def test_good_install_passes_every_planned_check(text):
    """A fast log of the acceptance test and slow ones of before and after prove all that the plan asks for."""
    plan = plan_of(text)
    install = install_of(plan)
    fast = simulate(install, acceptance_script(slots_of(plan)), fast_logger(1000), np.random.default_rng(4))
    after = night(install, slots_of(plan), slow_logger())
    bare = replace(install, circuits=(), contact="open", drain_a=install.drain_a - 0.0001)
    before = night(bare, (), slow_logger(), dict(after.drawn))
    mapping = tomllib.loads(text)

    result = benchlog.check(fast.frame, plan=mapping, logger=canonical_logger(fast.spec))
    added = benchlog.check(after.frame, plan=mapping, logger=canonical_logger(after.spec), before=before.frame)

    planned = {check.id: check.verdict for check in result.checks if check.verdict != "not planned"}
    planned["added_drain"] = added.check("added_drain").verdict
    assert planned.keys() == limits_of(plan).keys()
    assert set(planned.values()) == {"pass"}
    assert added.check("off_state_drain").verdict == "pass"


def checked(text: str, name: str) -> Result:
    """The acceptance test of that plan's install with one fault."""
    plan = plan_of(text)
    script = acceptance_script(slots_of(plan), settle_s=220.0)
    sim = simulate(faulty_install_of(plan, name), script, fast_logger(400), np.random.default_rng(6))

    return benchlog.check(sim.frame, plan=tomllib.loads(text), logger=canonical_logger(sim.spec))


#: Plan and fault; always each fault with the larger plan, and one of each of its ends with the smaller.
BROKEN = [(plan, name) for plan in list(PLANS)[1:] for name in FAULTS]
ALWAYS = [row for row in BROKEN if PLANS[row[0]] == EIGHT_CIRCUITS or row[1] in ("feed_resistance", "slot_dead")]


@pytest.mark.parametrize(("plan", "name"), few(BROKEN, ALWAYS))
def test_each_fault_breaks_that_plan_and_is_named_first(plan, name):
    """A fault is as big as the plan's own limits ask for, whatever battery, wires and circuits there are."""
    causes = checked(PLANS[plan], name).causes

    best = {cause.id for cause in causes if cause.fit == causes[0].fit}
    assert best == {name}


def test_numbers_of_the_plan_are_those_of_the_install():
    """Circuits, relay and battery come from the plan; feed and ground from their wires."""
    install = install_of(plan_of(EIGHT_CIRCUITS))

    first = install.circuits[0]
    assert (first.slot, first.device, first.planned_a, first.fuse_a) == (1, "device 1", 0.8, 2)
    assert install.coil_a == pytest.approx(0.18)
    assert install.suppression == "resistor"
    assert install.emf_v == rest_voltage("lifepo4", 100.0) == 13.6
    # 6 mm2 of 1 m (IEC 60228: 3.30 mohm/m), six joints of 0.5 mohm, a 30 A fuse of 70 mV, a contact of 5 mohm
    assert install.feed_mohm == pytest.approx(3.30 + 3.0 + 70 / 30 + 5.0)
    assert install.ground_mohm == pytest.approx(3.30 + 1.0)
    assert not install.trigger_drops_in_crank
    assert install_of(plan_of(TWO_CIRCUITS)).trigger_drops_in_crank


def test_plan_that_says_little_gives_the_usual_bike():
    """With a battery and nothing else there are no circuits, and each fault can still be put in."""
    plan = plan_of('[install]\nbike = "Larch"\n[battery]\nchemistry = "gel"\ncapacity_ah = 12')
    install = install_of(plan)

    assert install.circuits == ()
    assert install.coil_a == pytest.approx(SimulatedInstall().coil_a)
    assert [name for name in FAULTS if faulty_install_of(plan, name) == install] == ["slot_dead", "slot_overload"]


def test_fault_that_is_not_known_is_refused():
    """The message lists those that are."""
    with pytest.raises(NoSuchFault, match="'gremlins' is not known; use one of trigger_always_live"):
        faulty_install_of(plan_of(LARCH), "gremlins")
