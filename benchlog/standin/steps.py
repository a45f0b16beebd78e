"""A signal that holds its value between changes, looked up at many times at once."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from benchlog.core.trace import Array


@dataclass(frozen=True, slots=True)
class Steps:
    """Piecewise constant: ``values[0]`` before ``times_s[0]``, ``values[k + 1]`` from ``times_s[k]`` on.

    Attributes:
        times_s: s, ascending.
        values: one more than ``times_s``.
    """

    times_s: Array
    values: Array

    @classmethod
    def of(cls, initial: float, changes: Iterable[tuple[float, float]]) -> "Steps":
        """From a first value and ``(time_s, value)`` pairs in any order."""
        ordered = sorted(changes, key=lambda change: change[0])
        times = np.array([time for time, _ in ordered], dtype=np.float64)
        return cls(times, np.array([initial, *(value for _, value in ordered)], dtype=np.float64))

    def at(self, time_s: Array) -> Array:
        """The value at each time; a change counts from its own instant on."""
        return self.values[np.searchsorted(self.times_s, time_s, side="right")]

    def both(self, other: "Steps") -> "Steps":
        """The product of two signals: of two states, where both are up."""
        times = np.union1d(self.times_s, other.times_s)
        first = self.values[0] * other.values[0]
        return Steps(times, np.r_[first, self.at(times) * other.at(times)])

    def plus(self, other: "Steps") -> "Steps":
        """The sum of two signals."""
        times = np.union1d(self.times_s, other.times_s)
        return Steps(times, np.r_[self.values[0] + other.values[0], self.at(times) + other.at(times)])

    def spans(self, end_s: float) -> list[tuple[float, float]]:
        """Where the value is not zero, as ``(from_s, to_s)``, within 0 and ``end_s``."""
        edges = np.r_[-np.inf, self.times_s, np.inf]
        found: list[tuple[float, float]] = []
        for value, start, stop in zip(self.values, edges[:-1], edges[1:], strict=True):
            lo, hi = max(float(start), 0.0), min(float(stop), end_s)
            if value == 0 or hi <= lo:
                continue
            if found and found[-1][1] >= lo:
                found[-1] = (found[-1][0], hi)
            else:
                found.append((lo, hi))
        return found
