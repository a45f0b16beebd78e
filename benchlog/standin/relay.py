"""When the relay's contact closes and opens after the trigger changes.

The coil is a resistance and an inductance; its current moves the armature at two levels, and the
travel takes its time. A real relay's magnet is less simple: judge timing code by this, not a relay.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.steps import Steps

DIODE_V = 0.7  # across a suppression diode
MOST_KICK_V = 60.0  # what the line's insulation and electronics let stand, V (from memory)
UNSUPPRESSED_OHM = 5000.0  # stands for the arc and stray paths that end an unsuppressed coil's current


@dataclass(frozen=True, slots=True)
class Edge:
    """The trigger changes at ``time_s`` to ``level`` (1 fully up, 0 down); ``key`` tells whether the key did it."""

    time_s: float
    level: float
    key: bool = True


def rise_s(level_a: float, full_a: float, tau_s: float, start_a: float = 0.0) -> float:
    """How long a coil's current takes from ``start_a`` to ``level_a`` on its way to ``full_a``, s.

    Infinite where it never gets there. ``tau_s`` is L / R.
    """
    if level_a <= start_a:
        return 0.0
    if level_a >= full_a:
        return math.inf
    return tau_s * math.log((full_a - start_a) / (full_a - level_a))


def beside_ohm(install: SimulatedInstall) -> float:
    """What a coil's current runs through once the trigger let go, besides its own resistance, Ω."""
    return {"diode": 0.0, "resistor": install.resistor_ohm, "none": UNSUPPRESSED_OHM}[install.suppression]


def falling_a(after_s: Array, start_a: float, full_a: float, install: SimulatedInstall) -> Array:
    """Coil current after the trigger was let go, A.

    The trigger itself falls with ``trigger_fall_tau_s`` and drives the coil on its way; a diode
    leaves 0.7 V against the current, a resistor in parallel speeds up its end.
    """
    ohm = install.coil_ohm
    against_a = DIODE_V / ohm if install.suppression == "diode" else 0.0
    tau_s = install.coil_h / (ohm + beside_ohm(install))
    line_tau_s = install.trigger_fall_tau_s
    if math.isclose(line_tau_s, tau_s, rel_tol=1e-6):
        line_tau_s *= 1.0 + 1e-5  # the two-exponential form has no value where both are equal
    driven = (full_a + against_a) / (1.0 - tau_s / line_tau_s)
    own = start_a + against_a - driven
    current = -against_a + driven * np.exp(-after_s / line_tau_s) + own * np.exp(-after_s / tau_s)
    return np.maximum(current, 0.0)


@lru_cache(maxsize=512)
def fall_s(level_a: float, start_a: float, full_a: float, install: SimulatedInstall) -> float:
    """How long the coil current takes to fall to ``level_a`` after the trigger was let go, s."""
    if start_a <= level_a:
        return 0.0
    low, high = 0.0, 20.0 * (install.trigger_fall_tau_s + install.coil_h / install.coil_ohm)
    for _ in range(80):
        middle = (low + high) / 2
        above = float(falling_a(np.array([middle]), start_a, full_a, install)[0]) > level_a
        low, high = (middle, high) if above else (low, middle)
    return high


def coil_a(time_s: Array, edges: list[Edge], starts_a: list[float], install: SimulatedInstall) -> Array:
    """Coil current at each time, A; ``starts_a`` is the current at each edge."""
    if not edges:
        return np.zeros_like(time_s)
    found = np.searchsorted([edge.time_s for edge in edges], time_s, side="right")
    current = np.zeros_like(time_s)
    tau_s = install.coil_h / install.coil_ohm
    for number in np.unique(found[found > 0]):
        edge, start = edges[number - 1], starts_a[number - 1]
        here = found == number
        after = time_s[here] - edge.time_s
        if edge.level > 0:
            full = install.coil_a * edge.level
            current[here] = full + (start - full) * np.exp(-after / tau_s)
        else:
            current[here] = falling_a(after, start, install.coil_a, install)
    return current


def moves(edges: list[Edge], install: SimulatedInstall) -> tuple[list[tuple[float, bool, bool]], list[float]]:
    """The armature's moves as ``(time_s, pulled, key did it)``, and the coil current at each edge, A."""
    found: list[tuple[float, bool, bool]] = []
    starts: list[float] = []
    pulled = False
    tau_s = install.coil_h / install.coil_ohm
    for number, edge in enumerate(edges):
        before = float(coil_a(np.array([edge.time_s]), edges[:number], starts, install)[0])
        starts.append(before)
        until = edges[number + 1].time_s if number + 1 < len(edges) else math.inf
        if edge.level > 0:
            wait = rise_s(install.pull_in_a, install.coil_a * edge.level, tau_s, before)
            at = edge.time_s + wait + install.pull_travel_ms / 1e3
        else:
            at = edge.time_s + fall_s(install.release_a, before, install.coil_a, install)
            at += install.release_travel_ms / 1e3
        if pulled != (edge.level > 0) and at < until:
            pulled = not pulled
            found.append((at, pulled, edge.key))
    return found, starts


def contact(armature: list[tuple[float, bool, bool]], install: SimulatedInstall) -> Steps:
    """Whether the contact conducts (1) or not (0), bounces and chatter included."""
    if install.contact in ("welded", "open"):
        return Steps.of(float(install.contact == "welded"), [])
    if install.contact == "latching":
        armature = [move for move in armature if move[1]][:1]
    if install.sticks_s:
        armature = _stuck_once(armature, install.sticks_s)
    changes: list[tuple[float, float]] = []
    for number, (at, pulled, key) in enumerate(armature):
        until = armature[number + 1][0] if number + 1 < len(armature) else math.inf
        pattern = install.close_bounce_ms if pulled else install.open_bounce_ms
        state = float(pulled)
        changes.append((at, state))
        for wait_ms in pattern:
            at += wait_ms / 1e3
            state = 1.0 - state
            changes.append((at, state))
        if pulled and key:
            for after, length in install.chatter:
                if at + after < until:
                    changes.append((at + after, 0.0))
                if at + after + length < until:
                    changes.append((at + after + length, 1.0))
    if install.contact == "inverted":
        return Steps.of(1.0, [(time, 1.0 - state) for time, state in changes])
    return Steps.of(0.0, changes)


def _stuck_once(armature: list[tuple[float, bool, bool]], sticks_s: float) -> list[tuple[float, bool, bool]]:
    """The moves as the contact makes them, where it opens so much later the first time that the key lets it go."""
    first = next((number for number, (_, pulled, key) in enumerate(armature) if key and not pulled), None)
    if first is None:
        return armature
    before, late_s, after = armature[:first], armature[first][0] + sticks_s, armature[first + 1 :]
    if after and after[0][0] <= late_s:
        return [*before, *after[1:]]  # it is pulled in again before it has let go
    return [*before, (late_s, False, True), *after]
