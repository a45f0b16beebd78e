"""Whether trigger and feed clips are where they belong: which line moves first, and which sinks under the load."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.bounce import REACH_S
from benchlog.analysis.coarse import coarse
from benchlog.analysis.fed import LIVE_SHARE
from benchlog.analysis.levels import Crossing, crossings
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.relay import local_levels
from benchlog.core.trace import Array, Trace
from benchlog.core.uncertainty import block_mean, combine
from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad
from benchlog.verdict.causes.seen import Seen

#: The points that are read, and the time within which trigger and feed move together, s.
POINT_S, TOGETHER_S = 0.1, 0.4
#: A load through the feed that differs by less shows no slope, A; where it is not known to be the feed's, by less
#: than this share of the planned one.
LEAST_SWING_A, LEAST_SHARE = 1.0, 0.4


@dataclass(frozen=True, slots=True)
class _Point:
    """A steady load, A, and how far each line stands below the battery, with its standard uncertainty, V."""

    load_a: float
    below: dict[str, tuple[float, float]]


def clip_slope(bench: LogContext, loads: Loads, load: FeedLoad | None) -> dict[str, Seen]:
    """Which of trigger and feed sinks below the battery as the load grows.

    Without a load known to be the feed's, that of the battery counts: a feed that its own clip does not show to sink
    is told from the bike's loads by nothing.
    """
    if not bench.has("battery_v", "trigger_v", "feed_v"):
        return {}
    known = [] if load is None else [(point.plateau, point.load_a) for point in load.points]
    points = _points(bench, known, LEAST_SWING_A)
    if not points:
        flat = [p for group in loads.engine_off for p in group if "battery_a" in p.readings and _on(bench, p)]
        whole = [(p, p.readings["battery_a"].value) for p in flat]
        points = _points(bench, whole, max(LEAST_SWING_A, LEAST_SHARE * bench.plan.planned_load_a))
    if not points:
        return {}
    amps = np.array([point.load_a for point in points])
    ohm = {role: _slope(amps, [point.below[role] for point in points]) for role in ("trigger_v", "feed_v")}
    (trigger, trigger_u), (feed, feed_u) = ohm["trigger_v"], ohm["feed_v"]
    total = abs(trigger) + abs(feed) + 0.001  # Ω, so that two resistances that are nothing are no ratio
    text = f"{trigger * 1000:.1f} mΩ from the battery to trigger_v, {feed * 1000:.1f} mΩ to feed_v"
    return {"clip_slope": Seen((trigger - feed) / total, combine(trigger_u, feed_u) / total, text)}


def _points(bench: LogContext, pairs: Sequence[tuple[Plateau, float]], least_a: float) -> list[_Point]:
    """The steady loads that show both lines; none where they differ by less than ``least_a``."""
    points = [_Point(amps, below) for plateau, amps in pairs if (below := _below(bench, plateau)) is not None]
    amps = [point.load_a for point in points]
    return points if len(points) > 1 and max(amps) - min(amps) >= least_a else []


def _on(bench: LogContext, plateau: Plateau) -> bool:
    return any(a <= plateau.from_s and plateau.to_s <= b for a, b in bench.story.on)


def _below(bench: LogContext, plateau: Plateau) -> dict[str, tuple[float, float]] | None:
    """Of trigger and feed how far they stand below the battery: what moves all three is not their own."""
    table = coarse(
        bench.overview, plateau.sustained_from_s, plateau.to_s, POINT_S, ["battery_v", "trigger_v", "feed_v"]
    )
    found = {}
    for role in ("trigger_v", "feed_v"):
        with np.errstate(invalid="ignore"):
            if (table.low[role] < LIVE_SHARE * table.mean["battery_v"]).any():
                return None  # a line that comes and goes has no fall of its own
        below = table.mean["battery_v"] - table.mean[role]
        below = below[np.isfinite(below)]
        if len(below) < 2:
            return None
        mean = block_mean(below)
        accuracies = [bench.accuracy.get(one) for one in ("battery_v", role)]
        floor = combine(*(one.resolution_u for one in accuracies if one is not None))
        found[role] = mean.value, combine(mean.u, floor)
    return found


def _slope(amps: Array, below: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Slope of the least-squares line, Ω, and its standard uncertainty."""
    spread = amps - amps.mean()
    volts, u = np.array([value for value, _ in below]), np.array([own for _, own in below])
    whole = float(spread @ spread)
    return float(spread @ volts) / whole, float(np.hypot.reduce(spread * u)) / whole


def feed_lead(bench: LogContext) -> dict[str, Seen]:
    """``feed_lead_s``: how far the feed moves before the trigger, over all key events that move both."""
    if not bench.has("trigger_v", "feed_v"):
        return {}
    leads, step_s = [], 0.0
    for event in (*bench.story.rises, *bench.story.falls):
        trace = bench.log.trace(event.time_s - TOGETHER_S, event.time_s + TOGETHER_S, ["trigger_v", "feed_v"])
        moves = [_first(trace, role, event.to) for role in ("trigger_v", "feed_v")]
        if moves[0] is not None and moves[1] is not None:
            leads.append(moves[0].time_s - moves[1].time_s)
            step_s = max(step_s, moves[0].width_s, moves[1].width_s)
    if not leads:
        return {}
    # at every key event: one that goes the usual way tells against it
    lead_s = float(np.mean(leads)) if min(leads) > -step_s / 2 else min(leads)
    text = f"the feed moves {lead_s * 1000:.1f} ms before the trigger, over {len(leads)} key events"
    # both edges lie somewhere between two samples of one clock
    return {"feed_lead_s": Seen(lead_s, step_s / math.sqrt(6 * len(leads)), text)}


def _first(trace: Trace, role: str, to: str) -> Crossing | None:
    x = trace.values[role]
    levels = local_levels(x)
    if levels is None or (levels.low > levels.high / 2):
        return None
    with np.errstate(invalid="ignore"):
        # a line so far above its level is no longer up: the coil that it was taken from rings
        x = np.where(x > 1.3 * levels.high, levels.low, x)
    moves = crossings(trace.time_s, x, levels)
    if moves and moves[-1].time_s - moves[0].time_s > REACH_S:
        return None  # a line that is pulsed, or a contact that chatters, moves at no key event of its own
    return next((move for move in moves if move.to == to), None)
