"""The instants at which the circuit is solved: the logger's own, and a fine net around each event."""

from __future__ import annotations

import numpy as np

from .install import Install
from .script import Script

AFTER = np.concatenate(([-1e-7, 1e-7], np.geomspace(2e-5, 0.4, 28)))


def edges(inst: Install, script: Script, start: float) -> np.ndarray:
    """Times at which something is switched, within the simulated time."""
    out: list[float] = []
    for spans in (script.key_raw or script.key, script.crank, script.run, script.revs):
        out += [x for span in spans for x in span]
    for load in (*inst.bike, *inst.circuits):
        out += load.edges(start, script.end_s)
    out += [x for c in inst.chargers for x in c[:2]]
    found = np.unique(np.array(out, dtype=float))
    return found[np.isfinite(found) & (found > start) & (found < script.end_s)]


def build(
    start: float, script: Script, samples: np.ndarray, switched: np.ndarray, contacts: np.ndarray, base_s: float
) -> np.ndarray:
    """Sorted unique instants from `start` to the script's end."""
    end = script.end_s
    parts = [np.array([start, end]), samples]
    if base_s:
        parts.append(np.arange(start, end, base_s))
    elif start < 0:
        parts.append(np.arange(start, 0, 0.005))
    for a, b in script.crank:
        parts.append(np.arange(a - 0.02, b + 0.5, 1e-3))
    if len(switched) < 3000:
        parts.append((switched[:, None] + AFTER).ravel())
    else:
        parts.append((switched[:, None] + AFTER[:2]).ravel())
    net = AFTER[:12] if len(contacts) < 1000 else AFTER[:2]
    parts.append((contacts[:, None] + net).ravel())
    t = np.concatenate(parts)
    t.sort(kind="stable")  # made of sorted runs
    t = t[(t >= start) & (t <= end)]
    return t[np.concatenate(([True], t[1:] > t[:-1]))]


def bins(start: float, script: Script, switched: np.ndarray) -> np.ndarray:
    """Boundaries for the slow states: short after each event and while cranking, long when nothing happens."""
    end = script.end_s
    step = 0.2 if end - start < 1500 else 10.0
    near = np.geomspace(0.005, 20.0, 24)
    parts = [np.array([start, end]), np.arange(start, end, step)]
    few = switched if len(switched) < 400 else switched[:: len(switched) // 400 + 1]
    parts.append((few[:, None] + near).ravel())
    for a, b in script.crank:
        parts.append(np.arange(a, b + 0.3, 0.005))
    t = np.unique(np.round(np.concatenate(parts), 6))
    t = t[(t >= start) & (t <= end)]
    return t[np.concatenate(([True], np.diff(t) > 1e-4))]
