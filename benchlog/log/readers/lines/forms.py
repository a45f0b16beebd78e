"""What form the lines of a stream have: found from its first lines, and from the logger file."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchlog.log.readers.cells import MISSING
from benchlog.log.readers.columns import plain
from benchlog.log.readers.cutting import POINT, split, text_of
from benchlog.log.readers.lines.checksum import DIGITS, body_of, kind_of
from benchlog.log.readers.lines.named import object_of, pairs_of

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

SEPARATORS = (",", ";", "\t", " ")
#: As many lines that agree settle the form at once, or fewer below a header; one does when no more come.
ENOUGH, ENOUGH_HEADED = 4, 2
_COMMA = re.compile(r"[+-]?\d+,\d+([eE][+-]?\d+)?")
_DATE = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d.*")
_NAME = re.compile(r"[^\W\d].*|[°µΩ%].*")


@dataclass(frozen=True, slots=True)
class Form:
    """How the lines of a stream are to be read.

    Attributes:
        kind: "csv", "pairs" or "json".
        checksum: "xor", "crc", or "" where lines have none.
        separator: of a CSV line's cells; a space stands for any run of spaces. "," for the others.
        decimal_comma: numbers are written 12,6.
        columns: the cells' names; ``column_1`` and so on where there is no header.
        headed: the names are the stream's own.
    """

    kind: str
    checksum: str
    separator: str
    decimal_comma: bool
    columns: tuple[str, ...]
    headed: bool

    @property
    def written(self) -> str:
        """The separator in the file: the stream's own, but a run of spaces is one separator."""
        if self.separator != " ":
            return self.separator
        return ";" if self.decimal_comma else ","


@dataclass(frozen=True, slots=True)
class _FormSeen:
    """One line of the beginning, as one candidate form reads it."""

    kind: str
    separator: str
    names: tuple[str, ...]
    cells: tuple[str, ...]
    score: int = 0  # cells that are numbers, less those that are not


def find_form(lines: Sequence[bytes], logger: "Logger | None", *, few: bool) -> Form | None:
    """Find the form.

    Args:
        lines: from the stream's beginning; the first may lack its beginning.
        logger: what the columns mean, where it is known; its ``over_range`` texts count as numbers.
        few: the lines must do, however few they are.

    Returns:
        None where too few lines agree yet.
    """
    checksum = _checksum(lines)
    bodies = [body for line in lines if (body := _body(line, checksum)) is not None]
    samples = [body for line in lines if (body := _body(line, checksum, needed=True)) is not None]
    over = {text for channel in logger.channel for text in channel.over_range} if logger is not None else set[str]()
    seen = [look for line in samples for look in _looks(line, over)]
    votes = Counter((look.kind, look.separator, look.names or len(look.cells)) for look in seen)
    if not votes:
        return None
    scores = Counter[object]()
    for look in seen:
        scores[look.kind, look.separator, look.names or len(look.cells)] += look.score
    (kind, separator, shape), count = max(votes.items(), key=lambda item: (item[1], scores[item[0]]))
    if count < (1 if few else ENOUGH_HEADED):
        return None
    if kind != "csv":
        if count < ENOUGH and not few:
            return None
        named = [shape if isinstance(shape, tuple) else (), *(look.names for look in seen if look.kind == kind)]
        return Form(kind, checksum, ",", False, _all_names(named), True)
    rows = [look.cells for look in seen if (look.kind, look.separator, len(look.cells)) == (kind, separator, shape)]
    cells = [cell for row in rows for cell in row]
    commas = sum(map(bool, map(_COMMA.fullmatch, cells))) if separator != "," else 0
    comma = commas > sum("." in cell for cell in cells)
    header = next((head for line in bodies if (head := header_of(line, separator, len(rows[0])))), None)
    if header is None and count < ENOUGH and not few:
        return None
    names = header or tuple(f"column_{n + 1}" for n in range(len(rows[0])))
    return Form(kind, checksum, separator, comma, names, header is not None)


def header_of(line: bytes, separator: str, width: int) -> tuple[str, ...] | None:
    """The names in a CSV header line; None where it is none."""
    cells = [plain(cell) for cell in split(text_of(line).lstrip("# "), separator)] if line else []
    while len(cells) > width and not cells[-1]:
        cells.pop()
    if len(cells) != width or len(set(cells)) != width or not all(map(_NAME.match, cells)):
        return None
    if any(cell.casefold() in MISSING for cell in cells):
        return None
    return tuple(cells)


def _checksum(lines: Sequence[bytes]) -> str:
    """The kind that most lines with a checksum have; right ones count before wrong ones."""
    kinds = Counter[tuple[str, bool]]()
    for line in lines:
        kind = kind_of(line)
        if kind is not None:
            kinds[kind, body_of(line, kind)[1]] += 1
    for right in (True, False):
        counts = {kind: kinds[kind, right] for kind in DIGITS if kinds[kind, right]}
        if counts and 2 * sum(counts.values()) >= (1 if right else len(lines)):
            return max(counts, key=lambda kind: counts[kind])
    return ""


def _body(line: bytes, checksum: str, *, needed: bool = False) -> bytes | None:
    """What a line says; None where its checksum is wrong, or is ``needed`` and not there. A header may have none."""
    if any(byte < 32 and byte != 9 for byte in line):
        return None
    if not checksum or kind_of(line) != checksum:
        return None if checksum and needed else line.removeprefix(b"$")
    body, right = body_of(line, checksum)
    return body if right else None


def _looks(line: bytes, over: set[str]) -> list[_FormSeen]:
    if (found := object_of(line)) is not None:
        return [_FormSeen("json", ",", tuple(found), ())] if found else []
    if (found := pairs_of(line)) is not None:
        return [_FormSeen("pairs", ",", tuple(found), ())]
    if line.lstrip().startswith((b"#", b"{")) or b"=" in line:
        return []
    looks = []
    text = text_of(line)
    for separator in SEPARATORS:
        cells = tuple(split(text, separator))
        good = sum(1 for cell in cells if _is_number(cell, separator) or cell in over)
        blank = sum(1 for cell in cells if cell.casefold() in MISSING)
        if good and 2 * good >= len(cells) - blank:
            looks.append(_FormSeen("csv", separator, (), cells, 2 * good + blank - len(cells)))
    return looks


def _is_number(cell: str, separator: str) -> bool:
    forms = (POINT, _DATE) if separator == "," else (POINT, _DATE, _COMMA)
    return any(form.fullmatch(cell) for form in forms)


def _all_names(named: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    """The names in the order in which they came; one that a single line has may be half a name."""
    counts = Counter(name for names in named for name in names)
    return tuple(name for name, count in counts.items() if count > 1)


def numeric_columns(lines: list[bytes], form: Form) -> list[int]:
    """Columns that hold numbers in the last lines that were looked at."""
    if form.kind != "csv":
        return list(range(len(form.columns)))
    for line in reversed(lines):
        cells = line.split(form.separator.encode())
        if len(cells) == len(form.columns):
            found = [n for n, cell in enumerate(cells) if _reads(cell)]
            if found:
                return found
    return [0]


def _reads(cell: bytes) -> bool:
    try:
        float(cell.replace(b",", b"."))
    except ValueError:
        return False
    return True
