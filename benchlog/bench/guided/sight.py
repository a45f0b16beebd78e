"""What a question about the stream looks at, and its answer."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from benchlog.bench.guided.history import Before, History


@dataclass(frozen=True, slots=True)
class Sight:
    """What a question looks at.

    Attributes:
        history: the stream so far. since_s: when this was asked for, s. before: the levels just before that.
        slot, planned_a: of the circuit in question; 0 where there is none.
        need_s: how long the step must last: the rest, or the settled stretch.
        key_off_s: when the key was turned off last, s; NaN where not known.
        before_crank: the levels with the key on just before the starter turned; None where it has not.
        fallen_a: how far the drain fell as this slot's fuse was pulled, A; NaN where no fall was seen.
        limit_ma: the greatest drain that the plan allows; NaN where it says none.
        resolution: role -> the logger's smallest step, canonical unit; left out where not stated.
        left_out: stretches that say nothing of the drain, since a fuse was out, s.
    """

    history: History
    since_s: float
    before: Before
    slot: int = 0
    planned_a: float = 0.0
    need_s: float = 0.0
    key_off_s: float = math.nan
    before_crank: Before | None = None
    fallen_a: float = math.nan
    limit_ma: float = math.nan
    resolution: Mapping[str, float] = field(default_factory=dict)
    left_out: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True, slots=True)
class StepSeen:
    """It has been done.

    Attributes:
        at_s: when, s. by: what showed it. odd: what does not look as planned; "" where all does.
        unsure: asked before it is taken, where it may be something else.
        value: the figure that later steps need: a circuit's step, a fall of the drain, a settled drain, A; else NaN.
        wakes_every_s: where wake-ups alone make the drain too large, their usual interval, s; else NaN.
    """

    at_s: float
    by: str
    odd: str = ""
    value: float = math.nan
    wakes_every_s: float = math.nan
    unsure: str = ""


@dataclass(frozen=True, slots=True)
class Look:
    """The answer so far: ``seen`` once done; until then ``waiting`` says how far it is, where there is more to say."""

    seen: StepSeen | None = None
    waiting: str = ""


Question = Callable[[Sight], Look]
