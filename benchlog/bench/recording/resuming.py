"""Resuming in the file of a recording that was stopped."""

from dataclasses import dataclass
from pathlib import Path

from benchlog.bench.recording.writer import age_of, head_of, tail_of
from benchlog.core.errors import BadLog, BenchlogError
from benchlog.core.roles import TICKS_A_SECOND
from benchlog.log.readers.lines import ADDED_TIME, Meaning
from benchlog.log.readers.rows import read_times
from benchlog.log.readers.timeline import State


@dataclass(frozen=True, slots=True)
class Resumed:
    """Where a file stands.

    Attributes:
        last: its last time, in the time column's unit; None where it holds no sample yet.
        ago_s: how long ago it was written to.
        state: for the next piece of its time axis.
    """

    last: float | int | None
    ago_s: float
    state: State


def resumed_from(path: Path, header: bytes, meaning: Meaning) -> Resumed:
    """Find where a file stands.

    Raises:
        BenchlogError: it holds other columns, or cannot be read.
    """
    from benchlog.log.log import Log

    head = head_of(path)
    names = [line for line in head.split(b"\n") if line and not line.startswith(b"#")]
    if not names or names[0] + b"\n" != header:
        raise BenchlogError(
            f"{path}: the columns of this recording differ from those the logger sends now "
            f"({header.decode().strip()}); continue with the logger and the logger file that it was started with, or "
            "start over in another file"
        )
    separator = ";" if header.count(b";") > header.count(b",") else "\t" if b"\t" in header else ","
    column = header.decode().strip().split(separator).index(ADDED_TIME) if meaning.adds_time else meaning.wanted.time
    assert column is not None
    columns = (column,) if meaning.adds_time else (column, *meaning.wanted.more_time)
    lines = [line for line in tail_of(path).split(b"\n")[1:-1] if line and not line.startswith(b"#")]
    # of a row that an editor cut short there is no time
    rows = [cells for line in lines if len(cells := line.split(separator.encode())) > max(columns)]
    times = [b" ".join(cells[n] for n in columns) for cells in rows]
    if not times:
        return Resumed(None, age_of(path), State())
    begun = names[1].split(separator.encode()) if len(names) > 1 else []
    last = _time(times[-1], meaning)
    first = _time(b" ".join(begun[n] for n in columns), meaning) if len(begun) > max(columns) else last
    unit = meaning.logger.time.unit if meaning.logger.time is not None else "s"
    end_s, turns = float("-inf"), 0
    if meaning.known:
        try:
            with Log.open(path, meaning.logger) as log:
                end_s = log.end_s
        except BadLog:  # one sample, or none that is good
            end_s = float("-inf")
        wraps_at = meaning.logger.time.wraps_at if meaning.logger.time is not None else None
        if wraps_at is not None and end_s > 0:
            turns = max(round((end_s * TICKS_A_SECOND[unit] - last) / wraps_at), 0)
    absolute = unit.startswith("epoch") or unit == "iso8601"
    state = State(rows=0, first=first if absolute else None, turns=turns, last=float(last), last_s=end_s)
    return Resumed(last, age_of(path), state)


def _time(cell: bytes, meaning: Meaning) -> float | int:
    import polars as pl

    text = cell.decode("utf-8", "replace").strip(' "')
    if meaning.logger.time is not None and meaning.logger.time.unit == "iso8601":
        return int(read_times([pl.Series([text])], meaning.wanted).us[0])
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return 0.0
