"""What a reader hands over: pieces of a log with canonical values, their time still as the logger counted it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import numpy.typing as npt

from benchlog.log.readers.source import Source

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

#: Why a row is left out -> (text for one row, text for several). A header is no row, and never a reason to refuse.
KINDS: dict[str, tuple[str, str]] = {
    "many": ("row with too many fields was left out", "rows with too many fields were left out"),
    "few": ("row with too few fields was left out", "rows with too few fields were left out"),
    "checksum": (
        "line with a wrong or missing checksum was left out",
        "lines with wrong or missing checksums were left out",
    ),
    "no_time": ("row without a time was left out", "rows without a time were left out"),
    "unreadable": ("row with an unreadable number was left out", "rows with unreadable numbers were left out"),
    "header": ("repeated header line was skipped", "repeated header lines were skipped"),
    "backward": ("row whose time does not increase was left out", "rows whose time does not increase were left out"),
}


@dataclass(frozen=True, slots=True)
class ReadFault:
    """Rows of one piece that are left out for one reason.

    Attributes:
        kind: a key of ``KINDS``.
        count: how many rows.
        line: the first one's line, counted from 0 at the piece's first line.
        found: what stands there.
    """

    kind: str
    count: int
    line: int
    found: str


@dataclass(frozen=True, slots=True)
class Raw:
    """The usable rows of one piece.

    Attributes:
        time: in the logger's own unit (float), or us since 1970 (int); None where rows are only counted.
        row: each row's place among the piece's data rows, left-out ones included; None if none is left out.
        line: each row's line from the piece's first; None if every line is a usable row.
        values: role -> canonical unit and sign, NaN where missing or over range.
        over: role -> True where over range; only roles that have any.
        marks: place in these arrays, text.
        rows: data rows of the piece, left-out ones included.
        lines: lines of the piece.
        faults: what was left out.
        notes: line from the piece's first, and text, of what someone wrote between the rows.
        by_lines: text was read line by line, since not every line has its fields.
    """

    time: Floats | Ints | None
    row: Ints | None
    line: Ints | None
    values: dict[str, Floats]
    over: dict[str, Flags]
    marks: tuple[tuple[int, str], ...]
    rows: int
    lines: int
    faults: tuple[ReadFault, ...]
    notes: tuple[tuple[int, str], ...] = ()
    by_lines: bool = False

    def __len__(self) -> int:
        return self.rows if self.row is None else len(self.row)


@dataclass(frozen=True, slots=True)
class Piece:
    """Where a piece lies in its log: bytes for text, rows for tables."""

    start: int
    size: int


class Table(Protocol):
    """An opened log whose columns are known and whose rows can be read piece by piece, again and again."""

    @property
    def logger(self) -> "Logger":
        """What the columns mean."""

    @property
    def roles(self) -> frozenset[str]:
        """Roles with a column, ``time_s`` and ``mark`` not counted."""

    @property
    def first_line(self) -> int:
        """Line number (from 1) of the first piece's first line."""

    @property
    def notes(self) -> Sequence[tuple[int | None, str]]:
        """Line and text of what the reader of a result should know; complete after the first pass."""

    def pieces(self) -> Iterator[tuple[Piece, Any]]:
        """All pieces with their data, in order. May be called once."""

    def load(self, piece: Piece) -> Any:
        """The data of one piece again."""

    def parse(self, data: Any) -> Raw:
        """The rows in a piece's data. Touches nothing shared, so that threads may call it."""

    def begins(self, piece: Piece, lines: Sequence[int], of: int, by_lines: bool, /) -> Sequence[int] | None:
        """How far from a piece's start these of its lines (from 0) begin; None where its data do not tell.

        Args:
            of: how many lines the piece has.
            by_lines: how it was read.
        """

    def part(self, piece: Piece, by_lines: bool, /) -> Raw | None:
        """The rows of a part of a piece, read as that was; None where it cannot be read so."""

    def done(self) -> tuple[int, int]:
        """How much of the log the first pass has taken, and how much there is."""


@dataclass(frozen=True, slots=True)
class Reader:
    """One log format.

    Attributes:
        name: also the folder of its samples in ``tests/samples``.
        claims: whether the log is of this format, judged by its first bytes (decompressed).
        open: makes the table; arguments are the source, the logger or None, and the bytes of a piece.
    """

    name: str
    claims: Callable[[bytes], bool]
    open: Callable[[Source, "Logger | None", int], Table]
