"""Logs of an engine that is cranked, runs and is stopped, from a small model of their own: battery, alternator, loads.

The battery is a source behind a resistance, with a surface charge that comes within seconds and goes within minutes.
The alternator gives what the engine's speed allows; the regulator holds its voltage while that is enough.
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

import benchlog
from benchlog.verdict.result import Check, Result

#: s at which things happen unless a test says otherwise.
KEY_ON_S, ALL_ON_S, CRANK_S, END_S = 20.0, 30.0, 45.0, 170.0
FEED_OHM, GROUND_OHM = 0.016, 0.005
LOADS_A = (3.5, 2.5, 3.0)


@dataclass(frozen=True)
class Ride:
    """What is done and what the bike is like; times in s, V, A, Ω.

    Attributes:
        cranks: begin and end of each turn of the starter. runs: when the engine turns by itself.
        revved: stretches above idle. off_s: key-off. own_a: the bike's own load with the key on.
        idle_a, revved_a: what the alternator can give. cut: stretches in which ``cut_a`` of the own load is off.
        loads_off_s: from when on the circuits are off though the key is on. fan: begin, length, period, A.
        flat_ohm: the charging resistance of the battery, high for a full one, low for an empty one.
    """

    cranks: tuple[tuple[float, float], ...] = ((CRANK_S, CRANK_S + 1.2),)
    runs: tuple[tuple[float, float], ...] = ((CRANK_S + 1.2, 90.0),)
    revved: tuple[tuple[float, float], ...] = ()
    off_s: float = 90.0
    own_a: float = 5.0
    idle_a: float = 25.0
    revved_a: float = 30.0
    regulated_v: float = 14.2
    emf_v: float = 12.7
    ohm: float = 0.022
    starter_a: float = 110.0
    cut: tuple[tuple[float, float], ...] = ()
    cut_a: float = 4.0
    loads_off_s: float = float("inf")
    fan: tuple[float, float, float, float] | None = None
    charge_ohm: float = 0.5
    surface_v: float = 0.4
    ramp_s: float = 1.0
    flasher_a: float = 0.0
    ripple_v: float = 0.0
    charger_a: float = 0.0
    rate_hz: float = 200.0
    marks: tuple[tuple[float, str], ...] = ()
    noise: dict[str, float] = field(default_factory=lambda: {"v": 0.005, "a": 0.02})
    seed: int = 1


def _within(t, stretches):
    return np.any([(t >= a) & (t < b) for a, b in stretches], axis=0) if stretches else np.zeros(len(t), dtype=bool)


def ride(r: Ride) -> pd.DataFrame:
    """The log: every role a common logger has, and ``true_run`` for the tests, which is taken off before a check."""
    t = np.arange(0, END_S, 1 / r.rate_hz)
    dt = 1 / r.rate_hz
    key = (t >= KEY_ON_S) & (t < r.off_s)
    cranking, turning = _within(t, r.cranks), _within(t, r.runs)
    own = np.where(key, r.own_a, 0.0006) - np.where(_within(t, r.cut) & key, r.cut_a, 0.0)
    own += np.where(key & (np.floor(t / 0.35) % 2 == 0), r.flasher_a, 0.0)
    if r.fan:
        begin, lasts, period, amps = r.fan
        own += np.where(turning & (t >= begin) & ((t - begin) % period < lasts), amps, 0.0)
    steps = [ALL_ON_S + 2 + 4 * n for n in range(len(LOADS_A))]
    fed = sum(
        np.where(key & (t >= at) & (t < r.loads_off_s), amps, 0.0) for at, amps in zip(steps, LOADS_A, strict=True)
    )
    starter = np.zeros(len(t))
    for a, b in r.cranks:
        since = np.maximum(t - a, 0.0)
        turn = r.starter_a * (1 + 0.8 * np.exp(-since / 0.06)) + 12 * np.sin(2 * np.pi * 9 * since)
        starter += np.where((t >= a) & (t < b), turn, 0.0)
    speed = np.where(turning, 1.0, 0.0)
    for a, b in r.revved:
        speed = np.maximum(
            speed, np.where(turning, 1 + np.clip((t - a) / r.ramp_s, 0, 1) * np.clip((b - t) / r.ramp_s, 0, 1), 0)
        )
    most = np.where(speed >= 1, r.idle_a + (speed - 1) * (r.revved_a - r.idle_a), 0.0)
    load = own + fed + starter
    volts, amps, surface = np.empty(len(t)), np.empty(len(t)), 0.0
    spin = 0.0
    for n in range(len(t)):
        spin += (most[n] - spin) * min(dt / 0.3, 1.0)
        wanted = load[n] + max(r.regulated_v - r.emf_v - surface, 0.0) / r.charge_ohm
        given = min(spin, wanted) + r.charger_a
        net = given - load[n]
        goal = r.surface_v if net > 0.05 else 0.0
        tau = 8.0 if net > 0.05 else (60.0 if net > -0.1 else 25.0)
        surface += (goal - surface) * dt / tau
        volts[n] = r.emf_v + surface + (net * r.charge_ohm if net > 0 else net * r.ohm)
        amps[n] = -net
    volts += np.where(turning, r.ripple_v * np.sin(2 * np.pi * 173.0 * t), 0.0)
    live = key & ~cranking
    drop = np.where(key, fed * FEED_OHM, volts)
    rng = np.random.default_rng(r.seed)
    frame = pd.DataFrame(
        {
            "time_s": t,
            "battery_v": volts,
            "battery_a": amps,
            "trigger_v": np.where(live, volts - 0.2, 0.0),
            "feed_v": volts - drop,
            "ground_v": fed * GROUND_OHM,
            "feed_a": fed,
        }
    )
    for role in frame.columns[1:]:
        frame[role] += rng.normal(0, r.noise[role[-1]], len(t))
    frame["true_v"], frame["true_a"], frame["true_run"] = volts, amps, turning
    marks = np.full(len(t), "", dtype=object)
    for at, text in r.marks:
        marks[int(at * r.rate_hz)] = text
    frame["mark"] = marks
    return frame


PLAN = {
    "install": {"bike": "Alder"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "circuit": [
        {"slot": n, "device": f"load {n}", "planned_a": amps, "fuse_a": 7.5} for n, amps in enumerate(LOADS_A, start=1)
    ],
    "limits": {
        "crank_min_v": 9.0,
        "feed_in_crank": "any",
        "charging_min_v": 13.5,
        "charging_max_v": 14.8,
        "charging_balance_min_a": 0.0,
    },
}
ACCURACY = {"v": (0.05, 0.005, 0.001), "a": (0.2, 0.01, 0.001)}


def logger(roles) -> dict:
    """A good logger with these channels."""
    channels = [
        {
            "column": role,
            "role": role,
            "unit": role[-1].upper(),
            "gain_error_pct": ACCURACY[role[-1]][0],
            "offset_error": ACCURACY[role[-1]][1],
            "resolution": ACCURACY[role[-1]][2],
        }
        for role in roles
    ]
    return {"logger": {"name": "four-wire logger"}, "channel": channels}


def checked(frame: pd.DataFrame, without: tuple[str, ...] = (), limits: dict | None = None) -> Result:
    """The result of a ride, some channels left out."""
    shown = frame.drop(columns=[c for c in frame.columns if c.startswith("true_") or c in without])
    plan = PLAN | {"limits": PLAN["limits"] | (limits or {})}
    return benchlog.check(shown, plan=plan, logger=logger([c for c in shown.columns if c not in ("time_s", "mark")]))


def charging(frame: pd.DataFrame, without: tuple[str, ...] = (), **limits: float) -> tuple[Check, Check]:
    """``charging_voltage`` and ``charging_balance`` of a ride."""
    result = checked(frame, without, limits)
    return result.check("charging_voltage"), result.check("charging_balance")


def told(r: Ride, **changes) -> Ride:
    """The same ride with changes."""
    return replace(r, **changes)
