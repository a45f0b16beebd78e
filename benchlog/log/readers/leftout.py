"""Rows that were left out: counted by kind, reported in notes, refused when there are too many."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from benchlog.core.errors import BadLog
from benchlog.core.note import Note
from benchlog.log.readers.raw import KINDS, ReadFault

_ISO = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d")
_CLOCK = re.compile(r"\d+([:./-])\d+\1\d+(?=[\s,;T]|$)|\d{1,2}:\d\d")  # 12:00:05, 1.5.2025, 5/1/2025
_GROUPED = re.compile(r"[+-]?\d{1,3}(?:[,'’]\d{3})+(?:\.\d+)?")  # 12,847.0 or 12'847
_COMMAS_QUOTED = re.compile(r'"[+-]?\d+(?:,\d+)+(?:\.\d+)?"')
_WITH_UNIT = re.compile(r"[+-]?\d+(?:[.,]\d+)?\s*[munµμ]?[VAs]")
_WORD = re.compile(r"[A-Za-z][A-Za-z. ]{0,11}")
_OVER = re.compile(r"(?<![^,;\t ])(?:O\.?V?\.?L\.?D?|OVER|OVERLOAD)(?![^,;\t ])", re.IGNORECASE)
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

    def add(self, faults: Iterable[ReadFault], line: int, wraps_at: int | None) -> None:
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
        faults = {name: kind for name, kind in self._kinds.items() if name != "header"}
        bad = sum(kind.count for kind in faults.values())
        if not bad and not kept:
            raise BadLog(self._name, "there is no row of numbers; record a log first")
        if bad <= MOST * rows and kept:
            return
        first = min(faults.values(), key=lambda kind: kind.line)
        kinds = ", ".join(f"{kind.count} {_short(name, kind.count)}" for name, kind in sorted(faults.items()))
        found = f", found '{first.found[:80]}'" if first.found else ""
        raise BadLog(
            self._name,
            f"{bad} of {rows} rows cannot be used, more than 1 %: {kinds}; "
            f"the first is line {first.line}{found}; {self._advice(faults, rows)}",
        )

    def _advice(self, faults: Mapping[str, _Kind], rows: int) -> str:
        if self._wraps_at is not None:
            return f"this looks like a counter that wraps: set wraps_at = {self._wraps_at} in [time] of the logger file"
        if set(faults) == {"backward"}:
            return _order_advice(faults["backward"], rows)
        if set(faults) == {"checksum"}:
            return "the lines were damaged on their way; record again, over a shorter cable or at a lower line speed"
        odd = faults.get("unreadable")
        advice = odd and (_time_advice(odd.found, self._dates) or _cell_advice(odd.found))
        if advice:
            return advice
        return "compare these lines with the header, and the columns and units in the logger file"

    def notes(self) -> tuple[Note, ...]:
        """One note a kind, in the order of their first lines."""
        notes = []
        for name, kind in sorted(self._kinds.items(), key=lambda item: item[1].line):
            text = f"{kind.count} {KINDS[name][kind.count > 1]}"
            if name == "backward" and self._wraps_at is not None:
                text += f"; if the counter wraps, set wraps_at = {self._wraps_at} in [time] of the logger file"
            if name == "unreadable" and (word := _OVER.search(kind.found)):
                text += f" ({word[0]} in the first); {_over_advice(word[0])}"
            notes.append(Note(log=self._name, line=kind.line, text=text))
        return tuple(notes)


def _short(kind: str, count: int) -> str:
    """The kind without what was done about it."""
    return KINDS[kind][count > 1].removesuffix(" was left out").removesuffix(" were left out")


def _order_advice(kind: _Kind, rows: int) -> str:
    """What to do about times that do not rise."""
    now, _, before = kind.found.partition(" after ")
    if now == before:
        return (
            "several rows have the same time: let the logger write finer times, as in ms, and leave out rows that are "
            "there twice; or give the samples a second as rate_hz in a logger file without [time]"
        )
    if kind.count >= rows - 1:
        return "the newest row comes first: sort the rows by time, the oldest first"
    return (
        "the logger restarted there, or several logs were joined together: save each part as a log of its own, "
        "and check them together"
    )


def _cell_advice(found: str) -> str | None:
    """What to do about a cell that is no number, or None."""
    cell = found.strip(' "')
    if _GROUPED.fullmatch(cell) or _COMMAS_QUOTED.search(cell):
        return (
            "write numbers with a decimal point and nothing between the thousands, or export with semicolons between "
            "the cells and decimal commas"
        )
    if _WITH_UNIT.fullmatch(cell):
        return "its unit does not suit the column; give the column the role that it measures, or write the number alone"
    word = _WORD.fullmatch(cell) or _OVER.search(cell)
    if word:
        return _over_advice(word[0])
    return None


def _over_advice(word: str) -> str:
    return f'if {word} means over range, say so in a logger file: over_range = ["{word}"] for its column'


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
