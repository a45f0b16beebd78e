"""How a delimited text log is laid out: separator, decimal mark, header and where the samples begin."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING

from benchlog.core.errors import BadLog
from benchlog.core.printable import printable
from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.log.readers.columns import Wanted, from_headers, plain, resolve
from benchlog.log.readers.cutting import (
    POINT,
    SEPARATORS,
    Guess,
    fitness,
    guess_of,
    has_decimal_comma,
    likely_header,
    names_of,
    text_of,
)
from benchlog.log.readers.leftover import meant_role
from benchlog.logger.channels import TIME_UNITS, tidy_unit

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

_LINES = 400  # of the head are looked at: long enough for any preamble seen
_SHOWN = 40  # letters of a line that is quoted


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the cells of a text log are.

    Attributes:
        separator: one character; a space stands for any run of spaces.
        decimal_comma: numbers are written 12,6.
        width: fields a line.
        start: byte where the first line of samples begins.
        line: that line's number, from 1.
        wanted: the columns to read.
        header: the line that names the columns, without spaces around it; empty where none does.
    """

    separator: str
    decimal_comma: bool
    width: int
    start: int
    line: int
    wanted: Wanted
    header: str = ""


def find_layout(where: str, head: bytes, logger: "Logger | None") -> Layout:
    """Work out the layout from the first bytes.

    Raises:
        BadLog: there is no header that is known, no sample, or a column is missing.
    """
    raw_lines = head.split(b"\n")
    if len(raw_lines) > 2:
        raw_lines.pop()  # cut by the end of the head
    raw_lines = raw_lines[:_LINES]
    lines = [text_of(line) for line in raw_lines]
    there = [separator for separator in SEPARATORS if any(separator in line for line in lines)]
    # those that no line has would all cut the same cells: one guess does for them
    absent = [separator for separator in SEPARATORS if separator not in there][:1]
    guesses = [guess_of(lines, separator, logger) for separator in SEPARATORS if separator in (*there, *absent)]
    best = max(guesses, key=fitness)
    headers = best.rows[best.header] if best.header is not None else None
    if headers is None and (logger is None or names_of(logger)):
        headers = likely_header(best)
    line = _line_of(best, headers)
    if best.data is None:
        if headers is None:
            raise BadLog(
                where, "no line of numbers was found; a log is a table of numbers, one sample a line: export it as CSV"
            )
        if best.header is None:
            first = next(n for n, line in enumerate(lines) if line.strip())
            meant = [guess.rows[first] for guess in guesses if guess.separator != " " and _meant(guess.rows[first])]
            if not meant:
                raise BadLog(where, _no_table(lines[first]))
            headers, line = meant[0], first + 1
        _complain_of_header(where, headers, logger, line)
        raise BadLog(where, "there is a header line but no sample below it; record a log first")
    if best.header is not None:
        _refuse_split_numbers(where, best)
        if logger is None and headers is not None:
            headers = _with_units(headers, best)
    wanted = resolve(where, logger, headers, best.width, line)
    start = sum(len(line) + 1 for line in raw_lines[: best.data])
    header = lines[best.header].strip("\ufeff \r") if best.header is not None else ""
    return Layout(best.separator, has_decimal_comma(best), best.width, start, best.data + 1, wanted, header)


def _refuse_split_numbers(where: str, guess: Guess) -> None:
    """Refuse decimal commas between commas: 12,6 would be read as two cells.

    Raises:
        BadLog: the lines have more numbers than the header has names, and none has a decimal point.
    """
    assert guess.header is not None
    names = len(guess.rows[guess.header])
    lines = [row for row in guess.rows[guess.data :] if any(row)]
    whole = all(cell.lstrip("+-").isdigit() for row in lines for cell in row[names:] if cell)
    longer = [row for row in lines if any(row[names:])]
    points = any("." in cell and POINT.fullmatch(cell) for row in lines for cell in row)
    if guess.separator == "," and 2 * len(longer) > len(lines) and whole and not points:
        raise BadLog(
            where,
            f"its lines have {len(longer[0])} cells, but its header has {names} names: a decimal comma cannot be "
            "distinguished from the commas between the cells; export with decimal points, or with semicolons between "
            "the cells, and name every column",
        )


def _with_units(headers: Sequence[str], guess: Guess) -> list[str]:
    """The headers with the units of the line below them, where there is one: ``battery_v`` over ``mV``."""
    assert guess.header is not None
    between = guess.rows[guess.header + 1 : guess.data]
    below = next((row for row in between if any(row) and not row[0].startswith("#")), [])
    found = []
    for header, cell in zip_longest(headers, below[: len(headers)], fillvalue=""):
        unit = tidy_unit(cell.strip("[]() "))
        own = ROLE_UNITS.get(plain(header).casefold(), unit)
        found.append(f"{header} [{unit}]" if unit != own and unit in (*UNITS, *TIME_UNITS) else header)
    return found


def _meant(row: Sequence[str]) -> bool:
    """Whether a line may have been meant as a header."""
    return any(meant_role(plain(cell)) is not None for cell in row)


def _no_table(first: str) -> str:
    """What is wrong with a text of another kind; its first line tells which file that is."""
    shown = printable(first.strip())
    shown = shown if len(shown) <= _SHOWN else f"{shown[:_SHOWN].rstrip()} …"
    return (
        f"this does not look like a log: no line of numbers was found, and it begins with '{shown}'; needed is a table "
        "with one sample a line, under a header line such as time_s,battery_v,battery_a: name the file that the logger "
        "wrote, or export one as CSV"
    )


def _line_of(guess: Guess, headers: Sequence[str] | None) -> int | None:
    """The line, from 1, of the cells that were taken for a header."""
    return next((n + 1 for n, row in enumerate(guess.rows) if headers and row is headers), None)


def _complain_of_header(where: str, headers: Sequence[str], logger: "Logger | None", line: int | None) -> None:
    if logger is None:
        from_headers(where, [plain(header) for header in headers], line)
