"""The load that comes on as the relay's contact closes, by the battery's current."""

import math
from collections.abc import Sequence

import numpy as np

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.quantiles import median
from benchlog.core.trace import Array, Trace
from benchlog.core.uncertainty import rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad, PathPoint

#: Doubt of the bike's own load as the contact closes, relative to the step (common practice, no source).
CLOSING_DOUBT = 0.05
#: What is drawn while the contact is on its way is steady where it moves by no more than this share of the step.
STEADY_SHARE = 0.05
#: A lamp's inrush lasts about so long, s (common practice, no source).
INRUSH_LASTS_S = 0.1
#: After its inrush the bike draws at least this share of what it drew as the contact closed (a lamp's inrush is up to
#: eight times its current; common practice, no source).
BIKE_SHARE = 0.12


def closing_load(bench: LogContext, loads: Loads, pull_ins: Sequence[tuple[Trace, float]]) -> FeedLoad | None:
    """The load that comes on as the contact closes: ``battery_a`` sustained, less just before with the coil on.

    The key turns on the bike's own lamps a few milliseconds before, and their inrush may not be over when the contact
    closes; what the bike draws afterwards then lies anywhere up to what it drew last.
    """
    if not bench.has("battery_a", "feed_v"):
        return None
    points, doubts = [], []
    for trace, trigger_s in pull_ins:
        feed, amps = trace.values["feed_v"], trace.values["battery_a"]
        after = np.flatnonzero((trace.time_s > trigger_s) & (feed > UP_ABOVE_V))
        if not len(after):
            continue
        waiting = amps[(trace.time_s > trigger_s) & (trace.time_s < trace.time_s[after[0]])]
        waiting = waiting[np.isfinite(waiting)]
        if len(waiting) < 3:
            continue
        before = median(waiting[len(waiting) // 2 :])
        closed_s = float(trace.time_s[after[0]])
        first = next((p for group in loads.engine_off for p in group if p.from_s <= closed_s + 1.0 < p.to_s), None)
        if first is None or first.from_s <= closed_s - 1.0:
            continue
        waited_s = closed_s - trigger_s
        load, doubt = _at_closing(waiting, waited_s, before, first.readings["battery_a"].value)
        points.append(PathPoint(first, load))
        doubts.append(doubt)
    if not any(point.load_a > 0 for point in points):
        return None
    # closings do not part the load from the paths' offsets: they differ by their doubt alone, so the surest is taken
    best = min(range(len(points)), key=lambda n: doubts[n])
    how = "by the step of battery_a as the contact closed"
    return FeedLoad((points[best],), how, True, "battery_a", extra_rel=doubts[best])


def _at_closing(waiting: Array, waited_s: float, before_a: float, sustained_a: float) -> tuple[float, float]:
    """The block's load as the contact closes, A, and its relative standard uncertainty.

    Args:
        waiting: three samples or more of the current over ``waited_s``, A.
        before_a, sustained_a: just before the contact closes, and after, A.
    """
    third = len(waiting) // 3
    moved = abs(median(waiting[:third]) - median(waiting[-third:]))
    # seen for a few milliseconds only, an inrush goes on moving for as long as a lamp's lasts
    moves = moved * max(INRUSH_LASTS_S / waited_s, 1.0)
    step = sustained_a - before_a
    if step > 0 and moves <= STEADY_SHARE * step:
        return step, CLOSING_DOUBT
    least, most = max(step, 0.0), sustained_a - BIKE_SHARE * before_a
    middle = (least + most) / 2
    return middle, rectangular((most - least) / 2) / middle if middle > 0 else math.inf
