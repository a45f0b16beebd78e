"""The simulated install against the circuit simulator ngspice, and both against closed forms.

ngspice must be installed; without it these tests fail.
"""

import math
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchlog.standin import ChannelSpec, LoggerSpec, Script, SimulatedCircuit, SimulatedInstall
from benchlog.standin.channels import true_values
from benchlog.standin.relay import fall_s, falling_a, rise_s
from benchlog.standin.script import Action
from benchlog.standin.streaming import LiveBike
from benchlog.standin.timeline import timeline_of

COIL = SimulatedInstall(coil_ohm=90.0, coil_h=0.3, emf_v=12.0, trigger_drop_v=0.0)
TAU_S = 0.3 / 90.0
#: A battery of 12 V that nothing draws from.
NOTHING_DRAWS = SimulatedInstall(emf_v=12.0, circuits=(), bike_a=0.0, drain_a=0.0, awake=())


def spice(folder: Path, circuit: str) -> dict[str, float]:
    """Run a circuit; every ``.measure`` by its name."""
    deck = folder / "deck.cir"
    deck.write_text(f"benchlog\n{circuit}\n.end\n", encoding="utf-8")
    ran = subprocess.run(
        ["ngspice", "-b", deck.name], cwd=folder, capture_output=True, text=True, check=False, timeout=60
    )
    found = re.findall(r"^(\w+)\s+=\s+([-+.\de]+)", ran.stdout, flags=re.MULTILINE)

    assert found, ran.stdout + ran.stderr
    return {name: float(value) for name, value in found}


def test_coil_reaches_80_ma_when_ngspice_says(tmp_path):
    """A coil of 90 ohm and 0.3 H on 12 V carries 80 mA after 3.0543 ms: model, closed form and ngspice agree."""
    got = spice(
        tmp_path,
        "V1 a 0 PULSE(0 12 0 1n 1n 1 2)\nR1 a b 90\nL1 b 0 0.3 IC=0\n.tran 1u 10m uic\n.meas tran t_on WHEN I(L1)=0.08",
    )

    ours = rise_s(0.08, 12.0 / 90.0, TAU_S)

    assert ours == pytest.approx(-TAU_S * math.log(1 - 0.08 * 90 / 12), rel=1e-12)
    assert ours * 1e3 == pytest.approx(3.0543, abs=1e-4)
    assert got["t_on"] == pytest.approx(ours, abs=2e-6)


def test_coil_current_behind_a_diode_ends_as_in_ngspice(tmp_path):
    """From 133 mA to 30 mA behind a constant 0.7 V; a junction diode, whose drop varies, is within 2 %."""
    constant = spice(
        tmp_path, "V1 a 0 0.7\nR1 a b 90\nL1 b 0 0.3 IC=-0.1333333\n.tran 1u 20m uic\n.meas tran t_off WHEN I(L1)=-0.03"
    )
    junction = spice(
        tmp_path,
        "L1 a b 0.3 IC=0.1333333\nR1 b 0 90\nD1 0 a DX\n.model DX D(is=1e-14)\n.tran 1u 20m uic\n"
        ".meas tran t_off WHEN I(L1)=0.03",
    )

    at_once = SimulatedInstall(coil_ohm=90.0, coil_h=0.3, trigger_fall_tau_s=1e-9)
    ours = fall_s(0.03, 12 / 90, 12 / 90, at_once)

    assert ours == pytest.approx(TAU_S * math.log((12 / 90 + 0.7 / 90) / (0.03 + 0.7 / 90)), rel=1e-5)
    assert constant["t_off"] == pytest.approx(ours, abs=2e-6)
    assert junction["t_off"] == pytest.approx(ours, rel=0.02)


def test_coil_current_through_its_resistor_ends_as_in_ngspice(tmp_path):
    """With 680 ohm across it the coil falls to 30 mA several times sooner than behind a diode."""
    got = spice(
        tmp_path, "L1 a b 0.3 IC=0.1333333\nR1 b 0 90\nR2 a 0 680\n.tran 0.1u 5m uic\n.meas tran t_off WHEN I(L1)=0.03"
    )

    at_once = SimulatedInstall(
        coil_ohm=90.0, coil_h=0.3, suppression="resistor", resistor_ohm=680.0, trigger_fall_tau_s=1e-9
    )
    ours = fall_s(0.03, 12 / 90, 12 / 90, at_once)

    assert ours == pytest.approx(0.3 / 770 * math.log(12 / 90 / 0.03), rel=1e-4)
    assert got["t_off"] == pytest.approx(ours, abs=1e-6)


#: What takes up the coil's current once its supply is gone, as a circuit between a (coil +) and ground.
ENDS = {
    "diode": "V1 a 0 -0.7",
    "resistor": "R2 a 0 680",
    "none": "R2 a 0 5k",  # stands for the arc and stray paths, as in the model
}


@pytest.mark.parametrize("kind", ENDS)
def test_whole_fall_of_the_coil_current_is_that_of_ngspice(tmp_path, kind):
    """With each suppression the current is ngspice's at five times of its fall, and so is the time to 30 mA."""
    tau_s = {"diode": TAU_S, "resistor": 0.3 / 770, "none": 0.3 / 5090}[kind]
    times = [share * tau_s for share in (0.1, 0.5, 1.0, 1.5, 2.0)]
    measures = "\n".join(f".meas tran i{number} FIND I(L1) AT={time}" for number, time in enumerate(times))
    got = spice(
        tmp_path,
        f"L1 b a 0.3 IC=-0.1333333\nR1 b 0 90\n{ENDS[kind]}\n.tran {tau_s / 2000} {tau_s * 4} 0 {tau_s / 2000} uic\n"
        f"{measures}\n.meas tran t_off WHEN I(L1)=-0.03",
    )
    at_once = replace(COIL, suppression=kind, resistor_ohm=680.0, trigger_fall_tau_s=1e-12)

    ours = falling_a(np.array(times), 12 / 90, 12 / 90, at_once)

    assert ours == pytest.approx([-got[f"i{number}"] for number in range(len(times))], rel=2e-3)
    assert fall_s(0.03, 12 / 90, 12 / 90, at_once) == pytest.approx(got["t_off"], rel=2e-3)


@pytest.mark.parametrize("kind", ENDS)
def test_contact_opens_when_ngspice_lets_the_armature_go(tmp_path, kind):
    """Key-off to open contact is ngspice's time to the release current and the armature's travel, in the live bike."""
    tau_s = {"diode": TAU_S, "resistor": 0.3 / 770, "none": 0.3 / 5090}[kind]
    install = replace(COIL, suppression=kind, resistor_ohm=680.0, trigger_fall_tau_s=1e-9, open_bounce_ms=())
    got = spice(
        tmp_path,
        f"L1 b a 0.3 IC=-0.1333333\nR1 b 0 90\n{ENDS[kind]}\n.tran {tau_s / 2000} {tau_s * 4} 0 {tau_s / 2000} uic\n"
        f".meas tran t_off WHEN I(L1)=-{install.release_a}",
    )
    live = LiveBike(install, LoggerSpec(1000.0, (ChannelSpec("feed_v", "V"),)), np.random.default_rng(1))
    live.act("key on")
    live.samples(1000)
    off_s = live.act("key off")

    line = timeline_of(install, Script(5.0, live.remembered))

    assert line.contact.times_s[-1] - off_s == pytest.approx(got["t_off"] + install.release_travel_ms / 1e3, abs=5e-6)


@pytest.mark.parametrize("line_tau_s", [0.002, 0.02, 0.25])
def test_slowly_falling_trigger_holds_the_coil_as_in_ngspice(tmp_path, line_tau_s):
    """A trigger that decays drives the coil on its way down."""
    source = f"V = -0.7 + 12.7*exp(-time/{line_tau_s})"
    got = spice(
        tmp_path,
        f"B1 a 0 {source}\nR1 a b 90\nL1 b 0 0.3 IC=0.1333333\n.tran {line_tau_s / 2000} {line_tau_s * 4 + 0.02} uic\n"
        ".meas tran t_off WHEN I(L1)=0.03",
    )

    slow = SimulatedInstall(coil_ohm=90.0, coil_h=0.3, trigger_fall_tau_s=line_tau_s)

    assert got["t_off"] == pytest.approx(fall_s(0.03, 12 / 90, 12 / 90, slow), rel=1e-3)


def test_falling_current_is_finite_where_both_time_constants_are_equal():
    """The trigger's time constant may equal the coil's: the current is then t-weighted, not undefined."""
    same = SimulatedInstall(coil_ohm=90.0, coil_h=0.3, trigger_fall_tau_s=TAU_S)
    after = np.array([0.0, TAU_S])

    got = falling_a(after, 0.1, 0.1, same)

    # x' = (target - x) / tau with a target that falls with the same tau: x = (1 + t / tau) exp(-t / tau)
    against = 0.7 / 90

    assert got[0] == pytest.approx(0.1)
    assert got[1] == pytest.approx((0.1 + against) * 2 / math.e - against, rel=1e-3)


def test_open_feed_falls_as_in_ngspice(tmp_path):
    """An open feed falls to 90 % after 0.105 and to 50 % after 0.693 of its time constant."""
    got = spice(
        tmp_path,
        "C1 a 0 30u IC=12\nR1 a 0 100\n.tran 1u 30m uic\n.meas tran t90 WHEN V(a)=10.8\n.meas tran t50 WHEN V(a)=6\n"
        ".meas tran t10 WHEN V(a)=1.2",
    )
    install = replace(NOTHING_DRAWS, feed_fall_tau_s=0.003, feed_leak_v=0.0, open_bounce_ms=())
    line = timeline_of(install, Script(2.0, (Action(0.2, "key on"), Action(1.0, "key off"))))
    opened = line.contact.times_s[-1]
    time = opened + np.array([got["t90"], got["t50"], got["t10"]])

    feed = true_values(line, time, ["feed_v"])["feed_v"]

    assert got["t50"] == pytest.approx(0.69315 * 0.003, rel=1e-3)
    assert got["t10"] - got["t90"] == pytest.approx(2.19722 * 0.003, rel=1e-3)
    assert feed == pytest.approx([10.8, 6.0, 1.2], rel=2e-3)


def test_trigger_falls_as_in_ngspice(tmp_path):
    """A capacitor on the trigger line holds it up: half is left after 0.693 of its time constant."""
    got = spice(
        tmp_path,
        "C1 a 0 500u IC=12\nR1 a 0 500\n.tran 0.1m 1.5 uic\n.meas tran t50 WHEN V(a)=6\n.meas tran t20 WHEN V(a)=2.4",
    )
    stiff = replace(NOTHING_DRAWS, source_mohm=0.0, slow_mohm=0.0)
    install = replace(stiff, trigger_drop_v=0.0, trigger_fall_tau_s=0.25)
    line = timeline_of(install, Script(4.0, (Action(0.2, "key on"), Action(1.0, "key off"))))

    trigger = true_values(line, np.array([1.0 + got["t50"], 1.0 + got["t20"]]), ["trigger_v"])["trigger_v"]

    assert trigger == pytest.approx([6.0, 2.4], rel=1e-3)


def test_battery_sags_as_in_ngspice(tmp_path):
    """A source of 24 mOhm with 1.5 mOhm that comes in over 0.8 s: two load steps, at five times."""
    times = [2.05, 2.8, 5.9, 6.1, 9.5]
    measures = "\n".join(f".meas tran v{number} FIND V(p) AT={time}" for number, time in enumerate(times))
    got = spice(
        tmp_path,
        "V1 e 0 12.85\nR1 e m 24m\nR2 m p 1.5m\nC2 m p 533.3333\n"
        "I1 p 0 PWL(0 0 1.9999 0 2 5 5.9999 5 6 0 11 0)\n"
        f".ic V(m)=12.85 V(p)=12.85\n.tran 1m 10 0 2m\n{measures}",
    )
    install = SimulatedInstall(
        circuits=(SimulatedCircuit(1, "load", 5, 10, 5.0, inrush=0.0),),
        bike_a=0.0,
        drain_a=0.0,
        awake=(),
        coil_ohm=1e9,
        contact="welded",
    )
    line = timeline_of(install, Script(10.0, (Action(2.0, "slot on", 1), Action(6.0, "slot off", 1))))

    ours = true_values(line, np.array(times), ["battery_v"])["battery_v"]

    assert ours == pytest.approx([got[f"v{number}"] for number in range(len(times))], abs=2e-5)
