"""How a log becomes few enough points to draw without losing a spike."""

from dataclasses import dataclass

import numpy as np

from benchlog.trace import Array, Overview

#: Most points in one drawn trace.
MOST_POINTS = 2000
# a bucket takes two points of the band's outline, and a third where a gap follows it
_MOST_BUCKETS = MOST_POINTS // 3


@dataclass(frozen=True, slots=True)
class Outline:
    """One role over a log, at most ``MOST_POINTS`` in each array.

    Attributes:
        time_s, mean: bucket centres, s, and means; NaN where no sample is valid.
        edge_s, edge: closed outlines of the least-to-greatest band, one after the other, NaN between.
    """

    time_s: Array
    mean: Array
    edge_s: Array
    edge: Array


def outline(overview: Overview, role: str) -> Outline:
    """Merge neighbouring buckets until few enough are left; least and greatest survive exactly.

    Args:
        overview: the whole log in buckets.
        role: one of ``overview.bands``.
    """
    band = overview.bands[role]
    if not len(overview):
        nothing = np.empty(0)
        return Outline(nothing, nothing, nothing, nothing)
    firsts = np.arange(0, len(overview), -(-len(overview) // _MOST_BUCKETS))
    valid = np.isfinite(band.mean)
    rows = np.where(valid, overview.rows, 0)
    counted = np.add.reduceat(rows, firsts)
    total = np.add.reduceat(np.where(valid, band.mean, 0.0) * rows, firsts)
    mean = np.divide(total, counted, out=np.full(len(firsts), np.nan), where=counted > 0)
    low, high = np.fmin.reduceat(band.min, firsts), np.fmax.reduceat(band.max, firsts)
    start_s = overview.start_s[firsts]
    end_s = overview.end_s[np.append(firsts[1:], len(overview)) - 1]
    time_s = (start_s + end_s) / 2
    return Outline(time_s, mean, *_edges(time_s, low, high))


def thin(time_s: Array, value: Array) -> tuple[Array, Array]:
    """Samples as they are where they are few enough; else the least and the greatest of each bucket, in time order.

    Args:
        time_s: s, increasing.
        value: as long; NaN marks a missing sample and survives only where nothing was thinned.
    """
    if len(time_s) <= MOST_POINTS:
        return time_s, value
    keep: list[int] = []
    for part in np.array_split(np.arange(len(time_s)), MOST_POINTS // 2):
        part = part[np.isfinite(value[part])]
        if len(part):
            keep += sorted({int(part[value[part].argmin()]), int(part[value[part].argmax()])})
    return time_s[keep], value[keep]


def _edges(time_s: Array, low: Array, high: Array) -> tuple[Array, Array]:
    valid = np.isfinite(low) & np.isfinite(high)
    turns = np.flatnonzero(np.diff(valid.astype(np.int8)) != 0) + 1
    xs: list[Array] = []
    ys: list[Array] = []
    for run in np.split(np.arange(len(time_s)), turns):
        if valid[run[0]]:
            xs += [time_s[run], time_s[run][::-1], np.array([np.nan])]
            ys += [high[run], low[run][::-1], np.array([np.nan])]
    return (np.concatenate(xs)[:-1], np.concatenate(ys)[:-1]) if xs else (np.empty(0), np.empty(0))
