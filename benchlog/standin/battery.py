"""The battery's current and its voltage at the posts, engine off and running.

The battery is a source with a resistance, and a second resistance that comes in slowly. Running,
the alternator gives what it can; the regulator holds its voltage while that covers the loads and
what the battery takes.
"""

import math

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.loads import feed_a, load_a
from benchlog.standin.timeline import SimulatedTimeline


def posts(line: SimulatedTimeline, time_s: Array, feed: Array) -> tuple[Array, Array]:
    """``battery_a`` (A, positive out of the battery) and ``battery_v`` (V) at each time, ascending."""
    install = line.install
    current = load_a(line, time_s, feed)
    rest_v = install.emf_v + _surface_v(line, time_s)
    voltage = rest_v - _slow_v(line, time_s)
    running = np.zeros(len(time_s), dtype=np.bool_)
    for start, stop in line.runs:
        lo, hi = np.searchsorted(time_s, [start, stop + install.coast_s])
        here = slice(int(lo), int(hi))
        current[here], voltage[here] = _charging(line, time_s[here], (start, stop), current[here], voltage[here])
        running[here] = current[here] < 0
    np.subtract(voltage, current * install.source_mohm / 1e3, out=voltage, where=~running)
    return current, voltage


def _charging(
    line: SimulatedTimeline, time_s: Array, run: tuple[float, float], load: Array, rest_v: Array
) -> tuple[Array, Array]:
    """Battery current and, where it is charged, the posts' voltage; else ``rest_v`` as it came."""
    install = line.install
    after_s = time_s - run[0]
    turning = np.clip((run[1] + install.coast_s - time_s) / install.coast_s, 0.0, 1.0)
    given = alternator_a(install, after_s) * turning * (1.0 - np.exp(-after_s / install.alternator_tau_s))
    wanted = install.charge_floor_a + install.charge_a * np.exp(-after_s / install.charge_tau_s)
    charge = np.minimum(given - load, wanted)
    ripple = install.ripple_v * np.sin(2 * np.pi * install.ripple_hz * after_s)
    raised = rest_v + (install.regulated_v - rest_v) * charge / wanted + ripple
    return -charge, np.where(charge > 0, raised, rest_v)


def alternator_a(install: SimulatedInstall, after_s: Array) -> Array:
    """What the alternator can give so long after the start, A: less while the engine idles."""
    share = np.where(after_s < install.idle_s, install.idle_share, 1.0)
    given: Array = install.alternator_a * share
    return given


def _surface_v(line: SimulatedTimeline, time_s: Array) -> Array:
    install = line.install
    surface: Array = install.start_surface_v * np.exp(-time_s / install.surface_tau_s)
    for start, stop in line.runs:
        if install.alternator_a <= install.bike_a:
            continue
        after = time_s - stop - install.coast_s
        gained = install.charged_surface_v * -math.expm1(-(stop - start) / 10.0)
        surface += np.where(after >= 0, gained * np.exp(-np.maximum(after, 0.0) / install.surface_tau_s), 0.0)
    if install.charger_holds_v:
        changes = np.r_[0.0, line.key.times_s]
        starts = np.unique(changes[changes >= 0])
        held = np.where(line.key.at(starts) > 0, 0.0, install.charger_holds_v)
        surface += _following(starts, held, install.surface_tau_s, time_s)
    return surface


def _slow_v(line: SimulatedTimeline, time_s: Array) -> Array:
    """The slow resistance's share, V: exact for sustained currents; inrush and ripple are too short to count."""
    install = line.install
    starts = np.r_[0.0, line.changes_s()]
    starts = np.unique(starts[starts >= 0])
    just_after = starts + 1e-9
    sustained = load_a(line, just_after, feed_a(line, just_after, sustained=True), sustained=True)
    for start, stop in line.runs:
        here = (starts >= start) & (starts < stop)
        sustained[here] = np.maximum(sustained[here] - alternator_a(install, just_after[here] - start), 0.0)
    return _following(starts, sustained * install.slow_mohm / 1e3, install.slow_tau_s, time_s)


def _following(starts: Array, goal: Array, tau_s: float, time_s: Array) -> Array:
    """What follows ``goal``, new at each of ``starts`` (s, ascending), with one time constant."""
    at_start = np.empty_like(starts)
    value = float(goal[0])  # the bike has long been in its first state
    for number, start in enumerate(starts):
        if number:
            gone = math.exp(-(start - starts[number - 1]) / tau_s)
            value = float(goal[number - 1]) + (value - float(goal[number - 1])) * gone
        at_start[number] = value
    found = np.maximum(np.searchsorted(starts, time_s, side="right") - 1, 0)
    after = np.maximum(time_s - starts[found], 0.0)
    following: Array = goal[found] + (at_start[found] - goal[found]) * np.exp(-after / tau_s)
    return following


def mean_a(line: SimulatedTimeline, from_s: float, to_s: float) -> float:
    """The time-weighted mean of the sustained load between two times with the engine off, A, exact."""
    changes = line.changes_s()
    inside = changes[(changes > from_s) & (changes < to_s)]
    edges = np.r_[from_s, inside, to_s]
    middle = (edges[1:] + edges[:-1]) / 2
    current = load_a(line, middle, feed_a(line, middle, sustained=True), sustained=True)
    return float((current * np.diff(edges)).sum() / (to_s - from_s))
