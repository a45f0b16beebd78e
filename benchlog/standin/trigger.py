"""When the trigger line changes: with the key, or against it where a bike or a fault has it so."""

import math

import numpy as np

from benchlog.standin import relay
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.script import Script
from benchlog.standin.steps import Steps
from benchlog.standin.switching import fuse_in

BACKFED_LEVEL = 0.92  # of the trigger's level with the key on


def trigger_edges(
    install: SimulatedInstall, script: Script, key_contact: Steps, dark: list[tuple[float, float]]
) -> list[relay.Edge]:
    """The line's changes; ``dark`` are the ``(from_s, to_s)`` with the lamps cut."""
    if install.trigger_always_live:
        return [relay.Edge(-1e3, 1.0)]
    if install.trigger_dead:
        return []
    edges = [
        relay.Edge(float(time), state) for time, state in zip(key_contact.times_s, key_contact.values[1:], strict=True)
    ]
    if install.backfed:
        return _backfed_edges(install, script, edges)
    if install.trigger_pulse is not None:
        edges = _pulsed(edges, *install.trigger_pulse, script.end_s)
    for start, stop in dark:
        edges.append(relay.Edge(start, 0.0, key=False))
        if math.isfinite(stop) and key_contact.at(np.array([stop]))[0]:
            edges.append(relay.Edge(stop, 1.0, key=False))
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


def _backfed_edges(install: SimulatedInstall, script: Script, edges: list[relay.Edge]) -> list[relay.Edge]:
    """The load side holds the coil through a device, at a little less than the key gives, while that has its fuse."""
    fuse = fuse_in(script, install.backfed_slot)
    found: list[relay.Edge] = []
    for number, edge in enumerate(edges):
        held = edge.level == 0 and number > 0 and fuse.at(np.array([edge.time_s]))[0] > 0
        found.append(relay.Edge(edge.time_s, BACKFED_LEVEL if held else edge.level, key=not held))
        following = edges[number + 1].time_s if number + 1 < len(edges) else math.inf
        pulled = [float(t) for t in fuse.times_s if edge.time_s < t < following and not fuse.at(np.array([t]))[0]]
        if held and pulled:
            found.append(relay.Edge(pulled[0], 0.0, key=False))
    return found
