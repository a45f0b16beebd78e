"""How a delimited text log is laid out: separator, decimal mark, header and where the samples begin."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING

from benchlog.core.errors import BadLog, BenchlogError
from benchlog.core.printable import printable
from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.log.readers.cells import MISSING
from benchlog.log.readers.columns import Wanted, from_headers, plain, resolve
from benchlog.log.readers.leftover import meant_role
from benchlog.logger.channels import TIME_UNITS, tidy_unit

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

SEPARATORS = (";", "\t", ",", " ")
_LINES = 400  # of the head are looked at: long enough for any preamble seen
_SHOWN = 40  # letters of a line that is quoted
_POINT = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
_DATE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d.*")


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


@dataclass(frozen=True, slots=True)
class _Guess:
    separator: str
    rows: list[list[str]]  # one for each line of the head
    width: int
    data: int | None  # first line of samples
    header: int | None
    known: int  # columns of the header that the logger knows
    score: int


def text_of(data: bytes) -> str:
    """Bytes as text: UTF-8, else Latin-1."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def split(line: str, separator: str) -> list[str]:
    """The cells of one line, without quotes and spaces around them."""
    line = line.strip("\r\n\ufeff" if separator == "\t" else "\r\n\ufeff ")
    if separator == " ":
        # a unit belongs to the name before it
        line = re.sub(r" +(?=[\[(])", "\u00a0", re.sub(" +", " ", line))
    cells = unquoted(line, separator)
    if "\u00a0" in line:
        cells = [cell.replace("\u00a0", " ") for cell in cells]
    return [cell.strip() for cell in cells]


def unquoted(line: str, separator: str) -> list[str]:
    """The cells of one line, quotes resolved; a line that no quoting explains is cut at every separator."""
    if "\r" in line:  # a stray one within the line
        line = line.replace("\r", " ")
    if separator != " " and '"' not in line:
        return line.split(separator) if line else []
    try:
        return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    except csv.Error:  # a quoted cell without end
        return line.split(separator)


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
    guesses = [_guess(lines, separator, logger) for separator in SEPARATORS if separator in (*there, *absent)]
    best = max(guesses, key=_fitness)
    headers = best.rows[best.header] if best.header is not None else None
    if headers is None and (logger is None or _names(logger)):
        headers = _likely_header(best)
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
            headers = meant[0]
        _complain_of_header(where, headers, logger)
        raise BadLog(where, "there is a header line but no sample below it; record a log first")
    if best.header is not None:
        _refuse_split_numbers(where, best)
        if logger is None and headers is not None:
            headers = _with_units(headers, best)
    wanted = resolve(where, logger, headers, best.width)
    start = sum(len(line) + 1 for line in raw_lines[: best.data])
    header = lines[best.header].strip("\ufeff \r") if best.header is not None else ""
    return Layout(best.separator, _decimal_comma(best), best.width, start, best.data + 1, wanted, header)


def _refuse_split_numbers(where: str, guess: _Guess) -> None:
    """Refuse decimal commas between commas: 12,6 would be read as two cells.

    Raises:
        BadLog: the lines have more numbers than the header has names, and none has a decimal point.
    """
    assert guess.header is not None
    names = len(guess.rows[guess.header])
    lines = [row for row in guess.rows[guess.data :] if any(row)]
    whole = all(cell.lstrip("+-").isdigit() for row in lines for cell in row[names:] if cell)
    longer = [row for row in lines if any(row[names:])]
    points = any("." in cell and _POINT.fullmatch(cell) for row in lines for cell in row)
    if guess.separator == "," and 2 * len(longer) > len(lines) and whole and not points:
        raise BadLog(
            where,
            f"its lines have {len(longer[0])} cells, but its header has {names} names: a decimal comma cannot be "
            "distinguished from the commas between the cells; export with decimal points, or with semicolons between "
            "the cells, and name every column",
        )


def _with_units(headers: Sequence[str], guess: _Guess) -> list[str]:
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


def _complain_of_header(where: str, headers: Sequence[str], logger: "Logger | None") -> None:
    if logger is None:
        from_headers(where, [plain(header) for header in headers])


def _guess(lines: Sequence[str], separator: str, logger: "Logger | None") -> _Guess:
    rows = [split(line, separator) for line in lines]
    over = {text for channel in logger.channel for text in channel.over_range} if logger is not None else set[str]()
    comments = {n for n, line in enumerate(lines) if line.lstrip(" \ufeff").startswith("#")}
    marks = [_kinds(row, separator, over) for row in rows]
    samples = [n for n, (good, bad, _) in enumerate(marks) if n not in comments and good and good >= bad]
    header, known = _header(rows, comments, logger)
    after = [n for n in samples if header is None or n > header]
    widths = Counter(len(rows[n]) for n in after)
    width = max(widths, key=lambda w: (widths[w], w)) if widths else 0
    if header is not None:
        named = len(rows[header])
        while named > width and not rows[header][named - 1]:
            named -= 1
        width = max(width, named)
        data = _after_header(rows, header, comments, marks, width)
    else:
        data = next((n for n in after if len(rows[n]) == width), None)
    score = sum(marks[n][0] - marks[n][1] for n in range(len(rows)) if n not in comments)
    return _Guess(separator, rows, width, data, header, known, score)


def _after_header(
    rows: Sequence[Sequence[str]],
    header: int,
    comments: set[int],
    marks: Sequence[tuple[int, int, int]],
    width: int,
) -> int | None:
    """The first line below the header that is not a comment, empty, or a row of units."""
    below = [n for n in range(header + 1, len(rows)) if n not in comments and any(rows[n])]
    if below and not marks[below[0]][0] and len(rows[below[0]]) == width and not any(map(_digits, rows[below[0]])):
        filled = sum(1 for cell in rows[below[0]] if cell.casefold() not in MISSING)
        if 2 * filled >= width and len(below) > 1:  # all words: units under the names
            del below[0]
    return below[0] if below else None


def _digits(cell: str) -> bool:
    return any(character.isdigit() for character in cell)


def _kinds(row: Sequence[str], separator: str, over: set[str]) -> tuple[int, int, int]:
    """How many cells are numbers or dates, something else, and empty."""
    good = bad = blank = 0
    forms = (_DATE,) if separator == "," else (_DATE, _COMMA)
    for cell in row:
        if _POINT.fullmatch(cell):  # most are: the quick way first
            good += 1
        elif cell.casefold() in MISSING:
            blank += 1
        elif any(form.fullmatch(cell) for form in forms) or cell in over:
            good += 1
        else:
            bad += 1
    return good, bad, blank


def _names(logger: "Logger") -> set[str]:
    columns: list[str | int] = [channel.column for channel in logger.channel]
    if logger.time is not None:
        columns.append(logger.time.column)
    return {plain(column).casefold() for column in columns if isinstance(column, str)}


def _header(rows: Sequence[Sequence[str]], comments: set[int], logger: "Logger | None") -> tuple[int | None, int]:
    """The line that names the columns, and how many of its names are known; plain lines before comments."""
    best, most = None, 0
    names = _names(logger) if logger is not None else None
    for commented in (False, True):
        for n, row in enumerate(rows):
            if (n in comments) is commented:
                cells = [row[0].lstrip("# "), *row[1:]] if commented and row else row
                known = _known(cells, names)
                if known > most:
                    best, most = n, known
                    if commented:
                        rows[n][0] = cells[0]  # type: ignore[index] # rows are lists
                    elif logger is None:
                        return best, most
        if best is not None:
            break
    return best, most


def _known(cells: Sequence[str], names: set[str] | None) -> int:
    """How many cells are names of columns: of these, or where there are none, of roles."""
    if names is not None:
        return len(names & {plain(cell).casefold() for cell in cells})
    if not any("_" in cell or " / " in cell for cell in cells):  # as all role names have
        return 0
    from benchlog.logger.model import logger_from_headers

    try:
        found = logger_from_headers([plain(cell) for cell in cells])
    except BenchlogError:
        return 1
    return 0 if found is None else len(found.channel) + (found.time is not None)


def _fitness(guess: _Guess) -> tuple[int, bool, int]:
    fits = guess.header is None or len(guess.rows[guess.header]) == guess.width
    return guess.known, fits, guess.score


def _likely_header(guess: _Guess) -> list[str] | None:
    """The line above the samples, where it is all words."""
    end = len(guess.rows) if guess.data is None else guess.data
    for row in reversed(guess.rows[:end]):
        if any(row):
            fits = guess.data is None or len(row) == guess.width
            return row if fits and not any(map(_POINT.fullmatch, row)) else None
    return None


def _decimal_comma(guess: _Guess) -> bool:
    if guess.separator == ",":
        return False
    cells = [cell for row in guess.rows[guess.data or 0 :] for cell in row]
    commas = sum(1 for cell in cells if _COMMA.fullmatch(cell))
    points = sum(1 for cell in cells if "." in cell and _POINT.fullmatch(cell))
    return commas > points or (commas == points and guess.separator != " ")
