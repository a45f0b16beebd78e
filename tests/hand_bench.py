"""A log, its story and a bench by hand: what an examination asks for, without a file and without the simulator."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from benchlog.analysis.measurement import Measured
from benchlog.analysis.plateaus import Plateau, Sustained
from benchlog.core.trace import Array, Mark, Trace
from benchlog.core.uncertainty import Accuracy
from benchlog.examine.context import KeyTurn, LogContext, Timeline
from benchlog.log.overview import OverviewBuilder
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan, plan_from_mapping

#: Of a voltage and of a current channel.
VOLTS = Accuracy(gain_rel=0.002, offset=0.005, resolution=0.001)
AMPS = Accuracy(gain_rel=0.01, offset=0.03, resolution=0.01)
EXACT = Accuracy(0.0, 0.0, 0.0)


class HandLog:
    """Samples written by hand, as an examination sees a log.

    Args:
        time_s: s. values: role -> samples, or one figure for all of them. marks: text -> time, s.
        over: role -> which samples were over range. max_buckets: fewer than samples makes longer buckets.
    """

    def __init__(
        self,
        time_s: Array,
        values: Mapping[str, Any],
        marks: Mapping[str, float] | Sequence[tuple[float, str]] = (),
        over: Mapping[str, Any] | None = None,
        max_buckets: int | None = None,
    ) -> None:
        full = {role: np.array(np.broadcast_to(x, len(time_s)), dtype=float) for role, x in values.items()}
        self.name = "by hand"
        self.samples = Trace(time_s, full, {role: np.asarray(x, dtype=bool) for role, x in (over or {}).items()})
        pairs = [(at, text) for text, at in marks.items()] if isinstance(marks, Mapping) else marks
        self.marks = tuple(Mark(at, text) for at, text in pairs)
        builder = OverviewBuilder(list(full), max_buckets)
        builder.add(self.samples)
        self.overview = builder.finish()
        self.start_s, self.end_s = float(time_s[0]), float(time_s[-1])

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """As of a log: a role that it does not have is a mistake of the asker's."""
        part = self.samples.between(from_s, to_s + 1e-12)
        asked = list(part.values) if roles is None else roles
        over = {role: flags for role, flags in part.over.items() if role in asked and flags.any()}
        return Trace(part.time_s, {role: part.values[role] for role in asked}, over)


def times(end_s: float, step_s: float = 0.01) -> Array:
    """From 0, s."""
    return np.arange(round(end_s / step_s)) * step_s


def story(on: Sequence[tuple[float, float]] = (), off: Sequence[tuple[float, float]] = (), **more: Any) -> Timeline:
    """A log's story: when the key was on and off, s; a turn of the key lies between two of them."""
    turns = [KeyTurn(a, 0.001, True) for a, _ in on if a > 0] + [KeyTurn(a, 0.001, False) for a, _ in off if a > 0]
    known: dict[str, Any] = {
        **{"source": "key_v", "sure": True, "turns": tuple(sorted(turns, key=lambda turn: turn.time_s))},
        **{"cranks": (), "running": (), "rises": (), "falls": (), "spans": (), "parked": bool(off) and not on},
    }
    return Timeline(on=tuple(on), off=tuple(off), **{**known, **more})


def plan(*amps: float, **tables: Any) -> Plan:
    """A plan of circuits that draw so much, A, in slots 1 and up; further tables as in the file."""
    circuits = [{"slot": n, "device": f"device {n}", "planned_a": a} for n, a in enumerate(amps, 1)]
    base = {"install": {"bike": "by hand"}, "battery": {"chemistry": "agm", "capacity_ah": 10.0}, "circuit": circuits}
    return plan_from_mapping({**base, **tables})


def accuracies(log: HandLog) -> dict[str, Accuracy | None]:
    """The usual accuracy of each channel."""
    return {role: AMPS if role.endswith("_a") else VOLTS for role in log.overview.bands}


def bench(log: HandLog, told: Timeline, planned: Plan | None = None, **more: Any) -> LogContext:
    """The log on the bench, each channel as accurate as usual unless ``accuracy`` says otherwise."""
    calm = dict.fromkeys((role for role in log.overview.bands if role.endswith("_a")), math.inf)
    known: dict[str, Any] = {"accuracy": accuracies(log), "low_side_ohm": {}, "calm_a": calm, **more}
    return LogContext(log=log, plan=planned or plan(), story=told, **known)


def plateau(from_s: float, to_s: float, u: float = 0.0, **readings: float) -> Plateau:
    """A steady stretch that reads so much on each channel, soon after it begins and just before it ends as well."""
    read = {role: Sustained(value, u) for role, value in readings.items()}
    return Plateau(from_s, to_s, from_s + min(2.0, (to_s - from_s) / 2), read, read, read)


def measured(value: float | None, u: float | None = 0.0, **more: Any) -> Measured:
    """A finding over the first ten seconds."""
    return Measured(value, u, more.pop("from_s", 0.0), more.pop("to_s", 10.0), **more)


def limit(low: float | None, high: float | None) -> PlannedLimit:
    """A limit as the plan gives it."""
    return PlannedLimit(low, high, "given", "by hand")
