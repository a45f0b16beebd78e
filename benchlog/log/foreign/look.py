"""The first look at a foreign file: its lines, where its table begins, and its columns as text and numbers."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from benchlog.core.errors import BadLog
from benchlog.core.roles import UNITS
from benchlog.log.foreign.units import parted_header, unit_in
from benchlog.log.readers.cells import MISSING, UNIT_CELL
from benchlog.log.readers.cutting import SEPARATORS, Guess, fitness, guess_of, has_decimal_comma, split, text_of
from benchlog.log.readers.raw import Floats
from benchlog.log.readers.source import Source
from benchlog.log.readers.stream import take_sums_off

_LINES, _BYTES, _ROWS = 400, 4 << 20, 4000
_OVER = {"ol", "o.l", "ovld", "over", "overflow", "+over", "-over", "ovl", "over range", "over-range"}


@dataclass(frozen=True, slots=True)
class SeenColumn:
    """One column of a foreign file.

    Attributes:
        number: from 1.
        header: its name; empty where there is none.
        unit: from the header, the line of units, the cells or the column beside it; None where none is written.
        cells: some of its cells, in order.
        values: those as numbers in ``unit``; NaN where they are none.
        over: texts in it that mean over range.
        decimals: most digits behind the decimal mark.
    """

    number: int
    header: str
    unit: str | None
    cells: tuple[str, ...]
    values: Floats
    over: tuple[str, ...]
    decimals: int

    @property
    def is_number(self) -> bool:
        """Most of its cells are numbers."""
        filled = sum(1 for cell in self.cells if cell.casefold() not in MISSING)
        return filled > 0 and 2 * int(np.isfinite(self.values).sum()) > filled


@dataclass(frozen=True, slots=True)
class SeenTable:
    """A foreign file at first look.

    Attributes:
        path: the file.
        shown: number and text of the lines around the head of its table.
        columns: all of them.
    """

    path: Path
    shown: tuple[tuple[int, str], ...]
    columns: tuple[SeenColumn, ...]


def look(path: Path) -> SeenTable:
    """Read the beginning of a file, up to 4 MB.

    Raises:
        BadLog: it cannot be read, or holds no table of numbers.
    """
    source = Source(path)
    try:
        if source.head.startswith(b"PAR1"):
            raise BadLog(source.name, "a Parquet file names its columns itself; use --logger with a file you write")
        take_sums_off(source)
        text = text_of(source.read(_BYTES))
    finally:
        source.close()
    lines = [line.rstrip("\r") for line in text.split("\n")]
    if len(lines) > 2:
        lines.pop()  # cut by the end of what was read
    head = lines[:_LINES]
    there = [separator for separator in SEPARATORS if any(separator in line for line in head)]
    guesses = [guess_of(head, separator, None) for separator in there or (",",)]
    best = max(guesses, key=fitness)
    if best.data is None:
        raise BadLog(source.name, "no line of numbers was found; a log is a table of numbers, one sample a line")
    header, units = _named(best)
    rows = [split(line, best.separator) for line in lines[best.data :] if line and not line.startswith("#")]
    rows = rows[:: max(len(rows) // _ROWS, 1)]
    comma = has_decimal_comma(best)
    columns = [_column(n, header, units, rows, comma) for n in range(best.width)]
    start = max(best.data - 3, 0)
    shown = tuple((n + 1, lines[n]) for n in range(start, min(best.data + 3, len(lines))))
    return SeenTable(path, shown, tuple(_beside(columns)))


def _named(guess: Guess) -> tuple[Sequence[str], Sequence[str]]:
    """The cells of the header, and those of the line of units below it."""
    assert guess.data is not None
    above = [guess.rows[n] for n in range(guess.data - 1, -1, -1) if any(guess.rows[n])]
    units: Sequence[str] = ()
    if above and all(unit_in(cell) or cell.casefold() in MISSING for cell in above[0]) and len(above) > 1:
        named = above[1]
        if len(named) >= guess.width and not all(unit_in(cell) for cell in named):
            units, above = above[0], above[1:]
    if not above or len([cell for cell in above[0] if cell]) < min(2, guess.width):
        return (), units
    if any(cell and _number(cell, comma=True) is not None for cell in above[0]):
        return (), units
    return [above[0][0].lstrip("# "), *above[0][1:]], units


def _column(
    n: int, header: Sequence[str], units: Sequence[str], rows: Sequence[Sequence[str]], comma: bool
) -> SeenColumn:
    cells = tuple(row[n] if n < len(row) else "" for row in rows)
    name = header[n] if n < len(header) else ""
    written = Counter(found[2] for cell in cells if (found := UNIT_CELL.fullmatch(cell)))
    unit = unit_in(written.most_common(1)[0][0]) if written else None
    unit = unit or (unit_in(units[n]) if n < len(units) else None) or parted_header(name)[1]
    values = np.array([_in_unit(cell, unit, comma) for cell in cells])
    over = tuple(sorted({cell for cell in cells if cell.casefold() in _OVER}))
    marks = "," if comma else "."
    decimals = max((len(_bare(cell).partition(marks)[2].strip()) for cell in cells[:200]), default=0)
    return SeenColumn(n + 1, name, unit, cells, values, over, decimals)


def _beside(columns: Sequence[SeenColumn]) -> list[SeenColumn]:
    """Columns whose unit is a column of its own behind them: ``12.63 V 0.61 A`` cut at the spaces."""
    found = list(columns)
    for n, column in enumerate(columns[:-1]):
        after = columns[n + 1].cells
        if column.unit is None and column.is_number and after and len(set(after)) == 1 and unit_in(after[0]):
            found[n] = replace(column, unit=unit_in(after[0]))
    return found


def _bare(cell: str) -> str:
    found = UNIT_CELL.fullmatch(cell)
    return found[1] if found else cell


def _in_unit(cell: str, unit: str | None, comma: bool) -> float:
    found = UNIT_CELL.fullmatch(cell)
    number = _number(found[1] if found else cell, comma)
    if number is None:
        return float("nan")
    own = unit_in(found[2]) if found else unit
    if found and own and unit and own != unit and UNITS[own][0] == UNITS[unit][0]:
        return number * UNITS[own][1] / UNITS[unit][1]
    return number


def _number(cell: str, comma: bool) -> float | None:
    try:
        return float(cell.replace(",", ".") if comma else cell)
    except ValueError:
        return None
