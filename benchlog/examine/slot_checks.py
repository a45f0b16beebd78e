"""Each circuit's current: from its own channel where logged, else from load steps matched to the plan."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.slots import marked_on
from benchlog.core.uncertainty import conformity
from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.own_channel import own_channel
from benchlog.examine.slot_dead import comes_and_goes, in_pulses, left_out, no_step, watched
from benchlog.examine.slot_match import KeyOnSteps, match_key_on, note_it, proven_steps, switched_unseen
from benchlog.examine.slot_step import from_step
from benchlog.examine.stepped import AllSteps, Stepped, find_steps
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.loads import SLOT_CURRENT


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
class _Shown:
    """What a log shows of the circuits that have no channel of their own.

    Attributes:
        key_ons: each with its steps matched to the plan. steps: all of them.
        loads: the steady stretches of each key-on.
    """

    bench: LogContext
    key_ons: Sequence[KeyOnSteps]
    steps: AllSteps
    loads: Sequence[Sequence[Plateau]]


def examine_slots(bench: LogContext, loads: Loads, limits: Mapping[str, PlannedLimit]) -> SlotWork:
    """Findings for each ``slot_N_current``, and the steps that are the fuse block's."""
    findings: dict[str, Finding] = {}
    planned = {circuit.slot: circuit.planned_a for circuit in bench.plan.circuit}
    unlogged = [slot for slot in planned if not bench.has(f"slot{slot}_a")]
    for slot in planned:
        if slot not in unlogged:
            findings[SLOT_CURRENT.id_of(slot)] = own_channel(bench, slot, planned[slot])
    by_feed = bench.has("feed_a")
    if not planned or (by_feed and not unlogged):
        return SlotWork(findings, (), _first_rises(bench, loads))
    role, groups = ("feed_a", loads.feed) if by_feed else ("battery_a", loads.engine_off)
    if not by_feed:
        for slot in [slot for slot in unlogged if switched_unseen(bench, slot)]:
            # its step is nowhere in the log, so no other step may be taken for it
            findings[SLOT_CURRENT.id_of(slot)] = NotEvaluated(
                f"slot {slot} was switched on while battery_a was not measured; switch it on again with the shunt free"
                + bench.bridged_in(*bench.story.on)
            )
            unlogged.remove(slot)
            del planned[slot]
    key_ons = () if by_feed else tuple(turn.time_s for turn in bench.story.turns if turn.on)
    found = find_steps(bench, groups, role, key_ons)
    key_on = [
        match_key_on(bench, role, group, steps, planned)
        for group, steps in zip(groups, found.groups, strict=True)
        if group
    ]
    shown_by = _Shown(bench, key_on, found, groups)
    for slot in unlogged:
        check = SLOT_CURRENT.id_of(slot)
        findings[check] = _matched(shown_by, slot, limits.get(check))
    first = tuple(
        min(steps) for one in key_on if (steps := [m.step.time_s for m in one.matches.values() if m.step is not None])
    )
    if by_feed:
        return SlotWork(findings, (), _first_rises(bench, loads))
    proven = iter([proven_steps(one) for one in key_on])
    return SlotWork(findings, tuple(next(proven) if group else () for group in groups), first)


def _first_rises(bench: LogContext, loads: Loads) -> tuple[float, ...]:
    """When the current into the fuse block first rose in each key-on, s."""
    if not bench.has("feed_a"):
        return ()
    groups = find_steps(bench, loads.feed, "feed_a", ()).groups
    rises = [[one.step.time_s for one in group if one.step.amps > 0] for group in groups]
    return tuple(times[0] for times in rises if times)


def _matched(shown_by: _Shown, slot: int, limit: PlannedLimit | None) -> Finding:
    """The slot's current from the key-ons that show it: marked ones before others, and not proven where they differ."""
    bench, key_ons, role = shown_by.bench, shown_by.key_ons, shown_by.steps.role
    if not bench.has(role):
        return NotEvaluated("neither the slot's own current, feed_a nor battery_a is logged")
    shared = [one.together[slot] for one in key_ons if slot in one.together]
    shown = [one for one in key_ons if one.matches[slot].step is not None and slot not in one.together]
    shown = [one for one in shown if one.matches[slot].marked] or shown
    if not shown:
        if shared:
            step, slots = shared[0]
            return NotEvaluated(
                f"slots {' and '.join(map(str, slots))} seem to have come on in one step of {step.amps:.2f} A at "
                f"{step.time_s:.1f} s; switch them on one by one"
            )
        return _without_step(shown_by, slot, limit)
    findings = [from_step(bench, slot, one, role, limit) for one in shown]
    sure = [finding for finding in findings if not finding.disqualified] or findings
    if limit is not None and len(sure) > 1:
        verdicts = [_judged(finding, limit) for finding in sure]
        if shown[0].matches[slot].marked and "fail" in verdicts:
            return sure[verdicts.index("fail")]
        if len(set(verdicts)) > 1:
            return replace(
                sure[0],
                disqualified="the key-ons of this log give it different currents",
                remedy=note_it(slot),
            )
    return sure[0]


def _without_step(shown_by: _Shown, slot: int, limit: PlannedLimit | None) -> Finding:
    """The slot without a step of its own: dead where the log can tell that, else not seen."""
    bench, key_ons, steps, role = shown_by.bench, shown_by.key_ons, shown_by.steps, shown_by.steps.role
    empty = next((one for one in key_ons if one.matches[slot].marked), None)
    if empty is not None:
        if not any(watched(bench, at_s, shown_by.loads) for at_s in marked_on(bench.log.marks, slot)):
            return NotEvaluated(
                f"the load was not steady around the mark of slot {slot}, so a step there may be lost; switch it "
                "on again, by itself, and leave it on for 4 s"
            )
        if any(
            in_pulses(bench, slot, at_s, role) or comes_and_goes(bench, at_s)
            for at_s in marked_on(bench.log.marks, slot)
        ):
            return NotEvaluated(
                f"the load or the feed comes and goes from the mark of slot {slot} on; look at the relay first, "
                "then switch it on again"
            )
        return no_step(bench, slot, empty, role, limit)
    dead = next((found for one in key_ons if (found := left_out(bench, slot, one, steps, limit)) is not None), None)
    if dead is not None:
        return dead
    return NotEvaluated(
        f"no load step of {role} fits slot {slot}; switch it on by itself with the key on and the engine off"
        + (bench.bridged_in(*bench.story.on) if role == "battery_a" else "")
    )


def _judged(finding: Measured, limit: PlannedLimit) -> str:
    if finding.failed:
        return "fail"
    return conformity(finding.value or 0.0, finding.u or 0.0, limit.min, limit.max)
