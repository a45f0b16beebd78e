"""How long does the relay take to pull in and drop out, and does its contact chatter?"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from benchlog.analysis.levels import Crossing, Levels, crossings, first_reach
from benchlog.core.quantiles import median, percentile
from benchlog.core.trace import Array, Trace

#: Bounce of a contact this long after it first moves is no chatter, s.
BOUNCE_S = 0.005
#: A feed below the one share of what it was beside the battery has left it; below the other share of the battery it is
#: not live, 1.
LEFT_SHARE, GONE_SHARE = 0.95, 0.5
#: A feed that takes longer from 90 % to 50 %, s, may not fall by the contact alone; such a fall is followed down to
#: this share of what it was.
SLOW_FALL_S, SLOW_TO_SHARE = 0.010, 0.85


@dataclass(frozen=True, slots=True)
class Operation:
    """One pull-in or drop-out.

    Attributes:
        trigger_s: when the trigger crossed its 50 % level, s.
        took_s: until the feed reached its level, s; None if it did not within the window.
        widths_s: steps between the samples around the two crossings, s (each a half-width).
        already: the feed was on the far side before the trigger moved.
        vague: the fall may not be the contact's own.
        slow_s: how far the instant of opening is left open by a feed that something holds up after it, s.
    """

    trigger_s: float
    took_s: float | None
    widths_s: tuple[float, float]
    already: bool = False
    vague: bool = False
    slow_s: float = 0.0


def trigger_crossings(trace: Trace, role: str = "trigger_v", low: float | None = None) -> list[Crossing]:
    """Passages of a line through its 50 % level in one close window, chatter included.

    Args:
        low: the line's low level, where a slow fall may not reach it inside the window; the high level,
            which cranking and charging move, is always the window's own.
    """
    x = trace.values[role]
    levels = local_levels(x)
    if levels is not None and low is not None and low < levels.high - 1.0:
        levels = Levels(low, levels.high)
    return crossings(trace.time_s, x, levels) if levels else []


def local_levels(x: np.ndarray) -> Levels | None:
    """Levels just before and just after the one transition that a window holds."""
    good = x[np.isfinite(x)]
    if len(good) < 4:
        return None
    edge = max(len(good) // 10, 1)
    before, after = median(good[:edge]), median(good[-edge:])
    low, high = min(before, after), max(before, after)
    return Levels(low, high) if high - low > 1.0 else None


def pull_in(trace: Trace, trigger: Crossing, live_v: float, dead_v: float = 0.0) -> Operation:
    """Trigger rising until the feed first reaches 50 % of its swing.

    Args:
        trace: from before the trigger rises until well after the feed should be live.
        trigger: the trigger's passage.
        live_v: the feed's level once closed, V. dead_v: its level before, V.
    """
    return _operation(trace, trigger, dead_v + 0.5 * (live_v - dead_v), "high")


def drop_out(trace: Trace, trigger: Crossing, live_v: float, dead_v: float = 0.0) -> Operation:
    """Trigger falling until the contact opens: the feed leaves the battery and does not come back.

    Without ``battery_v`` until the feed falls below 90 % of its own swing.
    """
    battery = trace.values.get("battery_v")
    if battery is not None and np.isfinite(battery).sum() > 1:
        return _leaving(trace, trigger)
    found = _operation(trace, trigger, dead_v + 0.9 * (live_v - dead_v), "low")
    if found.took_s is None:
        return found
    half = _operation(trace, trigger, dead_v + 0.5 * (live_v - dead_v), "low")
    if half.took_s is None:
        return Operation(found.trigger_s, None, found.widths_s)
    slow_s = half.took_s - found.took_s
    if slow_s <= SLOW_FALL_S:
        return found
    # a slow fall may be the engine that stops before the contact opens, or a capacitor that is left alone by it
    left_s = _left_level(trace, trigger, live_v)
    early_s = min(left_s, found.took_s) if left_s is not None else 0.0
    return replace(found, vague=True, slow_s=found.took_s - early_s)


def _left_level(trace: Trace, trigger: Crossing, live_v: float) -> float | None:
    """When the feed was last beside its own level before a slow fall, s after the trigger."""
    feed = trace.values["feed_v"]
    beside = np.flatnonzero((trace.time_s >= trigger.before_s) & (feed >= 0.98 * live_v))
    return float(trace.time_s[beside[-1]]) - trigger.time_s if len(beside) else None


def _operation(trace: Trace, trigger: Crossing, level: float, to: Literal["high", "low"]) -> Operation:
    # the feed may move between the two samples around the trigger's own passage
    from_index = int(np.searchsorted(trace.time_s, trigger.before_s))
    x = trace.values["feed_v"][from_index:]
    t = trace.time_s[from_index:]
    nothing = (trigger.width_s, trigger.width_s)
    good = np.isfinite(x)
    if not good.any():
        return Operation(trigger.time_s, None, nothing)
    start = x[good][0]
    if start >= level if to == "high" else start < level:
        return Operation(trigger.time_s, None, nothing, already=True)
    reached = first_reach(t, x, level, to)
    if reached is None:
        return Operation(trigger.time_s, None, nothing)
    return Operation(trigger.time_s, reached.time_s - trigger.time_s, (trigger.width_s, reached.width_s))


def _leaving(trace: Trace, trigger: Crossing) -> Operation:
    """When the feed leaves the battery's voltage for good.

    The battery falls when the engine stops with the key and rises when the load goes; neither is the contact.
    Until the feed leaves it, the feed counts as live whatever the battery does. A touch within the bounce of the
    opening is no return. Where capacitors hold the feed up, its fall is followed back to where it began.
    """
    nothing = Operation(trigger.time_s, None, (trigger.width_s, trigger.width_s))
    good = np.isfinite(trace.values["feed_v"])
    battery = trace.values["battery_v"]
    known = np.isfinite(battery)
    t = trace.time_s[good]
    feed = trace.values["feed_v"][good]
    beside = np.maximum(np.interp(t, trace.time_s[known], battery[known]), 1.0)
    share = feed / beside
    begins_s = let_go_s(trace, trigger)
    before = share[t <= begins_s][-50:]
    since = t >= begins_s
    if not len(before) or not since.any():
        return nothing
    usual = median(before)
    if usual < GONE_SHARE:
        return replace(nothing, already=True)
    # a load that goes with the key lifts the feed toward the battery before the contact opens
    live = np.fmax(np.fmax.accumulate(np.where(since, share, -np.inf)), usual)
    away = since & (share < LEFT_SHARE * live)
    if not away.any():
        return nothing
    at = _for_good(t, away)
    if at is None:
        return nothing
    level = LEFT_SHARE * float(live[at])
    fell = float(share[at - 1] - share[at])
    part = max(float(share[at - 1] - level) / fell, 0.0) if fell > 0.0 else 0.5
    left_s = float(t[at - 1] + part * (t[at] - t[at - 1]))
    took_s, slow_s = left_s - trigger.time_s, 0.0
    first = int(np.searchsorted(t, begins_s))
    own = share[first:] / median(live[max(at - 20, 0) : at])
    # closed, the feed stands beside the battery as it did under load, or as it does without
    beside_as_before = share[first:] / usual
    began = _fall_began(t[first:], own, beside_as_before, feed[first:], at - first)
    if began is not None:
        # no contact opens for the trigger before that lets go, nor after the feed was seen to be away
        took_s = began[0] - trigger.time_s
        slow_s = min(began[1], max(left_s - begins_s, 0.0) + float(t[at] - t[at - 1]))
    return Operation(trigger.time_s, took_s, (trigger.width_s, float(t[at] - t[at - 1])), slow_s=slow_s)


def let_go_s(trace: Trace, trigger: Crossing) -> float:
    """When the trigger began to fall, s: the last sample at 90 % of its level just before."""
    x = trace.values.get("trigger_v")
    if x is None:
        return trigger.before_s
    earlier = (trace.time_s <= trigger.before_s) & np.isfinite(x)
    if not earlier.any():
        return trigger.before_s
    volts = x[earlier]
    high = np.flatnonzero(volts >= 0.9 * percentile(volts, 90))
    return float(trace.time_s[earlier][high[-1]])


def _for_good(t: Array, away: np.ndarray) -> int | None:
    """The first index from which the feed, beside the battery at first, stays away, touches within a bounce apart."""
    moves = np.flatnonzero(away[1:] != away[:-1]) + 1
    left: int | None = None
    back: int | None = None
    for at in [int(move) for move in moves]:
        if away[at]:
            if left is None or (back is not None and t[at] - t[back] > BOUNCE_S):
                left = at
            back = None
        else:
            back = at
    if back is not None and t[-1] - t[back] > BOUNCE_S:
        return None
    return left


def _fall_began(t: Array, share: Array, before: Array, feed: Array, at: int) -> tuple[float, float] | None:
    """When a slow fall began and how well that is known, both s: where the live level gives way to an exponential.

    The load that goes with the contact lifts the battery at once, so the fall may begin with a step.

    Args:
        t, share: from before the fall, s and the feed's share of the battery over its live one.
        before: the same over its share before the trigger fell, which the loads that go with the contact change.
        feed: V; on its own it no longer follows the battery, which the engine or the loads may move meanwhile.
        at: the index where it is clearly gone.

    Returns:
        None where the feed falls at once, as it does where nothing holds it up.
    """
    if share[at] < GONE_SHARE:
        return None  # from live to gone between two samples: what follows is a dead line's own
    low = np.flatnonzero(feed[at:] < SLOW_TO_SHARE * feed[at])
    end = at + int(low[0]) if len(low) else len(share)
    if end - at < 4:
        return None
    alone = _log(feed[:end] / feed[at])
    slope, level = np.polyfit(t[at:end] - t[at], alone[at:], 1)
    if not slope < 0:
        return None
    rest = alone - np.polyval((slope, level), t[:end] - t[at])
    spread = float(np.std(rest[at:]))
    # the split that leaves the least of either course unexplained
    beside = np.minimum(_log(share[:at]) ** 2, _log(before[:at]) ** 2)
    left = np.concatenate(([0.0], np.cumsum(beside)))
    right = np.concatenate((np.cumsum(rest[:at][::-1] ** 2)[::-1], [0.0]))
    began = int(np.argmin(left + right))
    if began == 0:
        return float(t[0]), float(t[at] - t[0])
    middle_s = float(t[began - 1] + t[began]) / 2
    # both courses are alike for as long as the noise hides the fall; a line that is followed back beyond its samples
    # is less sure, and a capacitor on a steady current falls in a line
    row_s = float(t[began] - t[began - 1])  # noise shifts the split by a row
    return middle_s, row_s + 2 * spread / -slope + 0.02 * float(t[at] - middle_s)


def _log(share: Array) -> Array:
    """The logarithm, of nothing as of a thousandth."""
    return np.asarray(np.log(np.maximum(share, 1e-3)))
