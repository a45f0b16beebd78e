"""A relay that does not move: was it watched for long enough, and is it really the relay that stays?"""

from itertools import pairwise

import numpy as np

from benchlog.analysis.coarse import coarse, unseen_s
from benchlog.analysis.levels import Crossing
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.quantiles import median
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Trace
from benchlog.examine.context import LogContext

#: A relay that has not moved after this long never will, s (common practice, no source).
NEVER_S = 1.0
#: Nothing is told by a shorter watch than this, s; a feed that sank by less than this share of the battery has not.
LEAST_S, SUNK_SHARE = 0.1, 0.002
POINT_S = 0.05
#: The key's own fall of the trigger comes within this time of a key-off that something else tells, s.
KEYS_OWN_S = 30.0


def watched_longer_than(bench: LogContext, event: Crossing, until: float, limit_ms: float | None) -> bool:
    """Whether what follows an event was watched for longer than its limit, or as long as any relay takes."""
    if limit_ms is None:
        return _seen_s(bench, event, until) >= NEVER_S
    open_s = event.width_s + bench.true_step_s("trigger_v") + bench.true_step_s("feed_v", "battery_v")
    return _seen_s(bench, event, until) > max(limit_ms / 1000, LEAST_S) + open_s


def _seen_s(bench: LogContext, event: Crossing, until: float) -> float:
    """How long the samples show what follows an event, s."""
    return until - event.time_s - unseen_s(bench.overview, event.time_s, until)


def sinks(trace: Trace, fall: Crossing) -> bool:
    """Whether the feed, though still up, has left the battery: a capacitor holds it, and the contact may be open."""
    if "battery_v" not in trace.values:
        return False
    with np.errstate(invalid="ignore", divide="ignore"):
        share = trace.values["feed_v"] / trace.values["battery_v"]
    good = np.isfinite(share)
    before, after = share[good & (trace.time_s < fall.before_s)][-50:], share[good & (trace.time_s > fall.time_s)]
    if len(before) < 8 or len(after) < 16:
        return False
    parts = [median(part) for part in np.array_split(after, 4)]
    noise = robust_noise(before)
    falls = all(later < earlier for earlier, later in pairwise(parts))
    return falls and median(before) - parts[-1] > max(5 * noise, SUNK_SHARE)


def stays_dead(bench: LogContext, limit_ms: float | None) -> tuple[Crossing, float] | None:
    """A key-on, known from marks or the key line, through which trigger and feed both stay down."""
    if bench.story.source not in ("marks", "key_v"):
        return None
    lasts_s = NEVER_S if limit_ms is None else max(NEVER_S, limit_ms / 1000)
    for turn in bench.story.turns:
        until = next((t.time_s for t in bench.story.turns if t.time_s > turn.time_s), bench.log.end_s)
        begins = turn.time_s + turn.half_width_s
        if not turn.on or until - turn.half_width_s - begins <= lasts_s:
            continue
        part = coarse(bench.overview, begins, until - turn.half_width_s, POINT_S, ["trigger_v", "feed_v"])
        highs = [part.high[role] for role in ("trigger_v", "feed_v")]
        means = [part.mean[role] for role in ("trigger_v", "feed_v")]
        if not all(np.isfinite(x).any() for x in highs):
            continue
        # a lamp's test pulses do not feed the coil
        if np.nanmax(highs[1]) < UP_ABOVE_V and np.nanmax(means[0]) < UP_ABOVE_V:
            return Crossing(turn.time_s, turn.time_s, turn.time_s, 0, "high"), until
    return None


def by_the_key(bench: LogContext, fall: Crossing) -> bool:
    """Whether the key made the trigger fall: a pulled fuse lets a backfed relay go, and so does who finds the feed."""
    if any(a <= fall.time_s <= b for a, b in bench.left_out):
        return False
    return not any(a + KEYS_OWN_S < fall.time_s <= b for a, b in bench.story.off if a > bench.log.start_s)


def stays_live(bench: LogContext) -> tuple[Crossing, float] | None:
    """A key-off, known from marks or the key line, after which trigger and feed both stay up."""
    if bench.story.source not in ("marks", "key_v"):
        return None
    for turn in bench.story.turns:
        if turn.on:
            continue
        until = next((t.time_s for t in bench.story.turns if t.time_s > turn.time_s), bench.log.end_s)
        # a pulled fuse may let it go
        until = min([until, *(begins for begins, _ in bench.left_out if begins > turn.time_s)])
        part = coarse(bench.overview, turn.time_s + NEVER_S, until, POINT_S, ["feed_v"])
        low = part.low["feed_v"]
        if len(low) and np.nanmin(low, initial=np.inf) > UP_ABOVE_V and until - turn.time_s > 2 * NEVER_S:
            return Crossing(turn.time_s, turn.time_s, turn.time_s, 0, "low"), until
    return None
