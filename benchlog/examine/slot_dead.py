"""A circuit without a load step: was it switched on and drew nothing, and can the log tell?"""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise

from benchlog.analysis.assignment import LEAST_CHANCE
from benchlog.analysis.coarse import coarse
from benchlog.analysis.load_steps import LoadStep, follow
from benchlog.analysis.measurement import Measured
from benchlog.analysis.plateaus import LEAST_STEP_A, Plateau
from benchlog.analysis.slots import MARK_AFTER_S, MARK_BEFORE_S, MARK_DOUBT_S, Match, marked_on
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.uncertainty import COVERAGE_K, PASS_PROBABILITY, combine, probability_of_conforming
from benchlog.examine.context import LogContext
from benchlog.examine.slot_match import KeyOnSteps
from benchlog.examine.steady import DROP, LIFT
from benchlog.examine.stepped import AllSteps
from benchlog.examine.swing import POINT_S, swing_a
from benchlog.plan.limits import PlannedLimit

#: That nothing came at a mark is seen where steady stretches fill so much of the time around it, and one reaches so
#: long beyond it, s.
STEADY_AT_MARK, LEAST_AFTER_S = 0.5, 1.0
#: A current that swings by so much of the planned one more after the mark than before it holds the circuit, 1; its
#: inrush has gone after this time, s.
MORE_SWING, INRUSH_S = 0.5, 0.5
#: A mark made by hand may come so late, or early, in a long test, s (common practice, no source).
LATE_MARK_S = 15.0
#: A change of load that takes longer may hold several, s.
SLOW_STEP_S = 1.0
#: The steady stretches of a key-on end so long before the crank, or the run, that ends them, at the most, s.
OVER_S = 1.0
#: Voltages are taken to be no better known than this, V.
LEAST_U_V = 1e-6
#: A circuit without a step is dead, though unmarked, only beside at least so many that came on, and after so long, s.
FEWEST_OTHERS, WATCHED_S = 1, 4.0


def watched(bench: LogContext, mark_s: float, groups: Sequence[Sequence[Plateau]]) -> bool:
    """Whether steady stretches of one key-on lie around a mark, before it too, and no crank or start is there."""
    begins, ends = mark_s - MARK_BEFORE_S, mark_s + MARK_AFTER_S
    # a log that begins or ends in reach of the mark may have missed the step
    if begins < bench.log.start_s or bench.log.end_s < ends:
        return False
    if any(crank.from_s < ends and begins < crank.to_s for crank in bench.story.cranks):
        return False
    for group in groups:
        if any(a.to_s < mark_s < b.from_s and b.from_s - a.to_s > SLOW_STEP_S for a, b in pairwise(group)):
            return False
        inside = [min(p.to_s, ends) - max(p.from_s, begins) for p in group if p.from_s < ends and begins < p.to_s]
        # where a log begins at the mark, the step may have come before anything steady was seen
        before, after = group[0].from_s < mark_s, group[-1].to_s >= mark_s + LEAST_AFTER_S
        if inside and before and after and sum(inside) >= STEADY_AT_MARK * (ends - begins):
            return True
    return False


def in_pulses(bench: LogContext, slot: int, mark_s: float, role: str) -> bool:
    """Whether the load comes and goes, and by more from a mark on: then the circuit comes and goes with it."""
    marks = [mark.time_s for mark in bench.log.marks]
    begins = max([mark_s - MARK_AFTER_S, *(at + INRUSH_S for at in marks if at < mark_s)])
    ends = min([mark_s + MARK_AFTER_S, *(at for at in marks if at > mark_s)])
    swings = [swing_a(bench, a, b, role) for a, b in ((begins, mark_s), (mark_s + INRUSH_S, ends))]
    planned = next(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot == slot)
    if swings[0] is None or swings[1] is None:
        return False
    return swings[1] - swings[0] > MORE_SWING * planned


def comes_and_goes(bench: LogContext, mark_s: float) -> bool:
    """Whether the fuse block is both live and dead after a mark: a relay that flutters leaves no step to see."""
    if not bench.has("feed_v"):
        return False
    part = coarse(bench.overview, mark_s, mark_s + MARK_AFTER_S, POINT_S, ["feed_v"])
    return bool((part.high["feed_v"] > UP_ABOVE_V).any() and (part.low["feed_v"] < UP_ABOVE_V).any())


def no_step(bench: LogContext, slot: int, one: KeyOnSteps, role: str, limit: PlannedLimit | None) -> Measured:
    """The slot was marked on, and nothing came."""
    from_s = marked_on(bench.log.marks, slot)[0]
    accuracy = bench.accuracy.get(role)
    least = max(LEAST_STEP_A, 2.5 * bench.resolution(role))
    near = next((step for step in one.matches[slot].others if step is not None), None)
    near = near or next(
        (
            step
            for step in _marked_late(one, slot)
            if limit is not None and _conforms(bench, role, step, limit) > 1 - PASS_PROBABILITY
        ),
        None,
    )
    return Measured(
        0.0,
        None if accuracy is None else combine(accuracy.change_u(0.0), least / 3),
        from_s,
        from_s + MARK_AFTER_S,
        f"marked on, and {role} shows no step there",
        disqualified=None
        if near is None
        else f"the step of {near.amps:.2f} A at {near.time_s:.1f} s may be this circuit",
        remedy=None if near is None else "set the mark as the circuit is switched on",
    )


def _marked_late(one: KeyOnSteps, slot: int) -> list[LoadStep]:
    """Steps that may be this slot's after all: one at no mark, or another's whose own may be the one at no mark."""
    taken = {id(match.step): other for other, match in one.matches.items() if match.step is not None}
    free = _unclaimed(one, one.matches.values())
    rising = [stepped.step for stepped in one.steps if stepped.step.amps > 0 and stepped.step.owner != "bike"]

    def beside(of: int, step: LoadStep, reach_s: float) -> bool:
        return any(abs(step.apart_s(at_s)) <= reach_s for at_s in marked_on(one.marks, of))

    moved = {other for other in one.matches for step in free if beside(other, step, LATE_MARK_S)}
    return [
        *(step for step in free if beside(slot, step, LATE_MARK_S)),
        *(step for step in rising if taken.get(id(step)) in moved - {slot} and beside(slot, step, MARK_DOUBT_S)),
    ]


def _unclaimed(one: KeyOnSteps, matches: Iterable[Match]) -> list[LoadStep]:
    """Loads that came on for the first time, are not proven to be the bike's own, and that none of the matches took."""
    taken = {id(match.step) for match in matches}
    again = {id(step) for load in follow([stepped.step for stepped in one.steps]) for step in load.ons[1:]}
    return [
        stepped.step
        for stepped in one.steps
        if stepped.step.amps > 0 and stepped.step.owner != "bike" and id(stepped.step) not in taken | again
    ]


def left_out(
    bench: LogContext, slot: int, one: KeyOnSteps, steps: AllSteps, limit: PlannedLimit | None
) -> Measured | None:
    """The slot draws nothing, though no mark says so: every other circuit came on, and no step is left for this one.

    Only where the paths prove which steps are the fuse block's, and that nothing was on there from the beginning.
    """
    if slot in one.together or not (steps.ratios or steps.role == "feed_a"):
        return None
    others = [match for other, match in one.matches.items() if other != slot]
    # which of the others is which does not matter here
    if len(others) < FEWEST_OTHERS or any(
        match.step is None or (match.step.owner == "unknown" and not match.marked) for match in others
    ):
        return None
    # a step that may be this slot's leaves another without one: it fails where it fits none of them
    may = [(step, chance) for step, chance in one.matches[slot].chances if step is not None]
    fits = sum(chance * _conforms(bench, steps.role, step, limit) for step, chance in may)
    if limit is None or fits > 1 - PASS_PROBABILITY:
        return None
    may = [(step, chance) for step, chance in may if chance > LEAST_CHANCE]
    if _unclaimed(one, others):
        return None
    rising = [stepped.step for stepped in one.steps if stepped.step.amps > 0]
    last_s = max(step.time_s for step in rising)
    planned = next(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot == slot)
    if one.ends_s - last_s < WATCHED_S or _goes_on(bench, one) or not _nothing_at_first(bench, one, steps, planned):
        return None
    accuracy = bench.accuracy.get(steps.role)
    least = max(LEAST_STEP_A, 2.5 * bench.resolution(steps.role))
    amps = [step.load_a for step, _ in may]
    u = None if accuracy is None else combine(accuracy.change_u(0.0), least / 3)
    listed = " or ".join(f"{value:.3g} A" for value in (0.0, *amps))
    return Measured(
        0.0,
        # one of the steps may be this slot's all the same
        u if u is None or not amps else combine(u, max(amps) / COVERAGE_K),
        rising[0].from_s,
        one.ends_s,
        f"every other circuit came on, and no step of {steps.role} is left for this one",
        likely_u=u,
        failed=None
        if not amps
        else f"whichever step of {steps.role} is whose, this circuit draws {listed}, and none of these fits the plan",
    )


def _goes_on(bench: LogContext, one: KeyOnSteps) -> bool:
    """Whether the log ends in the key-on's midst: the circuit may have come on right after it."""
    over = [*(crank.from_s for crank in bench.story.cranks), *(run.from_s for run in bench.story.running)]
    if any(at >= one.ends_s - OVER_S for at in over):
        return False
    return any(a <= one.ends_s and b >= bench.log.end_s for a, b in bench.story.on)


def _conforms(bench: LogContext, role: str, step: LoadStep, limit: PlannedLimit | None) -> float:
    if limit is None:
        return 1.0
    accuracy = bench.accuracy.get(role)
    u = combine(step.load_u, 0.0 if accuracy is None else accuracy.change_u(step.load_a))
    return probability_of_conforming(step.load_a, u, limit.min, limit.max)


def _nothing_at_first(bench: LogContext, one: KeyOnSteps, steps: AllSteps, planned: float) -> bool:
    """Whether the fuse block carried nothing before the first step, by the paths: else a circuit may be on since."""
    if steps.role == "feed_a":
        return one.first is not None and abs(one.first.readings["feed_a"].value) < 0.5 * planned
    # the stretch before the first step; one before the key-on does not count
    before = one.steps[0].before
    weight = total = 0.0
    for path, roles in ((DROP, ("battery_v", "feed_v")), (LIFT, ("ground_v",))):
        ohm = steps.ratios.get(path)
        if ohm is None or path not in before.readings:
            continue
        accuracies = [bench.accuracy.get(role) for role in roles]
        level = 12.5 if path == DROP else 0.1
        # a logger may claim to be exact
        u = max(combine(*(one.level_u(level) if one is not None else 0.05 for one in accuracies)), LEAST_U_V) / ohm
        weight += 1 / u**2
        total += before.readings[path].value / ohm / u**2
    if not weight:
        return False
    return total / weight + 1.0 / math.sqrt(weight) < 0.6 * planned
