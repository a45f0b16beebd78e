"""What a run of the guided test must remember from one step to the next, and over a stop."""

import math
from dataclasses import dataclass, field

from benchlog.bench.guided.history import Before


@dataclass(slots=True)
class Memory:
    """Where a run stands.

    Attributes:
        step: id of the step that it is at; "" once all are done.
        tries: step -> how often it was begun again.
        outcomes: step -> seen, confirmed, done, cut short, not seen or skipped; in the order in which they came.
        walk: the fuse walk is taken. key_off_s: when the key was turned off last, s.
        key: whether the key is on; None where nobody knows.
        before_crank: the levels with the key on just before the starter turned.
        fallen_a: slot -> how far the drain fell as its fuse was pulled, A.
        bridged: the shunt is bridged, so that no current is measured.
        only: the checks that are taken again; all where none is named.
        wakes_every_s: where wake-ups alone are above the limit, how often they come, s; else NaN.
    """

    step: str = ""
    tries: dict[str, int] = field(default_factory=dict)
    outcomes: dict[str, str] = field(default_factory=dict)
    walk: bool = False
    key_off_s: float = math.nan
    before_crank: Before | None = None
    fallen_a: dict[int, float] = field(default_factory=dict)
    wakes_every_s: float = math.nan
    bridged: bool = False
    key: bool | None = None
    only: tuple[str, ...] = ()
