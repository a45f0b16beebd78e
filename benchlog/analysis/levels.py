"""Where are a signal's state levels, and when does it cross between them (IEEE 181-2011)?"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from benchlog.core.quantiles import median
from benchlog.core.trace import Array

#: A histogram has so many bins, and so many samples of each half are enough for it.
_BINS, _ENOUGH = 200, 20_000


@dataclass(frozen=True, slots=True)
class Levels:
    """The low and the high state of a two-level signal, in its unit."""

    low: float
    high: float

    @property
    def amplitude(self) -> float:
        """High less low."""
        return self.high - self.low

    def at(self, fraction: float) -> float:
        """The reference level at this fraction of the way from low to high."""
        return self.low + fraction * self.amplitude


@dataclass(frozen=True, slots=True)
class Crossing:
    """One passage through a level.

    Attributes:
        time_s: by linear interpolation between the two samples around it.
        before_s, after_s: the times of those samples.
        index: of the sample after it.
        to: the direction.
    """

    time_s: float
    before_s: float
    after_s: float
    index: int
    to: Literal["high", "low"]

    @property
    def width_s(self) -> float:
        """Time between the two samples around the crossing, s."""
        return self.after_s - self.before_s


def state_levels(samples: Array) -> Levels | None:
    """State levels by histogram: split at mid-range, the mode of each half (IEEE 181-2011, 5.2.1).

    Where the modal bin holds less than 1 % of the samples, bins ten times as wide are used.

    Returns:
        None for fewer than two valid samples or a signal without range.
    """
    x = samples[np.isfinite(samples)]
    if len(x) < 2:
        return None
    low, high = float(x.min()), float(x.max())
    if not high > low:
        return None
    middle = (low + high) / 2
    return Levels(_mode(_thinned(x, x <= middle), low, middle), _mode(_thinned(x, x > middle), middle, high))


def _thinned(x: Array, half: npt.NDArray[np.bool_]) -> Array:
    """Every nth sample of one half, about ``_ENOUGH`` of them: as good for a mode, and quick on long logs."""
    every = max(int(np.count_nonzero(half)) // _ENOUGH, 1)
    return np.asarray(x[half][::every])


def _mode(half: Array, low: float, high: float) -> float:
    counts, edges = np.histogram(half, bins=_BINS, range=(low, high))
    if counts.max() < len(half) / 100:
        counts, edges = np.histogram(half, bins=_BINS // 10, range=(low, high))
    best = int(counts.argmax())
    # the bin's own samples place the mode finer than the bin does
    inside = half[(half >= edges[best]) & (half <= edges[best + 1])]
    return median(inside)


def crossings(time_s: Array, samples: Array, levels: Levels, at: float = 0.5, band: float = 0.1) -> list[Crossing]:
    """Passages through the ``at`` reference level, each from below ``at - band`` to above ``at + band`` or back.

    Samples inside the band do not change the state, so noise on a slow edge makes one passage, not many.
    The instant is that of the last passage through the level itself before the far side of the band.

    Args:
        time_s: s, increasing. samples: the signal; NaN is skipped.
        levels: the levels that the fractions refer to.
    """
    valid = np.isfinite(samples)
    t, x = time_s[valid], samples[valid]
    index = np.flatnonzero(valid)
    level, upper, lower = levels.at(at), levels.at(at + band), levels.at(at - band)
    decided = np.flatnonzero((x >= upper) | (x <= lower))
    if len(decided) < 2:
        return []
    high = x[decided] >= upper
    turns = np.flatnonzero(high[1:] != high[:-1])
    found = []
    for turn in turns:
        first, last = int(decided[turn]), int(decided[turn + 1])
        rising = bool(high[turn + 1])
        stretch = x[first : last + 1]
        beyond = stretch >= level if rising else stretch <= level
        # the last sample still on the near side
        near = first + int(np.flatnonzero(~beyond)[-1]) if not beyond.all() else first
        far = near + 1
        span = x[far] - x[near]
        share = (level - x[near]) / span if span else 0.5
        found.append(
            Crossing(
                float(t[near] + share * (t[far] - t[near])),
                float(t[near]),
                float(t[far]),
                int(index[far]),
                "high" if rising else "low",
            )
        )
    return found


def first_reach(time_s: Array, samples: Array, level: float, to: Literal["high", "low"]) -> Crossing | None:
    """The first time that a signal reaches a level from the other side.

    Returns:
        None if it never does, or is on the far side from the first sample on.
    """
    valid = np.isfinite(samples)
    t, x = time_s[valid], samples[valid]
    index = np.flatnonzero(valid)
    beyond = x >= level if to == "high" else x < level
    if len(x) < 2 or beyond[0] or not beyond.any():
        return None
    far = int(np.argmax(beyond))
    near = far - 1
    span = x[far] - x[near]
    share = (level - x[near]) / span if span else 0.5
    return Crossing(float(t[near] + share * (t[far] - t[near])), float(t[near]), float(t[far]), int(index[far]), to)
