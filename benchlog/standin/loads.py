"""What draws current, and when: the bike, the coil, the circuits and the starter."""

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin import relay
from benchlog.standin.install import BikeLoad, SimulatedCircuit
from benchlog.standin.lamp_test import lamp_test_a, lamp_test_mean_a, trigger_level
from benchlog.standin.steps import Steps
from benchlog.standin.switching import pulsing, since_on
from benchlog.standin.timeline import SimulatedTimeline

STARTER_RISE_S = 0.003
LIGHTS_OUT_SHARE = 0.5  # of the bike's key-on current, while the starter turns and the lamps are cut
SHORT_BREAK_S = 0.005  # a shorter loss of supply brings no new inrush


def circuit_a(line: SimulatedTimeline, circuit: SimulatedCircuit, time_s: Array, *, sustained: bool = False) -> Array:
    """One circuit's current, A; without its inrush and its pulses' mean where ``sustained``."""
    fed = line.slots[circuit.slot]
    current = fed.at(time_s) * (0.0 if line.install.ground_open else circuit.actual_a)
    if not sustained:
        if circuit.pulse is not None:
            current *= pulsing(since_on(fed, time_s), circuit.pulse) / circuit.pulse[1]
        _add_inrush(current, time_s, fed, circuit.inrush, circuit.inrush_tau_s)
    return current


def feed_a(line: SimulatedTimeline, time_s: Array, *, sustained: bool = False) -> Array:
    """The current into the fuse block, A."""
    total = np.zeros_like(time_s)
    for circuit in line.install.circuits:
        total += circuit_a(line, circuit, time_s, sustained=sustained)
    return total


def load_a(line: SimulatedTimeline, time_s: Array, feed: Array, *, sustained: bool = False) -> Array:
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
    bike = line.key_contact.at(time_s) * install.bike_a
    if not sustained:
        _add_inrush(bike, time_s, line.key_contact, install.bike_inrush, install.bike_inrush_tau_s)
    for start, stop in line.dark:
        bike[(time_s >= start) & (time_s < stop)] *= LIGHTS_OUT_SHARE
    for load, on in zip(install.bike_loads, line.bike_loads, strict=True):
        bike += bike_load_a(load, on, time_s, sustained=sustained)
    starter = np.zeros_like(time_s)
    for start, stop in line.cranks:
        here = (time_s >= start) & (time_s < stop)
        after = time_s[here] - start
        starter[here] = install.starter_run_a if sustained else _starter_a(line, after)
    coil = _coil_sustained_a(line, time_s) if sustained else coil_a(line, time_s)
    return total + bike + starter + coil


def bike_load_a(load: BikeLoad, on: Steps, time_s: Array, *, sustained: bool = False) -> Array:
    """The current of one of the bike's own loads, A; ``on`` is 1 within its spans."""
    current = on.at(time_s) * load.amps
    if sustained:
        return current * (1.0 if load.flash is None else load.flash[1])
    if load.flash is not None:
        current *= pulsing(since_on(on, time_s), load.flash)
    _add_inrush(current, time_s, on, load.inrush, load.inrush_tau_s)
    return current


def coil_a(line: SimulatedTimeline, time_s: Array) -> Array:
    """The relay coil's current, A."""
    current = relay.coil_a(time_s, line.edges, line.coil_start_a, line.install)
    if line.install.lamp_test is not None:
        current += lamp_test_a(line.install, time_s) * (trigger_level(line, time_s) == 0)
    return current


def _coil_sustained_a(line: SimulatedTimeline, time_s: Array) -> Array:
    level = trigger_level(line, time_s)
    current = level * line.install.coil_a
    if line.install.lamp_test is not None:
        current += (level == 0) * lamp_test_mean_a(line.install)
    return current


def _starter_a(line: SimulatedTimeline, after_s: Array) -> Array:
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
