"""How a log becomes few enough points to draw without losing a spike."""

from dataclasses import dataclass

import numpy as np

from benchlog.core.trace import Array, Band, Overview

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
    buckets = MOST_POINTS // 2
    each = -(-len(time_s) // buckets)
    # a table of whole rows: what is missing at its end counts as missing samples
    padded = np.full(-(-len(time_s) // each) * each, np.nan)
    padded[: len(value)] = value
    table = padded.reshape(-1, each)
    missing = np.isnan(table)
    least = np.where(missing, np.inf, table).argmin(axis=1)
    greatest = np.where(missing, -np.inf, table).argmax(axis=1)
    some = ~missing.all(axis=1)
    firsts = np.arange(len(table)) * each
    keep = np.unique(np.concatenate([(firsts + least)[some], (firsts + greatest)[some]]))
    return time_s[keep], value[keep]


def outline_samples(time_s: Array, value: Array) -> Outline:
    """Too many samples to draw, as a line at the mean and a band from least to greatest.

    Args:
        time_s: s, increasing. value: as long; NaN marks a missing sample.
    """
    if not len(time_s):
        return Outline(time_s, value, np.empty(0), np.empty(0))
    firsts = np.arange(0, len(time_s), -(-len(time_s) // _MOST_BUCKETS))
    valid = np.isfinite(value)
    counted = np.add.reduceat(valid.astype(np.int64), firsts)
    total = np.add.reduceat(np.where(valid, value, 0.0), firsts)
    mean = np.divide(total, counted, out=np.full(len(firsts), np.nan), where=counted > 0)
    low, high = np.fmin.reduceat(value, firsts), np.fmax.reduceat(value, firsts)
    middle_s = (time_s[firsts] + time_s[np.append(firsts[1:], len(time_s)) - 1]) / 2
    return Outline(middle_s, mean, *_edges(middle_s, low, high))


def cut(overview: Overview, from_s: float, to_s: float) -> Overview:
    """The buckets that touch a stretch, s, with one more on either side so that lines run to its edges."""
    first = max(int(np.searchsorted(overview.end_s, from_s, side="left")) - 1, 0)
    end = int(np.searchsorted(overview.start_s, to_s, side="right")) + 1
    part = slice(first, end)
    bands = {
        role: Band(band.min[part], band.mean[part], band.max[part], band.area[part], band.weight_s[part],
                   band.over[part])
        for role, band in overview.bands.items()
    }  # fmt: skip
    return Overview(overview.start_s[part], overview.end_s[part], overview.rows[part], bands,
                    overview.gap_s[part], overview.step_s)  # fmt: skip


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
