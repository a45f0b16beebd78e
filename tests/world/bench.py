"""What behaviours and faults may change: one bench with its bike, session and logger."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from .install import Install
from .loads import Load, cut
from .logger import Logger
from .script import Script


@dataclass
class Bench:
    """A case in the making. `plan` is fixed before behaviours and faults come."""

    rng: np.random.Generator
    inst: Install
    script: Script
    logger: Logger
    plan: dict
    settle_s: float
    notes: dict[str, float] = field(default_factory=dict)

    def uniform(self, a: float, b: float) -> float:
        """A number between a and b."""
        return float(self.rng.uniform(a, b))

    def logly(self, a: float, b: float) -> float:
        """A number between a and b, even in its logarithm."""
        return float(np.exp(self.rng.uniform(math.log(a), math.log(b))))

    @property
    def limits(self) -> dict:
        """The plan's limits."""
        return self.plan["limits"]


@dataclass(frozen=True)
class Twist:
    """A behaviour or a fault: its name, when it acts, what it does, and the checks it concerns.

    `stage` is "script" (before the session is fixed), "circuit" (afterwards) or "logger". `fails` are checks whose
    true value it moves out of their limit (faults), `touches` those whose value or visibility it may change.
    `apply` returns False where it does not fit the session, and then changed nothing.
    """

    name: str
    stage: str
    apply: Callable[[Bench], bool]
    touches: tuple[str, ...] = ()
    fails: tuple[str, ...] = ()


def room(s: Script, t: float, length: float) -> None:
    """Make room: everything at or after t moves later by `length`, spans that hold t grow."""

    def move(x: float) -> float:
        # the story is told to a tenth of a millisecond
        return x + length if x >= t - 1e-4 and math.isfinite(x) else x

    for name in ("key", "key_raw", "crank", "run", "revs", "stumbles", "all_on"):
        setattr(s, name, [(move(a), move(b)) for a, b in getattr(s, name)])
    s.slots = [[(move(a), move(b)) for a, b in spans] for spans in s.slots]
    s.marks = [(move(x), y) for x, y in s.marks]
    s.story = [(move(x), y) for x, y in s.story]
    s.end_s += length


def drop_marks(s: Script, t: float, *texts: str) -> None:
    """Take out the marks of these texts at or after t."""
    s.marks = [(x, y) for x, y in s.marks if not (x >= t - 1e-6 and y in texts)]


def add_sleep(b: Bench) -> None:
    """The bike's and the install's own drain, and what stays awake for a while after each key-off."""
    s, inst = b.script, b.inst
    always = [(-1e4, 1e9)]
    inst.bike.append(Load("clock and control units asleep", inst.drain_a, "battery", "current", always))
    if inst.added_a > 0:
        inst.bike.append(Load("install asleep", inst.added_a, "battery", "current", always))
    holds = [("control unit shutting down", b.uniform(0.05, 0.2), b.settle_s * b.uniform(0.2, 0.6))]
    holds.append(("tracker falling asleep", b.uniform(0.004, 0.03), b.settle_s))
    for name, amps, length in holds:
        spans = [(k, k + length) for _, k in s.key if math.isfinite(k)]
        inst.bike.append(Load(name, amps, "battery", "current", cut(spans, [x for x in s.key if x[1] - x[0] > 0])))


def bind(b: Bench) -> None:
    """Give the bike's loads and the circuits the session's spans."""
    s, inst = b.script, b.inst
    for load in inst.bike:
        if load.place == "key" and not load.spans:
            load.spans = [(-1e4, 1e9)]
            if inst.lamps_cut and "lamp" in load.name:
                load.spans = cut(load.spans, s.crank)
    for c, spans in zip(inst.circuits, s.slots, strict=True):
        if not c.spans:
            c.spans = list(spans)
