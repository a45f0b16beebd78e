"""From the cells of a piece to its usable rows: what is left out, and why."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from benchlog.log.readers.cells import MISSING, Times, dates, iso_times
from benchlog.log.readers.columns import Column, Wanted
from benchlog.log.readers.noted import kept_marks, parted
from benchlog.log.readers.raw import Flags, Floats, Ints, Raw, ReadFault

if TYPE_CHECKING:
    import polars as pl

_MOST = 1e20  # as written: no reading in any unit is larger, and what is worked out of it stays finite
_ORDER = ("many", "few", "unreadable", "no_time")  # the first that applies is a row's fault


@dataclass(frozen=True, slots=True)
class Found:
    """One column's numbers as written; NaN where there is none.

    Attributes:
        whole: each is known to be there and to be no larger than any reading.
    """

    values: Floats
    over: Flags | None = None
    unreadable: Flags | None = None
    texts: "pl.Series | None" = None
    whole: bool = False


@dataclass(slots=True)
class Sheet:
    """The cells of a piece, not yet judged.

    Attributes:
        rows: data rows.
        lines: lines, with comments and empty ones.
        at: each data row's line; None where every line is a data row.
        found: each data row's text, for messages.
        numbers, texts: column (from 0) -> cells. Dates may be us since 1970 in ``stamps``.
        many, few: True where a row has too many or too few fields.
        again: lines at which the header stands once more.
        notes: line, text.
        by_lines: read line by line.
    """

    rows: int
    lines: int
    at: Ints | None = None
    found: "pl.Series | None" = None
    numbers: dict[int, Found] = field(default_factory=dict)
    texts: dict[int, "pl.Series"] = field(default_factory=dict)
    stamps: dict[int, tuple[Ints, Flags]] = field(default_factory=dict)
    many: Flags | None = None
    few: Flags | None = None
    again: Ints | None = None
    notes: tuple[tuple[int, str], ...] = ()
    by_lines: bool = False


def accept_rows(sheet: Sheet, wanted: Wanted) -> Raw:
    """Leave out the bad rows and bring the rest to canonical units and signs."""
    bad: dict[str, list[Flags]] = {kind: [] for kind in _ORDER}
    for kind, flags in (("many", sheet.many), ("few", sheet.few)):
        if flags is not None:
            bad[kind].append(flags)
    time = _time(sheet, wanted, bad)
    odd = [sheet.numbers[column.index].unreadable for column in wanted.columns]
    odd += [_endless(sheet.numbers[column.index], column) for column in wanted.columns]
    bad["unreadable"] += [flags for flags in odd if flags is not None]
    faults, keep = _judged(sheet, bad)
    if sheet.again is not None and len(sheet.again):
        faults = (*faults, ReadFault("header", len(sheet.again), int(sheet.again[0]), ""))

    row = line = None
    if keep is not None:
        row = np.flatnonzero(keep)
        line = row if sheet.at is None else sheet.at[row]
        time = None if time is None else time[keep]
    elif sheet.at is not None:
        row, line = np.arange(sheet.rows), sheet.at
    values: dict[str, Floats] = {}
    over: dict[str, Flags] = {}
    for column in wanted.columns:
        values[column.role], flags = _canonical(sheet.numbers[column.index], column, keep)
        if flags is not None:
            over[column.role] = flags
    marks = _marks(sheet.texts[wanted.mark], keep) if wanted.mark is not None else ()
    lines, notes, by_lines = sheet.lines, sheet.notes, sheet.by_lines
    return Raw(time, row, line, values, over, marks, sheet.rows, lines, faults, notes, by_lines)


def are_whole(values: Floats) -> bool:
    """Whether each of some numbers is there and no larger than any reading: in two quick passes, no other array."""
    return len(values) > 0 and bool(values.min() > -_MOST) and bool(values.max() < _MOST)  # neither is so of NaN


def _endless(found: Found, column: Column) -> Flags | None:
    """Where a number is larger than any reading; None where none is. Over range has been told apart."""
    values = found.values
    if found.whole or are_whole(values):
        return None
    large = np.abs(values) > _MOST
    if found.over is not None:
        large &= ~found.over
    for number in column.over_numbers:
        large &= values != number
    return large if large.any() else None


def _time(sheet: Sheet, wanted: Wanted, bad: dict[str, list[Flags]]) -> Floats | Ints | None:
    if wanted.time is None:
        return None
    if wanted.time in sheet.stamps:
        stamps, missing = sheet.stamps[wanted.time]
        bad["no_time"].append(missing)
        return stamps
    if wanted.iso_time:
        times = read_times([sheet.texts[n] for n in (wanted.time, *wanted.more_time)], wanted)
        bad["no_time"].append(times.missing)
        bad["unreadable"].append(times.unreadable)
        return times.us
    found = sheet.numbers[wanted.time]
    if found.unreadable is not None:
        bad["unreadable"].append(found.unreadable)
    if not found.whole and np.isnan(found.values.sum()):
        bad["no_time"].append(np.isnan(found.values))
    return found.values


def read_times(parts: "Sequence[pl.Series]", wanted: Wanted) -> Times:
    """Dates from the cells of one column, or of a date's and a time's."""
    texts = parts[0]
    for part in parts[1:]:
        texts = texts.fill_null("") + " " + part.fill_null("")
    form = wanted.logger.time.format if wanted.logger.time is not None else None
    return iso_times(texts) if form is None else dates(texts, form)


def _judged(sheet: Sheet, bad: dict[str, list[Flags]]) -> tuple[tuple[ReadFault, ...], Flags | None]:
    keep: Flags | None = None
    faults = []
    for kind in _ORDER:
        for flags in bad[kind]:
            if not flags.any():
                continue
            if keep is None:
                keep = np.ones(sheet.rows, dtype=bool)
            at = np.flatnonzero(flags & keep)
            keep[at] = False
            if len(at):
                line = int(at[0]) if sheet.at is None else int(sheet.at[at[0]])
                faults.append(ReadFault(kind, len(at), line, _text(sheet, int(at[0]))))
    return tuple(faults), keep


def _text(sheet: Sheet, row: int) -> str:
    """What stands in a bad row: its line, or the unreadable cell."""
    if sheet.found is not None:
        return str(sheet.found[row])
    for found in sheet.numbers.values():
        if found.unreadable is not None and found.unreadable[row] and found.texts is not None:
            return str(found.texts[row])
    for texts in sheet.texts.values():
        if text := texts[row]:
            return str(text)
    return ""


def _canonical(found: Found, column: Column, keep: Flags | None) -> tuple[Floats, Flags | None]:
    values, over = found.values, found.over
    for number in column.over_numbers:
        over = values == number if over is None else over | (values == number)
    if over is not None and over.any():
        values = np.where(over, np.nan, values)
    else:
        over = None
    if keep is not None:
        values = values[keep]
        over = over[keep] if over is not None and over[keep].any() else None
    if column.factor != 1.0:
        values = values * column.factor
    if column.addend != 0.0:
        values = values + column.addend
    return values, over


def _marks(texts: "pl.Series", keep: Flags | None) -> tuple[tuple[int, str], ...]:
    if texts.null_count() == len(texts):
        return ()
    at = np.flatnonzero(texts.is_not_null().to_numpy())
    cells = zip(at.tolist(), texts.gather(at.tolist()).to_list(), strict=True)
    marks = tuple((n, text) for n, cell in cells for text in parted(cell) if text.casefold() not in MISSING)
    return marks if keep is None else kept_marks(marks, keep)
