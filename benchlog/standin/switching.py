"""What switches by itself or by hand: the key's contact, fuses, and the bike's own loads, as states over time."""

import math

import numpy as np

from benchlog.core.trace import Array
from benchlog.standin.install import BikeLoad
from benchlog.standin.script import Script
from benchlog.standin.steps import Steps


def fuse_in(script: Script, slot: int | None) -> Steps:
    """1 while a slot's fuse is in; always, where no slot is named."""
    changes = [
        (act.time_s, float(act.do == "fuse in"))
        for act in script.actions
        if act.do in ("fuse in", "fuse out") and act.slot == slot is not None
    ]
    return Steps.of(1.0, changes)


def bounced(key: Steps, bounce_ms: tuple[float, ...]) -> Steps:
    """The key's contact: at each turning on closed, open, closed … for these times, then closed until it is turned."""
    if not bounce_ms:
        return key
    changes: list[tuple[float, float]] = []
    nexts = np.r_[key.times_s, math.inf][1:].tolist()
    for time, value, following in zip(key.times_s.tolist(), key.values[1:].tolist(), nexts, strict=True):
        changes.append((time, value))
        at, state = time, value
        for wait_ms in bounce_ms if value else ():
            at, state = at + wait_ms / 1e3, 1.0 - state
            if at < following:
                changes.append((at, state))
    return Steps.of(float(key.values[0]), changes)


def switching(load: BikeLoad, key: Steps, runs: list[tuple[float, float]], from_s: float, end_s: float) -> Steps:
    """1 within the load's spans; those long before ``from_s`` may be left out."""
    states = runs if load.while_ == "running" else _key_states(key, load.while_ == "key on", end_s)
    found: list[tuple[float, float]] = []
    for start, stop in states:
        begins = [start]
        if math.isfinite(load.every_s):
            first = max(0, math.floor((from_s - start) / load.every_s) - 1)
            last = max(math.ceil((min(stop, end_s) - start) / load.every_s), 0)
            begins = [start + number * load.every_s for number in range(first, last)]
        for begin in begins:
            for after, length in load.spans:
                if begin + after < stop:
                    found += [(begin + after, 1.0), (min(begin + after + length, stop), 0.0)]
    return Steps.of(0.0, [change for change in found if math.isfinite(change[0])])


def _key_states(key: Steps, on: bool, end_s: float) -> list[tuple[float, float]]:
    """Where the key is on, or off after it was turned off; the last lasts beyond the end."""
    nexts = np.r_[key.times_s, math.inf][1:].tolist()
    values = key.values[1:].tolist()
    return [
        (start, stop)
        for start, value, stop in zip(key.times_s.tolist(), values, nexts, strict=True)
        if bool(value) == on and start < end_s
    ]


def since_on(state: Steps, time_s: Array) -> Array:
    """How long the state has been up at each time, s; counted from 0 where it was up from the start."""
    rises = state.times_s[(state.values[1:] > 0) & (state.values[:-1] == 0)]
    if state.values[0] > 0:
        rises = np.r_[0.0, rises]
    if not len(rises):
        return np.zeros_like(time_s)
    after: Array = time_s - rises[np.maximum(np.searchsorted(rises, time_s, side="right") - 1, 0)]
    return after


def pulsing(after_s: Array, pulse: tuple[float, float]) -> Array:
    """1 in the first share of each period, else 0; ``pulse`` is (Hz, share)."""
    hz, share = pulse
    return (np.mod(after_s * hz, 1.0) < share).astype(np.float64)
