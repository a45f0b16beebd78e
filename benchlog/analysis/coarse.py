"""A stretch of an overview at a coarser, bounded number of points."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from benchlog.core.quantiles import median
from benchlog.core.stamps import steps_in
from benchlog.core.trace import Array, Overview

#: A step of so many usual ones, and of at least so long, s, is a gap: nothing was seen there.
GAP_STEPS, SHORTEST_GAP_S = 100.0, 0.5
#: A usual step that is this small a share of the mean one belongs to stamps that come in packets.
BUNCHED = 0.2


@dataclass(frozen=True, slots=True)
class Coarse:
    """One point a bucket, or a group of neighbouring buckets.

    Attributes:
        start_s, end_s: time of each point's first and last sample, s.
        mean, low, high: role -> mean, minimum and maximum of the samples behind each point; NaN where none.
        over: role -> how many of those samples were over range.
    """

    start_s: Array
    end_s: Array
    mean: Mapping[str, Array]
    low: Mapping[str, Array]
    high: Mapping[str, Array]
    over: Mapping[str, npt.NDArray[np.int64]]

    def __len__(self) -> int:
        return len(self.start_s)

    @property
    def time_s(self) -> Array:
        """The middle of each point, s."""
        return (self.start_s + self.end_s) / 2

    def part(self, from_s: float, to_s: float) -> "Coarse":
        """The points that lie wholly inside."""
        return self.cut(
            slice(int(np.searchsorted(self.start_s, from_s - 1e-9)), int(np.searchsorted(self.end_s, to_s + 1e-9)))
        )

    def inside(self, from_s: float, to_s: float) -> slice:
        """Which points neither begin before nor end after these times, to the last bit."""
        first = int(np.searchsorted(self.start_s, from_s))
        return slice(first, max(int(np.searchsorted(self.end_s, to_s, side="right")), first))

    def cut(self, keep: slice) -> "Coarse":
        """Some of the points, not copied."""
        return Coarse(
            self.start_s[keep],
            self.end_s[keep],
            {role: x[keep] for role, x in self.mean.items()},
            {role: x[keep] for role, x in self.low.items()},
            {role: x[keep] for role, x in self.high.items()},
            {role: x[keep] for role, x in self.over.items()},
        )


def coarse(overview: Overview, from_s: float, to_s: float, step_s: float, roles: Iterable[str] | None = None) -> Coarse:
    """The buckets wholly inside ``from_s`` to ``to_s``, neighbours joined until a point spans about ``step_s``.

    Args:
        step_s: s; where buckets are longer already, they are taken as they are.
        roles: which bands to take; all if not given.
    """
    first = int(np.searchsorted(overview.start_s, from_s - 1e-9))
    last = int(np.searchsorted(overview.end_s, to_s + 1e-9))
    n = max(last - first, 0)
    keep = slice(first, first + n)
    wanted = [role for role in (roles if roles is not None else overview.bands) if role in overview.bands]
    rows = overview.rows[keep]
    start, end = overview.start_s[keep], overview.end_s[keep]
    if n == 0:
        empty = {role: np.empty(0) for role in wanted}
        none = {role: np.empty(0, dtype=np.int64) for role in wanted}
        return Coarse(start, end, empty, dict(empty), dict(empty), none)
    typical_s = overview.step_s * median(rows)
    if n > 1 and typical_s < BUNCHED * (mean_s := float(end[-1] - start[0]) / (n - 1)):
        # stamps that come in packets
        typical_s = mean_s
    group = steps_in(step_s, typical_s) if typical_s > 0.0 else 1
    at = _firsts(start, end, group, typical_s)
    mean, low, high, over = {}, {}, {}, {}
    for role in wanted:
        band = overview.bands[role]
        if group == 1:
            mean[role], low[role], high[role] = band.mean[keep], band.min[keep], band.max[keep]
            over[role] = band.over[keep]
            continue
        values = band.mean[keep]
        good = np.isfinite(values)
        weight = np.where(good, rows, 0).astype(float)
        total = np.add.reduceat(weight, at)
        summed = np.add.reduceat(np.nan_to_num(values) * weight, at)
        mean[role] = np.divide(summed, total, out=np.full(len(at), np.nan), where=total > 0)
        low[role] = np.fmin.reduceat(band.min[keep], at)
        high[role] = np.fmax.reduceat(band.max[keep], at)
        over[role] = np.add.reduceat(band.over[keep], at)
    ends = np.append(at[1:], n) - 1
    return Coarse(start[at], end[ends], mean, low, high, over)


def spacing_s(time_s: Array) -> float:
    """The usual time between neighbouring points, s; at least two are needed.

    Where stamps come in packets most steps are next to nothing, and the median says nothing: then it is the mean.
    """
    usual, mean = median(np.diff(time_s)), float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    return max(mean if usual < BUNCHED * mean else usual, 1e-9)


def gap_limit_s(step_s: float) -> float:
    """A step between samples longer than this is a gap in the log, s, where they usually lie ``step_s`` apart."""
    return max(GAP_STEPS * step_s, SHORTEST_GAP_S)


def unseen_s(overview: Overview, from_s: float, to_s: float) -> float:
    """How much of a stretch lies in gaps of the log, s."""
    at = np.flatnonzero(overview.gap_s > gap_limit_s(overview.step_s))
    at = at[at > 0]
    begins = np.maximum(overview.end_s[at - 1], from_s)
    ends = np.minimum(overview.end_s[at], to_s)
    return float(np.minimum(np.maximum(ends - begins, 0.0), overview.gap_s[at]).sum())


def outside_of(start_s: Array, end_s: Array, stretches: Iterable[tuple[float, float]]) -> npt.NDArray[np.bool_]:
    """True for each point, or bucket, that none of the stretches touches."""
    keep = np.ones(len(start_s), dtype=bool)
    for begin, end in stretches:
        keep &= (end_s < begin) | (start_s > end)
    return keep


def leads_out_of(hidden: npt.NDArray[np.bool_], mean: Array) -> npt.NDArray[np.bool_]:
    """True for each bucket not hidden whose area reaches back into hidden ones, or across them.

    A bucket's area begins at the last valid sample before it, which lies several buckets back where a channel is
    sampled less often than others.

    Args:
        hidden: what does not count. mean: of the channel, by bucket; NaN where it has no valid sample.
    """
    valid = np.isfinite(mean) & ~hidden
    found = np.zeros(len(hidden), dtype=bool)
    found[valid] = np.diff(np.cumsum(hidden)[valid], prepend=0) > 0
    return found


def _firsts(start: Array, end: Array, group: int, typical_s: float) -> npt.NDArray[np.int64]:
    """The first bucket of each point; none reaches across a gap in the log."""
    n = len(start)
    gaps = np.flatnonzero(start[1:] - end[:-1] > gap_limit_s(typical_s)) + 1
    edges = [0, *gaps.tolist(), n]
    return np.concatenate([np.arange(a, b, group) for a, b in pairwise(edges)])


def runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """Index ranges ``(first, last + 1)`` of the stretches where ``flags`` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags.astype(bool), [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
