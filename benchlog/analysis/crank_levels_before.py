"""From which level does a dip fall, and when has it come back?"""

import numpy as np

from benchlog.analysis.coarse import spacing_s
from benchlog.core.quantiles import median
from benchlog.core.trace import Array

#: Points after a dip's beginning that are looked at first.
_SOON = 1024


def recovered_at(volts: Array, step_s: float, first: int, level: float) -> int:
    """The first point from which the voltage stays above a level; behind the last one where it never does.

    It stays there once it has for 0.3 s, so that ripple between two strokes does not end a crank. Most dips are over
    soon: the rest of a long log is looked at only where one is not.

    Args:
        step_s: usual time between points, s.
    """
    need = max(int(0.3 / step_s), 1)
    left = len(volts) - first
    reach = min(_SOON + need, left)
    while True:
        recovered = np.flatnonzero(volts[first : first + reach] > level)
        for n, offset in enumerate(recovered.tolist()):
            if int(np.searchsorted(recovered, offset + need)) - n >= min(need, left - offset):
                return first + offset
        if reach == left:
            return first + int(recovered[-1]) if len(recovered) else len(volts)
        reach = min(8 * reach, left)


def valid(x: Array) -> Array:
    """The finite ones."""
    return x[np.isfinite(x)]


def points_in(t: Array, at: int, span_s: float) -> int:
    """How many points the time before one spans, at least 2."""
    return max(at - int(np.searchsorted(t, t[at] - span_s)), 2)


def median_before(t: Array, x: Array, at: int, since: int = 0) -> float:
    """Median of the valid points of the 2 s before a point, none before ``since``; NaN where there is none."""
    earlier = x[max(at - points_in(t, at, 2.0), since if since < at else at - 1, 0) : at]
    earlier = earlier[np.isfinite(earlier)]
    return median(earlier) if len(earlier) else np.nan


def level_before(t: Array, volts: Array) -> Array:
    """The level before each point: enough to find a dip, whose own reference is then taken closely.

    The mean of the 2 s before, or of the 0.3 s before where that is higher: it has just come back from a crank.
    """
    step = spacing_s(t)
    widths = (int(np.clip(seconds / step, 2, 40)) for seconds in (2.0, 0.3))
    long, short = (_mean_before(volts, width) for width in widths)
    return np.asarray(np.fmax(long, short))


def _mean_before(volts: Array, width: int) -> Array:
    good = np.isfinite(volts)
    total = np.concatenate(([0.0], np.cumsum(np.where(good, volts, 0.0))))
    count = np.concatenate(([0], np.cumsum(good)))
    at = np.arange(len(volts))
    back = np.maximum(at - width, 0)
    held = count[at] - count[back]
    mean = np.full(len(volts), np.nan)
    np.divide(total[at] - total[back], held, out=mean, where=held > 0)
    return mean
