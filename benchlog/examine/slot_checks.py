"""Each circuit's current: from its own channel where logged, else from load steps matched to the plan."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from benchlog.analysis.load_steps import Step, follow, hidden_beside
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.plateaus import LEAST_STEP_A, Plateau
from benchlog.analysis.slots import (
    MARK_AFTER_S,
    MARK_BEFORE_S,
    Match,
    come_together,
    marked_on,
    match_slots,
)
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.examine.bench import Bench
from benchlog.examine.load_checks import Loads
from benchlog.examine.own_channel import as_pulsed, own_channel
from benchlog.examine.path_checks import FeedLoad, PathPoint
from benchlog.examine.steady import DROP, LIFT
from benchlog.examine.stepped import ANOTHER_BESIDE, AllSteps, Stepped, find_steps
from benchlog.limits import PlannedLimit
from benchlog.trace import Array, Mark, Trace
from benchlog.uncertainty import combine, conformity, rectangular

#: Doubt of the bike's own load as the contact closes, relative to the step (common practice, no source).
CLOSING_DOUBT = 0.05
#: That nothing came at a mark is seen where steady stretches fill so much of the time around it, and one reaches so
#: long beyond it, s.
STEADY_AT_MARK, LEAST_AFTER_S = 0.5, 1.0
#: A change of load that takes longer may hold several, s.
SLOW_STEP_S = 1.0
#: What is drawn while the contact is on its way is steady where it moves by no more than this share of the step.
STEADY_SHARE = 0.05
#: A lamp's inrush lasts about so long, s (common practice, no source).
INRUSH_LASTS_S = 0.1
#: After its inrush the bike draws at least this share of what it drew as the contact closed (a lamp's inrush is up to
#: eight times its current; common practice, no source).
BIKE_SHARE = 0.12
#: A circuit without a step is dead, though unmarked, only beside at least so many that came on, and after so long, s.
FEWEST_OTHERS, WATCHED_S = 1, 4.0


@dataclass(frozen=True, slots=True)
class SlotWork:
    """What the circuits' examination leaves for others.

    Attributes:
        findings: each ``slot_N_current``.
        proven: for each key-on of ``Loads.engine_off`` the steps, up and down, that are surely the fuse block's; empty
            where ``feed_a`` makes them needless.
        first_on: when the first circuit of each key-on came on, s.
    """

    findings: dict[str, Finding]
    proven: tuple[tuple[Stepped, ...], ...] = ()
    first_on: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class _KeyOn:
    """One key-on: its steps, the marks that fall into it, and what was matched."""

    steps: tuple[Stepped, ...]
    marks: tuple[Mark, ...]
    matches: Mapping[int, Match]
    together: Mapping[int, tuple[Step, tuple[int, ...]]]
    first: Plateau | None
    ends_s: float


def examine_slots(bench: Bench, loads: Loads, limits: Mapping[str, PlannedLimit]) -> SlotWork:
    """Findings for each ``slot_N_current``, and the steps that are the fuse block's."""
    findings: dict[str, Finding] = {}
    planned = {circuit.slot: circuit.planned_a for circuit in bench.plan.circuit}
    unlogged = [slot for slot in planned if not bench.has(f"slot{slot}_a")]
    for slot in planned:
        if slot not in unlogged:
            findings[f"slot_{slot}_current"] = own_channel(bench, slot, planned[slot])
    by_feed = bench.has("feed_a")
    if not planned or (by_feed and not unlogged):
        return SlotWork(findings, (), _first_rises(bench, loads))
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
    key_ons = () if by_feed else tuple(turn.time_s for turn in bench.story.turns if turn.on)
    found = find_steps(bench, groups, role, key_ons)
    key_on = [_match(bench, group, steps, planned) for group, steps in zip(groups, found.groups, strict=True) if group]
    for slot in unlogged:
        check = f"slot_{slot}_current"
        findings[check] = _matched(bench, slot, key_on, found, limits.get(check), groups)
    first = tuple(
        min(steps) for one in key_on if (steps := [m.step.time_s for m in one.matches.values() if m.step is not None])
    )
    if by_feed:
        return SlotWork(findings, (), _first_rises(bench, loads))
    proven = iter([_proven(one) for one in key_on])
    return SlotWork(findings, tuple(next(proven) if group else () for group in groups), first)


def _first_rises(bench: Bench, loads: Loads) -> tuple[float, ...]:
    """When the current into the fuse block first rose in each key-on, s."""
    if not bench.has("feed_a"):
        return ()
    groups = find_steps(bench, loads.feed, "feed_a", ()).groups
    rises = [[one.step.time_s for one in group if one.step.amps > 0] for group in groups]
    return tuple(times[0] for times in rises if times)


def _match(bench: Bench, group: Sequence[Plateau], steps: tuple[Stepped, ...], planned: Mapping[int, float]) -> _KeyOn:
    marks = tuple(
        mark
        for mark in bench.log.marks
        if group[0].from_s - MARK_BEFORE_S <= mark.time_s <= group[-1].to_s + MARK_AFTER_S
    )
    plain = [one.step for one in steps]
    matches = match_slots(plain, planned, marks)
    return _KeyOn(steps, marks, matches, come_together(plain, planned, marks, matches), group[0], group[-1].to_s)


def _proven(one: _KeyOn) -> tuple[Stepped, ...]:
    """The steps up and down that the paths or the matching prove to be the fuse block's."""
    sure = {
        id(match.step)
        for match in one.matches.values()
        if match.step is not None and not match.others and match.step.owner == "unknown"
    }
    for load in follow([stepped.step for stepped in one.steps]):
        if any(id(step) in sure for step in load.ons):
            sure |= {id(step) for step in (*load.ons, *load.offs) if step.owner == "unknown"}
    return tuple(
        stepped for stepped in one.steps if stepped.step.owner in ("block", "both") or id(stepped.step) in sure
    )


def switched_unseen(bench: Bench, slot: int) -> bool:
    """Whether a slot was marked on, and each time while the battery's shunt was bridged."""
    at = marked_on(bench.log.marks, slot)
    return bool(at) and all(any(bridge.touches(t, t) for bridge in bench.bridged) for t in at)


def _matched(
    bench: Bench,
    slot: int,
    key_ons: Sequence[_KeyOn],
    steps: AllSteps,
    limit: PlannedLimit | None,
    loads: Sequence[Sequence[Plateau]],
) -> Finding:
    """The slot's current from the key-ons that show it: marked ones before others, and not proven where they differ."""
    role = steps.role
    if not bench.has(role):
        return Unseen("neither the slot's own current, feed_a nor battery_a is logged")
    shared = [one.together[slot] for one in key_ons if slot in one.together]
    shown = [one for one in key_ons if one.matches[slot].step is not None and slot not in one.together]
    shown = [one for one in shown if one.matches[slot].marked] or shown
    if not shown:
        if shared:
            step, slots = shared[0]
            return Unseen(
                f"slots {' and '.join(map(str, slots))} seem to have come on in one step of {step.amps:.2f} A at "
                f"{step.time_s:.1f} s; switch them on one by one"
            )
        empty = next((one.matches[slot] for one in key_ons if one.matches[slot].marked), None)
        if empty is not None:
            if not any(_watched(bench, at_s, loads) for at_s in marked_on(bench.log.marks, slot)):
                return Unseen(
                    f"the load was not steady around the mark of slot {slot}, so a step there may be lost; switch it "
                    "on again, by itself, and leave it on for 4 s"
                )
            return _no_step(bench, slot, empty, role)
        dead = next((found for one in key_ons if (found := _left_out(bench, slot, one, steps)) is not None), None)
        if dead is not None:
            return dead
        return Unseen(
            f"no load step of {role} fits slot {slot}; switch it on by itself with the key on and the engine off"
            + (bench.bridged_in(*bench.story.on) if role == "battery_a" else "")
        )
    findings = [_from_step(bench, slot, one, role, limit) for one in shown]
    sure = [finding for finding in findings if not finding.doubt] or findings
    if limit is not None and len(sure) > 1:
        verdicts = [_judged(finding, limit) for finding in sure]
        if any(one.matches[slot].marked for one in shown) and "fail" in verdicts:
            return sure[verdicts.index("fail")]
        if len(set(verdicts)) > 1:
            return replace(
                sure[0],
                doubt="the key-ons of this log give it different currents",
                remedy=_note(slot),
            )
    return sure[0]


def _watched(bench: Bench, mark_s: float, groups: Sequence[Sequence[Plateau]]) -> bool:
    """Whether steady stretches of one key-on lie around a mark, with the engine neither cranked nor started there."""
    begins, ends = mark_s - MARK_BEFORE_S, mark_s + MARK_AFTER_S
    if any(crank.from_s < ends and begins < crank.to_s for crank in bench.story.cranks):
        return False
    for group in groups:
        if any(a.to_s < mark_s < b.from_s and b.from_s - a.to_s > SLOW_STEP_S for a, b in pairwise(group)):
            return False
        inside = [min(p.to_s, ends) - max(p.from_s, begins) for p in group if p.from_s < ends and begins < p.to_s]
        if inside and group[-1].to_s >= mark_s + LEAST_AFTER_S and sum(inside) >= STEADY_AT_MARK * (ends - begins):
            return True
    return False


def _judged(finding: Measured, limit: PlannedLimit) -> str:
    if finding.failed:
        return "fail"
    return conformity(finding.value or 0.0, finding.u or 0.0, limit.min, limit.max)


def _note(slot: int) -> str:
    return f'note "slot {slot} on" as a mark when switching it on, or log slot{slot}_a'


def _no_step(bench: Bench, slot: int, match: Match, role: str) -> Measured:
    """The slot was marked on, and nothing came."""
    from_s = marked_on(bench.log.marks, slot)[0]
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


def _left_out(bench: Bench, slot: int, one: _KeyOn, steps: AllSteps) -> Measured | None:
    """The slot draws nothing, though no mark says so: every other circuit came on, and no step is left for this one.

    Only where the paths prove which steps are the fuse block's, and that nothing was on there from the beginning.
    """
    if slot in one.together or not (steps.ratios or steps.role == "feed_a"):
        return None
    others = [match for other, match in one.matches.items() if other != slot]
    # which of the others is which does not matter here, as long as none of their steps may be this slot's
    if len(others) < FEWEST_OTHERS or any(
        match.step is None or None in match.others or (match.step.owner == "unknown" and not match.marked)
        for match in others
    ):
        return None
    if one.matches[slot].others:
        return None
    taken = {id(match.step) for match in others}
    rising = [stepped.step for stepped in one.steps if stepped.step.amps > 0]
    again = {id(step) for load in follow([stepped.step for stepped in one.steps]) for step in load.ons[1:]}
    if any(step.owner != "bike" and id(step) not in taken | again for step in rising):
        return None
    last_s = max(step.time_s for step in rising)
    planned = next(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot == slot)
    if one.ends_s - last_s < WATCHED_S or not _nothing_at_first(bench, one, steps, planned):
        return None
    accuracy = bench.accuracy.get(steps.role)
    least = max(LEAST_STEP_A, 2.5 * bench.resolution(steps.role))
    return Measured(
        0.0,
        None if accuracy is None else combine(accuracy.change_u(0.0), least / 3),
        rising[0].from_s,
        one.ends_s,
        f"every other circuit came on, and no step of {steps.role} is left for this one",
    )


def _nothing_at_first(bench: Bench, one: _KeyOn, steps: AllSteps, planned: float) -> bool:
    """Whether the fuse block carried nothing before the first step, by the paths: else a circuit may be on since."""
    if steps.role == "feed_a":
        return one.first is not None and abs(one.first.readings["feed_a"].value) < 0.5 * planned
    # the stretch before the first step; one before the key-on does not count
    before = one.steps[0].before if one.steps else None
    if before is None:
        return False
    weight = total = 0.0
    for path, roles in ((DROP, ("battery_v", "feed_v")), (LIFT, ("ground_v",))):
        ohm = steps.ratios.get(path)
        if ohm is None or path not in before.readings:
            continue
        accuracies = [bench.accuracy.get(role) for role in roles]
        level = 12.5 if path == DROP else 0.1
        u = combine(*(one.level_u(level) if one is not None else 0.05 for one in accuracies)) / ohm
        weight += 1 / u**2
        total += before.readings[path].value / ohm / u**2
    if not weight:
        return False
    return total / weight + 1.0 / math.sqrt(weight) < 0.6 * planned


def _from_step(bench: Bench, slot: int, one: _KeyOn, role: str, limit: PlannedLimit | None) -> Measured:
    match = one.matches[slot]
    step = match.step
    if step is None:
        raise ValueError(f"slot {slot} has no step")
    value, u = _step_figures(bench, step, role)
    if u is not None:
        u = combine(u, rectangular(abs(value) * _sags_on(bench, one, step)))
    doubt = step.doubtful
    remedy = "a faster logger, or one that averages between its samples" if doubt else None
    if doubt == ANOTHER_BESIDE:
        remedy = "switch the circuit on again while nothing else is switched"
    if limit is not None and doubt is None:
        doubt = _mistaken(bench, slot, one, match, step, role, limit)
        remedy = _note(slot) if doubt else None
    found = Measured(
        value,
        u,
        step.from_s,
        step.to_s,
        f"from the step of {role} at {step.time_s:.1f} s, "
        + (f"marked as slot {slot}" if match.marked else f"taken for slot {slot} by its size"),
        doubt=doubt,
        remedy=remedy,
    )
    return found if step.peak_a is None else as_pulsed(bench, slot, found, step.peak_a, doubt)


def _sags_on(bench: Bench, one: _KeyOn, step: Step) -> float:
    """By how much, relative, the battery's voltage goes on to change while the circuit is on: so may its current.

    The engine's start does not count: the circuit is judged before it.
    """
    starts = [crank.from_s for crank in bench.story.cranks] + [run.from_s for run in bench.story.running]
    until = min((start for start in starts if start > step.time_s), default=math.inf)
    volts = [
        stepped.after.readings["battery_v"].value
        for stepped in one.steps
        if step.time_s <= stepped.step.time_s < until and "battery_v" in stepped.after.readings
    ]
    return 0.0 if not volts or volts[0] <= UP_ABOVE_V else (max(volts) - min(volts)) / volts[0]


def _mistaken(
    bench: Bench, slot: int, one: _KeyOn, match: Match, step: Step, role: str, limit: PlannedLimit
) -> str | None:
    """Why the step may be another load than the slot's, with another verdict; None where it may not."""
    value, u = _step_figures(bench, step, role)
    verdict = conformity(value, u or 0.0, limit.min, limit.max)
    for other in match.others:
        if other is None:
            return f"the step at {step.time_s:.1f} s may be another load"
        other_value, other_u = _step_figures(bench, other, role)
        if conformity(other_value, other_u or 0.0, limit.min, limit.max) != verdict:
            return f"the step of {other_value:.2f} A at {other.time_s:.1f} s fits slot {slot} about as well"
    planned = next(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot == slot)
    if verdict == "fail":
        other_load = hidden_beside(step, planned, [stepped.step for stepped in one.steps])
        if other_load is not None:
            return f"the load of {other_load.ons[-1].amps:.2f} A seen before may have come or gone in the same step"
    if step.owner != "unknown" or role == "feed_a":
        return None
    if not match.marked and verdict == "fail":
        return f"nothing but its size tells whose the step at {step.time_s:.1f} s is, and it does not fit the plan"
    if _went_off(slot, one, step):
        return f"the load that came on at {step.time_s:.1f} s went off again while others stayed, and may be another"
    return None


def _went_off(slot: int, one: _KeyOn, step: Step) -> bool:
    """Whether the load of this step was switched off amid the test, while the circuits stay on as they come."""
    loads = [load for load in follow([stepped.step for stepped in one.steps]) if load.ons]
    mine = next((load for load in loads if any(up is step for up in load.ons)), None)
    if mine is None or mine.on or not mine.offs:
        return False
    off_s = mine.offs[-1].time_s
    if any(mark.text.lower() == f"slot {slot} off" and abs(mark.time_s - off_s) <= MARK_AFTER_S for mark in one.marks):
        return False
    later = [load for load in loads if load.ons[0].time_s > off_s]
    stay = [load for load in loads if load is not mine and (load.on or load.offs[-1].time_s > off_s)]
    return bool(later) and len(stay) >= len(loads) / 2


def _step_figures(bench: Bench, step: Step, role: str) -> tuple[float, float | None]:
    accuracy = bench.accuracy.get(role)
    return step.amps, None if accuracy is None else combine(step.u, accuracy.change_u(step.amps))


def closing_load(bench: Bench, loads: Loads, pull_ins: Sequence[tuple[Trace, float]]) -> FeedLoad | None:
    """The load that comes on as the contact closes: ``battery_a`` sustained, less just before with the coil on.

    The key turns on the bike's own lamps a few milliseconds before, and their inrush may not be over when the contact
    closes; what the bike draws afterwards then lies anywhere up to what it drew last.
    """
    if not bench.has("battery_a", "feed_v"):
        return None
    points, doubts = [], []
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
        if first is None or first.from_s <= closed_s - 1.0:
            continue
        waited_s = closed_s - trigger_s
        load, doubt = _at_closing(waiting, waited_s, before, first.readings["battery_a"].value)
        points.append(PathPoint(first, load))
        doubts.append(doubt)
    if not any(point.load_a > 0 for point in points):
        return None
    # closings do not part the load from the paths' offsets: they differ by their doubt alone, so the surest is taken
    best = min(range(len(points)), key=lambda n: doubts[n])
    how = "by the step of battery_a as the contact closed"
    return FeedLoad((points[best],), how, True, "battery_a", extra_rel=doubts[best])


def _at_closing(waiting: Array, waited_s: float, before_a: float, sustained_a: float) -> tuple[float, float]:
    """The block's load as the contact closes, A, and its relative standard uncertainty."""
    third = max(len(waiting) // 3, 1)
    moved = abs(float(np.median(waiting[:third])) - float(np.median(waiting[-third:])))
    # seen for a few milliseconds only, an inrush goes on moving for as long as a lamp's lasts
    moves = moved * max(INRUSH_LASTS_S / max(waited_s, 1e-6), 1.0)
    step = sustained_a - before_a
    if step > 0 and moves <= STEADY_SHARE * step:
        return step, CLOSING_DOUBT
    least, most = max(step, 0.0), sustained_a - BIKE_SHARE * before_a
    middle = (least + most) / 2
    return middle, rectangular((most - least) / 2) / middle if middle > 0 else math.inf
