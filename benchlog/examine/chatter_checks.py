"""Does the contact open or re-close out of turn? Single samples are read only where the feed moves."""

import numpy as np

from benchlog.analysis.coarse import coarse, runs, unseen_s
from benchlog.analysis.levels import Crossing
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.relay import BOUNCE_S, chatter_count, contact_moves
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.examine.bench import Bench

#: A contact that was closed already is watched from this long after the key-on, s.
BEFORE_S = 0.5
POINT_S = 0.05


def examine_chatter(bench: Bench) -> Finding:
    """The finding for ``relay_chatter``."""
    if not bench.has("feed_v"):
        return Unseen("feed_v is not logged")
    if not bench.story.on:
        return Unseen("the key is off throughout the log")
    count, with_trigger, seen_s, hidden_s, first_s, last_s = 0, 0, 0.0, 0.0, None, 0.0
    for on_from, on_to in bench.story.on:
        off_to = next((b for a, b in bench.story.off if abs(a - on_to) < 1e-6), on_to)
        closed_at = _first_closing(bench, on_from, on_to)
        if closed_at is None:
            continue
        if closed_at < on_from:
            # live already before the key-on: what the relay does then is no chatter
            closed_at = on_from + BEFORE_S if on_from > bench.log.start_s else on_from
        # an opening that follows the trigger's own slow fall is the drop-out, not chatter
        around = max(0.5, 1.5 * bench.overview.step_s)
        moves = [
            move
            for move in _moves(bench, closed_at, off_to)
            if not any(c.from_s - around <= move.time_s <= c.to_s + 2 * around for c in bench.story.cranks)
        ]
        if not bench.has("battery_v") and not bench.has("battery_a"):
            with_trigger += sum(
                _trigger_down(bench, move) for move in moves if move.to == "low" and move.time_s < on_to
            )
        count += chatter_count(moves, closed_at, on_to, off_to, bench.story.half_width_s(on_to))
        gaps_s = unseen_s(bench.overview, closed_at, on_to)
        hidden_s += gaps_s
        seen_s += off_to - closed_at - gaps_s
        first_s = closed_at if first_s is None else first_s
        last_s = off_to
    if first_s is None:
        return Unseen("the contact never closed while the key was on")
    step = bench.overview.step_s
    slow = slow_remedy = None
    if step > BOUNCE_S * 1.01:
        slow = f"samples {step * 1000:.0f} ms apart can miss an opening"
        slow_remedy = "a log at 200 samples a second or more would prove it"
    elif hidden_s:
        slow_remedy = "a log without gaps would prove it"
        slow = f"an opening in the {hidden_s:.1f} s that the log lacks would be missed"
    starter = 0 < count <= with_trigger
    return Measured(
        value=float(count),
        u=0.0,
        from_s=first_s,
        to_s=last_s,
        story=f"watched for {seen_s:.0f} s",
        doubt="the trigger itself went down with it, and without the battery's voltage that may be the starter"
        if starter
        else None,
        only_fails=slow,
        remedy="log battery_v beside it" if starter else slow_remedy,
    )


def _trigger_down(bench: Bench, opening: Crossing) -> bool:
    """Whether the contact opened because its trigger went."""
    if not bench.has("trigger_v"):
        return False
    trace = bench.log.trace(opening.time_s - 0.2, opening.after_s + 0.2, ["trigger_v"])
    return len(trace) > 0 and float(np.nanmin(trace.values["trigger_v"], initial=np.inf)) < UP_ABOVE_V


def _first_closing(bench: Bench, on_from: float, on_to: float) -> float | None:
    part = coarse(bench.overview, on_from - POINT_S, on_to, POINT_S, ["feed_v"])
    live = np.flatnonzero(part.high["feed_v"] > UP_ABOVE_V)
    if not len(live):
        return None
    before = coarse(bench.overview, on_from - 4 * POINT_S, on_from, POINT_S, ["feed_v"]).low["feed_v"]
    if len(before) and np.nanmin(before, initial=np.inf) > UP_ABOVE_V:
        return on_from - POINT_S
    around = float(part.start_s[live[0]])
    trace = bench.log.trace(around - 0.2, around + 0.3, ["feed_v"])
    level = float(np.nanmax(trace.values["feed_v"], initial=0.0))
    closings = [move for move in contact_moves(trace, max(level, UP_ABOVE_V)) if move.to == "high"]
    return closings[0].time_s if closings else around


def _moves(bench: Bench, from_s: float, to_s: float) -> list[Crossing]:
    """The contact's moves between two times: single samples are read only where the feed dips or rises."""
    part = coarse(bench.overview, from_s, to_s, POINT_S, ["feed_v", "battery_v"])
    low, high, mean = part.low["feed_v"], part.high["feed_v"], part.mean["feed_v"]
    live = part.mean.get("battery_v", np.full(len(mean), np.nanmax(mean, initial=12.0)))
    with np.errstate(invalid="ignore"):
        mixed = (low < 0.55 * live) & (high > 0.45 * live)
        turned = np.flatnonzero((mean[1:] > 0.5 * live[1:]) != (mean[:-1] > 0.5 * live[:-1]))
    mixed[turned] = True
    mixed[turned + 1] = True
    moves: list[Crossing] = []
    for first, end in runs(mixed):
        step = bench.overview.step_s
        a = float(part.start_s[max(first - 1, 0)]) - 3 * step
        b = float(part.end_s[min(end, len(part) - 1)]) + 3 * step
        trace = bench.log.trace(a, b, ["feed_v"])
        moves += [move for move in contact_moves(trace, float(live[first])) if move.time_s > from_s]
    unique: list[Crossing] = []
    for move in sorted(moves, key=lambda m: m.time_s):
        if not unique or (move.time_s - unique[-1].time_s > 1e-9 and move.to != unique[-1].to):
            unique.append(move)
    return unique
