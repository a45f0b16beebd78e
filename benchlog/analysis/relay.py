"""How long does the relay take to pull in and drop out, and does its contact chatter?"""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from benchlog.analysis.levels import Crossing, Levels, crossings, first_reach
from benchlog.trace import Array, Trace

#: Bounce of a contact this long after it first moves is no chatter, s.
BOUNCE_S = 0.005
#: A feed below this share of what it was beside the battery has left it, 1.
LEFT_SHARE = 0.95
#: A feed that takes longer from 90 % to 50 % may not fall by the contact alone, s.
SLOW_FALL_S = 0.010


@dataclass(frozen=True, slots=True)
class Operation:
    """One pull-in or drop-out.

    Attributes:
        trigger_s: when the trigger crossed its 50 % level, s.
        took_s: until the feed reached its level, s; None if it did not within the window.
        widths_s: steps between the samples around the two crossings, s (each a half-width).
        already: the feed was on the far side before the trigger moved.
        vague: the fall may not be the contact's own.
    """

    trigger_s: float
    took_s: float | None
    widths_s: tuple[float, float]
    already: bool = False
    vague: bool = False


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
    before, after = float(np.median(good[:edge])), float(np.median(good[-edge:]))
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
    """Trigger falling until the feed first falls below 90 % of its swing."""
    feed: Array | None = None
    battery = trace.values.get("battery_v")
    if battery is not None and np.isfinite(battery).sum() > 1:
        left = _left_battery(trace, trigger)
        if left is None:
            return Operation(trigger.time_s, None, (trigger.width_s, trigger.width_s))
        feed, live_v = left
    found = _operation(trace, trigger, dead_v + 0.9 * (live_v - dead_v), "low", feed)
    if found.took_s is None or battery is not None:
        return found
    half = _operation(trace, trigger, dead_v + 0.5 * (live_v - dead_v), "low")
    if half.took_s is None:
        return Operation(found.trigger_s, None, found.widths_s)
    # without the battery beside it, a slow fall may be the engine stopping before the contact opens
    return replace(found, vague=half.took_s - found.took_s > SLOW_FALL_S)


def _operation(
    trace: Trace, trigger: Crossing, level: float, to: Literal["high", "low"], feed: Array | None = None
) -> Operation:
    # the feed may move between the two samples around the trigger's own passage
    from_index = int(np.searchsorted(trace.time_s, trigger.before_s))
    x = (trace.values["feed_v"] if feed is None else feed)[from_index:]
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


def _left_battery(trace: Trace, trigger: Crossing) -> tuple[Array, float] | None:
    """The feed from where it leaves the battery's voltage, and its level there; None if it never does.

    The battery falls when the engine stops with the key and rises when the load goes; neither is the contact.
    Until the feed leaves it, the feed counts as live whatever the battery does.
    """
    feed, battery = trace.values["feed_v"], trace.values["battery_v"]
    known = np.isfinite(battery)
    beside = np.maximum(np.interp(trace.time_s, trace.time_s[known], battery[known]), 1.0)
    share = feed / beside
    before = share[(trace.time_s <= trigger.before_s) & np.isfinite(share)][-50:]
    since = trace.time_s >= trigger.before_s
    if not len(before) or not since.any():
        return None
    # a load that goes with the key lifts the feed toward the battery before the contact opens
    live = np.fmax(np.fmax.accumulate(np.where(since, share, -np.inf)), float(np.median(before)))
    with np.errstate(invalid="ignore"):
        away = since & (share < LEFT_SHARE * live)
    if not away.any():
        return None
    at = int(np.argmax(away))
    local_v = float(live[at] * beside[at])
    held = feed.copy()
    held[:at] = np.fmax(held[:at], local_v)
    return held, local_v


def contact_moves(trace: Trace, live_v: float) -> list[Crossing]:
    """Openings and closings of the contact as the feed shows them: 50 % of the live level, 40/60 % hysteresis."""
    return crossings(trace.time_s, trace.values["feed_v"], Levels(0.0, live_v))


def chatter_count(
    moves: list[Crossing], on_from_s: float, on_to_s: float, off_to_s: float, slack_s: float = 0.0
) -> int:
    """Openings with the key on and re-closings with it off, bounce apart.

    Args:
        moves: the contact's moves in time order, those while cranking left out.
        on_from_s, on_to_s: from the contact's first closing to the key-off, s.
        off_to_s: the end of the key-off span that follows, s.
        slack_s: how well the key-off is known; an opening as close to it as that is the drop-out.
    """
    ends_s = on_to_s - slack_s - BOUNCE_S
    openings = [m for m in moves if m.to == "low" and on_from_s + BOUNCE_S < m.time_s <= ends_s - m.width_s]
    after = [m for m in moves if ends_s - m.width_s < m.time_s <= off_to_s]
    first_open = next((m.time_s for m in after if m.to == "low"), None)
    closings = (
        [m for m in after if m.to == "high" and m.time_s > first_open + BOUNCE_S] if first_open is not None else []
    )
    return len(openings) + len(closings)
