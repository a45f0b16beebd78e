"""How often has the relay's contact opened or closed out of turn?"""

import numpy as np

from benchlog.analysis.coarse import runs
from benchlog.analysis.levels import Crossing, Levels, crossings
from benchlog.analysis.relay import BOUNCE_S
from benchlog.core.trace import Trace

#: An opening without return this shortly before the key-off belongs to it, s (more than any drop-out takes).
JUST_BEFORE_S = 0.1
#: Below this no state of the feed lies, V; a spike lasts no longer than this, s.
SPIKE_V, SPIKE_S = -1.0, 0.003


def contact_moves(trace: Trace, live_v: float) -> list[Crossing]:
    """Openings and closings of the contact as the feed shows them: 50 % of the live level, 40/60 % hysteresis."""
    return crossings(trace.time_s, trace.values["feed_v"], Levels(0.0, live_v))


def without_spikes(trace: Trace, live_v: float) -> Trace:
    """The same feed without what no contact does: samples below any state, and dips that the battery shows as well.

    A coil or motor that is switched off without suppression, and ignition, leave the lines for less than 2 ms; a
    stretch below zero that lasts longer is a contact that opened on such a load.

    Args:
        live_v: the feed's level once closed, V; a battery above it by more than a fifth is spiked itself.
    """
    feed = trace.values["feed_v"]
    battery = trace.values.get("battery_v")
    kept = feed.copy()
    if battery is not None and np.isfinite(battery).sum() > 1:
        known = np.isfinite(battery)
        beside = np.interp(trace.time_s, trace.time_s[known], battery[known])
        with np.errstate(invalid="ignore", divide="ignore"):
            # as a share of the battery at that very instant, brought back to the live level
            alike = kept / np.clip(beside, 0.5, 1.2 * live_v) * live_v
        kept = np.where(beside < 0.9 * live_v, alike, kept)
    for first, end in runs(kept < SPIKE_V):
        before, after = max(first - 1, 0), min(end, len(kept) - 1)
        alone = kept[before] > 0.5 * live_v and kept[after] > 0.5 * live_v
        if alone and trace.time_s[after] - trace.time_s[before] <= SPIKE_S:
            kept[first:end] = np.nan
    return Trace(trace.time_s, {**trace.values, "feed_v": kept}, trace.over)


def chatter_count(
    moves: list[Crossing],
    on_from_s: float,
    on_to_s: float,
    off_to_s: float,
    slack_s: float = 0.0,
    falls_from_s: float | None = None,
    stamped_s: float = 0.0,
) -> int:
    """Openings with the key on and re-closings with it off, bounce apart.

    Args:
        moves: the contact's moves in time order, those while cranking left out.
        on_from_s, on_to_s: from the contact's first closing to the key-off, s.
        off_to_s: the end of the key-off span that follows, s.
        slack_s: how well the key-off is known; an opening as close to it as that is the drop-out.
        falls_from_s: when the trigger began to fall, s, where that is known and takes its time.
        stamped_s: how far a stamp may lie from when its row was read, s: bounce of the closing may show so much later.
    """
    ends_s = on_to_s - max(slack_s, stamped_s) - BOUNCE_S
    within = [move for move in moves if move.time_s <= on_to_s]
    # the feed may go just before its trigger, as where the clips are changed over: that is the drop-out too
    begins_s = (on_to_s if falls_from_s is None else min(falls_from_s, on_to_s)) - JUST_BEFORE_S
    gone = within[-1] if within and within[-1].to == "low" and within[-1].time_s > begins_s else None
    openings = [
        move
        for before, move in zip([None, *moves], moves, strict=False)
        if move.to == "low"
        and move is not gone
        and on_from_s + BOUNCE_S + stamped_s < move.time_s <= ends_s - move.width_s
        and not (before is not None and before.to == "high" and move.time_s - before.time_s <= BOUNCE_S)
    ]
    after = [m for m in moves if ends_s - m.width_s < m.time_s <= off_to_s]
    first_open = next((m.time_s for m in after if m.to == "low"), None)
    closings = (
        [m for m in after if m.to == "high" and m.time_s > first_open + BOUNCE_S] if first_open is not None else []
    )
    return len(openings) + len(closings)
