"""How the trigger's own voltage falls once it is let go: how long it takes, and whether a coil draws it down."""

import numpy as np

from benchlog.analysis.levels import Crossing, Levels
from benchlog.analysis.relay import local_levels
from benchlog.core.quantiles import median
from benchlog.core.trace import Array, Trace
from benchlog.examine.context import LogContext

LATEST_S = 5.0
#: The trigger's own fall is timed between these shares of its swing.
HIGH_SHARE, LOW_SHARE = 0.85, 0.2
#: A line that takes so many samples to fall shows every return to its full voltage amid the fall, 1.
SHOWS_RETURNS = 2.0
#: A line falls as a capacitor alone where the slopes of its logarithm over both halves of the fall agree this well:
#: a coil behind it (L/R of 2 ms or more; common practice, no source) bends the fall by more, or kicks, up to falls of
#: this length, s, and 100 µF on the line (worked out from the circuit).
STRAIGHT, STRAIGHT_TO_S, FEWEST_HALF = 0.03, 0.02, 3


def falling(bench: LogContext, at_s: float) -> tuple[Trace, Levels] | None:
    """The trigger around one of its falls."""
    trace = bench.log.trace(at_s - 1.0, at_s + LATEST_S, ["trigger_v"])
    levels = local_levels(trace.values["trigger_v"]) if len(trace) >= 4 else None
    return None if levels is None else (trace, Levels(min(levels.low, 0.05 * levels.high), levels.high))


def _way_down(bench: LogContext, fall: Crossing) -> tuple[Array, Array, slice] | None:
    """Times, s, and voltage of the trigger around a fall, and which samples lie on its way: after the last high one,
    the first that is gone included.
    """
    found = falling(bench, fall.before_s)
    if found is None:
        return None
    trace, levels = found
    x = trace.values["trigger_v"]
    with np.errstate(invalid="ignore"):
        high = np.flatnonzero(x >= levels.at(HIGH_SHARE))
        gone = np.flatnonzero((x <= levels.at(LOW_SHARE)) & (trace.time_s >= fall.before_s))
    if not len(gone) or not len(last := high[high < gone[0]]):
        return None
    return trace.time_s, x, slice(int(last[-1]) + 1, int(gone[0]) + 1)


def fall_s(bench: LogContext, fall: Crossing) -> tuple[float, float] | None:
    """``(s from high to gone, s between samples)``."""
    found = _way_down(bench, fall)
    if found is None:
        return None
    t, _, way = found
    step_s = median(np.diff(t))
    # both ends lie within one step
    return max(float(t[way.stop - 1] - t[way.start - 1]) - step_s, 0.0), step_s


def falls_straight(bench: LogContext, fall: Crossing) -> bool:
    """Whether the logarithm of the trigger's own fall is a straight line, as without a coil."""
    found = _way_down(bench, fall)
    if found is None:
        return False
    t, x, way = found
    part, at = x[way], t[way]
    if len(part) < 2 * FEWEST_HALF or not (part > 0).all() or at[-1] - at[0] > STRAIGHT_TO_S:
        return False
    halves = np.array_split(np.arange(len(part)), 2)
    slopes = [float(np.polyfit(at[half], np.log(part[half]), 1)[0]) for half in halves]
    return abs(slopes[1] - slopes[0]) < STRAIGHT * -slopes[0]


def shows_returns(bench: LogContext, fall: Crossing) -> bool:
    """Whether the key's contact cannot have bounced unseen: the line falls too slowly to have been lifted between."""
    took = fall_s(bench, fall)
    return took is not None and took[0] >= SHOWS_RETURNS * took[1]
