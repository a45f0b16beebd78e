"""What draws current, and when: the bike, the coil, the circuits and the starter."""

import numpy as np

from benchlog.standin import relay
from benchlog.standin.install import Circuit
from benchlog.standin.steps import Steps
from benchlog.standin.timeline import Timeline
from benchlog.trace import Array

STARTER_RISE_S = 0.003
LIGHTS_OUT_SHARE = 0.5  # of the bike's key-on current, while the starter turns and the lamps are cut
SHORT_BREAK_S = 0.005  # a shorter loss of supply brings no new inrush


def circuit_a(line: Timeline, circuit: Circuit, time_s: Array, *, sustained: bool = False) -> Array:
    """One circuit's current, A; without its inrush where ``sustained``."""
    fed = line.slots[circuit.slot]
    current = fed.at(time_s) * (0.0 if line.install.ground_open else circuit.actual_a)
    if not sustained:
        _add_inrush(current, time_s, fed, circuit.inrush, circuit.inrush_tau_s)
    return current


def feed_a(line: Timeline, time_s: Array, *, sustained: bool = False) -> Array:
    """The current into the fuse block, A."""
    total = np.zeros_like(time_s)
    for circuit in line.install.circuits:
        total += circuit_a(line, circuit, time_s, sustained=sustained)
    return total


def load_a(line: Timeline, time_s: Array, feed: Array, *, sustained: bool = False) -> Array:
    """Everything that draws, the feed included, A: what the battery gives with the engine off."""
    install = line.install
    total = (
        feed
        + install.drain_a
        - install.charger_a
        + line.extra.at(time_s) * install.extra_drain_a
        + line.asleep_a.at(time_s)
    )
    if install.wakeups is not None:
        total += line.wake.at(time_s) * install.wakeups.height_a
    key = line.key.at(time_s)
    bike = key * install.bike_a
    if not sustained:
        _add_inrush(bike, time_s, line.key, install.bike_inrush, install.bike_inrush_tau_s)
    starter = np.zeros_like(time_s)
    for start, stop in line.cranks:
        here = (time_s >= start) & (time_s < stop)
        after = time_s[here] - start
        if install.trigger_drops_in_crank:
            bike[here] *= LIGHTS_OUT_SHARE
        starter[here] = install.starter_run_a if sustained else _starter_a(line, after)
    coil = _coil_sustained_a(line, time_s) if sustained else coil_a(line, time_s)
    return total + bike + starter + coil


def coil_a(line: Timeline, time_s: Array) -> Array:
    """The relay coil's current, A."""
    return relay.coil_a(time_s, line.edges, line.coil_start_a, line.install)


def _coil_sustained_a(line: Timeline, time_s: Array) -> Array:
    level = Steps.of(0.0, [(edge.time_s, edge.level) for edge in line.edges])
    return level.at(time_s) * line.install.coil_a


def _starter_a(line: Timeline, after_s: Array) -> Array:
    install = line.install
    above = (install.starter_peak_a - install.starter_run_a) * np.exp(-after_s / install.starter_tau_s)
    ripple = install.starter_ripple_a * np.sin(2 * np.pi * install.starter_ripple_hz * after_s)
    turning = 1.0 - np.exp(-after_s / install.starter_tau_s)  # compression shows once it turns
    current: Array = (install.starter_run_a + above + ripple * turning) * np.minimum(after_s / STARTER_RISE_S, 1.0)
    return current


def _add_inrush(current: Array, time_s: Array, fed: Steps, factor: float, tau_s: float) -> None:
    """Add ``factor`` times the current after each switch-on, falling with ``tau_s``, in place."""
    if factor == 0:
        return
    off_since = -np.inf
    for start, before, now in zip(fed.times_s, fed.values[:-1], fed.values[1:], strict=True):
        if before and not now:
            off_since = float(start)
        if now and not before and (off_since == -np.inf or start - off_since > SHORT_BREAK_S):
            lo, hi = np.searchsorted(time_s, [start, start + 12 * tau_s])
            current[lo:hi] *= 1.0 + factor * np.exp(-(time_s[lo:hi] - start) / tau_s)
