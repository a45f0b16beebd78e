"""Cutting the log out of the session: the session is shifted so that the log's first row is at zero."""

from __future__ import annotations

from .bench import Bench


def crop(b: Bench) -> float:
    """Shift everything so that the log begins at 0 and ends at the script's end; returns the simulation's start."""
    start, stop = b.notes.get("from_s", 0.0), b.notes.get("to_s", b.script.end_s)
    s, inst = b.script, b.inst
    if start > 0:

        def moved(spans: list) -> list:
            return [(a - start, z - start, *rest) for a, z, *rest in spans]

        for name in ("key", "key_raw", "crank", "run", "revs", "stumbles", "all_on"):
            setattr(s, name, moved(getattr(s, name)))
        s.slots = [moved(x) for x in s.slots]
        s.marks = [(x - start, y) for x, y in s.marks]
        s.story = [(x - start, y) for x, y in s.story]
        for load in (*inst.bike, *inst.circuits):
            load.spans = moved(load.spans)
            load.phase = load.phase + start * load.pulse_hz
        inst.forced_closed, inst.forced_open = moved(inst.forced_closed), moved(inst.forced_open)
        inst.trigger_flashes = moved(inst.trigger_flashes)
        inst.chargers = moved(inst.chargers)
    s.end_s = stop - start
    # what ran before the log matters for a while: the whole session up to it, or two seconds of rest
    return -max(start, 2.0)
