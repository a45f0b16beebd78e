"""How long does the relay take to pull in and drop out, and does its contact chatter?"""

from dataclasses import dataclass

import numpy as np

from benchlog.analysis.levels import Crossing, Levels, crossings, first_reach
from benchlog.trace import Array, Trace

#: Bounce of a contact this long after it first moves is no chatter, s.
BOUNCE_S = 0.005


@dataclass(frozen=True, slots=True)
class Operation:
    """One pull-in or drop-out.

    Attributes:
        trigger_s: when the trigger crossed its 50 % level, s.
        took_s: until the feed reached its level, s; None if it did not within the window.
        widths_s: steps between the samples around the two crossings, s (each a half-width).
        already: the feed was on the far side before the trigger moved.
    """

    trigger_s: float
    took_s: float | None
    widths_s: tuple[float, float]
    already: bool = False


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
    return _operation(trace, trigger, dead_v + 0.9 * (live_v - dead_v), "low")


def _operation(trace: Trace, trigger: Crossing, level: float, to: str) -> Operation:
    feed = _beside_battery(trace, trigger)
    # the feed may move between the two samples around the trigger's own passage
    from_index = int(np.searchsorted(trace.time_s, trigger.before_s))
    t, x = trace.time_s[from_index:], feed[from_index:]
    good = np.isfinite(x)
    if not good.any():
        return Operation(trigger.time_s, None, (trigger.width_s, trigger.width_s))
    start = x[good][0]
    already = bool(start >= level if to == "high" else start < level)
    if already:
        return Operation(trigger.time_s, None, (trigger.width_s, trigger.width_s), already=True)
    reached = first_reach(t, x, level, "high" if to == "high" else "low")
    if reached is None:
        return Operation(trigger.time_s, None, (trigger.width_s, trigger.width_s))
    return Operation(trigger.time_s, reached.time_s - trigger.time_s, (trigger.width_s, reached.width_s))


def _beside_battery(trace: Trace, trigger: Crossing) -> Array:
    """The feed as it would be at the battery's voltage just before the trigger moved.

    The battery falls when the engine stops with the key and rises when the load goes; neither moves the contact.
    """
    feed, battery = trace.values["feed_v"], trace.values.get("battery_v")
    if battery is None:
        return feed
    before = battery[(trace.time_s <= trigger.before_s) & np.isfinite(battery)]
    if not len(before):
        return feed
    level = float(np.median(before[-50:]))
    scaled = feed * level / np.where(np.isfinite(battery) & (battery > 1.0), battery, level)
    return np.asarray(scaled)


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
    ends_s = on_to_s - slack_s
    openings = [m for m in moves if m.to == "low" and on_from_s + BOUNCE_S < m.time_s <= ends_s - m.width_s]
    after = [m for m in moves if ends_s - m.width_s < m.time_s <= off_to_s]
    first_open = next((m.time_s for m in after if m.to == "low"), None)
    closings = (
        [m for m in after if m.to == "high" and m.time_s > first_open + BOUNCE_S] if first_open is not None else []
    )
    return len(openings) + len(closings)
