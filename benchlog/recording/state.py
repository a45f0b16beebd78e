"""The last minute of a recording, thinned, left for the pages while it runs."""

import time
from collections import deque
from collections.abc import Mapping

import numpy as np

from benchlog.errors import BenchlogError
from benchlog.live import LiveState, Step, write_live
from benchlog.trace import Trace

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
        self._time: deque[float] = deque()
        self._recent: dict[str, deque[float | None]] = {}
        self._told: deque[str] = deque(maxlen=_TOLD)
        self._came: deque[tuple[float, int]] = deque()
        self._written_at = float("-inf")
        self.last: dict[str, float | None] = {}
        self.rate_hz: float | None = None
        self.step: Step | None = None

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
        if self._time and bins[0] == np.floor(self._time[-1] * (MOST_POINTS / WINDOW_S)):
            self._time.pop()
            for column in self._recent.values():
                column.pop()
        before = len(self._time)
        self._time.extend(np.round(trace.time_s[at], 6).tolist())
        for role, values in trace.values.items():
            column = self._recent.setdefault(role, deque([None] * before))
            column.extend(map(_plain, values[at].tolist()))
        for column in self._recent.values():
            column.extend([None] * (len(self._time) - len(column)))
        while len(self._time) > MOST_POINTS or self._time[0] < self._time[-1] - WINDOW_S:
            self._time.popleft()
            for column in self._recent.values():
                column.popleft()

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
            time_s=tuple(self._time),
            recent={role: list(column) for role, column in self._recent.items()},
            step=self.step,
            ended=ended,
        )
        try:
            write_live(state)
        except (BenchlogError, OSError):
            return  # the recording is worth more than its picture


def _plain(value: float) -> float | None:
    return float(f"{value:.6g}") if value == value and abs(value) != float("inf") else None
