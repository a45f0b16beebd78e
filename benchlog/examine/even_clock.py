"""A log whose times count in exact steps from its start, so that no figure hangs on where its clock is zero."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from benchlog.core.trace import Array, Mark, Overview, Trace
from benchlog.examine.context import Samples
from benchlog.examine.log_behind import LogBehind

#: Times are whole multiples of this, s: about a nanosecond, and a power of two, so that their sums, differences and
#: halves are exact on any clock that has run for less than 97 days.
STEP_S = 2.0**-30
#: How long something lasts is a decimal fraction, as stamps are, or a 1024th: what a clock that has run for days adds
#: to it by rounding lies behind this decimal.
DECIMALS = 10


class EvenClock(LogBehind):
    """The samples of another log, each time moved by at most a nanosecond.

    0.3 s after 39.0 s is a sample of a log at 100 Hz, or just misses it, by the last bit of two rounded numbers; with
    another zero of the clock these bits are others. Here a sample's time since the log's start does not depend on the
    clock, and neither does the comparison of any two times of it.
    """

    def __init__(self, log: Samples) -> None:
        super().__init__(log)
        self._first_s = log.start_s
        self._step_s = max(STEP_S, float(np.spacing(max(abs(log.start_s), abs(log.end_s)))))
        self._begins_s = round(log.start_s / self._step_s) * self._step_s
        self.overview = self._evened(log.overview)
        self._marks = tuple(Mark(float(self._even(np.array(mark.time_s))), mark.text) for mark in log.marks)

    @property
    def marks(self) -> Sequence[Mark]:
        """What the tester noted."""
        return self._marks

    @property
    def start_s(self) -> float:
        """Time of the first sample."""
        return self._begins_s

    @property
    def end_s(self) -> float:
        """Time of the last sample."""
        return float(self._even(np.array(self._log.end_s)))

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """Single samples of a stretch."""
        wider_s = 2 * self._step_s
        trace = self._log.trace(from_s - wider_s, to_s + wider_s, roles)
        return replace(trace, time_s=self._rising(trace.time_s)).between(from_s, to_s + 1e-12)

    def _evened(self, overview: Overview) -> Overview:
        return replace(
            overview,
            start_s=self._rising(overview.start_s),
            end_s=self._rising(overview.end_s),
            gap_s=np.round(overview.gap_s, DECIMALS),
            step_s=round(overview.step_s, DECIMALS),
        )

    def _rising(self, time_s: Array) -> Array:
        """Times in exact steps; as they are where two of them lie closer than that."""
        even = self._even(time_s)
        return even if bool((even[1:] > even[:-1]).all()) else time_s

    def _even(self, time_s: Array) -> Array:
        steps: Array = np.rint(np.round(time_s - self._first_s, DECIMALS) / self._step_s)
        return self._begins_s + steps * self._step_s


def as_logged(drawn: Overview, evened: Overview, logged: Overview) -> Overview:
    """The same buckets, of which some may be left out, at the times that the logger gave them.

    Args:
        drawn: what is left of ``evened``. logged: what ``evened`` was made from.
    """
    starts, ends = np.searchsorted(evened.start_s, drawn.start_s), np.searchsorted(evened.end_s, drawn.end_s)
    gap_s = logged.gap_s if len(drawn) == len(logged) else drawn.gap_s
    return replace(drawn, start_s=logged.start_s[starts], end_s=logged.end_s[ends], gap_s=gap_s)
