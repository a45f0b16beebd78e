"""How sure is a measured value, and does it prove its limit?

Standard uncertainties are combined as in JCGM 100:2008 (GUM), clauses 4.3 and 5; a limit is proven by
the probability of conforming, JCGM 106:2012 clause 7, with a normal distribution: 7.3 with one limit, 7.4 with two
(clause numbers from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

PASS_PROBABILITY = 0.95
FAIL_PROBABILITY = 0.05
#: A proven failure lies on one side of a window with at least this probability.
ONE_SIDE_PROBABILITY = 0.9
COVERAGE_K = 2.0
#: One-sided standard normal quantile of ``PASS_PROBABILITY``.
Z_PROVEN = NormalDist().inv_cdf(PASS_PROBABILITY)
#: A block of correlated samples is so many times as long as their noise remembers; fewer blocks tell nothing.
BLOCK_MEMORIES, FEWEST_BLOCKS = 4.0, 3
#: Fewer samples do not show what they remember; of more, means of neighbours do.
LEAST_FOR_MEMORY, MOST_FOR_MEMORY = 16, 2048
#: A slow course is taken off where it explains this share of the variance; noise seldom looks like that.
COURSE_SHARE = 0.9
#: How much of the memory the mean, and the course, take away: so many memories over the stretch (from simulation).
HIDDEN_BY_MEAN, HIDDEN_BY_COURSE = 4.0, 15.0
#: An offset moves within its limits by at most this share of them as the logger warms, in about so many seconds
#: (common practice, no source).
DRIFT_SHARE, WARM_S = 0.4, 120.0
#: So many blocks or more are compared with their neighbours.
FEWEST_FOR_DIFFERENCES = 6

# Student's t at 95.45 % two-sided, over 2: how much a type A figure from few
# degrees of freedom must grow so that k = 2 still covers (JCGM 100:2008, table G.2).
_T_OVER_2 = {1: 6.98, 2: 2.265, 3: 1.655, 4: 1.435, 5: 1.325, 6: 1.26, 7: 1.215, 8: 1.185, 9: 1.16, 10: 1.14}


@dataclass(frozen=True, slots=True)
class Accuracy:
    """A channel's stated limits of error, half-widths in its canonical unit.

    Attributes:
        gain_rel: relative error of gain, 1 (0.002 = 0.2 %).
        offset: error of offset, in the channel's unit.
        resolution: smallest step, in the channel's unit.
    """

    gain_rel: float
    offset: float
    resolution: float

    def level_u(self, value: float) -> float:
        """Standard uncertainty (type B) of one reading's absolute level."""
        return combine(rectangular(self.gain_rel * abs(value)), rectangular(self.offset), self.resolution_u)

    def change_u(self, change: float, apart_s: float = 0.0) -> float:
        """Standard uncertainty (type B) of the difference of two readings: the offset cancels, but for its drift.

        Args:
            apart_s: between the two, s.
        """
        gain = rectangular(self.gain_rel * abs(change))
        return combine(gain, math.sqrt(2) * self.resolution_u, self.drift_u(apart_s))

    def drift_u(self, apart_s: float) -> float:
        """Standard uncertainty of what the offset, within its limits, may have moved by in so many seconds."""
        return rectangular(DRIFT_SHARE * self.offset * -math.expm1(-apart_s / WARM_S))

    @property
    def resolution_u(self) -> float:
        """Standard uncertainty from rounding to the resolution."""
        return rectangular(self.resolution / 2)


@dataclass(frozen=True, slots=True)
class Mean:
    """A mean of correlated samples.

    Attributes:
        value: the mean.
        u: its standard uncertainty (type A), widened for few blocks.
    """

    value: float
    u: float


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within ± ``half_width`` (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3)


def combine(*parts: float) -> float:
    """Root sum of squares of independent standard uncertainties (JCGM 100:2008, eq. 10)."""
    return math.sqrt(math.fsum(part * part for part in parts))


def propagate(
    sensitivities: Sequence[float], u: Sequence[float], correlation: Sequence[Sequence[float]] | None = None
) -> float:
    """Combined standard uncertainty of f(x1…xn) (JCGM 100:2008, eq. 13 and 16).

    Args:
        sensitivities: partial derivatives of f, one an input.
        u: standard uncertainties of the inputs.
        correlation: n x n correlation coefficients; independent inputs if not given.
    """
    parts = np.asarray(sensitivities, dtype=float) * np.asarray(u, dtype=float)
    r = np.eye(len(parts)) if correlation is None else np.asarray(correlation, dtype=float)
    return math.sqrt(max(float(parts @ r @ parts), 0.0))


def t_inflation(u: float, degrees: int) -> float:
    """Widen a type A uncertainty so that k = 2 covers 95 % with few degrees of freedom (JCGM 100:2008, G.3)."""
    if degrees < 1:
        return math.inf
    return u * _T_OVER_2.get(degrees, 1.0 + 1.4 / degrees)


def memory_of(samples: Array) -> float:
    """How many samples say as much as one that is independent: the integrated autocorrelation time, at least 1.

    The sum of the autocorrelations ends at the first lag that is five times what it has come to (the automatic
    window of Sokal, from memory). A slow course of the level itself, a parabola, is no noise and taken off where
    there is one; what that and the mean hide of the memory is added again, by what simulated noise has lost.

    Args:
        samples: in time order, at equal distances; no NaN.
    """
    n = len(samples)
    if n < LEAST_FOR_MEMORY:
        return 1.0
    course = np.vander(np.arange(n), 3)
    about = samples - samples.mean()
    rest = samples - course @ np.linalg.lstsq(course, samples, rcond=None)[0]
    hidden = HIDDEN_BY_MEAN
    if rest @ rest < (1 - COURSE_SHARE) * (about @ about):
        about, hidden = rest, HIDDEN_BY_COURSE
    spectrum = np.fft.rfft(about, 2 * n)
    products = np.fft.irfft(spectrum * np.conj(spectrum))[: n // 2 + 1]
    if products[0] <= 1e-24 * float(samples @ samples):
        return 1.0
    lags = np.arange(1, len(products))
    sums = 1 + 2 * np.cumsum(products[1:] / products[0] * n / (n - lags))
    ends = np.flatnonzero(lags >= 5 * sums)
    memory = max(float(sums[ends[0] if len(ends) else -1]), 1.0)
    return memory * (1 + hidden * (memory - 1) / n)


def block_mean(samples: Array, weights: Array | None = None, blocks: int = 24, memory: float = 1.0) -> Mean:
    """The mean of correlated samples and its type A uncertainty from the means of consecutive blocks.

    Samples of a logger are not independent (filters, ripple, slow drift), so the standard deviation over
    the root of their number is too small; means of blocks are nearly independent, if each is several times as
    long as the noise remembers. A stretch too short for many such blocks has few, and Student's t says so.

    Args:
        samples: at least one value, in time order; no NaN.
        weights: for example the seconds that each sample stands for; equal if not given.
        blocks: how many blocks at most.
        memory: how many samples the noise remembers, where that is known from elsewhere; the samples' own counts
            where it is longer.
    """
    w = np.ones(len(samples)) if weights is None else weights
    mean = float(np.average(samples, weights=w))
    group = max(len(samples) // MOST_FOR_MEMORY, 1)
    whole = len(samples) // group
    joined = samples[: whole * group].reshape(whole, group).mean(axis=1)
    remembers = max(memory_of(joined) * group, memory, 1.0)
    fitting = int(len(samples) / (group + BLOCK_MEMORIES * max(remembers - group, 0.0)))
    n = min(blocks, len(samples), max(fitting, FEWEST_BLOCKS))
    if n < 2:
        return Mean(mean, math.inf)
    edges = np.linspace(0, len(samples), n + 1).astype(int)[:-1]
    block_weights = np.add.reduceat(w, edges)
    means = np.add.reduceat(samples * w, edges) / np.maximum(block_weights, np.finfo(float).tiny)
    if n < FEWEST_FOR_DIFFERENCES:
        deviation, degrees = float(np.std(means, ddof=1)), n - 1
    else:
        # neighbours' differences hardly see a slow course, over which the mean is the mean (von Neumann's ratio)
        deviation, degrees = math.sqrt(float(np.mean(np.diff(means) ** 2)) / 2), (n - 1) * 2 // 3
    # what a block's end tells the next one makes them lie too close together
    told = math.sqrt(1 + 2 * max(remembers - group, 0.0) * n / len(samples))
    return Mean(mean, t_inflation(deviation / math.sqrt(n), degrees) * told)


def probability_of_conforming(value: float, u: float, low: float | None, high: float | None) -> float:
    """Probability that the true value lies within its limits (JCGM 106:2012, 7.3 one limit, 7.4 two).

    Args:
        value, u: best estimate and standard uncertainty, same unit as the limits.
        low, high: limits; None leaves that side open. A value that is sure and on its limit conforms.
    """
    below, above = _outside(value, u, low, high)
    return max(1.0 - below - above, 0.0)


def conformity(value: float, u: float, low: float | None, high: float | None) -> Literal["pass", "fail", "not proven"]:
    """The verdict that a measured value proves: pass at 95 % probability of conforming, fail at 5 %.

    Between two limits a value so vague that it may as well lie below as above conforms with little
    probability too, yet proves nothing: a failure must be likely on one side.
    """
    below, above = _outside(value, u, low, high)
    p = 1.0 - below - above
    if p >= PASS_PROBABILITY:
        return "pass"
    return "fail" if p <= FAIL_PROBABILITY and max(below, above) >= ONE_SIDE_PROBABILITY else "not proven"


def _outside(value: float, u: float, low: float | None, high: float | None) -> tuple[float, float]:
    """Probabilities that the true value lies below the lower and above the upper limit."""
    if u <= 0:
        return float(low is not None and value < low), float(high is not None and value > high)
    below = 0.0 if low is None else _normal_cdf((low - value) / u)
    above = 0.0 if high is None else _normal_cdf((value - high) / u)
    return below, above


def _normal_cdf(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
