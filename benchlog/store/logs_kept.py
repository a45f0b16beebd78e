"""Logs kept beside the store: one pass over a log makes its hash, its facts and a Parquet copy in canonical columns."""

import hashlib
import os
import re
import secrets
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core import remote
from benchlog.core.errors import BenchlogError
from benchlog.core.files import replace
from benchlog.core.interrupts import later
from benchlog.core.roles import ROLE_UNITS
from benchlog.log.earlier import open_as_earlier
from benchlog.log.readers import reader_of
from benchlog.log.readers.raw import Table
from benchlog.log.readers.source import Source
from benchlog.log.readers.timeline import Placed, State, epoch_s, place
from benchlog.logger.model import Channel, Logger, LogTime
from benchlog.store.kept_far import is_far, parts_of

if TYPE_CHECKING:
    import polars as pl

#: What stands in a kept column where the sample was over range: the number that SCPI-1999 (from memory) has for it.
#: No voltage, current or temperature of a motorcycle comes near.
OVER_RANGE = 9.9e37
_SYSTEM_SAID = re.compile(r"([^:]+?) \(os error \d+\)")
_HASH = re.compile("[0-9a-f]{64}")
_BLOCK_BYTES = 8 << 20
_ROW_GROUP = 200_000  # as many rows as a log is read in at once


class CannotKeep(BenchlogError):
    """The folder of kept logs takes no copy: no fault of the log."""


@dataclass(frozen=True, slots=True)
class Kept:
    """A copy in the folder of kept logs: its own SHA-256 (also its file name) and its size."""

    sha256: str
    bytes: int

    def __post_init__(self) -> None:
        """Refuse what could name a file elsewhere; raises ValueError."""
        if not _HASH.fullmatch(self.sha256):
            raise ValueError("not the SHA-256 of a kept log")


@dataclass(frozen=True, slots=True)
class LogFacts:
    """What is known of a log file.

    Attributes:
        name: the file's name as it can be shown, whatever bytes it is made of: as the checks have it.
        sha256, bytes: of the file as it lies there, compressed or not.
        logger: as used.
        epoch_s: s since 1970-01-01 UTC of its first sample by its own clock; None without one.
        changed_s: the file's modification time, s since 1970-01-01 UTC.
        kept: the copy; None where only hashes are wanted.
        rows, end_s: samples in the copy and the last one's time; 0 without a copy.
    """

    name: str
    sha256: str
    bytes: int
    logger: Logger
    epoch_s: float | None
    changed_s: float
    kept: Kept | None
    rows: int = 0
    end_s: float = 0.0


def read_log(
    path: Path, logger: Logger | None, folder: Path | None, *, may_lack: bool = False, run: str = ""
) -> LogFacts:
    """Hash a log file and, where a ``folder`` is given, keep a copy there.

    Memory does not grow with the log. The copy is complete under its final name, or not there.

    Args:
        path: the log. logger: what its columns mean; None if the headers are role names.
        folder: of kept logs; None to keep no copy.
        may_lack: a log from before the install may lack columns.
        run: begins the names of copies that are not complete, for ``forget_parts``.

    Raises:
        BadLog: the log cannot be read.
        CannotKeep: the copy cannot be written.
    """
    source = Source(path)
    try:
        with path.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
            info = os.fstat(file.fileno())
        table = _table(source, logger, may_lack=may_lack)
        if folder is None:
            first = next(_placed(table), None)
            begun = None if first is None else epoch_s(table.logger, first.after)
            return LogFacts(source.name, sha256, info.st_size, table.logger, begun, info.st_mtime, None)
        copied = _keep(table, folder, run)
        return LogFacts(
            source.name, sha256, info.st_size, table.logger, copied.begun, info.st_mtime, copied.kept, *copied.reach
        )
    finally:
        source.close()


def forget_parts(folder: Path, run: str) -> None:
    """Remove the copies that the processes of one run did not complete, once they have ended."""
    for part in folder.glob(f".{run}*.part"):
        with suppress(OSError):
            part.unlink(missing_ok=True)


def kept_path(folder: Path, sha256: str) -> Path:
    """Where a kept copy lies.

    Raises:
        BenchlogError: it is no hash, but could name a file elsewhere.
    """
    if not _HASH.fullmatch(sha256):
        raise BenchlogError(
            "a record names a kept log by something other than a hash, so it was altered; run benchlog records verify"
        )
    return folder / sha256[:2] / f"{sha256}.parquet"


def kept_logger(logger: Logger) -> Logger:
    """What the columns of a kept copy mean: canonical units and signs, the accuracy of the logger that recorded it."""
    channels = tuple(
        Channel(
            column=channel.role,
            role=channel.role,
            unit=ROLE_UNITS[channel.role],
            gain_error_pct=channel.gain_error_pct,
            offset_error=channel.offset_canonical,
            resolution=channel.resolution_c,
            over_range=(repr(OVER_RANGE),),
            low_side_mohm=channel.low_side_mohm,
        )
        for channel in logger.channel
        if channel.role != "mark"
    )
    return Logger(name=logger.name, time=LogTime(column="time_s"), channel=channels)


def _table(source: Source, logger: Logger | None, *, may_lack: bool) -> Table:
    reader = reader_of(source.name, source.head)

    def open_with(meant: Logger | None) -> Table:
        return reader.open(source, meant, _BLOCK_BYTES)

    return open_as_earlier(open_with, logger)[0] if may_lack else open_with(logger)


def _placed(table: Table) -> Iterator[Placed]:
    """The log's pieces in order, on the time axis."""
    state = State()
    for piece, data in table.pieces():
        placed = place(table.parse(table.load(piece) if data is None else data), table.logger, state)
        state = placed.after
        yield placed


@dataclass(frozen=True, slots=True)
class _Copied:
    kept: Kept
    begun: float | None  # s since 1970-01-01 UTC
    reach: tuple[int, float]  # samples, time of the last


def _keep(table: Table, folder: Path, run: str) -> _Copied:
    """Write the copy."""
    import polars as pl
    from polars.io.plugins import register_io_source

    roles = [channel.role for channel in table.logger.channel if channel.role in table.roles]
    state, rows = State(), 0
    broken: list[BaseException] = []
    stop: Callable[[], bool]

    def frames(*_: object) -> "Iterator[pl.DataFrame]":
        nonlocal state, rows
        try:
            for placed in _placed(table):
                if stop():
                    return
                state, rows = placed.after, rows + len(placed.trace)
                yield _frame(placed, roles)
        except BenchlogError as problem:  # else it comes out as an error of the frame's own
            broken.append(problem)
            raise

    schema = {"time_s": pl.Float64(), **{role: pl.Float64() for role in roles}, "mark": pl.String()}
    part: Path | None = None
    try:
        with parts_of(folder) as place:
            part = place / f".{run}{secrets.token_hex(8)}.part"
            # polars makes a fault of its own of a Ctrl-C that it meets in ``frames``, and prints a page about it
            with later() as stop:
                register_io_source(frames, schema=schema).sink_parquet(
                    part, compression="zstd", row_group_size=_ROW_GROUP, maintain_order=True
                )
            kept = _settle(part, folder)
    except (OSError, pl.exceptions.PolarsError) as problem:
        if broken:
            raise broken[0] from None
        raise CannotKeep(
            f"{folder}: the copy of the log cannot be kept ({_why(problem)}); make room there, or allow "
            "writing there, or keep only the logs' hashes (--hashes-only)"
        ) from problem
    finally:
        if part is not None:
            with suppress(OSError):
                part.unlink(missing_ok=True)
    return _Copied(kept, epoch_s(table.logger, state), (rows, state.last_s))


def _why(problem: Exception) -> str:
    """What the system said, without what polars says around it."""
    said = getattr(problem, "strerror", None) or str(problem).splitlines()[0]
    system = _SYSTEM_SAID.search(said)
    return (system[1] if system else said).strip().lower()


def _settle(part: Path, folder: Path) -> Kept:
    """Bring a complete copy to the disk and under its final name."""
    with part.open("rb+") as file:
        os.fsync(file.fileno())
        sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        size = os.fstat(file.fileno()).st_size
    final = kept_path(folder, sha256)
    if is_far(folder):
        try:
            remote.put(part, final)
        except BenchlogError as problem:
            raise CannotKeep(str(problem)) from problem
        return Kept(sha256, size)
    final.parent.mkdir(exist_ok=True)
    replace(part, final)
    for each in (final.parent, folder):
        _sync_folder(each)
    return Kept(sha256, size)


def _sync_folder(folder: Path) -> None:
    """Bring a folder's names to the disk, where the system can."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _frame(placed: Placed, roles: list[str]) -> "pl.DataFrame":
    import polars as pl

    trace = placed.trace
    columns: dict[str, object] = {"time_s": trace.time_s}
    for role in roles:
        values, over = trace.values[role], trace.over.get(role)
        columns[role] = values if over is None else np.where(over, OVER_RANGE, values)
    marks: list[str | None] = [None] * len(trace)
    at = np.searchsorted(trace.time_s, [mark.time_s for mark in placed.marks])
    for n, mark in zip(at, placed.marks, strict=True):
        marks[int(n)] = mark.text
    return pl.DataFrame({**columns, "mark": pl.Series("mark", marks, dtype=pl.String)})
