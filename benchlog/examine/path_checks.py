"""The common paths under load: what is lost in the feed, and how far the return lifts the ground bus."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.slopes import with_gains, with_offset
from benchlog.analysis.slots import Step
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.examine.bench import Bench
from benchlog.examine.load_checks import LEAST_LOAD, Loads
from benchlog.uncertainty import combine

#: Stands in for the offset's doubt where no accuracy is stated, V.
UNSTATED_OFFSET_V = 0.05
#: A fall this far below zero, beyond its doubt, was read the wrong way round, V.
REVERSED_V = 0.002


@dataclass(frozen=True, slots=True)
class PathPoint:
    """A steady stretch with the feed live: load through the feed, and what is read there."""

    plateau: Plateau
    load_a: float


@dataclass(frozen=True, slots=True)
class FeedLoad:
    """The load through the feed on steady stretches.

    Attributes:
        points: in time order. how: in words, where the load was taken from.
        zero_known: the load's zero is known, so one point gives a slope.
        role: the current channel behind it. extra_rel: relative standard uncertainty beyond the channel's own.
    """

    points: tuple[PathPoint, ...]
    how: str
    zero_known: bool
    role: str
    extra_rel: float = 0.0


def feed_load(
    bench: Bench, loads: Loads, matched: Sequence[Mapping[int, Step]], closing: FeedLoad | None
) -> FeedLoad | None:
    """The load that the paths are scaled from: ``feed_a``, else matched slot steps, else the closing's step.

    Args:
        matched: for each key-on of ``loads.engine_off`` the steps surely matched to slots.
    """
    if bench.has("feed_a"):
        points = [PathPoint(p, p.readings["feed_a"].value) for group in loads.feed for p in group if _live(p)]
        return FeedLoad(tuple(points), "by feed_a", zero_known=True, role="feed_a") if points else None
    shown = [(group, steps) for group, steps in zip(loads.engine_off, matched, strict=False) if steps]
    if shown:
        # where a circuit is not told apart it may be on all the time, so only one key-on has one zero
        whole = [(group, steps) for group, steps in shown if len(steps) == len(bench.plan.circuit)]
        used = whole or [max(shown, key=lambda pair: len(pair[1]))]
        points = [PathPoint(p, _on_at(group, p, steps)) for group, steps in used for p in group if _live(p)]
        if any(point.load_a > 0 for point in points):
            how = "by the matched load steps of battery_a"
            return FeedLoad(tuple(points), how, zero_known=bool(whole), role="battery_a")
    return closing


def _live(plateau: Plateau) -> bool:
    feed, battery = plateau.readings.get("feed_v"), plateau.readings.get("battery_v")
    if feed is None:
        return "feed_v" not in plateau.readings and battery is None
    return feed.value > (0.5 * battery.value if battery else UP_ABOVE_V)


def _on_at(group: tuple[Plateau, ...], plateau: Plateau, matched: Mapping[int, Step]) -> float:
    """Sum of the matched circuits that are on during a stretch, from the measured steps up and back down."""
    total = 0.0
    for step in matched.values():
        if not group[0].from_s <= step.time_s <= plateau.from_s + 0.5 or step.time_s > plateau.to_s:
            continue
        back = [
            after
            for before, after in pairwise(group)
            if after.from_s > step.time_s
            and after.from_s <= plateau.from_s
            and abs(before.readings["battery_a"].value - after.readings["battery_a"].value - step.amps)
            < max(0.15 * step.amps, 0.1)
        ]
        if not back:
            total += step.amps
    return total


def examine_paths(bench: Bench, load: FeedLoad | None) -> dict[str, Finding]:
    """Findings for ``feed_drop`` and ``ground_lift``."""
    return {"feed_drop": _feed_drop(bench, load), "ground_lift": _ground_lift(bench, load)}


def _no_load(bench: Bench) -> Unseen:
    return Unseen(
        "no steady load through the feed was seen that can be told from the bike's own; switch the circuits on one by "
        "one with the key on, and leave each on for 4 s"
        + ("" if bench.has("feed_a") else bench.bridged_in(*bench.story.on))
    )


def _feed_drop(bench: Bench, load: FeedLoad | None) -> Finding:
    for role in ("battery_v", "feed_v"):
        if not bench.has(role):
            return Unseen(f"{role} is not logged")
    if load is None:
        return _no_load(bench)
    points = [p for p in load.points if {"battery_v", "feed_v"} <= set(p.plateau.readings)]
    points = _engine_off_first(bench, points)
    drops = [p.plateau.readings["battery_v"].value - p.plateau.readings["feed_v"].value for p in points]
    noise = [combine(p.plateau.readings["battery_v"].u, p.plateau.readings["feed_v"].u) for p in points]
    level = 12.5
    battery, feed = bench.accuracy.get("battery_v"), bench.accuracy.get("feed_v")
    offset_u = combine(battery.level_u(level), feed.level_u(level)) if battery and feed else None
    gain = max(battery.gain_rel, feed.gain_rel) if battery and feed else None
    lean = 0.0
    if battery and feed and len(points) > 1:
        # the two gains differ, and the battery's own sag with the load makes that look like resistance
        volts = [p.plateau.readings["battery_v"].value for p in points]
        loads = [p.load_a for p in points]
        swing_a = max(loads) - min(loads)
        gains = math.hypot(battery.gain_rel, feed.gain_rel) / math.sqrt(3)
        lean = gains * (max(volts) - min(volts)) / max(swing_a, 0.1)
    found = _path(bench, load, points, drops, noise, offset_u, gain, "in the feed", lean)
    return _not_below(
        found, "the feed stands above the battery by this reading: battery_v and feed_v may be changed over"
    )


def _engine_off_first(bench: Bench, points: list[PathPoint]) -> list[PathPoint]:
    """Points with the engine off where these hold a load: the alternator moves both voltages, their gains differ."""
    starts = [c.from_s for c in bench.story.cranks] + [r.from_s for r in bench.story.running]
    still = [p for p in points if p.plateau.to_s <= min(starts, default=math.inf)]
    return still if any(p.load_a >= LEAST_LOAD * bench.plan.planned_load_a for p in still) else points


def _ground_lift(bench: Bench, load: FeedLoad | None) -> Finding:
    if not bench.has("ground_v"):
        return Unseen("ground_v is not logged")
    if load is None:
        return _no_load(bench)
    points = [
        p
        for p in load.points
        if "ground_v" in p.plateau.readings and bench.lift_known(p.plateau.from_s, p.plateau.to_s)
    ]
    lifts, noise = [], []
    for point in points:
        readings = point.plateau.readings
        shunts = sum(ohm * readings[role].value for role, ohm in bench.low_side_ohm.items() if role in readings)
        lifts.append(readings["ground_v"].value - shunts)
        noise.append(readings["ground_v"].u)
    ground = bench.accuracy.get("ground_v")
    offset_u = ground.level_u(0.1) if ground else None
    text = "in the return"
    if bench.low_side_ohm:
        text += ", the shunt's own drop taken off"
    found = _path(bench, load, points, lifts, noise, offset_u, ground.gain_rel if ground else None, text)
    return _not_below(
        found, "the ground bus stands below battery negative by this reading: its leads may be the wrong way round"
    )


def _not_below(found: Finding, why: str) -> Finding:
    """A fall along a wire that is surely below zero is a reading the wrong way round, and proves nothing."""
    if not isinstance(found, Measured) or found.value is None or found.u is None:
        return found
    return replace(found, doubt=why) if found.value < -2 * found.u - REVERSED_V else found


def _path(
    bench: Bench,
    load: FeedLoad,
    points: list[PathPoint],
    drops: list[float],
    noise: list[float],
    offset_u: float | None,
    gain: float | None,
    text: str,
    lean_u: float = 0.0,
) -> Finding:
    planned = bench.plan.planned_load_a
    if not planned:
        return Unseen("the plan names no circuit, so there is no planned load to scale to")
    most = max((point.load_a for point in points), default=0.0)
    if most < LEAST_LOAD * planned:
        return _no_load(bench)
    loads = [point.load_a for point in points]
    current = bench.accuracy.get(load.role)
    rounding = 0.0 if current is None else current.resolution_u
    known = UNSTATED_OFFSET_V if offset_u is None else offset_u
    prior = known if load.zero_known else math.inf
    slope = with_offset(drops, loads, noise, prior)
    if slope is None:
        return Unseen("the load's zero is not known and only one load was on; switch the circuits on one by one")
    u = None
    if offset_u is not None and gain is not None and current is not None:
        # the current's own doubt at each point, seen through the path's resistance
        amps_u = [combine(p.plateau.readings[load.role].u, rounding) for p in points]
        noise = [combine(a, slope.ohm * b) for a, b in zip(noise, amps_u, strict=True)]
        if load.zero_known:
            prior = combine(known, slope.ohm * current.offset / math.sqrt(3))
        slope = with_offset(drops, loads, noise, prior) or slope
        u = combine(with_gains(slope, gain, current.gain_rel), slope.ohm * load.extra_rel, lean_u) * planned
    greatest = max(points, key=lambda p: p.load_a).plateau
    return Measured(
        value=slope.ohm * planned,
        u=u,
        from_s=greatest.sustained_from_s,
        to_s=greatest.to_s,
        story=(
            f"{slope.ohm * 1000:.1f} mΩ {text}, load {load.how} up to {most:.1f} A, "
            f"scaled to the planned {planned:.1f} A"
        ),
    )
