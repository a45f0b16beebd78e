"""A stretch without its pulses: each pulsed load draws its mean all the time."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse, gap_limit_s, spacing_s
from benchlog.analysis.pulsed import EDGE_S, Pulsing
from benchlog.core.quantiles import distinct, median
from benchlog.core.stamps import steps_in
from benchlog.core.trace import Array

#: The rush after an edge that is left out of the levels, s.
RUSH_S = 0.06


def without_pulses(table: Coarse, found: Sequence[Pulsing], by: str) -> Coarse:
    """The same stretch with each pulsed load drawing its mean all the time, on every channel.

    Points at the edges are empty. Every other channel loses its own change at the edges (a voltage that falls with
    each pulse), and has the mean of it instead.
    """
    for pulsing in found:
        table = _evened(table, pulsing, by)
    return table


def _evened(table: Coarse, pulsing: Pulsing, by: str) -> Coarse:
    time_s = table.time_s
    inside = (time_s >= pulsing.from_s) & (time_s < pulsing.to_s)
    on = np.zeros(len(time_s), dtype=bool)
    rush_s = min(RUSH_S, 0.3 * pulsing.duty * pulsing.period_s)
    edge_s = max(EDGE_S, 1.01 * spacing_s(table.start_s)) / 2
    hidden = np.zeros(len(time_s), dtype=bool)
    for rise, fall in zip(pulsing.rises_s, pulsing.falls_s, strict=True):
        on[np.searchsorted(time_s, rise) : np.searchsorted(time_s, fall)] = True
        for at, after in ((rise, rush_s), (fall, min(rush_s, 0.3 * (1 - pulsing.duty) * pulsing.period_s))):
            hidden[np.searchsorted(time_s, at - edge_s) : np.searchsorted(time_s, at + max(edge_s, after))] = True
    # a pulse whose edges were not found is no level
    for fall, rise in zip(pulsing.falls_s, [*pulsing.rises_s[1:], pulsing.to_s], strict=True):
        if rise - fall > pulsing.period_s:
            hidden[np.searchsorted(time_s, fall) : np.searchsorted(time_s, rise)] = True
    mean = {}
    for role, x in table.mean.items():
        size = pulsing.amps if role == by else _change(time_s, x, pulsing, rush_s + edge_s)
        share = pulsing.mean_a / pulsing.amps if pulsing.amps else pulsing.duty
        y = x.copy()
        y[inside] += size * (share - on[inside])
        y[inside & hidden] = np.nan
        mean[role] = y
    return replace(table, mean=mean)


def _change(time_s: Array, x: Array, pulsing: Pulsing, skip_s: float) -> float:
    """How much higher a channel stands while the load is on: the median over its edges."""
    changes = []
    half = pulsing.period_s * min(pulsing.duty, 1 - pulsing.duty)
    reach = max(half - 0.01, skip_s + 0.02)
    for edge, sign in [(t, 1) for t in pulsing.rises_s] + [(t, -1) for t in pulsing.falls_s]:
        before = x[np.searchsorted(time_s, edge - min(reach, 0.3)) : np.searchsorted(time_s, edge - 0.01)]
        after = x[np.searchsorted(time_s, edge + skip_s) : np.searchsorted(time_s, edge + min(reach, skip_s + 0.3))]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if len(before) and len(after):
            changes.append(sign * (median(after) - median(before)))
    return median(changes) if changes else 0.0


def joined(table: Coarse, step_s: float) -> Coarse:
    """Neighbouring points joined until one spans about ``step_s``."""
    if len(table) < 2:
        return table
    typical = spacing_s(table.start_s)
    group = steps_in(step_s, typical)
    if group < 2:
        return table
    at = np.arange(0, len(table), group)
    # no point reaches across a gap of the log
    gap = np.flatnonzero(table.start_s[1:] - table.end_s[:-1] > gap_limit_s(typical)) + 1
    at = distinct(np.concatenate((at, gap)))
    ends = np.append(at[1:], len(table)) - 1

    def mean(x: Array) -> Array:
        good = np.isfinite(x)
        n = np.add.reduceat(good.astype(float), at)
        total = np.add.reduceat(np.where(good, x, 0.0), at)
        found: Array = np.divide(total, n, out=np.full(len(at), np.nan), where=n > 0)
        return found

    over: Mapping[str, npt.NDArray[np.int64]] = {role: np.add.reduceat(x, at) for role, x in table.over.items()}
    return Coarse(
        table.start_s[at],
        table.end_s[ends],
        {role: mean(x) for role, x in table.mean.items()},
        {role: np.fmin.reduceat(x, at) for role, x in table.low.items()},
        {role: np.fmax.reduceat(x, at) for role, x in table.high.items()},
        over,
    )
