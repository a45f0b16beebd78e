"""Everything that happens in one simulated log, as states over time: key, engine, trigger, contact, slots, sleep."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchlog.standin import relay
from benchlog.standin.install import Install
from benchlog.standin.script import Do, Script
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
        extra: 1 where the device fed around the relay has its fuse.
        zero: 1 while the current channels are out of circuit.
        bridged: 1 while a cable bridges the battery's shunts.
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
    extra: Steps
    zero: Steps
    bridged: Steps

    def changes_s(self) -> Array:
        """Every instant at which a sustained current changes, s, ascending."""
        steps = [self.key, self.contact, self.asleep_a, self.wake, self.extra, self.zero, *self.slots.values()]
        spans = [time for span in (*self.cranks, *self.runs) for time in span]
        edges = [edge.time_s for edge in self.edges if math.isfinite(edge.time_s)]
        return np.unique(np.concatenate([*(step.times_s for step in steps), np.array([*spans, *edges])]))


def timeline_of(install: Install, script: Script, from_s: float = 0.0) -> Timeline:
    """Work out what the script makes of the install.

    Nothing before an instant depends on what is done after it, nor on where the script ends.

    Args:
        install: true parameters.
        script: what is done when.
        from_s: nothing before it is asked for, s: earlier wake-ups may be left out.
    """
    key_changes = [(time, 1.0) for time in script.times("key on")] + [(time, 0.0) for time in script.times("key off")]
    key = Steps.of(0.0, key_changes)
    cranks = [_crank(install, script, time) for time in script.times("crank")]
    edges = _trigger_edges(install, script, key, cranks)
    armature, starts = relay.moves(edges, install)
    runs = _runs(install, script, cranks)
    contact = relay.contact(armature, install).both(_joint(install, key, runs))
    return Timeline(
        install=install,
        end_s=script.end_s,
        key=key,
        cranks=cranks,
        runs=runs,
        edges=edges,
        coil_start_a=starts,
        armature=armature,
        contact=contact,
        slots={circuit.slot: _switch(script, circuit.slot).both(contact) for circuit in install.circuits},
        asleep_a=_asleep(install, script, key),
        wake=_wake(install, script, from_s),
        extra=_fuse(script, install.extra_drain_slot),
        zero=_between(script, "zero", "zero end"),
        bridged=_between(script, "shunt bridged", "shunt free"),
    )


def _between(script: Script, begin: Do, end: Do) -> Steps:
    """1 from each time that one thing is done to the next time that the other is."""
    return Steps.of(0.0, [*((t, 1.0) for t in script.times(begin)), *((t, 0.0) for t in script.times(end))])


def _crank(install: Install, script: Script, start: float) -> tuple[float, float]:
    """The starter turns for its time, or until the key or the engine switch ends it."""
    stop = start + install.crank_s
    return start, min([end for end in _engine_ends(script) if start < end < stop], default=stop)


def _engine_ends(script: Script) -> list[float]:
    return sorted([*script.times("engine off"), *script.times("key off")])


def _trigger_edges(install: Install, script: Script, key: Steps, cranks: list[tuple[float, float]]) -> list[relay.Edge]:
    if install.trigger_always_live:
        return [relay.Edge(-1e3, 1.0)]
    if install.trigger_dead:
        return []
    edges = [relay.Edge(float(time), state) for time, state in zip(key.times_s, key.values[1:], strict=True)]
    if install.backfed:
        return _backfed_edges(install, script, edges)
    if install.trigger_pulse is not None:
        edges = _pulsed(edges, *install.trigger_pulse, script.end_s)
    if install.trigger_drops_in_crank:
        for start, stop in cranks:
            edges += [relay.Edge(start + LIGHTS_OUT_S, 0.0, key=False), relay.Edge(stop, 1.0, key=False)]
    return sorted(edges, key=lambda edge: edge.time_s)


def _pulsed(edges: list[relay.Edge], hz: float, up: float, end_s: float) -> list[relay.Edge]:
    """The key's edges, and between them those of a line that is up for a share of each period only."""
    found: list[relay.Edge] = []
    for number, edge in enumerate(edges):
        found.append(edge)
        if edge.level == 0:
            continue
        until = edges[number + 1].time_s if number + 1 < len(edges) else end_s
        for begins in edge.time_s + np.arange(max(math.floor((until - edge.time_s) * hz), 0) + 1) / hz:
            if begins > edge.time_s and begins < until:
                found.append(relay.Edge(float(begins), 1.0, key=False))
            if begins + up / hz < until:
                found.append(relay.Edge(float(begins) + up / hz, 0.0, key=False))
    return found


def _joint(install: Install, key: Steps, runs: list[tuple[float, float]]) -> Steps:
    """1 while the feed's joint holds; it opens at its times after each key-on, and after each start of the engine."""
    ons = [(float(t), install.shaken) for t, state in zip(key.times_s, key.values[1:], strict=True) if state]
    ons += [(start, install.shaken_running) for start, _ in runs]
    opens = [(at + after, length) for at, pattern in ons for after, length in pattern]
    changes = [change for start, length in sorted(opens) for change in ((start, 0.0), (start + length, 1.0))]
    return Steps.of(1.0, changes)


def _backfed_edges(install: Install, script: Script, edges: list[relay.Edge]) -> list[relay.Edge]:
    """The load side holds the coil through a device, at a little less than the key gives, while that has its fuse."""
    fuse = _fuse(script, install.backfed_slot)
    found: list[relay.Edge] = []
    for number, edge in enumerate(edges):
        held = edge.level == 0 and number > 0 and fuse.at(np.array([edge.time_s]))[0] > 0
        found.append(relay.Edge(edge.time_s, BACKFED_LEVEL if held else edge.level, key=not held))
        following = edges[number + 1].time_s if number + 1 < len(edges) else math.inf
        pulled = [float(t) for t in fuse.times_s if edge.time_s < t < following and not fuse.at(np.array([t]))[0]]
        if held and pulled:
            found.append(relay.Edge(pulled[0], 0.0, key=False))
    return found


def _runs(install: Install, script: Script, cranks: list[tuple[float, float]]) -> list[tuple[float, float]]:
    if not install.starts:
        return []
    ends = [*_engine_ends(script), script.end_s]
    whole = [stop for start, stop in cranks if stop >= start + install.crank_s and stop < script.end_s]
    return [(stop, next((end for end in ends if end > stop), script.end_s)) for stop in whole]


def _fuse(script: Script, slot: int | None) -> Steps:
    """1 while a slot's fuse is in; always, where no slot is named."""
    changes = [
        (act.time_s, float(act.do == "fuse in"))
        for act in script.actions
        if act.do in ("fuse in", "fuse out") and act.slot == slot is not None
    ]
    return Steps.of(1.0, changes)


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


def _asleep(install: Install, script: Script, key: Steps) -> Steps:
    """Current above the drain after each key-off, stage by stage; from the second on behind a fuse."""
    first = _stages(key, install.awake[:1], 0.0)
    if len(install.awake) < 2:
        return first
    return first.plus(_stages(key, install.awake[1:], install.awake[0][1]).both(_fuse(script, install.awake_slot)))


def _stages(key: Steps, stages: tuple[tuple[float, float], ...], from_s: float) -> Steps:
    changes: list[tuple[float, float]] = []
    times = [*key.times_s.tolist(), math.inf]
    for (time, following), state in zip(pairwise(times), key.values[1:], strict=True):
        changes.append((time, 0.0))
        if state:
            continue
        start = time + from_s
        for current_a, until_s in stages:
            if start < following:
                changes.append((start, current_a))
            start = time + until_s
        if start < following:
            changes.append((start, 0.0))
    return Steps.of(0.0, changes)


def _wake(install: Install, script: Script, from_s: float) -> Steps:
    if install.wakeups is None:
        return Steps.of(0.0, [])
    wake = install.wakeups
    skipped = max(0, math.floor((from_s - wake.first_s) / wake.period_s) - 1)
    starts = np.arange(wake.first_s, script.end_s, wake.period_s)[skipped:]
    times = np.stack([starts, starts + wake.length_s], axis=1).ravel()
    wakes = Steps(times, np.r_[0.0, np.tile([1.0, 0.0], len(starts))])
    return wakes if install.wakeups_slot is None else wakes.both(_fuse(script, install.wakeups_slot))
