"""Writes the sample logs, their plan and logger files, and ``truth.json``: python sample_data/make_sample_data.py.

All of it is simulated, with fixed seeds: running this again gives the same files.
``truth.json`` holds what a perfect check of each log would find (null: not seen in that log),
and ``added_drain`` of the night after against the night before.
"""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchlog import standin

FAST_ROLES = ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v", "feed_a")
NIGHT_ROLES = ("battery_v", "drain_a", "feed_v")
NAME = "two-range shunt logger"
NIGHT_S = 8 * 3600.0

#: The bike's alarm wakes every minute; the added tracker draws a little on its own.
BEFORE = standin.SimulatedInstall(drain_a=0.00033, wakeups=standin.WakeUps(height_a=0.006), circuits=(), contact="open")
LARCH = standin.SimulatedInstall(drain_a=0.00041, wakeups=standin.WakeUps(height_a=0.006), start_surface_v=0.0)


def ridden_home(on: frozenset[int]) -> standin.Script:
    """The key on for a minute without the engine, then off for the night."""
    return standin.Script(NIGHT_S, (standin.Action(20.0, "key on"), standin.Action(80.0, "key off")), on)


def simulations() -> dict[str, standin.Simulation]:
    """Every sample log by its name."""
    fast = replace(standin.fast_logger(500.0, FAST_ROLES), name=NAME)
    night = replace(standin.slow_logger(1.0, NIGHT_ROLES), name=NAME)
    test = standin.acceptance_script(rest_s=10, slot_every_s=3, all_on_s=8, running_s=15, settle_s=25)
    short = standin.acceptance_script(rest_s=8, slot_every_s=3, all_on_s=6, crank=False, settle_s=12)
    sticky = replace(LARCH, release_travel_ms=104.5)
    overnight = standin.simulate(LARCH, ridden_home(frozenset({1, 2, 3, 4})), night, np.random.default_rng(21))
    return {
        "acceptance": standin.simulate(LARCH, test, fast, np.random.default_rng(20)),
        "overnight": overnight,
        "before": standin.simulate(
            BEFORE, ridden_home(frozenset()), night, np.random.default_rng(22), drawn=overnight.drawn
        ),
        "fault_slow_drop_out": standin.simulate(sticky, short, fast, np.random.default_rng(23)),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 6)


def make(folder: Path) -> None:
    """Write all of it to this folder."""
    logs = simulations()
    truth: dict[str, object] = {}
    for name, sim in logs.items():
        standin.write_csv(sim, folder / f"{name}.csv")
        truth[f"{name}.csv"] = {
            "checks": {check: _rounded(value) for check, value in sim.truth.values.items()},
            "also": {name: _rounded(value) for name, value in sim.truth.also.items()},
            "key_events": [{"time_s": _rounded(time), "to": to} for time, to in sim.truth.key_events],
        }
    after, before = (logs[name].truth["off_state_drain"] for name in ("overnight", "before"))
    if after is not None and before is not None:
        truth["added_drain"] = _rounded(after - before)
    (folder / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")
    (folder / "larch.plan.toml").write_text(standin.plan_toml_of(LARCH), encoding="utf-8")
    spec: standin.LoggerSpec = logs["acceptance"].spec
    (folder / "larch.logger.toml").write_text(standin.to_logger_toml(spec), encoding="utf-8")


if __name__ == "__main__":
    make(Path(__file__).parent)
