"""Has a line or a level moved, for good, since the step began?"""

import math
from statistics import NormalDist

import numpy as np

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.history import POINT_S, History
from benchlog.bench.guided.sight import Sight
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Array

#: A line has moved once it has stayed there for this long; the noise is taken from the newest points over that long, s.
LINE_HELD_S, NOISE_OVER_S = 0.3, 20.0
#: Pulses are the same load where two stretches of this length have the same mean, s, and share of the change. They have
#: ended where the current stays up for longer than so many of the longest pulse or pause before.
PULSES_OVER_S, PULSES_ALIKE, LONGER = 2.0, 0.2, 1.5
#: A level comes and goes where it crosses its middle so often in two such stretches, and swings by more than this, A.
LEAST_CROSSINGS, LEAST_SWING = 3, 0.1
#: A load beside pulses lifts their floor and their top by the same, share of the change, and A or V.
LIFTS_ALIKE, LIFTS_ALIKE_LEAST = 0.15, 0.05
#: Standard deviations of single values in the quartile of their differences' sizes: 1 over the quantile of 62.5 %, over
#: the root of two.
CALM_QUARTER = 1.0 / (NormalDist().inv_cdf(0.625) * math.sqrt(2.0))


def is_up(history: History, role: str) -> bool:
    """Whether a switched line is up now."""
    return history.newest(role) > UP_ABOVE_V


def moved(sight: Sight, role: str, *, up: bool) -> float | None:
    """When a line that was on the other side moved for good, s."""
    if (sight.before.of(role) > UP_ABOVE_V) is up or math.isnan(sight.before.of(role)):
        return None
    t, x = sight.history.points(role, sight.since_s)
    there = (x > UP_ABOVE_V) == up
    last = t > sight.history.now_s - LINE_HELD_S - 0.15
    if not last.any() or not there[last].all():
        return None
    at_s = float(t[np.argmax(there)])
    return at_s if sight.history.now_s - at_s >= LINE_HELD_S else None


def steady_change(
    sight: Sight, role: str, lasts_s: float, band: float = 0.0, before: float | None = None
) -> tuple[float, float] | None:
    """When a level moved to where it has now stood for a while: ``(at_s, change)``; None while it moves.

    Args:
        band: it may stray this far while it counts as steady; at least its own noise and a tenth of the change.
        before: the level that it moved from; that just before the step where not given.

    What pulses before and after has no level: there the pulses' floor and top tell.
    """
    history = sight.history
    base, now = (pulses(history, role, until_s) for until_s in (sight.since_s, history.now_s))
    # a stretch in which a load went on or off tells of neither what was before it nor what came after
    known = base is not None and _alike(history, role, sight.since_s)
    if before is None and base is not None and now is not None:
        return _lifted(sight, role, base, now) if known else None
    t, x = history.points(role, sight.since_s)
    good = np.isfinite(x)
    t, x = t[good], x[good]
    late = t > history.now_s - lasts_s - 0.15
    if before is None:
        before = sight.before.of(role)
        if base is not None and known and late.any() and np.median(x[late]) > base[0]:
            before = base[0]  # pulses that have ended since leave their floor
    if not len(t) or math.isnan(before) or late.sum() < 2 or history.now_s - t[0] < lasts_s:
        return None
    level = float(np.median(x[late]))
    change = level - before
    spread = float(np.ptp(x[late]))
    if spread > max(8 * min(_noise(x), _calm_noise(x)), abs(change) / 10, band, 0.02 if role.endswith("_v") else 0.0):
        return None
    beyond = (x - before) * np.sign(change) > abs(change) / 2
    # where it last came from the old level
    back = np.flatnonzero(~beyond)
    at = int(back[-1]) + 1 if len(back) else 0
    return (float(t[min(at, len(t) - 1)]), change) if at < len(t) else None


def pulsing_change(sight: Sight, role: str) -> tuple[float, float] | None:
    """When a load came that draws in pulses, and its mean: ``(at_s, change)``; None where it does not do so."""
    history, before = sight.history, sight.before.of(role)
    t, x = history.points(role, max(sight.since_s, history.now_s - 2 * PULSES_OVER_S))
    if len(t) < 2 or t[-1] - t[0] < 1.9 * PULSES_OVER_S or not np.isfinite(x).all() or math.isnan(before):
        return None
    late = t > t[-1] - PULSES_OVER_S
    low, high = (float(part) for part in np.percentile(x, (10, 90)))
    swing, change = high - low, float(x.mean()) - before
    same = abs(float(x[late].mean() - x[~late].mean())) < PULSES_ALIKE * abs(change)
    if not same or swing < 0.3 * abs(change) or abs(low - before) > swing / 4:
        return None
    t, x = history.points(role, sight.since_s)
    at = int(np.argmax(x > before + swing / 2))
    return float(t[at]), change


def pulses(history: History, role: str, until_s: float) -> tuple[float, float] | None:
    """Floor and top of what comes and goes before a time; None where it stands, or moves once.

    None as well where it has stayed up for longer than any pulse or pause: they ended, and a load as great came.
    """
    t, x = history.points(role, until_s - 2 * PULSES_OVER_S, until_s)
    t, x = t[np.isfinite(x)], x[np.isfinite(x)]
    if len(x) < 2:
        return None
    low, high = (float(part) for part in np.percentile(x, (10, 90)))
    up = x > (low + high) / 2
    turns = t[1:][np.diff(up)]
    if len(turns) < LEAST_CROSSINGS or high - low <= max(LEAST_SWING, 8 * _calm_noise(x)):
        return None
    if up[-1] and t[-1] - turns[-1] > LONGER * np.diff(turns).max() + POINT_S:
        return None
    return low, high


def _ends(history: History, role: str, from_s: float, to_s: float) -> tuple[float, float]:
    """Floor and top of a stretch; NaN where nothing is known of it."""
    x = history.points(role, from_s, to_s)[1]
    x = x[np.isfinite(x)]
    low, high = (float(part) for part in np.percentile(x, (10, 90))) if len(x) else (math.nan, math.nan)
    return low, high


def _alike(history: History, role: str, until_s: float) -> bool:
    """Whether what comes and goes before a time had the same floor and top all the while."""
    ends = [_ends(history, role, until_s - n * PULSES_OVER_S, until_s - (n - 1) * PULSES_OVER_S) for n in (1, 2)]
    return all(abs(one - other) <= LIFTS_ALIKE_LEAST + LIFTS_ALIKE * abs(one) for one, other in zip(*ends, strict=True))


def _lifted(sight: Sight, role: str, base: tuple[float, float], now: tuple[float, float]) -> tuple[float, float] | None:
    """When a load came on or went off beside pulses, and how much it is; None while they are as they were."""
    floor, top = now[0] - base[0], now[1] - base[1]
    change = (floor + top) / 2
    if abs(floor - top) > max(LIFTS_ALIKE * abs(change), LIFTS_ALIKE_LEAST):
        return None
    t, x = sight.history.points(role, sight.since_s)
    # an inrush with each pulse reaches beyond their top: what tells is the last pause, or pulse, as it was before
    old = np.flatnonzero(x < base[0] + change / 2 if change > 0 else x > base[1] + change / 2)
    at = int(old[-1]) + 1 if len(old) else 0
    return (float(t[at]), change) if at < len(t) else None


def sigma(history: History, role: str) -> float:
    """The noise of single points, in the channel's unit."""
    return _noise(history.points(role, history.now_s - NOISE_OVER_S)[1])


def _noise(x: Array) -> float:
    """Noise of single points from neighbours' differences, which steps hardly move."""
    good = x[np.isfinite(x)]
    return robust_noise(good) if len(good) > 3 else 0.0


def _calm_noise(x: Array) -> float:
    """The same where most neighbours lie on either side of an edge, as in pulses: from the calmest quarter of them."""
    apart = np.abs(np.diff(x[np.isfinite(x)]))
    return float(np.percentile(apart, 25)) * CALM_QUARTER if len(apart) > 3 else 0.0
