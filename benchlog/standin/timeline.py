"""Everything that happens in one simulated log, as states over time: key, engine, trigger, contact, slots, sleep."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin import relay
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.script import Do, Script
from benchlog.standin.steps import Steps
from benchlog.standin.switching import bounced, fuse_in, switching
from benchlog.standin.trigger import trigger_edges

LIGHTS_OUT_S = 0.02  # from the starter button to the trigger's loss, where the bike cuts its lamps


@dataclass(frozen=True, slots=True)
class SimulatedTimeline:
    """States over one log. All times s from its first sample.

    Attributes:
        key: 1 on, 0 off. key_contact: the same with the contact's bounces.
        dark: ``(from_s, to_s)`` with the lamps cut for a crank.
        cranks, runs: ``(from_s, to_s)`` with the starter on, and with the engine running.
        edges, coil_start_a: the trigger's changes, and the coil current at each, A.
        armature: ``(time_s, pulled, key did it)``.
        contact: 1 where the feed is connected.
        slots: slot -> 1 where its device is on and fed.
        bike_loads: 1 within the spans of each of the install's, in their order.
        asleep_a: what the bike draws with the key off above its drain until it sleeps, A.
        wake: 1 during wake-ups.
        extra: 1 where the device fed around the relay has its fuse.
        zero: 1 while the current channels are out of circuit.
        bridged: 1 while a cable bridges the battery's shunts.
    """

    install: SimulatedInstall
    end_s: float
    key: Steps
    key_contact: Steps
    cranks: list[tuple[float, float]]
    runs: list[tuple[float, float]]
    dark: list[tuple[float, float]]
    edges: list[relay.Edge]
    coil_start_a: list[float]
    armature: list[tuple[float, bool, bool]]
    contact: Steps
    slots: dict[int, Steps]
    bike_loads: tuple[Steps, ...]
    asleep_a: Steps
    wake: Steps
    extra: Steps
    zero: Steps
    bridged: Steps

    def changes_s(self) -> Array:
        """Every instant at which a sustained current changes, s, ascending."""
        steps = [self.key_contact, self.contact, self.asleep_a, self.wake, self.extra, self.zero]
        steps += [*self.slots.values(), *self.bike_loads]
        spans = [time for span in (*self.cranks, *self.runs, *self.dark) for time in span]
        spans += [start + self.install.idle_s for start, _ in self.runs]
        edges = [edge.time_s for edge in self.edges if math.isfinite(edge.time_s)]
        return np.unique(np.concatenate([*(step.times_s for step in steps), np.array([*spans, *edges])]))


def timeline_of(install: SimulatedInstall, script: Script, from_s: float = 0.0) -> SimulatedTimeline:
    """Work out what the script makes of the install.

    Nothing before an instant depends on what is done after it, nor on where the script ends.

    Args:
        install: true parameters.
        script: what is done when.
        from_s: nothing before it is asked for, s: earlier wake-ups may be left out.
    """
    key_changes = [(time, 1.0) for time in script.times("key on")] + [(time, 0.0) for time in script.times("key off")]
    key = Steps.of(0.0, key_changes)
    key_contact = bounced(key, install.key_bounce_ms)
    cranks = [_crank(install, script, time) for time in script.times("crank")]
    runs = _runs(install, script, cranks)
    dark = _dark(install, cranks, runs, key)
    edges = trigger_edges(install, script, key_contact, dark)
    armature, starts = relay.moves(edges, install)
    contact = relay.contact(armature, install).both(_joint(install, key, runs))
    return SimulatedTimeline(
        install=install,
        end_s=script.end_s,
        key=key,
        key_contact=key_contact,
        cranks=cranks,
        runs=runs,
        dark=dark,
        edges=edges,
        coil_start_a=starts,
        armature=armature,
        contact=contact,
        slots={circuit.slot: _switch(script, circuit.slot).both(contact) for circuit in install.circuits},
        bike_loads=tuple(switching(load, key, runs, from_s, script.end_s) for load in install.bike_loads),
        asleep_a=_asleep(install, script, key),
        wake=_wake(install, script, from_s),
        extra=fuse_in(script, install.extra_drain_slot),
        zero=_between(script, "zero", "zero end"),
        bridged=_between(script, "shunt bridged", "shunt free"),
    )


def _between(script: Script, begin: Do, end: Do) -> Steps:
    """1 from each time that one thing is done to the next time that the other is."""
    return Steps.of(0.0, [*((t, 1.0) for t in script.times(begin)), *((t, 0.0) for t in script.times(end))])


def _crank(install: SimulatedInstall, script: Script, start: float) -> tuple[float, float]:
    """The starter turns for its time, or until the key or the engine switch ends it."""
    stop = start + install.crank_s
    return start, min([end for end in _engine_ends(script) if start < end < stop], default=stop)


def _engine_ends(script: Script) -> list[float]:
    return sorted([*script.times("engine off"), *script.times("key off")])


def _dark(
    install: SimulatedInstall, cranks: list[tuple[float, float]], runs: list[tuple[float, float]], key: Steps
) -> list[tuple[float, float]]:
    """Where the lamps are cut: while the starter turns, or from then on until the engine runs or the key is turned."""
    if not install.trigger_drops_in_crank:
        return []
    found: list[tuple[float, float]] = []
    for start, stop in cranks:
        back = stop
        if install.lamps_stay_out:
            ends = [*(run for run, _ in runs if run >= stop), *(float(t) for t in key.times_s if t > start)]
            back = min(ends, default=math.inf)
        out = start + LIGHTS_OUT_S
        if out < back and (not found or out > found[-1][1]):
            found.append((out, back))
    return found


def _joint(install: SimulatedInstall, key: Steps, runs: list[tuple[float, float]]) -> Steps:
    """1 while the feed's joint holds; it opens at its times after each key-on, and after each start of the engine."""
    ons = [(float(t), install.shaken) for t, state in zip(key.times_s, key.values[1:], strict=True) if state]
    ons += [(start, install.shaken_running) for start, _ in runs]
    opens = [(at + after, length) for at, pattern in ons for after, length in pattern]
    changes = [change for start, length in sorted(opens) for change in ((start, 0.0), (start + length, 1.0))]
    return Steps.of(1.0, changes)


def _runs(install: SimulatedInstall, script: Script, cranks: list[tuple[float, float]]) -> list[tuple[float, float]]:
    if not install.starts:
        return []
    ends = [*_engine_ends(script), script.end_s]
    whole = [stop for start, stop in cranks if stop >= start + install.crank_s and stop < script.end_s]
    return [(stop, next((end for end in ends if end > stop), script.end_s)) for stop in whole]


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


def _asleep(install: SimulatedInstall, script: Script, key: Steps) -> Steps:
    """Current above the drain after each key-off, stage by stage; from the second on behind a fuse."""
    first = _stages(key, install.awake[:1], 0.0)
    if len(install.awake) < 2:
        return first
    return first.plus(_stages(key, install.awake[1:], install.awake[0][1]).both(fuse_in(script, install.awake_slot)))


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


def _wake(install: SimulatedInstall, script: Script, from_s: float) -> Steps:
    if install.wakeups is None:
        return Steps.of(0.0, [])
    wake = install.wakeups
    skipped = max(0, math.floor((from_s - wake.first_s) / wake.period_s) - 1)
    starts = np.arange(wake.first_s, script.end_s, wake.period_s)[skipped:]
    times = np.stack([starts, starts + wake.length_s], axis=1).ravel()
    wakes = Steps(times, np.r_[0.0, np.tile([1.0, 0.0], len(starts))])
    return wakes if install.wakeups_slot is None else wakes.both(fuse_in(script, install.wakeups_slot))
