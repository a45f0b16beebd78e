"""What the stream has shown so far, in points of a tenth of a second: enough to see what is done to the bike."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse
from benchlog.core.trace import Array, Trace

#: A point of the history; the level just before a step is the median over so long, s.
POINT_S, LEVEL_S = 0.1, 2.0
#: A clock that jumps back further than this was started again, s.
RESTART_S = 1.0


@dataclass(frozen=True, slots=True)
class Before:
    """The levels just before something is done; role -> median in canonical unit and sign, NaN where none."""

    at_s: float
    levels: Mapping[str, float]

    def of(self, role: str) -> float:
        """The level of one role; NaN where it is not logged."""
        return self.levels.get(role, float("nan"))


class History:
    """The points of one stream. Times are the stream's own, s."""

    def __init__(self) -> None:
        """Start with nothing."""
        self._clear()

    def _clear(self) -> None:
        self._n = 0
        self._start: Array = np.empty(256)
        self._end: Array = np.empty(256)
        self._columns: dict[tuple[str, str], Array] = {}
        self._waiting: Trace | None = None
        self.first_s = float("nan")
        self.now_s = float("nan")

    @property
    def roles(self) -> tuple[str, ...]:
        """The channels of the stream."""
        seen = {role for role, _ in self._columns}
        if self._waiting is not None:
            seen |= set(self._waiting.values)
        return tuple(sorted(seen))

    def add(self, trace: Trace) -> bool:
        """Take in new samples; True where the stream's clock was started again, so that all before it is forgotten."""
        if not len(trace):
            return False
        again = bool(trace.time_s[0] < self.now_s - RESTART_S)
        if again:
            self._clear()
        if np.isnan(self.first_s):
            self.first_s = float(trace.time_s[0])
        self.now_s = float(trace.time_s[-1])
        whole = trace if self._waiting is None else _joined(self._waiting, trace)
        bins = np.floor(whole.time_s / POINT_S + 1e-6).astype(np.int64)
        # the last point may still grow
        done = int(np.searchsorted(bins, bins[-1]))
        self._waiting = _cut(whole, slice(done, None))
        if done:
            self._take(_cut(whole, slice(0, done)), bins[:done])
        return again

    def _take(self, trace: Trace, bins: npt.NDArray[np.int64]) -> None:
        first = np.flatnonzero(np.r_[True, np.diff(bins) > 0])
        last = np.r_[first[1:], len(bins)] - 1
        lo, hi = self._n, self._n + len(first)
        while hi > len(self._start):
            self._grow()
        self._start[lo:hi], self._end[lo:hi] = trace.time_s[first], trace.time_s[last]
        for role, x in trace.values.items():
            good = np.isfinite(x)
            count = np.add.reduceat(good.astype(float), first)
            total = np.add.reduceat(np.where(good, x, 0.0), first)
            mean = np.divide(total, count, out=np.full(len(first), np.nan), where=count > 0)
            over = trace.over.get(role)
            beyond = np.zeros(len(first)) if over is None else np.add.reduceat(over.astype(float), first)
            for what, values in (
                ("mean", mean),
                ("low", np.fmin.reduceat(x, first)),
                ("high", np.fmax.reduceat(x, first)),
                ("over", beyond),
            ):
                self._column(role, what)[lo:hi] = values
        self._n = hi

    def _column(self, role: str, what: str) -> Array:
        if (role, what) not in self._columns:
            self._columns[role, what] = np.full(len(self._start), 0.0 if what == "over" else np.nan)
        return self._columns[role, what]

    def _grow(self) -> None:
        size = len(self._start)
        self._start, self._end = (np.r_[x, np.empty(size)] for x in (self._start, self._end))
        for key, x in self._columns.items():
            self._columns[key] = np.r_[x, np.full(size, 0.0 if key[1] == "over" else np.nan)]

    def _slice(self, from_s: float, to_s: float) -> slice:
        lo = int(np.searchsorted(self._start[: self._n], from_s - 1e-9))
        hi = int(np.searchsorted(self._end[: self._n], to_s + 1e-9))
        return slice(lo, max(hi, lo))

    def points(self, role: str, from_s: float, to_s: float = np.inf, what: str = "mean") -> tuple[Array, Array]:
        """Begin (s) and value of each whole point of a stretch; ``what`` is mean, low, high or over."""
        if (role, what) not in self._columns:
            return np.empty(0), np.empty(0)
        keep = self._slice(from_s, to_s)
        return self._start[keep], self._columns[role, what][keep]

    def level(self, role: str, from_s: float, to_s: float = np.inf) -> float:
        """The median over a stretch; NaN where there is no valid point."""
        x = self.points(role, from_s, to_s)[1]
        x = x[np.isfinite(x)]
        return float(np.median(x)) if len(x) else float("nan")

    def newest(self, role: str, over_s: float = 0.3) -> float:
        """The mean of the newest points; NaN where there are none, or the channel is over range."""
        t, x = self.points(role, self.now_s - over_s - POINT_S)
        if not len(t):
            t, x = self.points(role, -np.inf)
            t, x = t[-1:], x[-1:]
        x = x[np.isfinite(x)]
        return float(x.mean()) if len(x) else float("nan")

    def before(self, at_s: float, over_s: float = LEVEL_S) -> Before:
        """The levels just before a time: medians over the last ``over_s``."""
        return Before(at_s, {role: self.level(role, at_s - over_s, at_s + POINT_S) for role in self.roles})

    def was_over(self, role: str, from_s: float = -np.inf) -> bool:
        """Whether the channel was over range since then."""
        return bool(self.points(role, from_s, what="over")[1].any())

    def table(self, from_s: float, roles: tuple[str, ...]) -> Coarse:
        """The points since a time, as the analysis takes them."""
        keep = self._slice(from_s, np.inf)
        has = [role for role in roles if (role, "mean") in self._columns]
        parts = {what: {role: self._columns[role, what][keep] for role in has} for what in ("mean", "low", "high")}
        over = {role: self._columns[role, "over"][keep].astype(np.int64) for role in has}
        return Coarse(self._start[keep], self._end[keep], parts["mean"], parts["low"], parts["high"], over)


def _cut(trace: Trace, keep: slice) -> Trace:
    return Trace(
        trace.time_s[keep],
        {role: x[keep] for role, x in trace.values.items()},
        {role: flags[keep] for role, flags in trace.over.items()},
    )


def _joined(one: Trace, other: Trace) -> Trace:
    n, m = len(one), len(other)
    roles = [*one.values, *(role for role in other.values if role not in one.values)]
    values = {
        role: np.r_[one.values.get(role, np.full(n, np.nan)), other.values.get(role, np.full(m, np.nan))]
        for role in roles
    }
    over = {
        role: np.r_[one.over.get(role, np.zeros(n, dtype=np.bool_)), other.over.get(role, np.zeros(m, dtype=np.bool_))]
        for role in {*one.over, *other.over}
    }
    return Trace(np.r_[one.time_s, other.time_s], values, over)
