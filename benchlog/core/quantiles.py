"""Medians, percentiles and distinct values as numpy has them, without checks that cost more than they find."""

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


def median(values: npt.ArrayLike) -> float:
    """The middle of some values, in their unit; NaN where there are none, or one is NaN."""
    x = np.asarray(values)
    half = len(x) // 2
    if not len(x):
        return float("nan")
    if len(x) % 2:
        ordered = np.partition(x, (half, -1))
        middle = ordered[half]
    else:
        ordered = np.partition(x, (half - 1, half, -1))
        middle = (ordered[half - 1] + ordered[half]) / 2
    greatest = ordered[-1]  # NaN comes last
    return float(middle if greatest == greatest else greatest)


def known_median(values: Array) -> float:
    """The same of those that are not NaN."""
    return median(values[~np.isnan(values)])


def medians(table: Array) -> Array:
    """The median of each row of a table (the last axis), which is not empty; NaN where one of its values is."""
    half = table.shape[-1] // 2
    ordered = np.partition(table, (max(half - 1, 0), half, -1), axis=-1)
    middle = ordered[..., half] if table.shape[-1] % 2 else (ordered[..., half - 1] + ordered[..., half]) / 2
    return np.where(np.isnan(ordered[..., -1]), np.nan, middle)


def known_medians(table: Array) -> Array:
    """The same of each row's values that are not NaN; NaN where a row has none."""
    ordered = np.sort(table, axis=-1)  # NaN comes last
    known = np.count_nonzero(~np.isnan(table), axis=-1)
    halves = np.stack((np.maximum(known - 1, 0) // 2, known // 2), axis=-1)
    # with none known, both are the first, which is NaN
    middle: Array = np.take_along_axis(ordered, halves, axis=-1).sum(axis=-1) / 2
    return middle


def percentile(values: npt.ArrayLike, percent: float) -> float:
    """The value below which so many percent lie, one in between by a straight line; NaN where one is NaN.

    Args:
        values: at least one.
        percent: 0 to 100.
    """
    return float(percentiles(np.asarray(values), percent))


def percentiles(table: Array, percent: float) -> Array:
    """The same of each row of a table (the last axis)."""
    last = table.shape[-1] - 1
    at = last * (percent / 100)
    below = min(int(at), last)
    above = min(below + 1, last)
    ordered = np.partition(table, (below, above, -1), axis=-1)
    low, high, share = ordered[..., below], ordered[..., above], at - below
    # from the nearer end, as numpy does
    between = low + (high - low) * share if share < 0.5 else high - (high - low) * (1 - share)
    greatest: Array = ordered[..., -1]  # NaN comes last
    return np.where(np.isnan(greatest), greatest, between)


def distinct(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """The different ones of some values, none of them NaN, in their order; numpy's own loads its masked arrays."""
    ordered = np.sort(values)
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if len(ordered) else ordered
