"""Tables that carry their own types: a polars frame's columns as cells."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from benchlog.log.readers import cells
from benchlog.log.readers.columns import Wanted, resolve
from benchlog.log.readers.raw import Piece, Raw
from benchlog.log.readers.rows import Found, Sheet, accept_rows

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from benchlog.logger.model import Logger

_LONGEST_NUMBER, _LONGEST_MARK = 100, 1_000  # letters of a cell
_ROW_BYTES = 40  # of a text log with five columns: makes pieces of rows as large as pieces of bytes


def rows_of(block_bytes: int) -> int:
    """Rows in a piece."""
    return max(block_bytes // _ROW_BYTES, 1)


class FrameLog:
    """A table in memory, in pieces of rows."""

    def __init__(self, where: str, frame: "pl.DataFrame", logger: "Logger | None", block_bytes: int) -> None:
        self._wanted = resolve(where, logger, frame.columns, frame.width)
        self.logger, self.roles, self.first_line = self._wanted.logger, self._wanted.roles, 1
        self.notes: Sequence[tuple[int | None, str]] = [(None, text) for text in self._wanted.unused]
        self._frame, self._rows, self._taken = frame, rows_of(block_bytes), 0

    def pieces(self) -> Iterator[tuple[Piece, "pl.DataFrame"]]:
        """Slices of the table."""
        for start in range(0, self._frame.height, self._rows):
            piece = Piece(start, min(self._rows, self._frame.height - start))
            self._taken = start + piece.size
            yield piece, self.load(piece)

    def load(self, piece: Piece) -> "pl.DataFrame":
        """A slice again."""
        return self._frame.slice(piece.start, piece.size)

    def begins(self, _: Piece, lines: Sequence[int], *__: object) -> Sequence[int]:
        """A row is a line."""
        return lines

    def part(self, piece: Piece, _: bool, /) -> Raw | None:
        """The rows of a part of a slice."""
        return self.parse(self.load(piece))

    def done(self) -> tuple[int, int]:
        """Rows taken, of how many."""
        return self._taken, self._frame.height

    def parse(self, data: "pl.DataFrame") -> Raw:
        """The slice's rows."""
        return accept_rows(sheet_of(data, self._wanted), self._wanted)


def sheet_of(frame: "pl.DataFrame", wanted: Wanted) -> Sheet:
    """The wanted columns of a frame."""
    import polars as pl

    sheet = Sheet(rows=frame.height, lines=frame.height)
    series = frame.get_columns()
    for column in wanted.columns:
        sheet.numbers[column.index] = _numbers(series[column.index], column.over, column.unit)
    if wanted.time is not None:
        time = series[wanted.time]
        if time.dtype == pl.Datetime or time.dtype == pl.Date:
            us = time.cast(pl.Datetime("us")).cast(pl.Int64)
            sheet.stamps[wanted.time] = us.fill_null(0).to_numpy(), us.is_null().to_numpy()
        elif wanted.iso_time:
            for n in (wanted.time, *wanted.more_time):
                sheet.texts[n] = series[n].cast(pl.String).str.slice(0, _LONGEST_NUMBER)
        else:
            sheet.numbers[wanted.time] = _numbers(time, (), None)
    if wanted.mark is not None:
        sheet.texts[wanted.mark] = series[wanted.mark].cast(pl.String).str.slice(0, _LONGEST_MARK)
    return sheet


def _numbers(series: "pl.Series", over: tuple[str, ...], unit: str | None) -> Found:
    import polars as pl

    if series.dtype.is_numeric() or series.dtype == pl.Boolean:
        number = series.cast(pl.Float64)
        values = (number.fill_null(float("nan")) if number.null_count() else number).to_numpy()
        endless = np.isinf(values)
        if endless.any():
            return Found(np.where(endless, np.nan, values), None, endless, series)
        return Found(values)
    texts = series.cast(pl.String, strict=False)
    got = cells.numbers(texts, over, decimal_comma=False, unit=unit)
    return Found(got.values, got.over, got.unreadable, texts)


def to_polars(frame: "pd.DataFrame | pl.DataFrame") -> "pl.DataFrame":
    """The same table in polars, made column by column."""
    import polars as pl

    if isinstance(frame, pl.DataFrame):
        return frame
    return pl.DataFrame([_column(str(name), frame.iloc[:, n]) for n, name in enumerate(frame.columns)])


def _column(name: str, column: "pd.Series[Any]") -> "pl.Series":
    import pandas as pd
    import polars as pl

    if isinstance(column.dtype, pd.DatetimeTZDtype):
        column = column.dt.tz_convert("UTC").dt.tz_localize(None)
    if pd.api.types.is_numeric_dtype(column.dtype):
        return pl.Series(name, column.to_numpy(dtype="float64", na_value=np.nan))
    if pd.api.types.is_datetime64_dtype(column.dtype):
        return pl.Series(name, column.to_numpy().astype("datetime64[us]"))
    return pl.Series(name, [None if pd.isna(cell) else str(cell) for cell in column.to_list()], dtype=pl.String)
