"""Simulated logs ready for tests: each function gives one log with its truth; the same seed gives the same log."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from benchlog.plan.model import Limits
from benchlog.standin import (
    LIMITS,
    Action,
    LoggerSpec,
    Script,
    SimulatedInstall,
    Simulation,
    WakeUps,
    WrittenForm,
    acceptance_script,
    channel,
    csv_text,
    fast_logger,
    key_cycles,
    parked_script,
    simulate,
    slow_logger,
    with_fault,
    write_csv,
)

ALL_ROLES = (
    *("battery_v", "battery_a", "drain_a", "key_v", "trigger_v", "feed_v", "ground_v", "feed_a"),
    *("slot1_a", "slot2_a", "slot3_a", "slot4_a", "slot1_v", "slot2_v", "slot3_v", "slot4_v", "battery_c"),
)

#: The plan's [limits] with every key given.
EVERY_LIMIT: dict[str, float | str] = {key: LIMITS[key] for key in Limits.model_fields} | {"feed_in_crank": "hold"}


def _log(
    install: SimulatedInstall | None = None,
    script: Script | None = None,
    spec: LoggerSpec | None = None,
    seed: int = 1,
    limits: Mapping[str, float | str | None] | None = None,
) -> Simulation:
    return simulate(
        install or SimulatedInstall(),
        script or acceptance_script(),
        spec or fast_logger(1000),
        np.random.default_rng(seed),
        limits,
    )


def healthy(rate_hz: float = 1000.0, *, marks: bool = True, seed: int = 1) -> Simulation:
    """A good install through the whole acceptance test."""
    return _log(None, acceptance_script(marks=marks), fast_logger(rate_hz), seed)


def every_role(rate_hz: float = 500.0, seed: int = 1) -> Simulation:
    """The same with a channel for every role, the four circuits' own included."""
    return _log(None, None, fast_logger(rate_hz, ALL_ROLES), seed)


def fault(name: str, rate_hz: float = 1000.0, *, marks: bool = True, seed: int = 1) -> Simulation:
    """The acceptance test with one fault (a cause id of the result)."""
    return _log(with_fault(SimulatedInstall(), name), acceptance_script(marks=marks), fast_logger(rate_hz), seed)


def latching_relay(seed: int = 1) -> Simulation:
    """The relay closes at the first key-on and never opens again."""
    return _log(SimulatedInstall(contact="latching"), seed=seed)


def slow_drop_out(drop_out_ms: float = 110.0, rate_hz: float = 1000.0, seed: int = 1) -> Simulation:
    """A relay that opens about this late (the exact time is in the truth)."""
    travel_ms = drop_out_ms - 5.43  # what coil and contact take with no travel
    return _log(SimulatedInstall(release_travel_ms=travel_ms), None, fast_logger(rate_hz), seed)


def waking_drain(height_a: float = 0.010, seed: int = 1) -> Simulation:
    """A drain of 0.3 mA with a wake-up of 2 s every minute."""
    return _log(
        SimulatedInstall(drain_a=0.0003, wakeups=WakeUps(height_a=height_a)), acceptance_script(settle_s=600), seed=seed
    )


def at_10_hz(seed: int = 1) -> Simulation:
    """The healthy install on a logger too slow for relay times."""
    return healthy(10.0, seed=seed)


def at_1_hz(seed: int = 1) -> Simulation:
    """The healthy install on a logger too slow for anything but the drain."""
    return healthy(1.0, seed=seed)


def coarse_logger(seed: int = 1) -> Simulation:
    """0.1 V and 0.1 A resolution, stated as such, and no drain channel."""
    spec = fast_logger(1000).only("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")
    for role in spec.roles:
        spec = spec.changed(role, resolution=0.1, noise=0.02, offset_error=0.1, gain_error_pct=1.0)
    return _log(spec=spec, seed=seed)


def no_accuracy_stated(seed: int = 1) -> Simulation:
    """A logger file without accuracy."""
    spec = fast_logger(1000)
    for role in spec.roles:
        spec = spec.changed(role, stated=False)
    return _log(spec=spec, seed=seed)


def poor_ground(extra_mohm: float = 25.0, seed: int = 1) -> Simulation:
    """A return with this much more resistance."""
    return _log(SimulatedInstall(ground_mohm=5.0 + extra_mohm), seed=seed)


def poor_feed(feed_mohm: float = 48.0, seed: int = 1) -> Simulation:
    """A feed of this resistance, battery post to fuse block."""
    return _log(SimulatedInstall(feed_mohm=feed_mohm), seed=seed)


def dropping_while_cranking(seed: int = 1) -> Simulation:
    """The bike cuts its lamps, and so the trigger, while the starter turns."""
    return _log(SimulatedInstall(trigger_drops_in_crank=True), seed=seed)


def undercharging(regulated_v: float = 13.0, seed: int = 1) -> Simulation:
    """The regulator holds too low a voltage."""
    return _log(SimulatedInstall(regulated_v=regulated_v), seed=seed)


def never_starts(seed: int = 1) -> Simulation:
    """The starter turns, the engine does not fire and nothing marks it as running."""
    script = acceptance_script()
    script = replace(script, actions=tuple(act for act in script.actions if act.do != "running"))
    return _log(SimulatedInstall(starts=False), script, seed=seed)


def parked(
    hours: float = 10.0, rate_hz: float = 10.0, *, drain_a: float = 0.0006, wakes: bool = False, seed: int = 1
) -> Simulation:
    """The key off throughout, on a slow logger."""
    install = SimulatedInstall(drain_a=drain_a, wakeups=WakeUps() if wakes else None)
    return _log(install, parked_script(hours), slow_logger(rate_hz), seed)


def surface_charged(hours: float = 1.0, seed: int = 1) -> Simulation:
    """Parked with a surface charge that is still fading."""
    install = SimulatedInstall(start_surface_v=0.3, surface_tau_s=1500.0)
    return _log(install, parked_script(hours), slow_logger(10.0), seed)


def bypassed_drain_shunt(seed: int = 1) -> Simulation:
    """The current passes the low-range shunt by: it reads nothing throughout."""
    return _log(spec=fast_logger(1000).changed("drain_a", bypassed=True), seed=seed)


def bridged(from_s: float = 52.0, to_s: float = 70.0, rate_hz: float = 1000.0, seed: int = 1) -> Simulation:
    """The shunt is bridged for the crank, and marked so."""
    script = acceptance_script()
    acts = (Action(from_s, "shunt bridged"), Action(to_s, "shunt free"))
    return _log(None, replace(script, actions=(*acts, *script.actions)), fast_logger(rate_hz), seed)


def reversed_shunt(seed: int = 1) -> Simulation:
    """Both battery currents come with the wrong sign, unstated."""
    spec = fast_logger(1000).changed("battery_a", reversed=True).changed("drain_a", reversed=True)
    return _log(spec=spec, seed=seed)


def charge_positive(seed: int = 1) -> Simulation:
    """A logger that calls charging positive and says so in its file."""
    spec = fast_logger(1000).changed("battery_a", positive="charge").changed("drain_a", positive="charge")
    return _log(spec=spec, seed=seed)


def cut_short(after_key_off_s: float = 20.0, seed: int = 1) -> Simulation:
    """The log ends soon after the key is turned off."""
    return _log(script=acceptance_script(settle_s=after_key_off_s), seed=seed)


def many_cycles(count: int = 5, seed: int = 1) -> Simulation:
    """The key on and off several times with all devices switched on, not marked."""
    return _log(script=key_cycles(count), seed=seed)


def zeroed(seed: int = 1) -> Simulation:
    """The currents are taken out of circuit for 5 s first, and marked so."""
    script = acceptance_script(rest_s=40)
    return _log(
        script=replace(script, actions=(Action(5.0, "zero"), Action(10.0, "zero end"), *script.actions)), seed=seed
    )


def slots_only(seed: int = 1) -> Simulation:
    """No feed current channel: slots are to be found in the battery's steps."""
    spec = fast_logger(1000)
    return _log(spec=spec.only("battery_v", "battery_a", "drain_a", "trigger_v", "feed_v", "ground_v"), seed=seed)


def battery_only(seed: int = 1) -> Simulation:
    """Battery voltage and current alone, not marked."""
    spec = LoggerSpec(500.0, (channel("battery_v"), channel("battery_a")))
    return _log(script=acceptance_script(marks=False), spec=spec, seed=seed)


DECIMAL_COMMA = WrittenForm(separator=";", decimal=",", columns={"battery_v": "U_batt", "battery_a": "I_batt"})
WRAPPING = WrittenForm(time_unit="us", start=4294967296 - 20_000_000, wraps_at=4294967296)
WRAPPING_COMMA = replace(DECIMAL_COMMA, time_unit="us", start=4294967296 - 20_000_000, wraps_at=4294967296)


def write_files(sim: Simulation, folder: Path, name: str = "a", form: WrittenForm | None = None) -> tuple[Path, Path]:
    """Write ``NAME.csv``, ``NAME.logger.toml`` and ``plan.toml``; the log and the plan."""
    log = write_csv(sim, folder / f"{name}.csv", form)
    plan = folder / "plan.toml"
    plan.write_text(sim.plan_toml, encoding="utf-8")
    return log, plan


def write_damaged(
    sim: Simulation, path: Path, *, lines: int = 30, seed: int = 1, form: WrittenForm | None = None
) -> list[int]:
    """Write the log with some rows made unreadable and its last line cut; the damaged line numbers, from 1."""
    rng = np.random.default_rng(seed)
    text = csv_text(sim, form).splitlines()
    chosen = sorted(int(n) for n in rng.choice(np.arange(2, len(text) - 1), lines, replace=False))
    for number in chosen:
        row = text[number]
        text[number] = (row[: len(row) // 2], "#" + row.replace(".", "?"), "\x00\x01" + row[2:])[number % 3]
    text[-1] = text[-1][: len(text[-1]) // 2]
    path.write_text("\n".join(text), encoding="utf-8", newline="")
    path.with_suffix(".logger.toml").write_text(sim.logger_toml, encoding="utf-8")
    return [*(number + 1 for number in chosen), len(text)]
