"""Each circuit's current: from its own channel where logged, else from load steps matched to the plan."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from benchlog.analysis.coarse import coarse, runs
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.plateaus import LEAST_STEP_A, Plateau
from benchlog.analysis.slots import MARK_AFTER_S, MARK_BEFORE_S, Match, Step, match_slots
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.examine.bench import Bench
from benchlog.examine.load_checks import Loads
from benchlog.examine.path_checks import FeedLoad, PathPoint
from benchlog.limits import PlannedLimit
from benchlog.trace import Trace
from benchlog.uncertainty import combine, conformity

POINT_S = 0.05
#: A circuit's own channel counts as on above this share of its greatest sustained level.
ON_SHARE = 0.5
#: … or above this share of its planned current, where inrush stands above it.
ON_PLANNED = 0.3
#: Inrush after a circuit comes on, s; a circuit on for less gives its second half.
INRUSH_S = 1.0
#: Doubt of the bike's own load as the contact closes, relative to the step (common practice, no source).
CLOSING_DOUBT = 0.05
#: A step of the battery's current within this time of a key-on is the bike's own, s.
KEY_REACH_S = 0.5


def load_steps(group: Sequence[Plateau], role: str, rounding_u: float, key_on_s: Sequence[float] = ()) -> list[Step]:
    """Changes of load between neighbouring steady stretches of one key-on.

    Args:
        key_on_s: a step across one of these times is the bike's own load, whatever comes on beside it.
    """
    steps = []
    for before, after in pairwise(group):
        if any(before.to_s - KEY_REACH_S <= at <= after.from_s + KEY_REACH_S / 5 for at in key_on_s):
            continue
        a, b = before.readings[role], after.readings[role]
        u = combine(a.u, b.u, rounding_u)
        steps.append(Step(after.from_s, b.value - a.value, u, before.sustained_from_s, after.to_s))
    return steps


def examine_slots(
    bench: Bench, loads: Loads, limits: Mapping[str, PlannedLimit]
) -> tuple[dict[str, Finding], tuple[dict[int, Step], ...]]:
    """Findings for each ``slot_N_current``, and for each key-on the steps surely matched to slots."""
    findings: dict[str, Finding] = {}
    planned = {circuit.slot: circuit.planned_a for circuit in bench.plan.circuit}
    unlogged = [slot for slot in planned if not bench.has(f"slot{slot}_a")]
    for slot in planned:
        if slot not in unlogged:
            findings[f"slot_{slot}_current"] = _own_channel(bench, slot, planned[slot])
    by_feed = bench.has("feed_a")
    if not planned or (by_feed and not unlogged):
        return findings, ()
    role, groups = ("feed_a", loads.feed) if by_feed else ("battery_a", loads.engine_off)
    if not by_feed:
        for slot in [slot for slot in unlogged if switched_unseen(bench, slot)]:
            # its step is nowhere in the log, so no other step may be taken for it
            findings[f"slot_{slot}_current"] = Unseen(
                f"slot {slot} was switched on while battery_a was not measured; switch it on again with the shunt free"
                + bench.bridged_in(*bench.story.on)
            )
            unlogged.remove(slot)
            del planned[slot]
    accuracy = bench.accuracy.get(role)
    rounding = math.sqrt(2) * accuracy.resolution_u if accuracy else 0.0
    key_ons = () if by_feed else tuple(turn.time_s for turn in bench.story.turns if turn.on)
    matches = []
    for group in groups:
        steps = load_steps(group, role, rounding, key_ons)
        marks = [
            mark
            for mark in bench.log.marks
            if group and group[0].from_s - MARK_BEFORE_S <= mark.time_s <= group[-1].to_s + MARK_AFTER_S
        ]
        matches.append(match_slots(steps, planned, marks))
    for slot in unlogged:
        check = f"slot_{slot}_current"
        findings[check] = _matched(bench, slot, [match[slot] for match in matches], role, limits.get(check))
    sure = tuple(
        {slot: match.step for slot, match in found.items() if match.step is not None and not match.others}
        for found in matches
    )
    return findings, () if by_feed else sure


def switched_unseen(bench: Bench, slot: int) -> bool:
    """Whether a slot was marked on, and each time while the battery's shunt was bridged."""
    at = [mark.time_s for mark in bench.log.marks if mark.text.lower() == f"slot {slot} on"]
    return bool(at) and all(any(bridge.touches(t, t) for bridge in bench.bridged) for t in at)


def _own_channel(bench: Bench, slot: int, planned: float) -> Finding:
    role = f"slot{slot}_a"
    if not bench.story.on:
        return Unseen("the key is off throughout the log")
    sustained: list[np.ndarray] = []
    calm: list[np.ndarray] = []
    first_s, last_s, over = math.nan, math.nan, 0
    tables = [coarse(bench.overview, a, b, POINT_S, [role]) for a, b in bench.story.on]
    peak = max((_high(table.mean[role]) for table in tables), default=0.0)
    accuracy = bench.accuracy.get(role)
    floor = max(0.05 * planned, 3 * (accuracy.level_u(0.0) if accuracy else 0.0))
    marked = [mark for mark in bench.log.marks if mark.text.lower() == f"slot {slot} on"]
    if peak < floor and not marked:
        return Unseen(f"slot {slot} drew no current while the key was on; switch it on while it records")
    for table in tables:
        x = table.mean[role]
        over += int(table.over[role].sum())
        with np.errstate(invalid="ignore"):
            least = max(floor, min(ON_SHARE * peak, ON_PLANNED * planned))
            on = x > least if peak >= floor else table.time_s > (marked[0].time_s if marked else 0.0)
        for first, end in runs(on):
            lasts = float(table.end_s[end - 1] - table.start_s[first])
            keep = table.start_s[first:end] >= table.start_s[first] + min(INRUSH_S, lasts / 2)
            good = x[first:end][keep]
            good = good[np.isfinite(good)]
            if len(good):
                sustained.append(good)
                first_s = float(table.start_s[first]) if math.isnan(first_s) else first_s
                last_s = float(table.end_s[end - 1])
        off = x[~on & np.isfinite(x)]
        if len(off) >= 4 and peak >= floor:
            calm.append(off)
    if not sustained:
        return Unseen(f"slot {slot} has no valid sample while it was on")
    levels = np.concatenate(sustained)
    value = float(np.median(levels))
    scatter = 1.2533 * float(np.std(levels)) / math.sqrt(max(len(levels), 1))
    drift = float(np.std([np.median(part) for part in sustained])) if len(sustained) > 1 else 0.0
    u = None
    story = "by its own channel"
    if accuracy is not None:
        known = accuracy.level_u(value)
        if calm:
            # with the circuit off its current is zero, so the channel's offset can be taken off
            zero = float(np.median(np.concatenate(calm)))
            if abs(zero) < 3 * combine(accuracy.level_u(0.0), 1e-6):
                value -= zero
                known = accuracy.change_u(value)
        u = combine(scatter, drift, known)
    return Measured(
        value,
        u,
        first_s,
        last_s,
        story,
        doubt=f"{over} samples of {role} were over range" if over and over > len(levels) // 10 else None,
    )


def _high(x: np.ndarray) -> float:
    good = x[np.isfinite(x)]
    if not len(good):
        return 0.0
    # not the maximum: inrush is no load
    top = np.sort(good)[-max(len(good) // 20, min(len(good), 8)) :]
    return float(np.median(top))


def _matched(bench: Bench, slot: int, matches: Sequence[Match], role: str, limit: PlannedLimit | None) -> Finding:
    """The slot's current from the key-ons that show it: marked ones before others, and not proven where they differ."""
    if not bench.has(role):
        return Unseen("neither the slot's own current, feed_a nor battery_a is logged")
    shown = [match for match in matches if match.step is not None]
    shown = [match for match in shown if match.marked] or shown
    if not shown:
        empty = next((match for match in matches if match.marked), None)
        if empty is not None:
            return _no_step(bench, slot, empty, role)
        return Unseen(
            f"no load step of {role} fits slot {slot}; switch it on by itself with the key on and the engine off"
            + (bench.bridged_in(*bench.story.on) if role == "battery_a" else "")
        )
    findings = [_from_step(bench, slot, match.step, match, role, limit) for match in shown if match.step is not None]
    sure = [finding for finding in findings if not finding.doubt] or findings
    if limit is not None and len(sure) > 1:
        verdicts = [conformity(f.value or 0.0, f.u or 0.0, limit.min, limit.max) for f in sure]
        if any(match.marked for match in shown) and "fail" in verdicts:
            return sure[verdicts.index("fail")]
        if len(set(verdicts)) > 1:
            return replace(
                sure[0],
                doubt="the key-ons of this log give it different currents",
                remedy=f'note "slot {slot} on" as a mark when switching it on, or log slot{slot}_a',
            )
    return sure[0]


def _no_step(bench: Bench, slot: int, match: Match, role: str) -> Measured:
    """The slot was marked on, and nothing came."""
    from_s = next(mark.time_s for mark in bench.log.marks if mark.text.lower() == f"slot {slot} on")
    accuracy = bench.accuracy.get(role)
    least = max(LEAST_STEP_A, 2.5 * bench.resolution(role))
    near = next((step for step in match.others if step is not None), None)
    return Measured(
        0.0,
        None if accuracy is None else combine(accuracy.change_u(0.0), least / 3),
        from_s,
        from_s + MARK_AFTER_S,
        f"marked on, and {role} shows no step there",
        doubt=None if near is None else f"the step of {near.amps:.2f} A at {near.time_s:.1f} s may be this circuit",
        remedy=None if near is None else "set the mark as the circuit is switched on",
    )


def _from_step(bench: Bench, slot: int, step: Step, match: Match, role: str, limit: PlannedLimit | None) -> Measured:
    value, u = _step_figures(bench, step, role)
    doubt = None
    if match.others and limit is not None:
        verdict = conformity(value, u or 0.0, limit.min, limit.max)
        for other in match.others:
            if other is None:
                doubt = f"the step at {step.time_s:.1f} s may be another load"
                break
            other_value, other_u = _step_figures(bench, other, role)
            if conformity(other_value, other_u or 0.0, limit.min, limit.max) != verdict:
                doubt = f"the step of {other_value:.2f} A at {other.time_s:.1f} s fits slot {slot} about as well"
                break
    return Measured(
        value,
        u,
        step.from_s,
        step.to_s,
        f"from the step of {role} at {step.time_s:.1f} s, "
        + (f"marked as slot {slot}" if match.marked else f"taken for slot {slot} by its size"),
        doubt=doubt,
        remedy=f'note "slot {slot} on" as a mark when switching it on, or log slot{slot}_a' if doubt else None,
    )


def _step_figures(bench: Bench, step: Step, role: str) -> tuple[float, float | None]:
    accuracy = bench.accuracy.get(role)
    return step.amps, None if accuracy is None else combine(step.u, accuracy.change_u(step.amps))


def closing_load(bench: Bench, loads: Loads, pull_ins: Sequence[tuple[Trace, float]]) -> FeedLoad | None:
    """The load that comes on as the contact closes: ``battery_a`` sustained, less just before with the coil on."""
    if not bench.has("battery_a", "feed_v"):
        return None
    points = []
    for trace, trigger_s in pull_ins:
        feed, amps = trace.values["feed_v"], trace.values.get("battery_a")
        after = np.flatnonzero((trace.time_s > trigger_s) & (feed > UP_ABOVE_V))
        if amps is None or not len(after):
            continue
        waiting = amps[(trace.time_s > trigger_s) & (trace.time_s < trace.time_s[after[0]] - 1e-9)]
        waiting = waiting[np.isfinite(waiting)]
        if len(waiting) < 3:
            continue
        before = float(np.median(waiting[len(waiting) // 2 :]))
        closed_s = float(trace.time_s[after[0]])
        first = next((p for group in loads.engine_off for p in group if p.from_s <= closed_s + 1.0 < p.to_s), None)
        if first is not None and first.from_s > closed_s - 1.0:
            points.append(PathPoint(first, first.readings["battery_a"].value - before))
    if not any(point.load_a > 0 for point in points):
        return None
    return FeedLoad(
        tuple(points), "by the step of battery_a as the contact closed", True, "battery_a", extra_rel=CLOSING_DOUBT
    )
