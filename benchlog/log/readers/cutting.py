"""Lines cut into cells, and which of them are a header, units and samples: one guess for each separator."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchlog.core.errors import BenchlogError
from benchlog.log.readers.cells import MISSING, UNIT_CELL
from benchlog.log.readers.columns import plain

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

SEPARATORS = (";", "\t", ",", " ")
POINT = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
#: Day, month and year in any order, each with what may stand between them.
DAY = re.compile(r"(\d{4})([-/.])(\d\d?)\2(\d\d?)|(\d\d?)([-/.])(\d\d?)\6(\d{4}|\d\d)")
CLOCK = re.compile(r"\d\d?:\d\d(:\d\d([.,]\d+)?)?( ?[AaPp]\.?[Mm]\.?)?(Z|[+-]\d\d:?\d\d)?")
_DATE = re.compile(rf"(?:{DAY.pattern})([T ]+(?:{CLOCK.pattern}))?|{CLOCK.pattern}")


@dataclass(frozen=True, slots=True)
class Guess:
    """The lines of a head, cut at one separator.

    Attributes:
        rows: the cells of each line of the head.
        width: fields a line.
        data: first line of samples, from 0.
        header: line of the header, from 0; None where none is known.
        known: columns of the header that the logger knows.
        score: cells that are numbers or dates, less those that are not.
    """

    separator: str
    rows: list[list[str]]
    width: int
    data: int | None
    header: int | None
    known: int
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


def guess_of(lines: Sequence[str], separator: str, logger: "Logger | None") -> Guess:
    """Cut the lines and say which are samples."""
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
    return Guess(separator, rows, width, data, header, known, score)


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
    forms = (_DATE, UNIT_CELL) if separator == "," else (_DATE, UNIT_CELL, _COMMA)
    for cell in row:
        if POINT.fullmatch(cell):  # most are: the quick way first
            good += 1
        elif cell.casefold() in MISSING:
            blank += 1
        elif any(form.fullmatch(cell) for form in forms) or cell in over:
            good += 1
        else:
            bad += 1
    return good, bad, blank


def names_of(logger: "Logger") -> set[str]:
    """The headers that a logger file names, folded."""
    columns: list[str | int] = [channel.column for channel in logger.channel]
    if logger.time is not None:
        columns += logger.time.columns
    return {plain(column).casefold() for column in columns if isinstance(column, str)}


def _header(rows: Sequence[Sequence[str]], comments: set[int], logger: "Logger | None") -> tuple[int | None, int]:
    """The line that names the columns, and how many of its names are known; plain lines before comments."""
    best, most = None, 0
    names = names_of(logger) if logger is not None else None
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


def fitness(guess: Guess) -> tuple[int, bool, int]:
    """How well a guess explains its lines: the greater the better."""
    fits = guess.header is None or len(guess.rows[guess.header]) == guess.width
    return guess.known, fits, guess.score


def likely_header(guess: Guess) -> list[str] | None:
    """The line above the samples, where it is all words."""
    end = len(guess.rows) if guess.data is None else guess.data
    for row in reversed(guess.rows[:end]):
        if any(row):
            fits = guess.data is None or len(row) == guess.width
            return row if fits and not any(map(POINT.fullmatch, row)) else None
    return None


def number_in(cell: str) -> str:
    """A cell without the unit that follows its number."""
    found = UNIT_CELL.fullmatch(cell)
    return found[1] if found else cell


def has_decimal_comma(guess: Guess) -> bool:
    """Whether its numbers are written 12,6."""
    if guess.separator == ",":
        return False
    cells = [number_in(cell) for row in guess.rows[guess.data or 0 :] for cell in row]
    commas = sum(1 for cell in cells if _COMMA.fullmatch(cell))
    points = sum(1 for cell in cells if "." in cell and POINT.fullmatch(cell))
    return commas > points or (commas == points and guess.separator != " ")
