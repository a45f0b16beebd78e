"""Pulses of a few milliseconds on a trigger line that is down: a bike that tests its lamps while they are off.

They come at whole multiples of their period, and are too short to move the armature: that is not worked out here.
"""

from functools import lru_cache

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.relay import falling_a
from benchlog.standin.steps import Steps
from benchlog.standin.timeline import SimulatedTimeline

POINTS = 200_000  # of one period, for its mean


def trigger_level(line: SimulatedTimeline, time_s: Array) -> Array:
    """The trigger's level at each time as its edges have it, the tests left out."""
    return Steps.of(0.0, [(edge.time_s, edge.level) for edge in line.edges]).at(time_s)


def lamp_test_level(install: SimulatedInstall, time_s: Array) -> Array:
    """1 within a pulse, and its fall with ``trigger_fall_tau_s`` after it; 0 without tests."""
    if install.lamp_test is None or install.trigger_dead:
        return np.zeros_like(time_s)
    every_s, length_s = install.lamp_test
    after = np.mod(time_s, every_s)
    fallen: Array = np.exp(-np.maximum(after - length_s, 0.0) / install.trigger_fall_tau_s)
    return fallen


def lamp_test_a(install: SimulatedInstall, time_s: Array) -> Array:
    """What the pulses drive through the coil, A."""
    if install.lamp_test is None or install.trigger_dead:
        return np.zeros_like(time_s)
    every_s, length_s = install.lamp_test
    after = np.mod(time_s, every_s)
    full = install.coil_a
    tau_s = install.coil_h / install.coil_ohm
    peak = full * -np.expm1(-length_s / tau_s)
    rising = full * -np.expm1(-np.minimum(after, length_s) / tau_s)
    current: Array = np.where(
        after < length_s, rising, falling_a(np.maximum(after - length_s, 0.0), peak, full, install)
    )
    return current


@lru_cache(maxsize=16)
def lamp_test_mean_a(install: SimulatedInstall) -> float:
    """The same, averaged over a whole period, A."""
    every_s = install.lamp_test[0] if install.lamp_test is not None else 1.0
    return float(lamp_test_a(install, np.linspace(0.0, every_s, POINTS, endpoint=False)).mean())
