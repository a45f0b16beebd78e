"""The last minute of a recording, thinned, left for the pages while it runs."""

import math
import os
import time
from collections import deque
from collections.abc import Mapping

import numpy as np

from benchlog.bench.live import LiveState, LiveStep, write_live
from benchlog.core.errors import BenchlogError
from benchlog.core.trace import Array, Trace

WINDOW_S, MOST_POINTS = 60.0, 600
EVERY_S = 0.19
_TOLD = 20
_RATE_OVER_S = 3.0


class LiveKeeper:
    """Keeps the newest values and leaves them in the state file; what goes wrong there stops nothing.

    Attributes:
        last: role, or a column's own name -> newest value.
        rate_hz: lines a second over the last seconds; None before the first.
    """

    def __init__(self, log: str, port: str, bike: str) -> None:
        self._log, self._port, self._bike = log, port, bike
        self._began = time.time()
        self._time = np.empty(0)
        self._recent: dict[str, Array] = {}
        self._told: deque[str] = deque(maxlen=_TOLD)
        self._came: deque[tuple[float, int]] = deque()
        self._written_at = float("-inf")
        self.last: dict[str, float | None] = {}
        self.rate_hz: float | None = None
        self.step: LiveStep | None = None

    def add(self, trace: Trace, told: tuple[str, ...], others: Mapping[str, float | None], now: float) -> None:
        """Take what a batch brought.

        Args:
            trace: its samples.
            told: what happened.
            others: newest values of columns without a role.
            now: by ``time.monotonic``.
        """
        self._told.extend(told)
        self._came.append((now, len(trace)))
        while len(self._came) > 1 and now - self._came[0][0] > _RATE_OVER_S:
            self._came.popleft()
        over_s = now - self._came[0][0]
        if over_s > 0:
            self.rate_hz = sum(rows for _, rows in list(self._came)[1:]) / over_s
        self.last.update(others)
        if not len(trace):
            return
        self.last.update({role: _plain(float(values[-1])) for role, values in trace.values.items()})
        bins = np.floor(trace.time_s * (MOST_POINTS / WINDOW_S))
        at = np.flatnonzero(np.diff(bins, append=np.inf))[-MOST_POINTS:]
        old = len(self._time)
        if old and bins[0] == np.floor(self._time[-1] * (MOST_POINTS / WINDOW_S)):
            old -= 1
        time_s = np.concatenate((self._time[:old], np.round(trace.time_s[at], 6)))
        first = max(len(time_s) - MOST_POINTS, int(np.searchsorted(time_s, time_s[-1] - WINDOW_S)))
        before, none = np.full(len(self._time), np.nan), np.full(len(at), np.nan)
        for role in {**self._recent, **trace.values}:
            values = trace.values[role][at] if role in trace.values else none
            self._recent[role] = np.concatenate((self._recent.get(role, before)[:old], values))[first:]
        self._time = time_s[first:]

    def write(self, kept: int, refused: int, now: float, *, ended: bool = False) -> None:
        """Leave the state, where the last one is old enough."""
        if now - self._written_at < EVERY_S and not ended:
            return
        self._written_at = now
        state = LiveState(
            log=self._log,
            port=self._port,
            started_at=self._began,
            updated_at=time.time(),
            bike=self._bike,
            rate_hz=self.rate_hz,
            kept=kept,
            refused=refused,
            told=tuple(self._told),
            last=dict(self.last),
            time_s=tuple(self._time.tolist()),
            recent={role: _plain_all(column) for role, column in self._recent.items()},
            step=self.step,
            ended=ended,
            pid=os.getpid(),
        )
        try:
            write_live(state)
        except (BenchlogError, OSError):
            return  # the recording is worth more than its picture


def _plain(value: float) -> float | None:
    return float(f"{value:.6g}") if math.isfinite(value) else None


_TENS = 10.0 ** np.arange(23)


def _plain_all(values: Array) -> list[float | None]:
    """The same for many: to six digits, but whole above a million."""
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = 5 - np.floor(np.log10(np.abs(values)))
        scale = _TENS[np.clip(np.nan_to_num(digits), 0, 22).astype(np.int64)]
        rounded = np.round(values * scale) / scale
    plain: list[float | None] = rounded.tolist()
    for n in np.flatnonzero(~np.isfinite(rounded)).tolist():
        plain[n] = None
    return plain
