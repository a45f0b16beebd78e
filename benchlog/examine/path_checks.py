"""The common paths under load: what is lost in the feed, and how far the return lifts the ground bus."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.slopes import Slope, from_steps, with_gains, with_offset
from benchlog.core.uncertainty import combine
from benchlog.examine.context import LogContext
from benchlog.examine.floating import without_return
from benchlog.examine.load_checks import LEAST_LOAD, Loads
from benchlog.examine.steady import DROP, LIFT
from benchlog.examine.stepped import Stepped, gain_apart, least_ohm, live, path_step_u

#: Stands in for the offset's doubt where no accuracy is stated; a fall this far below zero, beyond its doubt, was read
#: the wrong way round, V.
UNSTATED_OFFSET_V, REVERSED_V = 0.05, 0.002
#: Loads that differ by less do not show what a drift does to a slope, A.
LEAST_SWING_A = 0.1


@dataclass(frozen=True, slots=True)
class PathPoint:
    """A steady stretch with the feed live.

    Attributes:
        plateau: what is read there. load_a: the load through the feed, A.
    """

    plateau: Plateau
    load_a: float


@dataclass(frozen=True, slots=True)
class FeedLoad:
    """The load through the feed on steady stretches.

    Attributes:
        points: in time order. how: in words, where the load was taken from.
        zero_known: the load's zero is known, so one point gives a slope.
        role: the current channel behind it. extra_rel: relative standard uncertainty beyond the channel's own.
        steps: load steps that are proven to be the fuse block's; where there are any, they alone give the slope.
    """

    points: tuple[PathPoint, ...]
    how: str
    zero_known: bool
    role: str
    extra_rel: float = 0.0
    steps: tuple[Stepped, ...] = ()


def feed_load(
    bench: LogContext, loads: Loads, proven: Sequence[Sequence[Stepped]], closing: FeedLoad | None
) -> FeedLoad | None:
    """The load that the paths are scaled from: ``feed_a``, else matched slot steps, else the closing's step.

    Args:
        proven: for each key-on of ``loads.engine_off`` the steps, up and down, that are surely the fuse block's.
    """
    if bench.has("feed_a"):
        points = [PathPoint(p, p.readings["feed_a"].value) for group in loads.feed for p in group if live(p)]
        return FeedLoad(tuple(points), "by feed_a", zero_known=True, role="feed_a") if points else None
    steps = tuple(one for group in proven for one in group if live(one.before) and live(one.after))
    if any(one.step.amps > 0 for one in steps):
        points = []
        for group, ones in zip(loads.engine_off, proven, strict=False):
            for plateau in group if ones else ():
                on = sum(one.step.amps for one in ones if one.after.from_s <= plateau.from_s + 1e-9)
                if live(plateau):
                    points.append(PathPoint(plateau, max(on, 0.0)))
        how = "by the matched load steps of battery_a"
        # the block's part of a step may lie 1 % (standard) from the battery's whole: the loads that were on before
        # answer to the sag (common practice, no source)
        return FeedLoad(tuple(points), how, True, "battery_a", extra_rel=0.01, steps=steps)
    return closing


def examine_paths(bench: LogContext, load: FeedLoad | None) -> dict[str, Finding]:
    """Findings for ``feed_drop`` and ``ground_lift``."""
    return {"feed_drop": _feed_drop(bench, load), "ground_lift": _ground_lift(bench, load)}


def _no_load(bench: LogContext) -> NotEvaluated:
    return NotEvaluated(
        "no steady load through the feed was seen that can be distinguished from the bike's own; switch the circuits "
        "on one by one with the key on, and leave each on for 4 s"
        + ("" if bench.has("feed_a") else bench.bridged_in(*bench.story.on))
    )


def _feed_drop(bench: LogContext, load: FeedLoad | None) -> Finding:
    for role in ("battery_v", "feed_v"):
        if not bench.has(role):
            return NotEvaluated(f"{role} is not logged")
    if load is None:
        return _no_load(bench)
    points = [p for p in load.points if DROP in p.plateau.readings]
    points = _engine_off_first(bench, points)
    level = 12.5
    battery, feed = bench.accuracy.get("battery_v"), bench.accuracy.get("feed_v")
    offset_u = combine(battery.level_u(level), feed.level_u(level)) if battery and feed else None
    gain = max(battery.gain_rel, feed.gain_rel) if battery and feed else None
    text = "in the feed"
    why = "the feed stands above the battery by this reading: battery_v and feed_v may be changed over"
    if (by_steps := _by_steps(bench, load, DROP, gain, text)) is not None:
        return _not_below(by_steps, why)
    lean = 0.0
    if battery and feed and len(points) > 1:
        # the two gains differ, and the battery's own sag with the load makes that look like resistance
        volts = [p.plateau.readings["battery_v"].value for p in points]
        loads = [p.load_a for p in points]
        swing_a = max(loads) - min(loads)
        lean = gain_apart(bench) * (max(volts) - min(volts)) / max(swing_a, LEAST_SWING_A)
    return _not_below(_along(bench, load, _Readings(DROP, points, offset_u, gain, lean), text), why)


def _point_u(bench: LogContext, point: PathPoint, path: str) -> float:
    """Standard uncertainty of one stretch's voltage along a path against another's, V: each is rounded by itself."""
    roles = ("battery_v", "feed_v") if path == DROP else ("ground_v",)
    rounding = [accuracy.resolution_u for role in roles if (accuracy := bench.accuracy.get(role)) is not None]
    return combine(point.plateau.readings[path].u, *rounding)


def _drift_ohm(bench: LogContext, path: str, points: Sequence[PathPoint]) -> float:
    """Standard uncertainty of a path's resistance, Ω, from what its channels' offsets drift between the stretches."""
    loads = [point.load_a for point in points]
    if len(points) < 2 or max(loads) - min(loads) < LEAST_SWING_A:
        return 0.0
    roles = ("battery_v", "feed_v") if path == DROP else ("ground_v",)
    apart_s = points[-1].plateau.to_s - points[0].plateau.from_s
    known = [accuracy for role in roles if (accuracy := bench.accuracy.get(role)) is not None]
    return combine(*(accuracy.drift_u(apart_s) for accuracy in known)) / (max(loads) - min(loads))


def _engine_off_first(bench: LogContext, points: list[PathPoint]) -> list[PathPoint]:
    """Points with the engine off where these hold a load: the alternator moves both voltages, their gains differ."""
    starts = [c.from_s for c in bench.story.cranks] + [r.from_s for r in bench.story.running]
    still = [p for p in points if p.plateau.to_s <= min(starts, default=math.inf)]
    return still if any(p.load_a >= LEAST_LOAD * bench.plan.planned_load_a for p in still) else points


def _ground_lift(bench: LogContext, load: FeedLoad | None) -> Finding:
    if not bench.has("ground_v"):
        return NotEvaluated("ground_v is not logged")
    if (floating := without_return(bench)) is not None:
        return floating
    if load is None:
        return _no_load(bench)
    points = [p for p in load.points if LIFT in p.plateau.readings]
    ground = bench.accuracy.get("ground_v")
    offset_u = ground.level_u(0.1) if ground else None
    text = "in the return"
    if bench.low_side_ohm:
        text += ", the shunt's own drop taken off"
    gain = ground.gain_rel if ground else None
    why = "the ground bus stands below battery negative by this reading: its leads may be the wrong way round"
    if (by_steps := _by_steps(bench, load, LIFT, gain, text)) is not None:
        return _not_below(by_steps, why)
    return _not_below(_along(bench, load, _Readings(LIFT, points, offset_u, gain), text), why)


def _not_below(found: Finding, why: str) -> Finding:
    """A fall along a wire that is surely below zero is a reading the wrong way round, and proves nothing."""
    if not isinstance(found, Measured) or found.value is None or found.u is None:
        return found
    return replace(found, disqualified=why) if found.value < -2 * found.u - REVERSED_V else found


def _by_steps(bench: LogContext, load: FeedLoad, path: str, gain: float | None, text: str) -> Finding | None:
    """By load steps that are proven to be the fuse block's: offsets and all that does not step with them cancel."""
    # where two loads stepped at once, the block's part is known by the very ratio that is sought here
    ones = [
        one
        for one in load.steps
        if one.step.owner != "both" and path in one.before.readings and path in one.after.readings
    ]
    planned = bench.plan.planned_load_a
    if not ones or not planned:
        return None
    most = max(point.load_a for point in load.points)
    if most < LEAST_LOAD * planned:
        return _no_load(bench)
    amps = [one.step.amps for one in ones]
    volts = [one.after.readings[path].value - one.before.readings[path].value for one in ones]
    noise = [path_step_u(bench, path, one) for one in ones]
    slope = from_steps(volts, amps, noise)
    if slope is None:
        return None
    both = [combine(a, slope.ohm * one.step.u) for a, one in zip(noise, ones, strict=True)]
    slope = from_steps(volts, amps, both) or slope
    current = bench.accuracy.get(load.role)
    u = None
    if gain is not None and current is not None:
        lean = 0.0
        if path == DROP:
            # the two gains differ, and the battery's own sag with the load makes that look like resistance
            sags = [one.after.readings["battery_v"].value - one.before.readings["battery_v"].value for one in ones]
            sag = from_steps(sags, amps, both)
            assert sag is not None  # of the same steps as the slope
            lean = gain_apart(bench) * abs(sag.ohm)
        drift = _drift_ohm(bench, path, load.points)
        u = combine(with_gains(slope, gain, current.gain_rel), slope.ohm * load.extra_rel, lean, drift) * planned
    return _scaled(slope, u, load.points, planned, f"{text}, load {load.how}")


@dataclass(frozen=True, slots=True)
class _Readings:
    """The voltage along a path at the stretches that hold a load.

    Attributes:
        path: ``DROP`` or ``LIFT``. points: the stretches.
        offset_u: standard uncertainty of the offset, V. gain: largest relative error of the gain; None: not stated.
        lean_ohm: what a gain that differs between the ends makes of the sag, as resistance, Ω.
    """

    path: str
    points: Sequence[PathPoint]
    offset_u: float | None
    gain: float | None
    lean_ohm: float = 0.0


def _along(bench: LogContext, load: FeedLoad, read: _Readings, text: str) -> Finding:
    """The loss along a path by the readings of whole stretches."""
    points, offset_u = read.points, read.offset_u
    drops = [point.plateau.readings[read.path].value for point in points]
    noise = [_point_u(bench, point, read.path) for point in points]
    planned = bench.plan.planned_load_a
    if not planned:
        return NotEvaluated("the plan names no circuit, so there is no planned load to scale to")
    most = max((point.load_a for point in points), default=0.0)
    if most < LEAST_LOAD * planned:
        return _no_load(bench)
    loads = [point.load_a for point in points]
    current = bench.accuracy.get(load.role)
    known = UNSTATED_OFFSET_V if offset_u is None else offset_u
    prior = known if load.zero_known else math.inf
    slope = with_offset(drops, loads, noise, prior)
    if slope is None:
        return NotEvaluated("the load's zero is not known and only one load was on; switch the circuits on one by one")
    u = None
    if offset_u is not None and read.gain is not None and current is not None:
        # the current's own doubt at each point, seen through the path's resistance
        amps_u = [combine(p.plateau.readings[load.role].u, current.resolution_u) for p in points]
        noise = [combine(a, slope.ohm * b) for a, b in zip(noise, amps_u, strict=True)]
        if load.zero_known:
            prior = combine(known, slope.ohm * current.offset / math.sqrt(3))
        slope = with_offset(drops, loads, noise, prior) or slope
        lean_u = combine(read.lean_ohm, _drift_ohm(bench, read.path, points))
        u = combine(with_gains(slope, read.gain, current.gain_rel), slope.ohm * load.extra_rel, lean_u) * planned
    least_v = least_ohm(bench)[read.path] * planned
    if u is not None and load.role == "battery_a" and slope.ohm * planned + 2 * u < least_v:
        # less than the bare wire has: what stepped as the contact closed did not come through here
        return _no_load(bench)
    return _scaled(slope, u, points, planned, f"{text}, load {load.how}")


def _scaled(slope: Slope, u: float | None, points: Sequence[PathPoint], planned: float, text: str) -> Measured:
    """The loss at the planned load, by its slope over these points."""
    most = max(points, key=lambda point: point.load_a)
    return Measured(
        value=slope.ohm * planned,
        u=u,
        from_s=most.plateau.sustained_from_s,
        to_s=most.plateau.to_s,
        story=(f"{slope.ohm * 1000:.1f} mΩ {text} up to {most.load_a:.1f} A, scaled to the planned {planned:.1f} A"),
    )
