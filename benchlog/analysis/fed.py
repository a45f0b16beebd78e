"""How much load is proven to hang on the fuse block at each moment, engine running or not?"""

from collections.abc import Mapping

import numpy as np

from benchlog.analysis.coarse import Coarse
from benchlog.core.quantiles import median, percentile
from benchlog.core.roles import slot_of
from benchlog.core.trace import Array

#: A feed below this share of the battery's voltage is dead, 1 (common practice, no source).
LIVE_SHARE = 0.7
#: A fall of voltage is a witness of the load once it followed the battery's current over this many points …
LEAST_POINTS = 6
#: … that span this much, A, with this coefficient of determination, 1.
LEAST_SPAN_A, LEAST_R2 = 1.0, 0.9
#: A fall has stepped where it changes by so many times its usual change within so many points, 1.
STEPPED, STEP_POINTS = 6.0, 2
#: What is held back of a load known by a witness: gains, and joints that warm up, 1.
KEPT_SHARE = 0.95


def fed_a(table: Coarse, from_s: float, to_s: float) -> Array | None:
    """Least load through the feed at each point of a table, A: what is surely on then.

    Taken from ``feed_a``, else the circuits' own currents, else the feed's drop or the ground's lift. A drop or lift
    is scaled by how it followed ``battery_a`` while circuits were switched with the engine off; the lowest one seen
    there counts as no load, so that the voltage channels' offsets cancel.

    Args:
        table: the log, points of about 0.5 s.
        from_s, to_s: key on, engine off: where a drop or lift is scaled.

    Returns:
        None where the log has no such witness; NaN where it was not read.
    """
    mean = table.mean
    slots = [role for role in mean if role.endswith("_a") and slot_of(role) is not None]
    if "feed_a" in mean:
        load = mean["feed_a"] * KEPT_SHARE
    elif slots:
        load = np.sum([np.nan_to_num(mean[role]) for role in slots], axis=0) * KEPT_SHARE
    else:
        scaled = _by_fall(table, from_s, to_s)
        if scaled is None:
            return None
        load = scaled * KEPT_SHARE
    return np.asarray(np.where(load < 0.0, 0.0, load))


def falls(mean: Mapping[str, Array]) -> dict[str, Array]:
    """What the load does to the common paths, V: ``drop`` of the feed and ``lift`` of the ground bus, where logged.

    NaN where the feed is dead: nothing hangs on it then, and its distance from the battery is no drop.
    """
    found = {}
    live: Array | None = None
    if "battery_v" in mean and "feed_v" in mean:
        with np.errstate(invalid="ignore"):
            dead = mean["feed_v"] < LIVE_SHARE * mean["battery_v"]
        live = np.where(dead, np.nan, 1.0)
        found["drop"] = (mean["battery_v"] - mean["feed_v"]) * live
    if "ground_v" in mean:
        found["lift"] = mean["ground_v"] * (1.0 if live is None else live)
    return found


def _by_fall(table: Coarse, from_s: float, to_s: float) -> Array | None:
    if "battery_a" not in table.mean:
        return None
    part = table.cut(table.inside(from_s, to_s)).mean
    best: tuple[float, str, float, float] | None = None
    for path, fall in falls(part).items():
        keep = np.isfinite(fall) & np.isfinite(part["battery_a"])
        x, y = fall[keep], part["battery_a"][keep]
        if len(x) < LEAST_POINTS or np.ptp(y) < LEAST_SPAN_A or np.ptp(x) == 0:
            continue
        slope, r2 = _line(x, y)
        by_steps = _by_steps(x, y)
        slope = by_steps if by_steps < KEPT_SHARE * slope else slope
        if slope > 0.0 and r2 >= LEAST_R2 and (best is None or r2 > best[0]):
            best = r2, path, slope, percentile(x, 5)
    if best is None:
        return None
    _, path, slope, nothing_v = best
    return np.asarray(slope * (falls(table.mean)[path] - nothing_v))


def _by_steps(x: Array, y: Array) -> float:
    """What ``y`` changes by where ``x`` steps, over that step; infinite where it does not step.

    The bike's own loads move the current and not the fall: where they were on for one part of the stretch and off for
    another, they tilt the line through the levels, and not that through the steps.
    """
    dx, dy = x[STEP_POINTS:] - x[:-STEP_POINTS], y[STEP_POINTS:] - y[:-STEP_POINTS]
    usual = median(np.abs(dx - median(dx))) if len(dx) else 0.0
    stepped = np.abs(dx) > max(STEPPED * usual, 0.1 * float(np.ptp(x)))
    if not stepped.any():
        return float("inf")
    return float(dx[stepped] @ dy[stepped]) / float(dx[stepped] @ dx[stepped])


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope and coefficient of determination of the least-squares line."""
    dx, dy = x - x.mean(), y - y.mean()
    slope = float(dx @ dy) / float(dx @ dx)
    return slope, float(dx @ dy) ** 2 / (float(dx @ dx) * float(dy @ dy))
