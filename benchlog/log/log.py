"""A log on disk: read once from end to end, then any stretch of it at its full rate; never all in memory."""

import os
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Self

import numpy as np

from benchlog.core.errors import BadLog
from benchlog.core.interrupts import later
from benchlog.core.note import Note
from benchlog.core.trace import Mark, Overview, Trace, standing
from benchlog.log.blocks import Blocks
from benchlog.log.overview import OverviewBuilder
from benchlog.log.parsing import parsed
from benchlog.log.readers import reader_of
from benchlog.log.readers.comments import Written
from benchlog.log.readers.hints import time_unit_hint
from benchlog.log.readers.leftout import LeftOut
from benchlog.log.readers.parts import parts_of
from benchlog.log.readers.raw import Table
from benchlog.log.readers.source import Source
from benchlog.log.readers.timeline import State, epoch_s, place

if TYPE_CHECKING:
    import pandas as pd
    import polars as pl

    from benchlog.logger.model import Logger

BLOCK_BYTES = 8 << 20
#: The years 1 to 9999, s from 1970 UTC: what a calendar holds.
_FIRST_EPOCH_S, _LAST_EPOCH_S = -62_135_596_800, 253_402_300_800

#: A nanosecond, and a thousand years: what lies beyond is no log of a motorcycle.
_LEAST_STEP_S, _MOST_S = 1e-9, 3.2e10
_MOST_MARKS = 2_000

Progress = Callable[[int, int], None]


class Log:
    """One log, opened. Use ``open`` or ``from_frame``; close it, or use it in a ``with`` statement.

    Attributes:
        name: the file's name.
        path: None for a table from memory.
        logger: what the columns mean, as used.
        stated: a logger file was given; without one nothing is known of the accuracy.
        reader: the name of the reader that read it.
        roles: what was measured; without ``time_s`` and ``mark``.
        rows: samples kept.
        start_s, end_s: time of the first and last sample.
        step_s: median time between samples.
        marks: what the tester noted, in order.
        notes: what was left out or looks odd, and what someone wrote into the log as ``# note: TEXT``.
        overview: the whole log in buckets.
        epoch_s: s since 1970-01-01 UTC of the first sample, where the log's clock tells; there ``time_s`` is 0.
    """

    def __init__(
        self,
        name: str,
        table: Table,
        *,
        path: Path | None = None,
        reader: str = "frame",
        stated: bool = False,
        source: Source | None = None,
        progress: Progress | None = None,
        max_buckets: int | None = None,
    ) -> None:
        self.name, self.path, self.reader, self.stated = name, path, reader, stated
        self.logger = table.logger
        self._table, self._source = table, source
        self._order = tuple(c.role for c in table.logger.channel if c.role in table.roles)
        self.roles = frozenset(self._order)
        self._blocks = Blocks(table, table.logger)
        self._written = Written()
        self.marks: tuple[Mark, ...] = ()
        self.rows = 0
        time = table.logger.time
        left_out = LeftOut(name, dates=time is not None and time.unit == "iso8601")
        self.overview, state = self._pass(left_out, progress, max_buckets)
        left_out.refuse_if_many(state.rows, self.rows)
        self._refuse_empty()
        self.epoch_s = epoch_s(self.logger, state)
        self._refuse_undated()
        self.start_s, self.end_s = self._blocks.starts_s[0], self._blocks.ends_s[-1]
        self.step_s = self.overview.step_s
        self._refuse_untimely()
        texts = (*table.notes, *self._time_hint(), *self._written.notes())
        self.notes = (*left_out.notes(), *(Note(log=name, line=line, text=text) for line, text in texts))

    @classmethod
    def open(
        cls,
        path: str | os.PathLike[str],
        logger: "Logger | None" = None,
        *,
        progress: Progress | None = None,
        block_bytes: int = BLOCK_BYTES,
        max_buckets: int | None = None,
    ) -> Self:
        """Open a log file and pass over it once.

        Args:
            path: delimited text or Parquet, plain or compressed (.gz, .zst).
            logger: what the columns mean; None if the headers are role names.
            progress: called after each block with the bytes done and the bytes in all.
            block_bytes: how much text is parsed at once.
            max_buckets: of the overview; None for as many as about 64 MB hold.

        Raises:
            BadLog: the log cannot be used; says why.
        """
        source = Source(Path(path))
        try:
            have_polars_ready()
            reader = reader_of(source.name, source.head)
            table = reader.open(source, logger, block_bytes)
            return cls(
                source.name,
                table,
                path=Path(path),
                reader=reader.name,
                stated=logger is not None,
                source=source,
                progress=progress,
                max_buckets=max_buckets,
            )
        except BaseException:
            source.close()
            raise

    @classmethod
    def from_frame(
        cls,
        frame: "pd.DataFrame | pl.DataFrame",
        logger: "Logger | None" = None,
        name: str = "frame",
        *,
        block_bytes: int = BLOCK_BYTES,
        max_buckets: int | None = None,
    ) -> Self:
        """Use a pandas or polars table as a log; its column names are the headers.

        Raises:
            BadLog: the table cannot be used; says why.
        """
        from benchlog.log.readers.frames import FrameLog, to_polars

        table = FrameLog(name, to_polars(frame), logger, block_bytes)
        return cls(name, table, stated=logger is not None, max_buckets=max_buckets)

    def trace(self, from_s: float, to_s: float, roles: Collection[str] | None = None) -> Trace:
        """All samples with ``from_s <= time_s <= to_s``.

        Args:
            roles: which to give; None for all.

        Raises:
            KeyError: the log has no such role.
        """
        return _joined(list(self.traces(from_s, to_s, roles)), self._asked(roles))

    def traces(self, from_s: float, to_s: float, roles: Collection[str] | None = None) -> Iterator[Trace]:
        """The same samples piece by piece, so that a long stretch needs no more memory than a short one."""
        asked = self._asked(roles)
        # what a trace adds to the end is lost in the rounding of a time above some hours
        to_s = float(np.nextafter(to_s + 1e-12, np.inf))
        first, end = bisect_left(self._blocks.ends_s, from_s), bisect_right(self._blocks.starts_s, to_s)
        for n in range(first, end):
            part = self._blocks.samples(n, from_s, to_s)
            if len(part):
                over = {role: flags for role, flags in part.over.items() if role in asked and flags.any()}
                yield Trace(part.time_s, {role: part.values[role] for role in asked}, over)

    def window(self, from_s: float, to_s: float, roles: Collection[str] | None = None) -> "pd.DataFrame":
        """The same samples as a table: ``time_s``, then one column a role."""
        import pandas as pd

        trace = self.trace(from_s, to_s, roles)
        return pd.DataFrame({"time_s": trace.time_s, **trace.values})

    def close(self) -> None:
        """Let the file go; what is in ``overview`` and the other attributes stays."""
        self._blocks.clear()
        if self._source is not None:
            self._source.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _asked(self, roles: Collection[str] | None) -> tuple[str, ...]:
        if roles is None:
            return self._order
        for role in roles:
            if role not in self.roles:
                raise KeyError(role)
        return tuple(role for role in self._order if role in roles)

    def _pass(self, left_out: LeftOut, progress: Progress | None, max_buckets: int | None) -> tuple[Overview, State]:
        """Read everything once, in order; blocks are parsed side by side."""
        builder: OverviewBuilder | None = None
        state, line = State(), self._table.first_line
        marks: list[Mark] = []
        for piece, raw in parsed(self._table):
            if builder is None:
                expected = raw.rows * self._table.done()[1] // max(piece.size, 1)
                if piece.size != raw.rows:  # text: later lines may be longer; tables count their rows
                    expected = expected * 3 // 4
                builder = OverviewBuilder(self._order, max_buckets, expected_rows=expected)
            placed = place(raw, self.logger, state)
            left_out.add((*raw.faults, *placed.faults), line, placed.wraps_at)
            if len(placed.trace):
                share = piece.size / max(self._table.done()[1], 1)
                parts = parts_of(raw, placed, state, self.logger, share)
                self._blocks.add(piece, state, parts, placed.trace)
                self.rows += len(placed.trace)
                builder.add(placed.trace)
            marks.extend(placed.marks)
            self._written.add(raw.notes, line)
            state, line = placed.after, line + raw.lines
            if progress is not None:
                progress(*self._table.done())
        self.marks = standing(marks)
        self._refuse_marks()
        return (builder or OverviewBuilder(self._order)).finish(), state

    def _time_hint(self) -> Iterator[tuple[None, str]]:
        if self.logger.time is not None and self.epoch_s is None:
            hint = time_unit_hint(self.logger.time.unit, self.end_s - self.start_s, self.step_s, self.start_s)
            if hint is not None:
                yield None, hint

    def _refuse_undated(self) -> None:
        """Milliseconds that are read as seconds make every time of the log a thousand times as long."""
        if self.epoch_s is None or _FIRST_EPOCH_S <= self.epoch_s < _LAST_EPOCH_S:
            return
        unit = self.logger.time.unit if self.logger.time is not None else "s"
        raise BadLog(
            self.name,
            f"read in {unit}, its first time lies outside the years 1 to 9999; set `unit` in [time] of the logger file "
            "to what the column counts, such as epoch_ms",
        )

    def _refuse_marks(self) -> None:
        """A test has some dozens, and what is worked out of them takes their square."""
        count = sum(mark.event is not None for mark in self.marks)
        if count > _MOST_MARKS:
            raise BadLog(
                self.name,
                f"it has {count} marks such as key on or slot 2 off, at most {_MOST_MARKS} are understood; set a mark "
                "once where something was switched, not in every row",
            )

    def _refuse_untimely(self) -> None:
        """Times that no logger has: worked with, they run over or divide by nothing."""
        if self.step_s >= _LEAST_STEP_S and self.end_s - self.start_s <= _MOST_S:
            return
        raise BadLog(
            self.name,
            f"its samples lie {self.step_s:.3g} s apart over {self.end_s - self.start_s:.3g} s, as no logger's do; set "
            "`unit` in [time] of the logger file to what the column counts",
        )

    def _refuse_empty(self) -> None:
        if self.rows == 1:
            raise BadLog(self.name, "there is only one sample; at least two are needed: record a longer log")
        if all(np.isnan(band.mean).all() for band in self.overview.bands.values()):
            text = f"there is no number in any of its {self.rows} rows; check the header line and the logger file"
            raise BadLog(self.name, text)


def _joined(parts: list[Trace], roles: tuple[str, ...]) -> Trace:
    empty = np.empty(0)
    time_s = np.concatenate([part.time_s for part in parts] or [empty])
    values = {role: np.concatenate([part.values[role] for part in parts] or [empty]) for role in roles}
    over = {
        role: np.concatenate([part.over.get(role, np.zeros(len(part), dtype=bool)) for part in parts])
        for role in roles
        if any(role in part.over for part in parts)
    }
    return Trace(time_s, values, over)


@cache
def have_polars_ready() -> None:
    """Have polars and numpy find each other: a Ctrl-C in the midst of that makes polars print a page about itself."""
    with later():
        import polars as pl

        pl.Series([0.0]).to_numpy()  # not of an array: that loads numpy's masked ones, 7 ms
