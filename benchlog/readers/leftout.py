"""Rows that were left out: counted by kind, told in notes, refused when there are too many."""

from collections.abc import Iterable
from dataclasses import dataclass

from benchlog.errors import BadLog
from benchlog.readers.raw import KINDS, Fault
from benchlog.result import Note

MOST = 0.01  # of the rows; above it a log is refused


@dataclass(slots=True)
class _Kind:
    count: int
    line: int
    found: str


class LeftOut:
    """The tally over one log."""

    def __init__(self, name: str) -> None:
        self._name = name
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
