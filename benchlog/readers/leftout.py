"""Rows that were left out: counted by kind, told in notes, refused when there are too many."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from benchlog.errors import BadLog
from benchlog.readers.raw import KINDS, Fault
from benchlog.result import Note

_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d")
_CLOCK = re.compile(r"\d+([:./-])\d+\1\d+(?=[\s,;T]|$)|\d{1,2}:\d\d")  # 12:00:05, 1.5.2025, 5/1/2025
MOST = 0.01  # of the rows; above it a log is refused


@dataclass(slots=True)
class _Kind:
    count: int
    line: int
    found: str


class LeftOut:
    """The tally over one log.

    Args:
        name: the log's.
        dates: its times are read as ISO 8601 dates.
    """

    def __init__(self, name: str, *, dates: bool = False) -> None:
        self._name, self._dates = name, dates
        self._kinds: dict[str, _Kind] = {}
        self._wraps_at: int | None = None

    def add(self, faults: Iterable[Fault], line: int, wraps_at: int | None) -> None:
        """Count the faults of one piece.

        Args:
            faults: with lines counted from the piece's first.
            line: that line's number in the log.
            wraps_at: the counter width that a fall of the time looks like.
        """
        for fault in faults:
            kind = self._kinds.setdefault(fault.kind, _Kind(0, line + fault.line, fault.found))
            kind.count += fault.count
        self._wraps_at = self._wraps_at or wraps_at

    def refuse_if_many(self, rows: int, kept: int) -> None:
        """Refuse a log of which more than 1 % of the rows are bad, or none is good.

        Raises:
            BadLog: how many of how many, the first one, and what to do.
        """
        bad = sum(kind.count for kind in self._kinds.values())
        if not bad and not kept:
            raise BadLog(self._name, "there is no row of numbers; record a log first")
        if bad <= MOST * rows and kept:
            return
        first = min(self._kinds.values(), key=lambda kind: kind.line)
        kinds = ", ".join(f"{kind.count} {_short(name, kind.count)}" for name, kind in sorted(self._kinds.items()))
        found = f", found '{first.found[:80]}'" if first.found else ""
        raise BadLog(
            self._name,
            f"{bad} of {rows} rows cannot be used, more than 1 %: {kinds}; "
            f"the first is line {first.line}{found}; {self._advice()}",
        )

    def _advice(self) -> str:
        if self._wraps_at is not None:
            return f"this looks like a counter that wraps: set wraps_at = {self._wraps_at} in [time] of the logger file"
        if set(self._kinds) == {"backward"}:
            return "the log may be several joined together: check each by itself"
        odd = self._kinds.get("unreadable")
        advice = _time_advice(odd.found, self._dates) if odd is not None else None
        if advice is not None:
            return advice
        return "compare these lines with the header, and the columns and units in the logger file"

    def notes(self) -> tuple[Note, ...]:
        """One note a kind, in the order of their first lines."""
        notes = []
        for name, kind in sorted(self._kinds.items(), key=lambda item: item[1].line):
            text = f"{kind.count} {KINDS[name][kind.count > 1]}"
            if name == "backward" and self._wraps_at is not None:
                text += f"; if the counter wraps, set wraps_at = {self._wraps_at} in [time] of the logger file"
            notes.append(Note(log=self._name, line=kind.line, text=text))
        return tuple(notes)


def _short(kind: str, count: int) -> str:
    """The kind without what was done about it."""
    return KINDS[kind][count > 1].removesuffix(" was left out").removesuffix(" were left out")


def _time_advice(found: str, dates: bool) -> str | None:
    """What to do about a row that begins with a date or a clock time, or None."""
    found = found.lstrip(' "')
    if dates:
        return (
            None
            if _ISO.match(found)
            else "write dates like 2025-05-01T12:00:00.250 (+02:00 or Z may follow), or count the time in seconds"
        )
    if _ISO.match(found):
        return (
            "the time looks like a date: head its column time_s [iso8601], "
            'or set unit = "iso8601" in [time] of the logger file'
        )
    if _CLOCK.match(found):
        return (
            "the time looks like a clock's: count it in seconds, or write dates like 2025-05-01T12:00:00.250 "
            "and head their column time_s [iso8601]"
        )
    return None
