"""Is there a trend, and how steep? Theil-Sen's slope with Sen's interval, and a Mann-Kendall test.

Theil (1950) and Sen (1968): the slope is the median of the slopes of all pairs; its interval takes the
slopes whose ranks lie ``z`` standard deviations of Kendall's S from the middle. Mann (1945) and Kendall
(1975): S counts the rising pairs less the falling ones; ties narrow its variance.
"""

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from benchlog.core.spread import robust_spread

Array = npt.NDArray[np.float64]

#: More readings than this are brought down to medians of equal stretches of time: all pairs of 10,000
#: readings are 5e7 slopes, those of 1,000 medians 5e5, and a year's health does not change within hours.
MOST_READINGS = 1000
# fewer residuals tell nothing about their likeness
_FEWEST_ALIKE = 8
#: Two-sided 95 % of the normal distribution.
Z = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True, slots=True)
class TrendSlope:
    """A monotonic trend.

    Attributes:
        slope, low, high: units of y for one of x, with the 95 % interval.
        intercept: y at x = 0 of the line through the medians.
        p: two-sided probability of so clear an order without any trend (Mann-Kendall).
        n: points behind it.
    """

    slope: float
    low: float
    high: float
    intercept: float
    p: float
    n: int


def theil_sen(x: Array, y: Array, variance_factor: float = 1.0) -> TrendSlope:
    """The slope of ``y`` over ``x`` with its interval and the probability of no trend.

    Args:
        x, y: finite, of one length, 2 at least; ``x`` in any order, not all the same.
        variance_factor: how much wider than of independent readings the variance of S is.
    """
    rise, run = _pairs(y), _pairs(x)
    apart = run != 0
    slopes = np.sort(rise[apart] / run[apart])
    s = float(np.sign(rise * run).sum())
    spread = math.sqrt(kendall_variance(x, y) * variance_factor)
    middle = len(slopes) // 2
    slope = float((slopes[middle] + slopes[-middle - 1]) / 2)  # they are sorted
    reach = Z * spread
    last = len(slopes) - 1
    upper = min(round((len(slopes) + reach) / 2), last)
    lower = max(round((len(slopes) - reach) / 2) - 1, 0)
    return TrendSlope(
        slope=slope,
        low=float(slopes[lower]),
        high=float(slopes[upper]),
        intercept=float(np.median(y) - slope * np.median(x)),
        p=probability(s, spread),
        n=len(x),
    )


def kendall_variance(x: Array, y: Array) -> float:
    """The variance of Kendall's S without a trend, ties in either accounted for (Kendall 1975)."""
    n = len(x)
    counts = [np.unique(values, return_counts=True)[1].astype(np.float64) for values in (x, y)]
    pairs = [float((t * (t - 1)).sum()) for t in counts]
    triples = [float((t * (t - 1) * (t - 2)).sum()) for t in counts]
    whole = [float((t * (t - 1) * (2 * t + 5)).sum()) for t in counts]
    variance = (n * (n - 1) * (2 * n + 5) - whole[0] - whole[1]) / 18 + pairs[0] * pairs[1] / (2 * n * (n - 1))
    both = triples[0] * triples[1]
    if both:  # never of two readings, which the divisor would not bear
        variance += both / (9 * n * (n - 1) * (n - 2))
    return max(variance, 0.0)


def probability(s: float, spread: float) -> float:
    """Two-sided probability of an S at least this far from 0, with the continuity correction."""
    if spread == 0:
        return 1.0
    return math.erfc(max(abs(s) - 1, 0.0) / spread / math.sqrt(2))


def thinned(time: Array, columns: Array, most: int = MOST_READINGS) -> tuple[Array, Array]:
    """At most ``most`` points: the medians of equal stretches of time; few points come back as they are.

    Args:
        time: ascending.
        columns: (len(time), any number); NaN where a value is missing.
    """
    if len(time) <= most:
        return time, columns
    edges = np.linspace(time[0], time[-1], most + 1)
    bucket = np.clip(np.searchsorted(edges, time, side="right") - 1, 0, most - 1)
    _, bucket = np.unique(bucket, return_inverse=True)  # stretches without any reading leave no point
    found = np.column_stack([_medians(column, bucket) for column in (time, *columns.T)])
    return found[:, 0], found[:, 1:]


def _medians(values: Array, bucket: npt.NDArray[np.int64]) -> Array:
    """The median of each bucket, numbered from 0; NaN where none of its values is known.

    All buckets at once: ``np.nanmedian`` for each of thousands takes seconds.
    """
    known = np.isfinite(values)
    number, value = bucket[known], values[known]
    value = value[np.lexsort((value, number))]
    count = np.bincount(number, minlength=int(bucket.max()) + 1)
    start = np.cumsum(count) - count
    there = count > 0
    low, high = start + (count - 1) // 2, start + count // 2
    found: Array = np.full(len(count), np.nan)
    found[there] = (value[low[there]] + value[high[there]]) / 2
    return found


def partial_slope(time: Array, y: Array, others: Array) -> tuple[TrendSlope, Array, Array]:
    """The trend of ``y`` over ``time`` that ``others`` do not explain.

    Both are freed of the other columns before the slope is taken (Frisch and Waugh 1933), ``y`` by a robust fit
    of all columns at once, so that one wild reading does not bend it. What little of the time the others leave
    widens the interval; the variance of S grows as that of a partial correlation, and where neighbouring
    residuals are alike, as theirs does.

    Args:
        time: ascending.
        others: (len(time), k); k may be 0, and is less than len(time) - 1.

    Returns:
        The slope with the intercept at time 0 and others 0; the coefficients of the others; the residuals.
    """
    n, k = len(time), others.shape[1]
    ones = np.ones((n, 1))
    fitted = huber(np.column_stack([ones, time, others]), y)
    own = fitted[2:]
    free = np.column_stack([ones, others])
    left = time - free @ np.linalg.lstsq(free, time, rcond=None)[0] if k else time
    residual = y - fitted[1] * time - others @ own
    factor = (n - 1) / (n - 1 - k) * autocorrelation_inflation(residual, k)
    found = theil_sen(left, fitted[1] * left + residual if k else y, factor)
    intercept = float(np.median(y - found.slope * time - others @ own))
    return replace(found, intercept=intercept), own, y - intercept - found.slope * time - others @ own


def autocorrelation_inflation(residual: Array, fitted: int = 0) -> float:
    """How much wider a variance is because neighbours are alike: (1 + r) / (1 - r), r of lag one, of ranks.

    Residuals of a fit look less alike than the errors were, by about (2 + ``fitted``) / n; that is put back.
    Unlike neighbours, which would narrow it, count as independent ones.
    """
    n = len(residual)
    if n < _FEWEST_ALIKE:
        return 1.0
    rank = np.argsort(np.argsort(residual, kind="stable")).astype(np.float64)
    rank -= rank.mean()
    total = float((rank * rank).sum())
    r = float((rank[1:] * rank[:-1]).sum()) / total + (2 + fitted) / n
    r = min(max(r, 0.0), 0.9)
    return (1 + r) / (1 - r)


def huber(columns: Array, y: Array, rounds: int = 30) -> Array:
    """Coefficients of a linear fit that lets far readings pull no harder than near ones (Huber 1964, k = 1.345)."""
    weight = np.ones(len(y))
    found: Array = np.zeros(columns.shape[1])
    for _ in range(rounds):
        root = np.sqrt(weight)
        found = np.asarray(np.linalg.lstsq(columns * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        residual = y - columns @ found
        reach = 1.345 * robust_spread(residual)
        if reach == 0:
            break
        fresh = reach / np.maximum(np.abs(residual), reach)
        if np.allclose(fresh, weight):
            break
        weight = fresh
    return found


def _pairs(values: Array) -> Array:
    """Later less earlier, for every pair."""
    first, second = np.triu_indices(len(values), 1)
    difference: Array = values[second] - values[first]
    return difference
