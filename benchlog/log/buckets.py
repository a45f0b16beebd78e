"""Samples into buckets, and buckets into wider ones: least, greatest, sum, first and last of each."""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from benchlog.core.trace import Array, Trace

_Key = tuple[str, str]  # role ("" for all) and figure


Figures = dict[_Key, npt.NDArray[Any]]


class BucketColumns:
    """One trace with what is worked out for it as a whole."""

    def __init__(
        self, trace: Trace, roles: tuple[str, ...], dt: Array, products: dict[str, tuple[Array, Array]]
    ) -> None:
        self.trace, self.roles, self.dt, self.products = trace, roles, dt, products


def reduced(columns: BucketColumns, lo: int, hi: int, k: int) -> Figures:
    """Buckets of k rows from the rows lo to hi, a multiple of k."""
    time_s = columns.trace.time_s[lo:hi].reshape(-1, k)
    count = len(time_s)
    figures: Figures = {
        ("", "start"): time_s[:, 0].copy(),
        ("", "end"): time_s[:, -1].copy(),
        ("", "rows"): np.full(count, k),
        ("", "gap"): _extreme(np.maximum, columns.dt[lo:hi].reshape(-1, k)),
    }
    for role in columns.roles:
        values = columns.trace.values[role][lo:hi].reshape(-1, k)
        sums = _sums(values)
        valid: npt.NDArray[np.int64] = np.full(count, k)
        low = high = values
        if np.isnan(sums.sum()):
            missing = np.isnan(values)
            valid = k - np.count_nonzero(missing, axis=1)
            sums = _sums(np.where(missing, 0.0, values))
            low, high = np.where(missing, np.inf, values), np.where(missing, -np.inf, values)
        figures[role, "min"], figures[role, "max"] = _extremes(low, high)
        figures[role, "sum"], figures[role, "valid"] = sums, valid
        flags = columns.trace.over.get(role)
        figures[role, "over"] = (
            np.zeros(count, np.int64) if flags is None else np.count_nonzero(flags[lo:hi].reshape(-1, k), axis=1)
        )
        if role in columns.products:
            area, weight = columns.products[role]
            figures[role, "area"] = _sums(area[lo:hi].reshape(-1, k)) * 0.5
            figures[role, "weight"] = _sums(weight[lo:hi].reshape(-1, k))
    return figures


def _sums(table: Array) -> Array:
    return table[:, 0].copy() if table.shape[1] == 1 else table @ np.ones(table.shape[1])


def _extreme(which: np.ufunc, table: Array) -> Array:
    if table.shape[1] == 1:
        return table[:, 0].copy()
    # over a flat array numpy is twice as fast as along the rows of a table
    flat = np.ascontiguousarray(table).reshape(-1)
    found: Array = which.reduceat(flat, np.arange(0, len(flat), table.shape[1])) if len(flat) else flat
    return found


def _extremes(low: Array, high: Array) -> tuple[Array, Array]:
    """Smallest and largest of each row; both tables may be the same."""
    k = low.shape[1]
    if k == 1 or k > 32 or k & (k - 1):
        return _extreme(np.minimum, low), _extreme(np.maximum, high)
    # along short rows numpy is slow: neighbours are compared until one is left
    low, high = np.ascontiguousarray(low).reshape(-1), np.ascontiguousarray(high).reshape(-1)
    while k > 1:
        low, high, k = np.minimum(low[0::2], low[1::2]), np.maximum(high[0::2], high[1::2]), k // 2
    return low, high


def _first(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    return column[0::2]


def _last(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    return column[1::2]


def _sum(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    summed: npt.NDArray[Any] = column[0::2] + column[1::2]
    return summed


def _lower(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    joined: npt.NDArray[Any] = np.minimum(column[0::2], column[1::2])
    return joined


def _higher(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
    joined: npt.NDArray[Any] = np.maximum(column[0::2], column[1::2])
    return joined


_MERGE: dict[str, Callable[[npt.NDArray[Any]], npt.NDArray[Any]]] = {
    "start": _first,
    "end": _last,
    "gap": _higher,
    "min": _lower,
    "max": _higher,
    **dict.fromkeys(("rows", "sum", "valid", "over", "area", "weight"), _sum),
}


def merged(figures: Figures) -> Figures:
    """Neighbouring buckets in pairs."""
    return {key: _MERGE[key[1]](column) for key, column in figures.items()}


def chained(parts: list[Figures]) -> Figures:
    if len(parts) == 1:
        return parts[0]
    return {key: np.concatenate([part[key] for part in parts]) for key in parts[0]}
