"""The second world's circuit against closed forms and independent integration."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy
from world.bench import Bench, add_sleep, bind
from world.coil import OPEN_OHM, Relay, move
from world.install import Install, draw_install
from world.loads import Load, inside
from world.script import Script, draw_script
from world.solve import Solution, solve
from world.truth_relay import openings


def _relay(**other: object) -> Relay:
    """The worked coil: 90 Ω, 0.3 H, a line without resistance."""
    given: dict = {
        "coil_ohm": 90.0,
        "coil_h": 0.3,
        "suppression": "diode",
        "clamp_v": 0.75,
        "resistor_ohm": 470.0,
        "pull_a": 0.080,
        "hold_a": 0.030,
        "rise_s": 3e-3,
        "fall_s": 2e-3,
        "rs": 1e-6,
        "lamp_ohm": OPEN_OHM,
        "c": 1e-9,
    }
    return Relay(**(given | other))


def _solved(seed: int, template: str) -> tuple[Install, Script, Solution]:
    rng = np.random.default_rng(seed)
    inst = draw_install(rng)
    script = draw_script(rng, len(inst.circuits), 2.0, template)
    b = Bench(rng, inst, script, None, {}, 2.0)
    add_sleep(b)
    bind(b)
    return inst, script, solve(inst, script, np.arange(0, script.end_s, 1e-3), -2.0, 0.0)


def test_a_coil_reaches_its_pull_current_after_the_logarithm_of_the_rest():
    """90 Ω, 0.3 H, 12 V: 80 mA after −τ·ln(1 − I·R/V) = 3.0543 ms; the contact follows after the travel."""
    motion = move(_relay(), [(-1.0, False, 0.0), (0.0, True, 12.0), (0.1, False, 0.0)], 0.2)
    assert motion.closed[0][0] == pytest.approx(3.0543e-3 + 3e-3, abs=1e-7)


def test_a_diode_lets_the_current_fall_towards_less_than_nothing():
    """133 mA fall to 30 mA in 4.36 ms with 0.75 V across the diode (the published worked case)."""
    motion = move(_relay(), [(-1.0, True, 12.0), (0.0, False, 0.0)], 0.1)
    i0, end = 12.0 / 90, 0.75 / 90
    expected = 0.3 / 90 * math.log((i0 + end) / (0.030 + end))
    assert expected == pytest.approx(4.36e-3, abs=0.01e-3)
    assert motion.closed[0][1] == pytest.approx(expected + 2e-3, abs=2e-5)


@pytest.mark.parametrize(("ohm", "ms"), [(330.0, 0.83), (680.0, 0.51)])
def test_a_resistor_shortens_the_release_by_its_share_of_the_time_constant(ohm: float, ms: float):
    """With a resistor R_s the current falls with L/(R + R_s)."""
    motion = move(_relay(suppression="resistor", resistor_ohm=ohm, clamp_v=500.0),
                  [(-1.0, True, 12.0), (0.0, False, 0.0)], 0.1)  # fmt: skip
    expected = 0.3 / (90 + ohm) * math.log(12.0 / 90 / 0.030)
    assert motion.closed[0][1] - 2e-3 == pytest.approx(expected, rel=3e-3)
    assert expected * 1000 == pytest.approx(ms, rel=0.35)


def test_an_unsuppressed_coil_kicks_to_its_clamp_for_about_a_millisecond():
    """Line at −40 V while the current falls against 40 V: τ·ln(1 + I·R/V) long."""
    motion = move(_relay(suppression="none", clamp_v=40.0), [(-1.0, True, 12.0), (0.0, False, 0.0)], 0.1)
    t = np.arange(0.0, 0.01, 1e-6)
    low = motion.trigger_v(t) < -39.9
    assert low.sum() * 1e-6 == pytest.approx(0.3 / 90 * math.log(1 + 12.0 / 40.0), rel=0.02)


def test_a_line_with_a_capacitor_is_a_single_rc_where_the_coil_is_open():
    """Half after 0.69315 τ, 10 to 90 % in 2.19722 τ."""
    r = _relay(coil_open=True, c=1e-3, rs=10.0)
    motion = move(r, [(-1.0, False, 0.0), (0.0, True, 12.0)], 1.0)
    t = np.arange(0.0, 0.2, 1e-6)
    v = motion.trigger_v(t) / 12.0
    tau = 1e-3 * 10.0

    def reach(x: float) -> float:
        return float(t[np.argmax(v >= x)])

    assert reach(0.5) == pytest.approx(0.69315 * tau, abs=3e-6)
    assert reach(0.9) - reach(0.1) == pytest.approx(2.19722 * tau, abs=5e-6)


@pytest.mark.parametrize("c", [2e-6, 2e-5, 5e-4, 5e-3])
def test_line_and_coil_together_follow_an_ordinary_integration(c: float):
    """Capacitor, line and coil, on and off again: the exponentials agree with a Runge-Kutta integration."""
    r = _relay(c=c, rs=1.0, lamp_ohm=500.0, suppression="none", clamp_v=300.0)
    motion = move(r, [(-1.0, False, 0.0), (0.0, True, 12.0), (0.05, False, 0.0)], 0.4)

    def slope(t: float, y: np.ndarray) -> list[float]:
        source = (12.0 - y[0]) / 1.0 if t < 0.05 else 0.0
        return [(source - y[0] / r.rp - y[1]) / c, (y[0] - 90.0 * y[1]) / 0.3]

    t = np.linspace(0.0, 0.3, 1500)
    first = scipy.integrate.solve_ivp(
        slope, (0.0, 0.05), [0.0, 0.0], t_eval=t[t < 0.05], method="Radau", rtol=1e-8, atol=1e-10
    )
    last = scipy.integrate.solve_ivp(slope, (0.0, 0.05), [0.0, 0.0], method="Radau", rtol=1e-8, atol=1e-10).y[:, -1]
    after = scipy.integrate.solve_ivp(
        slope, (0.05, 0.3), last, t_eval=t[t >= 0.05], method="Radau", rtol=1e-8, atol=1e-10
    )
    y = np.concatenate((first.y, after.y), axis=1)
    assert motion.trigger_v(t) == pytest.approx(y[0], abs=2e-3)
    assert motion.coil_a(t) == pytest.approx(y[1], abs=2e-5)


def test_a_short_pulse_moves_the_armature_but_closes_nothing():
    """A pulse that ends before the travel does leaves the contact open; a second one soon after needs less."""
    bare = _relay(suppression="none", clamp_v=40.0)
    quick = [(-1.0, False, 0.0), (0.0, True, 12.0), (4.5e-3, False, 0.0)]
    assert move(bare, quick, 0.1).closed == []
    twice = [*quick, (5.5e-3, True, 12.0), (0.05, False, 0.0)]
    alone = [(-1.0, False, 0.0), (5.5e-3, True, 12.0), (0.05, False, 0.0)]
    assert move(bare, twice, 0.1).closed[0][0] < move(bare, alone, 0.1).closed[0][0]


def test_feed_and_ground_stand_where_the_divider_puts_them():
    """Drop and lift are feed current times resistance, at every instant that the contact is closed."""
    inst, _, sol = _solved(3, "session")
    on = inside(sol.t, [(a + 0.05, b - 0.05) for a, b in sol.closed if b - a > 0.1])
    drop = (sol.values["battery_v"] - sol.values["feed_v"])[on]
    amps = sol.values["feed_a"][on]
    assert np.abs(drop - amps * inst.feed_ohm).max() < 1e-3
    assert np.abs(sol.values["ground_v"][on] - amps * inst.ground_ohm).max() < 1e-3
    assert amps.max() > 2


@pytest.mark.parametrize("seed", [2, 5, 8])
def test_currents_into_the_posts_add_up(seed: int):
    """Battery plus alternator feed the block, the bike, the line and (while cranking) the starter: Kirchhoff."""
    inst, script, sol = _solved(seed, "session")
    v = sol.values["battery_v"]
    out = sol.values["feed_a"] + sol.motion.line_a(sol.t)
    for load in inst.bike:
        on = np.zeros(len(sol.t))
        for a, b in load.spans:
            for x, y in script.key if load.place == "key" else [(-1e9, 1e9)]:
                inside = (sol.t >= max(a, x)) & (sol.t < min(b, y))
                start = max(a, x)
                on[inside] = 1 + (load.inrush - 1) * np.exp(-np.minimum((sol.t[inside] - start) / load.inrush_s, 600))
        amps = {"resistor": v / 12.5, "power": 12.5 / np.maximum(v, 9.0), "current": np.ones_like(v)}[load.kind]
        out = out + on * load.amps * amps
    calm = np.ones(len(sol.t), dtype=bool)
    busy = [*script.crank, *[(x - 0.01, x + 0.5) for s in [*script.key, *sol.closed] for x in s]]
    for a, b in busy:
        calm &= (sol.t < a - 0.01) | (sol.t > b + 0.01)
    left = sol.values["battery_a"] + sol.inner["alternator_a"] - out
    assert np.abs(left[calm]).max() < 0.02


@pytest.mark.parametrize("seed", [1, 4])
def test_the_battery_loses_the_charge_that_leaves_it(seed: int):
    """State of charge falls by the integral of the current over the capacity."""
    inst, _, sol = _solved(seed, "session")
    charge = np.concatenate(
        ([0.0], np.cumsum((sol.values["battery_a"][1:] + sol.values["battery_a"][:-1]) / 2 * np.diff(sol.t)))
    )
    lost = sol.inner["charge"][0] - sol.inner["charge"]
    assert np.abs(lost * inst.battery.capacity_ah * 3600 - charge).max() < 1.0 + 3e-3 * np.abs(charge).max()


def test_power_balances_at_the_battery():
    """Inner power equals post power plus ohmic loss, wherever the battery discharges."""
    inst, _, sol = _solved(6, "session")
    i, v, e = sol.values["battery_a"], sol.values["battery_v"], sol.inner["emf"]
    out = i > 0.1
    assert np.abs(e * i - v * i - inst.battery.r0 * i * i)[out].max() < 1e-6


def test_polarisation_grows_as_two_exponentials_under_a_steady_current():
    """A rest, then 5 A for a minute: v1 + v2 = I·(r1·(1−e^(−t/τ1)) + r2·(1−e^(−t/τ2)))."""
    rng = np.random.default_rng(9)
    inst = draw_install(rng)
    script = Script(end_s=80.0, slots=[[] for _ in inst.circuits], template="night")
    inst.bike = [Load("steady", 5.0, "battery", "current", [(10.0, 70.0)])]
    bind(Bench(rng, inst, script, None, {}, 1.0))
    sol = solve(inst, script, np.arange(0, 80, 0.01), -2.0, 0.0)
    bat = inst.battery
    t = np.array([10.5, 12.0, 20.0, 40.0, 69.0])
    x = t - 10.0
    expected = 5.0 * (bat.r1 * (1 - np.exp(-x / bat.tau1)) + bat.r2 * (1 - np.exp(-x / bat.tau2)))
    got = np.interp(t, sol.t, sol.inner["v1"] + sol.inner["v2"])
    assert got == pytest.approx(expected, rel=0.01)


def test_capacitors_across_the_block_hold_it_up_and_empty_through_the_loads():
    """After the contact opens the block falls with C / G of what is still switched on."""
    rng = np.random.default_rng(12)
    inst = draw_install(rng)
    inst.block_f, inst.bleed_s, inst.leak_v = 5e-3, 1e6, 0.0
    for c in inst.circuits:
        c.kind, c.inrush = "resistor", 1.0
    script = draw_script(rng, len(inst.circuits), 2.0, "no_engine")
    script.slots = [[(-100.0, np.inf)] for _ in inst.circuits]
    b = Bench(rng, inst, script, None, {}, 2.0)
    bind(b)
    sol = solve(inst, script, np.arange(0, script.end_s, 1e-4), -2.0, 0.0)
    opened = sol.closed[-1][1]
    g = sum(1.0 / (12.5 / c.amps + c.wire_ohm) for c in inst.circuits)
    x = np.array([0.5, 1.0, 2.0]) * 5e-3 / g
    start = sol.at("feed_v", np.array([opened - 1e-4]))[0] - sol.at("ground_v", np.array([opened - 1e-4]))[0]
    assert sol.at("feed_v", opened + x) == pytest.approx(start * np.exp(-np.array([0.5, 1.0, 2.0])), rel=0.01)


def test_a_line_that_the_load_takes_down_sinks_while_the_contact_is_closed():
    """A source of which 8 % is left once the contact is closed: the trigger swings between 12 V and below 1 V."""
    r = _relay(shared=0.08, pull_a=0.09, rs=0.8)
    motion = move(r, [(-1.0, False, 0.0), (0.0, True, 12.0)], 0.2)
    t = np.arange(0.05, 0.199, 1e-4)
    for source in (12.0, 12.4):
        volts = motion.trigger_v(t, np.full_like(t, source))
        shut = inside(t, motion.closed)
        assert len(motion.closed) > 10
        assert 0 < volts[shut].max() <= 0.08 * source + 1e-6 < 0.9 * source < volts[~shut].min()


def test_a_contact_that_buzzes_is_counted_though_each_opening_is_short():
    """Open for 4 ms, closed for 3 ms, ten seconds long: 1428 openings; the bounce after the first closing is none."""
    buzz = [(1.0 + 0.007 * n, 1.003 + 0.007 * n) for n in range(1429)]
    sol = SimpleNamespace(closed=buzz)
    script = SimpleNamespace(key=[(0.99, 20.0)], crank=[], end_s=buzz[-1][1])
    assert len(openings(script, sol)) == pytest.approx(1428, abs=2)
    bounced = SimpleNamespace(closed=[(1.0, 1.0007), (1.0012, 1.002), (1.0025, 9.0)])
    script = SimpleNamespace(key=[(0.99, 9.0)], crank=[], end_s=12.0)
    assert openings(script, bounced) == []


@pytest.mark.parametrize("apart", [0.0, 1e-13, 1e-9])
def test_a_line_at_or_near_critical_damping_has_a_motion(apart: float):
    """Both roots of line and coil meet where R/L = 1/(par·C) + 2/√(L·C): neither is divided by their difference."""
    l_h, ohm, c = 0.3, 90.0, 1e-5
    g = c * (ohm / l_h - 2 / math.sqrt(l_h * c)) * (1 + apart)
    g = g if g > 0 else c * (ohm / l_h + 2 / math.sqrt(l_h * c)) * (1 + apart)
    r = _relay(c=c, rs=1 / g, lamp_ohm=1e6)
    motion = move(r, [(-1.0, False, 0.0), (0.0, True, 12.0)], 0.5)
    t = np.linspace(1e-4, 0.5, 50)
    rp = r.rp
    lags = scipy.integrate.solve_ivp(
        lambda _, y: ((12.0 - y[0]) / (r.rs * c) - y[0] / (rp * c) - y[1] / c, (y[0] - ohm * y[1]) / l_h),
        (0, 0.5), (0.0, 0.0), t_eval=t, rtol=1e-9, atol=1e-12,
    )  # fmt: skip
    assert np.allclose(motion.coil_a(t), lags.y[1], atol=1e-5)
