"""Parquet tables: streamed once from end to end, then read in slices of rows."""

import hashlib
import os
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from benchlog.core.errors import DAMAGED_INSIDE, BadLog
from benchlog.log.readers.columns import Wanted, resolve
from benchlog.log.readers.frames import rows_of, sheet_of
from benchlog.log.readers.raw import Piece, Raw, Reader
from benchlog.log.readers.rows import accept_rows
from benchlog.log.readers.source import Source
from benchlog.log.readers.unpacked import most_unpacked, too_large
from benchlog.process.probe import can_be_read

if TYPE_CHECKING:
    import polars as pl

    from benchlog.logger.model import Logger


_BYTES_A_VALUE = 8  # in memory
_MAGIC = b"PAR1"  # the first and the last four bytes
_SHA256 = re.compile(r"[0-9a-f]{64}")
_T = TypeVar("_T")


class ParquetLog:
    """A Parquet file in pieces of rows; only the wanted columns are read."""

    def __init__(self, source: Source, logger: "Logger | None", block_bytes: int) -> None:
        import polars as pl

        self._name, self._rows, self._taken = source.name, rows_of(block_bytes), 0
        path = source.whole()
        _refuse_cut(source.name, path)
        _refuse_deadly(source, path)
        scan = self._sound(lambda: pl.scan_parquet(path, glob=False))
        names = self._sound(lambda: scan.collect_schema().names())
        self._height = self._sound(lambda: int(scan.select(pl.len()).collect().item()))
        wanted = resolve(source.name, logger, names, len(names))
        others = (wanted.time, wanted.mark, *wanted.more_time)
        used = sorted({c.index for c in wanted.columns} | {n for n in others if n is not None})
        # what it says of its rows is believed: each costs eight bytes a column, however little says so
        if self._height * max(len(used), 1) * _BYTES_A_VALUE > (most := most_unpacked(source.size)):
            raise too_large(source.name, most)
        self._scan = scan.select(names[n] for n in used)
        self._wanted = _moved(wanted, {n: place for place, n in enumerate(used)})
        self.logger, self.roles, self.first_line = wanted.logger, wanted.roles, 1
        self.notes: Sequence[tuple[int | None, str]] = [(None, text) for text in wanted.unused]

    def _sound(self, read: Callable[[], _T]) -> _T:
        """What ``read`` gives, where the file is sound."""
        import polars as pl

        try:
            return read()
        # polars gives up on some damage with a panic, which is no Exception
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as why:
            short = str(why).splitlines()[0] if str(why) else type(why).__name__
            raise _damaged(self._name, short) from None

    def pieces(self) -> Iterator[tuple[Piece, "pl.DataFrame"]]:
        """Slices of the table, all from one pass of polars: a third of what slice after slice takes."""
        batches = self._sound(lambda: self._scan.collect_batches(chunk_size=self._rows, maintain_order=True))
        frame = self._sound(lambda: next(batches, None))
        start = 0
        while frame is not None:
            if frame.height:
                piece = Piece(start, frame.height)
                start += piece.size
                self._taken = start
                yield piece, frame
            frame = self._sound(lambda: next(batches, None))

    def load(self, piece: Piece) -> "pl.DataFrame":
        """A slice again."""
        return self._sound(lambda: self._scan.slice(piece.start, piece.size).collect())

    def begins(self, _: Piece, lines: Sequence[int], *__: object) -> Sequence[int]:
        """A row is a line."""
        return lines

    def part(self, piece: Piece, _: bool, /) -> Raw | None:
        """The rows of a part of a slice."""
        return self.parse(self.load(piece))

    def done(self) -> tuple[int, int]:
        """Rows taken, of how many."""
        return self._taken, self._height

    def parse(self, data: "pl.DataFrame") -> Raw:
        """The slice's rows."""
        return accept_rows(sheet_of(data, self._wanted), self._wanted)


def _refuse_cut(name: str, path: str) -> None:
    """Look at the end of the file, where the table of contents lies."""
    with open(path, "rb") as file:
        size = file.seek(0, 2)
        file.seek(max(size - 8, 0))
        length, magic = file.read(4), file.read(4)
    if size < 12 or magic != _MAGIC or int.from_bytes(length, "little") > size - 12:
        raise _damaged(name, "its end is missing")


def _refuse_deadly(source: Source, path: str) -> None:
    """Let another process read it first, unless it lies as a copy that benchlog wrote, which its hash tells.

    The hash alone tells nothing: anyone can name a file by it.
    """
    if _SHA256.fullmatch(source.path.stem) and source.path.parent.name == source.path.stem[:2]:
        with open(path, "rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() == source.path.stem:
                return
    most_rows = most_unpacked(source.size) // _BYTES_A_VALUE
    if not can_be_read(path.replace("/proc/self/", f"/proc/{os.getpid()}/"), most_rows):
        raise BadLog(source.name, f"the Parquet file {DAMAGED_INSIDE}")


def _damaged(name: str, why: str) -> BadLog:
    return BadLog(name, f"the Parquet file is damaged or cut short ({why}); copy it again")


def _moved(wanted: Wanted, place: dict[int, int]) -> Wanted:
    """The same columns at their places in the narrower table."""
    return replace(
        wanted,
        columns=tuple(replace(column, index=place[column.index]) for column in wanted.columns),
        time=None if wanted.time is None else place[wanted.time],
        mark=None if wanted.mark is None else place[wanted.mark],
        more_time=tuple(place[n] for n in wanted.more_time),
    )


def claims(head: bytes) -> bool:
    """Parquet's four first bytes."""
    return head.startswith(_MAGIC)


READER = Reader("parquet", claims, ParquetLog)
