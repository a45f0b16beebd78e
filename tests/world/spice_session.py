"""A whole session solved by ngspice: the same case, other arithmetic, for logs that no numpy solver made.

    python -m world.spice_session 0 200      # solve seeds 0 to 199 and print how far both solutions lie apart

Kept as seeds, not as files: `spice_case(seed)` gives the case again. A session takes some seconds. Contact bounce,
ripple, spikes and pulses above 4 Hz are left out; `fits` says which installs can be solved.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from . import netlist, spice
from .bench import Bench
from .install import Install
from .script import Script
from .solve import Solution

if TYPE_CHECKING:
    from .case import Case

ROLES = ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v", "feed_a")
FAULTS = (
    "feed_resistance", "ground_resistance", "slot_dead", "slot_overload", "unswitched_device", "waking_device",
    "slow_trigger_decay", "slow_relay", "feed_open", "coil_open", "trigger_dead", "trigger_always_live", "overcharge",
    "no_charge", "load_exceeds_charging", "slow_to_sleep", "weak_battery",
)  # fmt: skip
BEHAVIOURS = ("kill_switch", "flashers", "brake_light", "fan_running", "fuel_pump", "failed_crank", "several_cranks",
              "push_start", "lamps_cut", "no_suppression", "surface_charge", "lamp_swell", "slow_inrush",
              "charges_only_above_idle", "fan_after_key_off", "park_light", "key_bounce", "self_switched")  # fmt: skip


def fits(inst: Install) -> bool:
    """Whether the deck has every part of this install."""
    r = inst.relay
    fast = any(x.pulse_hz > 4 for x in (*inst.bike, *inst.circuits))
    forced = inst.forced_closed or inst.forced_open or inst.inverted or inst.trigger_pulse
    return not (fast or forced or r.backfed or r.shared < 1 or inst.ground_shunt_ohm)


def simplify(b: Bench) -> None:
    """Leave out what the deck does not hold."""
    b.inst.relay.bounce, b.inst.leak_v = [], 0.0
    b.inst.charging.ripple = b.inst.charging.spike_v = 0.0
    b.inst.bleed_s = max(b.inst.bleed_s, 1.0)


def solve_session(inst: Install, script: Script, sol: Solution, start: float) -> Solution:
    """The numpy solution's session, solved by ngspice from the same start; keeps the truth's inner values."""
    w = netlist.Window("whole", start, script.end_s, 5e-3)
    run = spice.run(netlist.deck(inst, script, sol, w), timeout_s=40.0)
    t = run.t + start
    later = np.concatenate(([True], np.diff(t) > 0))
    values = {k: v[later] for k, v in run.values.items() if k in ROLES}
    t = t[later]
    # the slots' own currents are not saved: the truth takes them from the circuit as numpy solved it
    values |= {k: np.interp(t, sol.t, v) for k, v in sol.values.items() if k not in values}
    inner = {k: np.interp(t, sol.t, v) for k, v in sol.inner.items()}
    return replace(sol, t=t, values=values, inner=inner)


def spice_case(seed: int) -> Case:
    """A case whose samples come from ngspice: behaviours and faults that the deck holds, a grade of five channels."""
    from .case import draw

    rng = np.random.default_rng(seed + 31)
    fault = str(rng.choice(FAULTS)) if rng.random() < 0.6 else None
    few = tuple(str(x) for x in rng.choice(BEHAVIOURS, int(rng.integers(0, 3)), replace=False))
    if "push_start" in few:
        few = tuple(x for x in few if x not in ("failed_crank", "several_cranks"))
    grade = str(rng.choice(["fast5", "mid4", "slow2"], p=[0.6, 0.25, 0.15]))
    return draw(seed, behaviours=few, fault=fault, grade=grade, template="session", solver="ngspice")


def main() -> None:
    """Solve a range of seeds; print time and the largest differences of medians over 0.2 s."""
    first, last = int(sys.argv[1]), int(sys.argv[2])
    for seed in range(first, last):
        begun = time.perf_counter()
        try:
            case = spice_case(seed)
        except RuntimeError as why:
            print(seed, "not solved:", str(why).splitlines()[-1], flush=True)
            continue
        log = case.logs[0]
        apart = []
        t = np.arange(0.0, log.script.end_s, 0.05)
        for role in ROLES[:5]:
            d = log.solution.at(role, t) - log.numpy_solution.at(role, t)
            d = np.abs(np.median(d[: len(d) // 5 * 5].reshape(-1, 5), axis=1))
            apart.append(f"{role} {d.max():.4f}")
        print(seed, case.fault, case.behaviours, f"{time.perf_counter() - begun:.1f} s", *apart, flush=True)


if __name__ == "__main__":
    main()
