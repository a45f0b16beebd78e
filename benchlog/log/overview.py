"""A whole log in a bounded number of buckets, made in one pass."""

from collections.abc import Iterable

import numpy as np

from benchlog.core.quantiles import median
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Array, Band, Overview, Trace
from benchlog.log.buckets import BucketColumns, Figures, chained, merged, reduced

_BYTES = 64 << 20


_BYTES_A_ROLE, _BYTES_SHARED = 56, 32  # in one bucket


_FEWEST, _MOST = 1 << 16, 1 << 19
_STEPS = 1 << 18  # time steps kept for their median
_PARTS = 256  # pieces that full buckets lie in


def buckets_for(roles: int) -> int:
    """The power of two of buckets that keeps an overview of so many roles within about 64 MB."""
    fits = _BYTES // (_BYTES_A_ROLE * roles + _BYTES_SHARED)
    return min(max(1 << (fits.bit_length() - 1), _FEWEST), _MOST)


class OverviewBuilder:
    """Takes consecutive traces, gives their overview.

    Every bucket holds ``k`` rows, k a power of two; when there are more than ``max_buckets``,
    neighbours are joined and k doubles. While k is 1 the overview is the log itself.

    Args:
        roles: all roles of the log; those in A get ``area`` and ``weight_s``, others NaN there.
        max_buckets: at least 2.
        expected_rows: how long the log will be at least, if known: saves joining.
    """

    def __init__(self, roles: Iterable[str], max_buckets: int | None = None, expected_rows: int = 0) -> None:
        self._roles = tuple(roles)
        self._currents = frozenset(role for role in self._roles if ROLE_UNITS[role] == "A")
        self._max = max(max_buckets or buckets_for(len(self._roles)), 2)
        self._k = 1
        while expected_rows > self._max * self._k:
            self._k *= 2
        self._full: list[Figures] = []  # buckets of k rows
        self._buckets = 0
        self._open: Figures | None = None  # one bucket with fewer
        self._open_rows = 0
        self._last_s: float | None = None
        self._before_s: float | None = None  # the last trace's end, as the currents saw it
        self._last: dict[str, tuple[float, float]] = {}  # role -> time and value of its last valid sample
        self._steps: list[Array] = []
        self._stride, self._phase, self._kept = 1, 0, 0

    def add(self, trace: Trace) -> None:
        """Take the next samples of the log."""
        rows = len(trace)
        if not rows:
            return
        columns = self._columns(trace)
        at = 0
        if self._open is not None:
            at = min(self._k - self._open_rows, rows)
            self._extend(reduced(columns, 0, at, at), at)
        whole = (rows - at) // self._k * self._k
        if whole:
            self._full.append(reduced(columns, at, at + whole, self._k))
            self._buckets += whole // self._k
            at += whole
        if at < rows:
            self._extend(reduced(columns, at, rows, rows - at), rows - at)
        while self._buckets >= self._max and (self._buckets > self._max or self._open is not None):
            self._join()

    def finish(self) -> Overview:
        """The overview of all samples taken."""
        parts = [*self._full, *([self._open] if self._open is not None else [])]
        if not parts:
            return _overview(reduced(self._columns(_nothing(self._roles)), 0, 0, 1), self._roles, float("nan"))
        steps = np.concatenate(self._steps) if self._steps else np.empty(0)
        step_s = median(steps) if len(steps) else float("nan")
        return _overview(chained(parts), self._roles, step_s)

    def _columns(self, trace: Trace) -> "BucketColumns":
        time_s = trace.time_s
        dt = np.empty(len(time_s))
        np.subtract(time_s[1:], time_s[:-1], out=dt[1:])
        if len(time_s):
            dt[0] = 0.0 if self._last_s is None else time_s[0] - self._last_s
            self._sample_steps(dt if self._last_s is not None else dt[1:])
            self._last_s = float(time_s[-1])
        products: dict[str, tuple[Array, Array]] = {}
        for role in self._currents:
            values = trace.values[role]
            sums = np.empty(len(values))
            np.add(values[1:], values[:-1], out=sums[1:])
            if len(values):
                sums[0] = values[0] + self._last.get(role, (0.0, values[0]))[1]
            sums *= dt
            weights = dt
            last_s = self._last[role][0] if role in self._last else None
            if np.isnan(sums.sum()) or last_s != self._before_s:
                sums, weights = self._across_empty(trace, role)
            elif len(values):
                self._last[role] = (float(time_s[-1]), float(values[-1]))
            products[role] = sums, weights
        self._before_s = self._last_s
        return BucketColumns(trace, self._roles, dt, products)

    def _across_empty(self, trace: Trace, role: str) -> tuple[Array, Array]:
        """Trapezoids from valid sample to valid sample: empty cells are spanned, samples over range are not."""
        values, flags = trace.values[role], trace.over.get(role)
        sums, weights = np.zeros(len(values)), np.zeros(len(values))
        at = np.flatnonzero(~np.isnan(values))
        broken = np.zeros(len(values), dtype=np.int64) if flags is None else np.cumsum(flags)
        if len(at):
            t, x = trace.time_s[at], values[at]
            apart = np.diff(t, prepend=t[0])
            pairs = x + np.concatenate((x[:1], x[:-1]))
            whole = np.diff(broken[at], prepend=broken[at[0]]) == 0
            if role in self._last and broken[at[0]] == 0:
                apart[0], pairs[0] = t[0] - self._last[role][0], x[0] + self._last[role][1]
            sums[at], weights[at] = np.where(whole, pairs * apart, 0.0), np.where(whole, apart, 0.0)
            self._last[role] = (float(t[-1]), float(x[-1]))
        if len(broken) and broken[-1] > (broken[at[-1]] if len(at) else 0):
            self._last.pop(role, None)  # over range since the last valid sample
        return sums, weights

    def _sample_steps(self, steps: Array) -> None:
        taken = steps[self._phase :: self._stride].copy()
        self._phase = (self._phase - len(steps)) % self._stride
        self._steps.append(taken)
        self._kept += len(taken)
        while self._kept > _STEPS:
            every = np.concatenate(self._steps)
            self._steps = [every[::2].copy()]
            self._phase += self._stride if len(every) % 2 else 0
            self._stride *= 2
            self._kept = len(self._steps[0])

    def _extend(self, bucket: Figures, rows: int) -> None:
        self._open = bucket if self._open is None else merged(chained([self._open, bucket]))
        self._open_rows += rows
        if self._open_rows == self._k:
            self._full.append(self._open)
            self._buckets += 1
            self._open, self._open_rows = None, 0

    def _join(self) -> None:
        # part by part, in the cache; where there are many small ones, all at once
        parts = self._full if len(self._full) <= _PARTS else [chained(self._full)]
        joined: list[Figures] = []
        odd: Figures | None = None
        for part in parts:
            figures = part if odd is None else chained([odd, part])
            count = len(figures["", "start"])
            even = count // 2 * 2
            odd = {key: column[even:] for key, column in figures.items()} if even < count else None
            if even:
                joined.append(merged({key: column[:even] for key, column in figures.items()}))
        if odd is not None:  # is half a bucket from now on
            self._open = odd if self._open is None else merged(chained([odd, self._open]))
            self._open_rows += self._k
        self._full, self._buckets = joined, self._buckets // 2
        self._k *= 2


def _nothing(roles: tuple[str, ...]) -> Trace:
    return Trace(np.empty(0), {role: np.empty(0) for role in roles}, {})


def _overview(figures: Figures, roles: tuple[str, ...], step_s: float) -> Overview:
    bands = {}
    for role in roles:
        valid = figures[role, "valid"]
        none = valid == 0
        unknown = np.full(len(valid), np.nan)
        bands[role] = Band(
            min=np.where(none, np.nan, figures[role, "min"]),
            mean=np.where(none, np.nan, figures[role, "sum"] / np.maximum(valid, 1)),
            max=np.where(none, np.nan, figures[role, "max"]),
            area=figures.get((role, "area"), unknown),
            weight_s=figures.get((role, "weight"), unknown),
            over=figures[role, "over"],
        )
    shared = (figures["", name] for name in ("start", "end", "rows", "gap"))
    start_s, end_s, rows, gap_s = shared
    return Overview(start_s, end_s, rows, bands, gap_s, step_s)
