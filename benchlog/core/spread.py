"""How far values scatter, by medians, so that a few outliers do not count."""

import math
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from benchlog.core.quantiles import median

Array = npt.NDArray[np.float64]

#: Standard deviations in one median absolute deviation of normally distributed values: 1 over the quantile of 75 %.
SIGMA_PER_MAD = 1.0 / NormalDist().inv_cdf(0.75)

#: The standard error of a median beside that of a mean of the same values: asymptotic, for normal noise.
MEDIAN_U = math.sqrt(math.pi / 2)


def robust_sigma(deviations: Array) -> float:
    """Standard deviation from deviations of either sign around their middle, in their unit; at least one is needed."""
    return SIGMA_PER_MAD * median(np.abs(deviations))


def robust_spread(values: Array) -> float:
    """Standard deviation of values around their median, in their unit; at least one is needed."""
    return robust_sigma(values - median(values))


def robust_noise(values: Array, order: int = 1) -> float:
    """Standard deviation of single values from differences of neighbours, which a slow course hardly moves.

    Args:
        values: finite, in the order of their times; more than ``order`` of them.
        order: how often differences are taken; 2 leaves out a steady slope as well.
    """
    # the variance of n-th differences of independent values is (2n)!/(n!)² times theirs
    return robust_sigma(np.diff(values, order)) / math.sqrt(math.comb(2 * order, order))
