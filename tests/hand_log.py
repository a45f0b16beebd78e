"""Logs written by hand for tests of the relay: plain arrays, one line a physical fact, nothing from the simulator.

A bike of 12.6 V with 5 A of its own and 8 A on the fuse block; the feed's path has 20 mohm, the battery 15 mohm.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

import benchlog

SOURCE_OHM, FEED_OHM, BIKE_A, LOAD_A = 0.015, 0.020, 5.0, 8.0

PLAN = {
    "install": {"bike": "Hand"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "relay": {"pull_in_max_ms": 30, "drop_out_max_ms": 60},
    "feed": {"fuse_a": 20, "drop_max_v": 0.30},
    "circuit": [{"slot": 1, "device": "heater", "planned_a": 8.0, "fuse_a": 15}],
    "limits": {"feed_in_crank": "hold", "off_state_drain_ma": 1.0},
}
#: The maker's limits of error of a good logger.
GOOD = {"gain_error_pct": 0.2, "offset_error": 0.005, "resolution": 0.005}
LOGGER = {
    "logger": {"name": "by hand"},
    "channel": [
        *(
            {"column": role, "role": role, "unit": "V", **GOOD}
            for role in ("battery_v", "trigger_v", "feed_v", "key_v")
        ),
        *({"column": role, "role": role, "unit": "A", **GOOD} for role in ("battery_a", "feed_a")),
    ],
}


@dataclass
class Bike:
    """Key, trigger and contact over time, each a list of ``(time_s, state)`` changes from 0 at the start.

    Attributes:
        ends_s: the log's end. key, trigger, contact: the changes; the trigger follows the key where not given.
        rate_hz: rows a second. noise_v, noise_a: of single readings. code_v, code_a: the channel's steps.
        trigger_tau_s: with which the trigger falls. hold_tau_s: with which the block falls once the contact opened.
        running: stretches with the engine running, at 14.2 V. cranks: stretches of cranking, at 10.2 V.
        change: role -> what is done to a channel's array last, given times and values.
    """

    ends_s: float = 90.0
    key: Sequence[tuple[float, int]] = ((10.0, 1), (60.0, 0))
    trigger: Sequence[tuple[float, int]] | None = None
    contact: Sequence[tuple[float, int]] = ((10.012, 1), (60.030, 0))
    rate_hz: float = 1000.0
    noise_v: float = 0.006
    noise_a: float = 0.02
    code_v: float = 0.005
    code_a: float = 0.005
    trigger_tau_s: float = 0.0005
    hold_tau_s: float = 0.0005
    cranks: Sequence[tuple[float, float]] = ()
    running: Sequence[tuple[float, float]] = ()
    roles: Sequence[str] = ("battery_v", "battery_a", "trigger_v", "feed_v", "feed_a")
    change: Mapping[str, Callable[[np.ndarray, np.ndarray], np.ndarray]] = field(default_factory=dict)
    marks: Sequence[tuple[float, str]] = ()
    seed: int = 1

    def frame(self) -> pd.DataFrame:
        """The log as a table of role columns."""
        rng = np.random.default_rng(self.seed)
        t = np.arange(0.0, self.ends_s, 1 / self.rate_hz)
        key = state(t, self.key)
        trigger = key if self.trigger is None else state(t, self.trigger)
        closed = state(t, self.contact)
        emf = np.full(len(t), 12.6)
        for a, b in self.cranks:
            emf[(t >= a) & (t < b)] = 10.2
        for a, b in self.running:
            emf[(t >= a) & (t < b)] = 14.2
        load = LOAD_A * closed
        amps = 0.0005 + BIKE_A * key + load
        starter = np.zeros(len(t))
        for a, b in self.cranks:
            starter[(t >= a) & (t < b)] = 80.0
        volts = emf - SOURCE_OHM * (amps + 0.0 * starter)
        feed = held(t, np.where(closed, volts - FEED_OHM * load, 0.0), self.hold_tau_s)
        line = held(t, np.where(trigger, volts - 0.1, 0.0), self.trigger_tau_s)
        columns = {
            "battery_v": volts,
            "battery_a": amps + starter,
            "key_v": np.where(key, volts, 0.0),
            "trigger_v": line,
            "feed_v": feed,
            "feed_a": load,
        }
        table = {"time_s": t}
        for role in self.roles:
            volt = role.endswith("_v")
            noisy = columns[role] + rng.normal(0.0, self.noise_v if volt else self.noise_a, len(t))
            if role in self.change:
                noisy = self.change[role](t, noisy)
            code = self.code_v if volt else self.code_a
            table[role] = np.round(noisy / code) * code
        if self.marks:
            texts = np.full(len(t), "", dtype=object)
            for at, text in self.marks:
                texts[int(np.searchsorted(t, at))] = text
            table["mark"] = texts
        return pd.DataFrame(table)

    def checked(self, plan: Mapping[str, object] | None = None) -> benchlog.Result:
        """The result of this log alone."""
        return judged(self.frame(), plan)


def judged(frame: pd.DataFrame, plan: Mapping[str, object] | None = None) -> benchlog.Result:
    """The result of one table."""
    columns = [channel for channel in LOGGER["channel"] if channel["column"] in frame]
    return benchlog.check(frame, plan=plan or PLAN, logger=LOGGER | {"channel": columns})


def state(t: np.ndarray, changes: Sequence[tuple[float, int]]) -> np.ndarray:
    """1 from each change to 1 until the next to 0."""
    found = np.zeros(len(t), dtype=int)
    for at, level in changes:
        found[t >= at - 1e-9] = level
    return found


def held(t: np.ndarray, x: np.ndarray, tau_s: float) -> np.ndarray:
    """A line that rises at once and falls with a time constant, as a capacitor makes it."""
    step = float(t[1] - t[0])
    keep = float(np.exp(-step / tau_s))
    found = x.copy()
    falls = np.flatnonzero((x[1:] == 0) & (x[:-1] > 0)) + 1
    for at in falls:
        end = int(np.argmax(x[at:] > 0)) + at if (x[at:] > 0).any() else len(x)
        n = np.arange(1, end - at + 1)
        found[at:end] = found[at - 1] * keep**n
    return found


def bounce(at_s: float, to: int, lasts_s: float, seed: int = 1) -> list[tuple[float, int]]:
    """A contact that bounces for a while before it is where it goes."""
    rng = np.random.default_rng(seed)
    changes, t, level = [(at_s, to)], at_s, to
    while True:
        t += float(rng.uniform(0.001, 0.008))
        if t >= at_s + lasts_s:
            break
        level = 1 - level
        changes.append((t, level))
    return [*changes, (at_s + lasts_s, to)]


def check(result: benchlog.Result, check_id: str) -> "object":
    """One check of a result."""
    return next(found for found in result.checks if found.id == check_id)
