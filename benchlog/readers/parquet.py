"""Parquet tables, read in slices of rows."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from benchlog.errors import BadLog
from benchlog.readers.columns import Wanted, resolve
from benchlog.readers.frames import rows_of, sheet_of
from benchlog.readers.raw import Piece, Raw, Reader
from benchlog.readers.rows import settled
from benchlog.readers.source import Source

if TYPE_CHECKING:
    import polars as pl

    from benchlog.logger import Logger


class ParquetLog:
    """A Parquet file in pieces of rows; only the wanted columns are read."""

    def __init__(self, source: Source, logger: "Logger | None", block_bytes: int) -> None:
        import polars as pl

        self._name, self._rows, self._taken = source.name, rows_of(block_bytes), 0
        try:
            scan = pl.scan_parquet(source.whole(), glob=False)
            names = scan.collect_schema().names()
            self._height = int(scan.select(pl.len()).collect().item())
        except (pl.exceptions.PolarsError, OSError) as why:
            raise self._damaged(why) from None
        wanted = resolve(source.name, logger, names, len(names))
        used = sorted({c.index for c in wanted.columns} | {n for n in (wanted.time, wanted.mark) if n is not None})
        self._scan = scan.select(names[n] for n in used)
        self._wanted = _moved(wanted, {n: place for place, n in enumerate(used)})
        self.logger, self.roles, self.first_line = wanted.logger, wanted.roles, 1
        self.notes: Sequence[tuple[int | None, str]] = ()

    def _damaged(self, why: Exception) -> BadLog:
        short = str(why).splitlines()[0] if str(why) else type(why).__name__
        return BadLog(self._name, f"the Parquet file is damaged or cut short ({short}); copy it again")

    def pieces(self) -> Iterator[tuple[Piece, "pl.DataFrame"]]:
        """Slices of the table."""
        for start in range(0, self._height, self._rows):
            piece = Piece(start, min(self._rows, self._height - start))
            self._taken = start + piece.size
            yield piece, self.load(piece)

    def load(self, piece: Piece) -> "pl.DataFrame":
        """A slice again."""
        import polars as pl

        try:
            return self._scan.slice(piece.start, piece.size).collect()
        except (pl.exceptions.PolarsError, OSError) as why:
            raise self._damaged(why) from None

    def done(self) -> tuple[int, int]:
        """Rows taken, of how many."""
        return self._taken, self._height

    def parse(self, data: "pl.DataFrame") -> Raw:
        """The slice's rows."""
        return settled(sheet_of(data, self._wanted), self._wanted)


def _moved(wanted: Wanted, place: dict[int, int]) -> Wanted:
    """The same columns at their places in the narrower table."""
    return replace(
        wanted,
        columns=tuple(replace(column, index=place[column.index]) for column in wanted.columns),
        time=None if wanted.time is None else place[wanted.time],
        mark=None if wanted.mark is None else place[wanted.mark],
    )


def claims(head: bytes) -> bool:
    """Parquet's four first bytes."""
    return head.startswith(b"PAR1")


READER = Reader("parquet", claims, ParquetLog)
