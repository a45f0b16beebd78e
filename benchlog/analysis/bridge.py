"""When did the shunt's current say nothing? While a cable bridged it, and while it was not back from its zero.

From the marks ``shunt bridged`` and ``shunt free``, and from ``zero end`` to ``shunt back``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchlog.core.events import ShuntBack, ShuntBridged, ShuntFree, ZeroFrom, ZeroTo
from benchlog.core.trace import Mark

BRIDGED, FREE = ShuntBridged.text, ShuntFree.text
#: A mark is set by a hand that has just let go of the cable, or is about to take it: the bridge may have been put on
#: this long before its mark, and taken off this long after it, s (common practice, no source). Longer than for a fuse,
#: since the cable lies at the battery and the key a step away.
HAND_S = 5.0


@dataclass(frozen=True, slots=True)
class Bridge:
    """One stretch with the shunt bridged, or not back from its zero.

    Attributes:
        begun_s, ended_s: as marked, s; None where it began before the log, or ends after it.
        away: out of circuit, from the end of a zero until it was back.
    """

    begun_s: float | None
    ended_s: float | None
    away: bool = False

    @property
    def from_s(self) -> float:
        """From here on the current does not count, s."""
        if self.begun_s is None:
            return -math.inf
        return self.begun_s if self.away else self.begun_s - HAND_S

    @property
    def to_s(self) -> float:
        """Up to here the current does not count, s."""
        if self.ended_s is None:
            return math.inf
        # who says that the shunt is back has put it back
        return self.ended_s if self.away else self.ended_s + HAND_S

    def touches(self, from_s: float, to_s: float) -> bool:
        """Whether some of a stretch has no current that counts."""
        return self.from_s < to_s and from_s < self.to_s

    @property
    def words(self) -> str:
        """``from 43.1 s to 68.2 s``, as marked."""
        begun = "the start of the log" if self.begun_s is None else f"{self.begun_s:.1f} s"
        ended = "the end of the log" if self.ended_s is None else f"{self.ended_s:.1f} s"
        return f"from {begun} to {ended}"


def told(bridges: Sequence[Bridge]) -> str:
    """``bridged from 43.1 s to 68.2 s and from …``, for a sentence that begins with the shunt."""
    parts = []
    for away, what in ((False, "bridged"), (True, "not back from its zero")):
        if there := [one.words for one in bridges if one.away is away]:
            parts.append(f"{what} {' and '.join(there)}")
    return ", and ".join(parts)


def aways_of(marks: Sequence[Mark]) -> tuple[Bridge, ...]:
    """Each stretch from the end of a zero to the next zero or to ``shunt back``; none where nobody marked it back."""
    found: list[Bridge] = []
    open_s: float | None = None
    until_back: list[Bridge] = []
    for mark in marks:
        if isinstance(mark.event, ZeroFrom | ShuntBack) and open_s is not None:
            until_back.append(Bridge(open_s, mark.time_s, away=True))
            open_s = None
        if isinstance(mark.event, ZeroTo):
            open_s = mark.time_s
        elif isinstance(mark.event, ShuntBack):
            found += until_back
            until_back = []
    return tuple(found)


def bridges_of(marks: Sequence[Mark]) -> tuple[tuple[Bridge, ...], tuple[str, ...]]:
    """Each stretch with the shunt bridged, in time order, and a plain sentence for each mark that lacks its other.

    A mark without its other never makes a current count that a bridge may have taken: what was bridged and not freed
    is bridged to the end of the log, what was freed first of all was bridged from its start.
    """
    found: list[Bridge] = []
    faults: list[str] = []
    begun_s: float | None = None
    freed = False
    for mark in marks:
        if isinstance(mark.event, ShuntBridged):
            if begun_s is not None:
                faults.append(
                    f'the mark "{BRIDGED}" at {mark.time_s:.1f} s came while the shunt was bridged already '
                    f'(from {begun_s:.1f} s); mark "{FREE}" where the bridge comes off'
                )
                continue
            begun_s = mark.time_s
        elif isinstance(mark.event, ShuntFree):
            if begun_s is None:
                taken = "it was not used" if freed else "the shunt counts as bridged from the start of the log"
                faults.append(
                    f'the mark "{FREE}" at {mark.time_s:.1f} s has no "{BRIDGED}" before it, so {taken}; '
                    f'mark "{BRIDGED}" where the bridge is put on'
                )
            if begun_s is not None or not freed:
                found.append(Bridge(begun_s, mark.time_s))
            begun_s, freed = None, True
    if begun_s is not None:
        faults.append(
            f'the mark "{BRIDGED}" at {begun_s:.1f} s has no "{FREE}" after it, so the shunt counts as bridged to the '
            f'end of the log; mark "{FREE}" where the bridge comes off'
        )
        found.append(Bridge(begun_s, None))
    return tuple(found), tuple(faults)
