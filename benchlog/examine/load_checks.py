"""The steady loads of a log, and the battery under them, engine off: sag and source resistance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from benchlog.analysis.cranking import Crank
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.plateaus import CLOSING_S, OPENING_S, Plateau, Sustained
from benchlog.analysis.running import CHARGED_V
from benchlog.analysis.slopes import Slope, from_steps, with_gains
from benchlog.core.errors import BadLog
from benchlog.core.uncertainty import combine, propagate, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.steady import steady

#: Stretch of the key-off state before a key-on that is taken along; the stretch before the first circuit ends no longer
#: than the other before its step, s.
BEFORE_S, FIRST_REACH_S = 3.0, 1.5
#: A load smaller than this share of the planned one says too little of the path, 1.
LEAST_LOAD = 0.1
#: About what a battery has, Ω: weighs the current's doubt against the voltage's.
SOURCE_OHM = 0.03
#: A slope of the voltage is read over at least this time, s.
LEAST_DRIFT_S = 0.6
#: A reversed channel is named from steps of at least this size, A, and such a resistance, Ω.
REVERSED_A, REVERSED_OHM = 1.0, 0.002


@dataclass(frozen=True, slots=True)
class Loads:
    """The steady stretches of a log.

    Attributes:
        engine_off: by ``battery_a``, key on with the engine off, one list a key-on, or for each part of one between
            which the shunt was bridged.
        feed: by ``feed_a``, key on with or without the engine, one list a key-on; empty if not logged.
    """

    engine_off: tuple[tuple[Plateau, ...], ...]
    feed: tuple[tuple[Plateau, ...], ...]


def find_loads(bench: LogContext) -> Loads:
    """Divide the key-on spans into steady stretches.

    Raises:
        BadLog: voltage and current rise together, so the current channel is reversed.
    """
    roles = [role for role in bench.overview.bands if role != "drain_a"]
    engine_off, feed = [], []
    for on_from, on_to in bench.story.on:
        starts = [c.from_s for c in bench.story.cranks if on_from <= c.from_s <= on_to]
        starts += [r.from_s for r in bench.story.running if on_from <= r.from_s <= on_to]
        until = min([on_to, *(start - 0.3 for start in starts)])
        if bench.has("battery_a") and until > on_from:
            for a, b in bench.measured(on_from - BEFORE_S, until):
                found = steady(bench, a, b, "battery_a", roles)
                engine_off.append(tuple(p for p in found if not _charged(p)))
        if bench.has("feed_a"):
            inside = [crank for crank in bench.story.cranks if on_from <= crank.from_s <= on_to]
            edges = [on_from, *(t for crank in inside for t in _around(crank)), on_to]
            pieces: list[Plateau] = []
            for a, b in zip(edges[::2], edges[1::2], strict=True):
                if b <= a:
                    continue
                # what was read of the ground bus must not be mixed with what the bridge made of it
                for c, d in [(a, b)] if bench.lift_known(a, b) else bench.cut(a, b):
                    pieces += steady(bench, c, d, "feed_a", roles)
            feed.append(tuple(pieces))
    loads = Loads(tuple(engine_off), tuple(feed))
    _refuse_reversed(bench, loads)
    return loads


def _around(crank: Crank) -> tuple[float, float]:
    return crank.from_s - 0.3, crank.to_s + 1.0


def _charged(plateau: Plateau) -> bool:
    volts, amps = plateau.readings.get("battery_v"), plateau.readings["battery_a"]
    return volts is not None and volts.value > CHARGED_V and amps.value < -0.3


def battery_steps(loads: Loads) -> list[tuple[Plateau, Plateau]]:
    """Neighbouring steady stretches with the engine off that both have voltage and current."""
    return [
        (before, after)
        for plateaus in loads.engine_off
        for before, after in pairwise(plateaus)
        if "battery_v" in before.readings and "battery_v" in after.readings
    ]


def _source(loads: Loads, bench: LogContext) -> Slope | None:
    """−ΔV/ΔI over about a second at each step, before the battery's slow sag.

    A battery's resistance grows with the time for which it is asked: how much it does until the end of the stretches
    is part of the uncertainty.
    """
    steps = battery_steps(loads)
    quick = _slope(bench, [_beside(a, b) for a, b in steps])
    slow = _slope(bench, [_Change(_difference(a, b, "battery_v"), _difference(a, b, "battery_a")) for a, b in steps])
    if quick is None or slow is None:
        return quick
    return replace(quick, u=combine(quick.u, rectangular(abs(slow.ohm - quick.ohm))))


@dataclass(frozen=True, slots=True)
class _Change:
    """What a load step does to the battery: changes with their type A standard uncertainties."""

    volts: Sustained
    amps: Sustained


def _slope(bench: LogContext, changes: Sequence[_Change]) -> Slope | None:
    if not changes:
        return None
    volts, amps = bench.accuracy.get("battery_v"), bench.accuracy.get("battery_a")
    rounding = math.sqrt(2) * volts.resolution_u if volts else 0.0
    rounding_a = math.sqrt(2) * amps.resolution_u if amps else 0.0
    u = [combine(one.volts.u, rounding, SOURCE_OHM * combine(one.amps.u, rounding_a)) for one in changes]
    return from_steps([-one.volts.value for one in changes], [one.amps.value for one in changes], u)


def _difference(before: Plateau, after: Plateau, role: str) -> Sustained:
    a, b = before.readings[role], after.readings[role]
    return Sustained(b.value - a.value, combine(a.u, b.u))


def _beside(before: Plateau, after: Plateau) -> _Change:
    """From just before a step to soon after it."""
    roles = {"battery_v", "battery_a"}
    if not (roles <= set(before.closing) and roles <= set(after.opening)):
        return _Change(_difference(before, after, "battery_v"), _difference(before, after, "battery_a"))
    changes = {
        role: Sustained(
            after.opening[role].value - before.closing[role].value,
            combine(after.opening[role].u, before.closing[role].u),
        )
        for role in roles
    }
    drift, drift_u = _drift(before)
    volts = changes["battery_v"]
    return _Change(Sustained(volts.value - drift, combine(volts.u, drift_u)), changes["battery_a"])


def _drift(before: Plateau) -> tuple[float, float]:
    """How far the voltage would have gone on drifting over the step, V, and its standard uncertainty.

    After an earlier step a battery sags on, or recovers, for up to a minute; that is no answer to this step.
    """
    if "battery_v" not in before.closing or "battery_v" not in before.readings:
        return 0.0, 0.0
    apart_s = (before.to_s - CLOSING_S / 2) - (before.sustained_from_s + before.to_s) / 2
    if apart_s < LEAST_DRIFT_S:
        return 0.0, 0.0
    middle, end = before.readings["battery_v"], before.closing["battery_v"]
    # the stretch's own figure for its drift is what is looked at here, not an uncertainty of its middle
    noise = end.u
    reach_s = CLOSING_S / 2 + sum(OPENING_S) / 2
    drift = (end.value - middle.value) / apart_s * reach_s
    unsure = math.sqrt(2) * noise / apart_s * reach_s
    if abs(drift) < 2 * unsure:
        return 0.0, min(abs(drift), unsure)
    return drift, max(abs(drift) / 3, unsure)


def _refuse_reversed(bench: LogContext, loads: Loads) -> None:
    slope = _source(loads, bench)
    if slope is None or slope.most_a < REVERSED_A:
        return
    if slope.ohm < -REVERSED_OHM and slope.ohm < -3 * slope.u:
        raise BadLog(
            bench.log.name,
            f"battery_a and battery_v rise together over {slope.points} load step(s), so the current channel is "
            "reversed; out of the battery must be positive: turn `positive` of battery_a in the logger file to the "
            'other of "discharge" and "charge", or swap the shunt\'s sense wires, and check again',
        )


def examine_battery_load(bench: LogContext, loads: Loads, first_on: Sequence[float] = ()) -> dict[str, Finding]:
    """Findings for ``battery_sag`` and ``source_resistance``.

    Args:
        first_on: when the first circuit of each key-on came on, s, where that is known: the sag counts from there.
    """
    for role in ("battery_v", "battery_a"):
        if not bench.has(role):
            missing = NotEvaluated(f"{role} is not logged")
            return {"battery_sag": missing, "source_resistance": missing}
    why = NotEvaluated(
        "no load step with the key on and the engine off; switch the loads on one by one before starting the engine"
        + bench.bridged_in(*bench.story.on)
    )
    slope = _source(loads, bench)
    if slope is None or slope.most_a < 0.5:
        return {"battery_sag": why, "source_resistance": why}
    steps = battery_steps(loads)
    volts, amps = bench.accuracy.get("battery_v"), bench.accuracy.get("battery_a")
    u = with_gains(slope, volts.gain_rel, amps.gain_rel) if volts and amps else None
    resistance = Measured(
        value=slope.ohm * 1000,
        u=None if u is None else u * 1000,
        from_s=steps[0][0].from_s,
        to_s=steps[-1][1].to_s,
        story=f"from {slope.points} load step{'s' if slope.points > 1 else ''} of up to {slope.most_a:.1f} A",
    )
    return {"battery_sag": _sag(bench, loads, first_on), "source_resistance": resistance}


def _sag(bench: LogContext, loads: Loads, first_on: Sequence[float]) -> Finding:
    planned = bench.plan.planned_load_a
    if not planned:
        return NotEvaluated("the plan names no circuit, so there is no planned load to scale to")
    best: tuple[float, Plateau, Plateau] | None = None
    for plateaus in loads.engine_off:
        usable = [p for p in plateaus if "battery_v" in p.readings]
        for number, greatest in enumerate(usable):
            if number == 0:
                continue
            earlier = usable[:number]
            known = [p for p in earlier if any(0 <= at - p.to_s < FIRST_REACH_S for at in first_on)]
            before = min(known or earlier, key=lambda p: p.readings["battery_a"].value)
            rise = greatest.readings["battery_a"].value - before.readings["battery_a"].value
            if best is None or rise > best[0]:
                best = (rise, before, greatest)
    if best is None or best[0] < LEAST_LOAD * planned:
        return NotEvaluated(
            "no load came on with the engine off; switch the loads on before starting the engine"
            + bench.bridged_in(*bench.story.on)
        )
    rise, before, greatest = best
    # just before the load, not the middle of what came before it
    start = before.closing if {"battery_v", "battery_a"} <= set(before.closing) else before.readings
    v0, v1 = start["battery_v"], greatest.readings["battery_v"]
    i0, i1 = start["battery_a"], greatest.readings["battery_a"]
    rise = i1.value - i0.value
    sag = (v0.value - v1.value) * planned / rise
    volts, amps = bench.accuracy.get("battery_v"), bench.accuracy.get("battery_a")
    u = None
    if volts and amps:
        u_v = combine(v0.u, v1.u, volts.change_u(v0.value - v1.value))
        u_i = combine(i0.u, i1.u, amps.change_u(rise))
        u = propagate((planned / rise, -sag / rise), (u_v, u_i))
    return Measured(
        value=sag,
        u=u,
        from_s=before.sustained_from_s,
        to_s=greatest.to_s,
        story=f"{(v0.value - v1.value):.2f} V measured at {rise:.1f} A more, scaled to the planned {planned:.1f} A",
    )
