"""Everything that happens in one simulated log, as states over time: key, engine, trigger, contact, slots, sleep."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchlog.standin import relay
from benchlog.standin.install import Install
from benchlog.standin.script import Script
from benchlog.standin.steps import Steps
from benchlog.trace import Array

LIGHTS_OUT_S = 0.02  # from the starter button to the trigger's loss, where the bike cuts its lamps
BACKFED_LEVEL = 0.92  # of the trigger's level with the key on


@dataclass(frozen=True, slots=True)
class Timeline:
    """States over one log. All times s from its first sample.

    Attributes:
        key: 1 on, 0 off.
        cranks, runs: ``(from_s, to_s)`` with the starter on, and with the engine running.
        edges, coil_start_a: the trigger's changes, and the coil current at each, A.
        armature: ``(time_s, pulled, key did it)``.
        contact: 1 where the feed is connected.
        slots: slot -> 1 where its device is on and fed.
        asleep_a: what the bike draws with the key off above its drain until it sleeps, A.
        wake: 1 during wake-ups.
        zero: 1 while the current channels are out of circuit.
    """

    install: Install
    end_s: float
    key: Steps
    cranks: list[tuple[float, float]]
    runs: list[tuple[float, float]]
    edges: list[relay.Edge]
    coil_start_a: list[float]
    armature: list[tuple[float, bool, bool]]
    contact: Steps
    slots: dict[int, Steps]
    asleep_a: Steps
    wake: Steps
    zero: Steps

    def changes_s(self) -> Array:
        """Every instant at which a sustained current changes, s, ascending."""
        steps = [self.key, self.contact, self.asleep_a, self.wake, self.zero, *self.slots.values()]
        spans = [time for span in (*self.cranks, *self.runs) for time in span]
        edges = [edge.time_s for edge in self.edges if math.isfinite(edge.time_s)]
        return np.unique(np.concatenate([*(step.times_s for step in steps), np.array([*spans, *edges])]))


def timeline_of(install: Install, script: Script) -> Timeline:
    """Work out what the script makes of the install."""
    key_changes = [(time, 1.0) for time in script.times("key on")] + [(time, 0.0) for time in script.times("key off")]
    key = Steps.of(0.0, key_changes)
    cranks = [(time, time + install.crank_s) for time in script.times("crank")]
    edges = _trigger_edges(install, key, cranks)
    armature, starts = relay.moves(edges, install)
    contact = relay.contact(armature, install)
    return Timeline(
        install=install,
        end_s=script.end_s,
        key=key,
        cranks=cranks,
        runs=_runs(install, script, cranks),
        edges=edges,
        coil_start_a=starts,
        armature=armature,
        contact=contact,
        slots={circuit.slot: _switch(script, circuit.slot).both(contact) for circuit in install.circuits},
        asleep_a=_asleep(install, key),
        wake=_wake(install, script.end_s),
        zero=Steps.of(0.0, [*((t, 1.0) for t in script.times("zero")), *((t, 0.0) for t in script.times("zero end"))]),
    )


def _trigger_edges(install: Install, key: Steps, cranks: list[tuple[float, float]]) -> list[relay.Edge]:
    if install.trigger_always_live:
        return [relay.Edge(-1e3, 1.0)]
    edges = [relay.Edge(float(time), state) for time, state in zip(key.times_s, key.values[1:], strict=True)]
    if install.backfed:
        # the load side holds the coil through a device, at a little less than the key gives
        return [relay.Edge(edge.time_s, 1.0 if edge.level else BACKFED_LEVEL, key=edge.level > 0) for edge in edges]
    if install.trigger_drops_in_crank:
        for start, stop in cranks:
            edges += [relay.Edge(start + LIGHTS_OUT_S, 0.0, key=False), relay.Edge(stop, 1.0, key=False)]
    return sorted(edges, key=lambda edge: edge.time_s)


def _runs(install: Install, script: Script, cranks: list[tuple[float, float]]) -> list[tuple[float, float]]:
    ends = sorted([*script.times("engine off"), *script.times("key off"), script.end_s])
    if not install.starts:
        return []
    return [
        (stop, next((end for end in ends if end > stop), script.end_s)) for _, stop in cranks if stop < script.end_s
    ]


def _switch(script: Script, slot: int) -> Steps:
    """Whether a device is switched on and its fuse in."""
    on, fuse = slot in script.on, True
    changes: list[tuple[float, float]] = []
    initial = float(on)
    for act in sorted(script.actions, key=lambda action: action.time_s):
        if act.slot != slot:
            continue
        on = {"slot on": True, "slot off": False}.get(act.do, on)
        fuse = {"fuse in": True, "fuse out": False}.get(act.do, fuse)
        changes.append((act.time_s, float(on and fuse)))
    return Steps.of(initial, changes)


def _asleep(install: Install, key: Steps) -> Steps:
    changes: list[tuple[float, float]] = []
    times = [*key.times_s.tolist(), math.inf]
    for (time, following), state in zip(pairwise(times), key.values[1:], strict=True):
        changes.append((time, 0.0))
        if state:
            continue
        start = time
        for current_a, until_s in install.awake:
            if start < following:
                changes.append((start, current_a))
            start = time + until_s
        if start < following:
            changes.append((start, 0.0))
    return Steps.of(0.0, changes)


def _wake(install: Install, end_s: float) -> Steps:
    if install.wakeups is None:
        return Steps.of(0.0, [])
    wake = install.wakeups
    starts = np.arange(wake.first_s, end_s, wake.period_s)
    times = np.stack([starts, starts + wake.length_s], axis=1).ravel()
    return Steps(times, np.r_[0.0, np.tile([1.0, 0.0], len(starts))])
