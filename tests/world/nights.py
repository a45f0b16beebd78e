"""Slow logs beside the main one: the night with the key off, and the bike before the install."""

from __future__ import annotations

import copy
from typing import TYPE_CHECKING

import numpy as np

from .grades import draw_logger
from .script import draw_script

if TYPE_CHECKING:
    from .case import Case

#: What draws all night; what is only falling asleep after a key-off has long gone.
ALWAYS = ("clock and control units asleep", "install asleep")


def add_nights(case: Case, rng: np.random.Generator, *, night: bool, before: bool, noise: bool) -> None:
    """Record the same bike, key off, with a fine drain channel: as it is (`night`) and without install (`before`)."""
    from .case import record

    spec = draw_logger(rng, "night", len(case.inst.circuits))
    for wanted, name in ((night, "night"), (before, "before")):
        if not wanted:
            continue
        script = draw_script(rng, len(case.inst.circuits), 1.0, "night")
        script.settle_max_s = case.logs[0].script.settle_max_s
        inst = copy.deepcopy(case.inst)
        always = [(-1e6, script.end_s + 1)]
        for load in inst.bike:
            if load.name in ALWAYS or load.name.startswith("device fed"):
                load.spans = always
            elif load.name.startswith("wake"):
                spans = load.spans
                every = spans[1][0] - spans[0][0] if len(spans) > 1 else 60.0
                starts = np.arange(every / 2, script.end_s, every)
                load.spans = [(float(t), float(t) + spans[0][1] - spans[0][0]) for t in starts]
            elif load.place == "battery":
                load.spans = [s for s in load.spans if s[1] > 1e8 and s[0] > -1e3]
        # a contact that hung, or opened, for moments of the session does neither at night
        inst.forced_closed = [(-1e6, z) for _, z in inst.forced_closed if z > 1e8]
        inst.forced_open = []
        inst.battery.surface_v = 0.0
        inst.chargers = [(-600.0, 1e9, *c[2:]) for c in inst.chargers if c[1] > 1e8]
        if name == "before":
            gone = ("install asleep", "device fed", "wake of a device")
            inst.bike = [x for x in inst.bike if not x.name.startswith(gone)]
            inst.forced_closed, inst.trigger_live, inst.inverted = [], False, False
            spec = copy.deepcopy(spec)
            spec.seed += 77
            for c in spec.channels:
                c.drift_true *= 0.5
            spec.channels = [c for c in spec.channels if c.role != "feed_v"]
        log = record(inst, script, spec, case.plan, -2.0, noise, name)
        if name == "before":
            case.before = log
        else:
            case.logs.append(log)
