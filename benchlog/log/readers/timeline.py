"""From the logger's clock to elapsed seconds that only rise."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.roles import TICKS_A_SECOND
from benchlog.core.trace import Mark, Trace
from benchlog.log.readers.noted import kept_marks
from benchlog.log.readers.raw import Flags, Floats, Ints, Raw, ReadFault

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

#: Counter widths met in loggers: 16, 24 and 32 bits.
COUNTERS = (1 << 16, 1 << 24, 1 << 32)
#: A day, after which times of day begin again, us.
DAY_US = 86_400_000_000


@dataclass(frozen=True, slots=True)
class State:
    """What one piece needs to know of those before it.

    Attributes:
        rows: data rows so far, left-out ones included.
        first: the log's first time on an absolute clock, in the column's unit; None before it or without one.
        turns: how often the counter has wrapped.
        last: the last time in the column, as written; None before the first row.
        last_s: the last kept sample's time, s.
    """

    rows: int = 0
    first: float | int | None = None
    turns: int = 0
    last: float | None = None
    last_s: float = -np.inf


@dataclass(frozen=True, slots=True)
class Placed:
    """A piece on the time axis.

    Attributes:
        trace: its samples, those whose time does not increase left out.
        marks: what the tester noted.
        after: what the next piece needs to know.
        faults: the samples left out.
        wraps_at: the counter width that a fall of the time looks like; None if it does not.
        keep: True for each of the piece's rows whose time rises; None if that of every one does.
    """

    trace: Trace
    marks: tuple[Mark, ...]
    after: State
    faults: tuple[ReadFault, ...]
    wraps_at: int | None
    keep: Flags | None = None


def place(raw: Raw, logger: "Logger", state: State) -> Placed:
    """Give each row of a piece its time; depends on its arguments alone."""
    if raw.time is None:
        row = np.arange(raw.rows) if raw.row is None else raw.row
        first, turns, last = None, 0, None
        time_s = (row + state.rows) / (logger.rate_hz or 1.0)
    else:
        time_s, first, turns = _seconds(raw.time, logger, state)
        last = float(raw.time[-1]) if len(raw) else state.last
    keep = _rising(time_s, state.last_s)
    faults: tuple[ReadFault, ...] = ()
    wraps_at = None
    values, over, marks = raw.values, raw.over, raw.marks
    if keep is not None:
        fault, wraps_at = _fall(raw, keep, logger, state)
        faults = (fault,)
        time_s = time_s[keep]
        values = {role: column[keep] for role, column in values.items()}
        over = {role: flags[keep] for role, flags in over.items() if flags[keep].any()}
        marks = kept_marks(marks, keep)
    last_s = float(time_s[-1]) if len(time_s) else state.last_s
    after = State(state.rows + raw.rows, first, turns, last, last_s)
    noted = tuple(Mark(float(time_s[n]), text) for n, text in marks)
    return Placed(Trace(time_s, values, over), noted, after, faults, wraps_at, keep)


def epoch_s(logger: "Logger", state: State) -> float | None:
    """Seconds since 1970-01-01 UTC of the log's first sample; None where the clock is not absolute."""
    if state.first is None:
        return None
    return float(state.first) / (1e6 if isinstance(state.first, int) else _divisor(logger))


def _divisor(logger: "Logger") -> float:
    return float(TICKS_A_SECOND[logger.time.unit]) if logger.time is not None else 1.0


def _seconds(time: Floats | Ints, logger: "Logger", state: State) -> tuple[Floats, float | int | None, int]:
    if not len(time):
        return np.empty(0), state.first, state.turns
    if logger.time is not None and logger.time.is_of_day:
        turned = _turned(time.astype(np.float64), DAY_US, state)
        return (time + turned * DAY_US) / 1e6, None, int(turned[-1])
    if time.dtype == np.int64:  # us since 1970: subtracted as integers, so that no us is lost
        stamp = int(time[0]) if state.first is None else state.first
        return (time - int(stamp)) / 1e6, stamp, 0
    divisor = _divisor(logger)
    if logger.time is not None and logger.time.unit.startswith("epoch"):
        begin = float(time[0]) if state.first is None else state.first
        return np.divide(time - begin, divisor, dtype=np.float64), begin, 0
    wraps_at = _wraps_at(time, logger)
    turns = state.turns
    if wraps_at is not None:
        turned = _turned(time.astype(np.float64), wraps_at, state)
        turns = int(turned[-1])
        time = time + turned * wraps_at
    elapsed: Floats = time.astype(np.float64, copy=False)
    if divisor != 1.0:
        elapsed = np.divide(elapsed, divisor)
    return elapsed, None, turns


def _wraps_at(time: Floats | Ints, logger: "Logger") -> float | None:
    """Where a column that counts starts again; None for dates, a day's length for times of day."""
    if logger.time is not None and logger.time.is_of_day:
        return DAY_US
    if logger.time is None or time.dtype == np.int64 or logger.time.unit.startswith("epoch"):
        return None
    return logger.time.wraps_at


def _turned(time: Floats, wraps_at: float, state: State) -> Ints:
    """How often the counter has wrapped at each row.

    A fall by more than half the counter is a wrap. A rise by nearly all of it is a row that comes late,
    from before the wrap; less than that may be a pause in logging.
    """
    wrapped, late = _wrapped(time, wraps_at, state)
    turns = state.turns + np.cumsum(wrapped - late)
    return turns if turns.min() >= 0 else state.turns + np.cumsum(wrapped)


def _wrapped(time: Floats, wraps_at: float, state: State) -> tuple[Ints, Ints]:
    """1 at each row at which the counter has wrapped, and at each that comes late."""
    step = np.diff(time, prepend=time[0] if state.last is None else state.last)
    return (step < -wraps_at / 2).astype(np.int64), (step > wraps_at * 15 / 16).astype(np.int64)


def turns_at(raw: Raw, logger: "Logger", state: State) -> Ints | None:
    """How often the counter has wrapped at each row; None where that cannot be told from the rows before it alone."""
    wraps_at = None if raw.time is None else _wraps_at(raw.time, logger)
    if raw.time is None or wraps_at is None or not len(raw):
        return np.broadcast_to(np.int64(state.turns), len(raw))
    wrapped, late = _wrapped(raw.time.astype(np.float64), wraps_at, state)
    turns: Ints = state.turns + np.cumsum(wrapped - late)
    return turns if turns.min() >= 0 else None


def _rising(time_s: Floats, last_s: float) -> Flags | None:
    """True where the time is above all before it; None if it always is."""
    if not len(time_s) or (time_s[0] > last_s and bool((time_s[1:] > time_s[:-1]).all())):
        return None
    keep = np.ones(len(time_s), dtype=bool)
    if len(time_s) > 2:  # one wild time among rising ones must not take the rest of the log with it
        before = np.concatenate(([last_s], time_s[:-3]))
        wild, after, later = time_s[:-2], time_s[1:-1], time_s[2:]
        keep[:-2] = ~((wild > later) & (later > after) & (after > before))
    peaks = np.maximum.accumulate(np.concatenate(([last_s], np.where(keep, time_s, -np.inf))))
    return keep & (time_s > peaks[:-1])


def _fall(raw: Raw, keep: Flags, logger: "Logger", state: State) -> tuple[ReadFault, int | None]:
    first = int(np.flatnonzero(~keep)[0])
    line = first if raw.line is None else int(raw.line[first])
    if raw.time is None or logger.time is None:
        return ReadFault("backward", int((~keep).sum()), line, ""), None
    unit = "us" if raw.time.dtype == np.int64 else logger.time.unit
    now = float(raw.time[first])
    before = state.last if first == 0 else float(raw.time[first - 1])
    before = now if before is None else before
    found = f"{now:.15g} {unit} after {before:.15g} {unit}"
    fault = ReadFault("backward", int((~keep).sum()), line, found)
    if logger.time.wraps_at is not None or unit not in ("s", "ms", "us") or raw.time.dtype == np.int64:
        return fault, None
    fits = (counter for counter in COUNTERS if before < counter and before - now > counter / 2)
    return fault, next(fits, None)
