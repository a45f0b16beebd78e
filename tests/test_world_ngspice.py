"""The second world's circuit, solved again by ngspice from the same install and session."""

from __future__ import annotations

import numpy as np
import pytest
from conftest import few
from world import draw, netlist, spice
from world.bench import Bench, add_sleep, bind
from world.install import draw_install
from world.script import draw_script
from world.solve import solve
from world.truth import find_truth

# Volts and amperes that the two solutions may differ by, away from the instants of switching: a sample's step of the
# slow states (5 ms bins while cranking), the line's voltage held for up to 50 mV of change, ngspice's own 1e-4.
WITHIN = {"battery_v": 0.006, "battery_a": 0.25, "trigger_v": 0.008, "feed_v": 0.008, "ground_v": 0.003}
AWAY_S = 1.5e-3  # kicks of the coil and capacitors charging last about this long
RELAY_S = 60e-6  # numpy takes the contact, ngspice the feed's half level: capacitors take 40 µs to charge


@pytest.mark.parametrize("seed", few(range(14), range(5)))
def test_ngspice_agrees_with_the_world(seed: int):
    """Key-on with pull-in, a load's step, a crank and a key-off with the coil's release, for random installs."""
    rng = np.random.default_rng(seed)
    inst = draw_install(rng)
    inst.relay.bounce, inst.leak_v = [], 0.0
    inst.bleed_s = 1e3
    script = draw_script(rng, len(inst.circuits), 2.0, ("no_engine", "session")[seed % 2])
    b = Bench(rng, inst, script, None, {}, 2.0)
    add_sleep(b)
    bind(b)
    sol = solve(inst, script, np.arange(0, script.end_s, 1e-3), -2.0, 0.0)
    seen = set()
    for w in netlist.windows(script, 0.02):
        run = spice.run(netlist.deck(inst, script, sol, w))
        turns = [x for s in [*sol.closed, *script.key, *script.crank] for x in s]
        turns += [x for load in (*inst.bike, *inst.circuits) for x in load.edges(w.start, w.stop)]
        t = sol.t[(sol.t > w.start + 1e-4) & (sol.t < w.stop - 1e-4)]  # where the world solved, not in between
        away = (np.abs(t[:, None] - np.array(turns)) > AWAY_S).all(axis=1)
        for role, most in WITHIN.items():
            apart = np.abs(np.interp(t - w.start, run.t, run.values[role]) - sol.at(role, t))[away]
            if role == "trigger_v" and not script.run:
                # after the diode's current ends ngspice rings by its 0.75 V on the line's capacitance
                apart = apart[sol.at(role, t)[away] > 1.0]
            if role == "trigger_v" and w.kind == "crank":
                apart = apart[sol.at(role, t)[away] > 1.0]
            assert apart.max(initial=0.0) < most, (w.kind, role)
        if w.kind == "key_on":
            closing = next(a for a, _ in sol.closed if a > script.key[-1][0])
            assert run.measured["pull_in"] == pytest.approx(closing - script.key[-1][0], abs=RELAY_S)
        if w.kind == "key_off":
            opening = next(z for _, z in sol.closed if z > script.key[-1][1])
            assert run.measured["drop_out"] == pytest.approx(opening - script.key[-1][1], abs=RELAY_S)
        seen.add(w.kind)
    assert {"key_on", "step"} <= seen


def test_a_whole_session_by_ngspice_tells_the_same_story():
    """A session with crank, charging and key-off: posts agree, and the truth read from ngspice's values is the same."""
    case = draw(5, behaviours=("flashers",), grade="fast5", template="session", marks=True, solver="ngspice")
    log = case.logs[0]
    t = np.arange(0.0, log.script.end_s - 1, 0.05)
    apart = np.abs(log.solution.at("battery_v", t) - log.numpy_solution.at("battery_v", t))
    assert np.median(apart) < 0.005
    assert np.quantile(apart, 0.98) < 0.02
    roles = {c.role for c in log.spec.channels}
    again = find_truth(case.inst, log.script, log.solution, roles, case.plan)
    for check, most in (("battery_sag", 0.01), ("charging_voltage", 0.01), ("crank_minimum", 0.03)):
        assert again.value[check] == pytest.approx(case.truth[check], abs=most)
    off = log.solution.t > log.script.end_s - 5.0
    assert np.abs(log.solution.values["battery_a"][off] - case.truth["off_state_drain"] / 1000).max() < 0.02
