"""What a fault says about the quantities that a log shows."""

from collections.abc import Mapping
from dataclasses import dataclass, field

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    A quantity that a fault does not name is as a good install shows it. ``slot`` stands for some of the circuits,
    ``slots`` for every circuit.

    Attributes:
        id: as in results. text: what is wrong. shows: how it shows in a log.
        predicts: quantity -> the interval that it must lie in.
        either: quantities of which at least one must lie in its interval.
        hints: like ``predicts``, but no log has to show them for the fault to be sure.
        also: quantities that it moves as a consequence, wherever they come to lie.
        perhaps: quantities that it could have moved as well, by chance.
        explains: checks that may fail or stay unseen because of it.
        tests: what a rider can do next, in order of effort.
        caution: what can hurt while doing it; empty if nothing special.
    """

    id: str
    text: str
    shows: str
    predicts: Mapping[str, Interval]
    explains: tuple[str, ...]
    tests: tuple[str, ...]
    caution: str = ""
    either: Mapping[str, Interval] = field(default_factory=dict)
    hints: Mapping[str, Interval] = field(default_factory=dict)
    also: tuple[str, ...] = ()
    perhaps: tuple[str, ...] = ()
