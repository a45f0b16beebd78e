"""A circuit's current from its load step: the value, its doubt, and whether the step may be another load's."""

import math

from benchlog.analysis.assignment import LEAST_CHANCE
from benchlog.analysis.load_steps import LoadStep, follow, hidden_beside
from benchlog.analysis.measurement import Measured
from benchlog.analysis.slots import MARK_AFTER_S, Match
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.core.events import SlotOff
from benchlog.core.trace import times_of
from benchlog.core.uncertainty import (
    COVERAGE_K,
    PASS_PROBABILITY,
    combine,
    conformity,
    probability_of_conforming,
    rectangular,
)
from benchlog.examine.context import LogContext
from benchlog.examine.own_channel import as_pulsed
from benchlog.examine.slot_match import KeyOnSteps, note_it
from benchlog.examine.stepped import ANOTHER_BESIDE, live
from benchlog.plan.limits import PlannedLimit

#: A value by a step that may be another circuit's is given so wide that it covers this share of what it may be.
COVERS = 0.95


def from_step(bench: LogContext, slot: int, one: KeyOnSteps, role: str, limit: PlannedLimit | None) -> Measured:
    """The slot's current by the step that was matched to it; there must be one."""
    match = one.matches[slot]
    step = match.step
    if step is None:
        raise ValueError(f"slot {slot} has no step")
    value, u = _figures(bench, one, step, role)
    doubt = step.doubtful
    remedy = "a faster logger, or one that averages between its samples" if doubt else None
    if doubt == ANOTHER_BESIDE:
        remedy = "switch the circuit on again while nothing else is switched"
    if doubt is None and _dead_block(one, step):
        doubt = f"the fuse block was dead by feed_v at {step.time_s:.1f} s, so the step there may be another load"
        remedy = "see that the fuse block is live and the clip is on it, then switch the circuit on again"
    if limit is not None and doubt is None:
        doubt = _mistaken(bench, slot, one, step, role, limit)
        remedy = note_it(slot) if doubt else None
    failed = None
    if limit is not None and doubt is None and not match.marked:
        failed = _whichever(bench, one, match, role, limit)
    own_u = u
    if u is not None:
        u = _covering(bench, one, match, value, u, role)
    found = Measured(
        value,
        u,
        step.from_s,
        step.to_s,
        f"from the step of {role} at {step.time_s:.1f} s, "
        + (f"marked as slot {slot}" if match.marked else f"taken for slot {slot} by its size"),
        disqualified=doubt,
        remedy=remedy,
        failed=failed,
        likely_u=own_u,
    )
    return found if step.peak_a is None else as_pulsed(bench, slot, found, step.peak_a, doubt)


def _dead_block(one: KeyOnSteps, step: LoadStep) -> bool:
    """Whether the fuse block carried nothing as the step came."""
    return any(not live(stepped.after) for stepped in one.steps if stepped.step is step)


def _figures(bench: LogContext, one: KeyOnSteps, step: LoadStep, role: str) -> tuple[float, float | None]:
    """A step's current as the circuit's, and its standard uncertainty, A."""
    value, u = _step_figures(bench, step, role)
    return value, None if u is None else combine(u, rectangular(abs(value) * _sags_on(bench, one, step)))


def _covering(bench: LogContext, one: KeyOnSteps, match: Match, value: float, u: float, role: str) -> float:
    """The standard uncertainty, A, whose double covers the steps that the circuit's may be with 95 % in all."""
    may = [(step, chance) for step, chance in match.chances if step is not None]
    whole = sum(chance for _, chance in may)
    if len(may) < 2:
        return u
    reach = []
    for step, chance in may:
        amps, own_u = _figures(bench, one, step, role)
        assert own_u is not None  # of the same channel as ``u``
        reach.append((abs(amps - value) + COVERAGE_K * own_u, chance))
    covered, half = 0.0, COVERAGE_K * u
    for far, chance in sorted(reach):
        if covered >= COVERS * whole:
            break
        covered, half = covered + chance, max(half, far)
    return half / COVERAGE_K


def _whichever(bench: LogContext, one: KeyOnSteps, match: Match, role: str, limit: PlannedLimit) -> str | None:
    """Why the circuit fails whichever of several steps is its own; None where it may fit the plan by one of them."""
    may = [(step, chance) for step, chance in match.chances if step is not None and chance > LEAST_CHANCE]
    if len(may) < 2:
        return None
    conforms = 1.0 - sum(chance for _, chance in may)  # by none of these nobody knows
    for step, chance in may:
        value, u = _figures(bench, one, step, role)
        conforms += chance * probability_of_conforming(value, u or 0.0, limit.min, limit.max)
    if conforms > 1 - PASS_PROBABILITY:
        return None
    listed = " or ".join(f"{step.amps:.3g} A" for step, _ in may)
    return f"whichever step of {role} is whose, this circuit draws {listed}, and none of these fits the plan"


def _by_size(bench: LogContext, one: KeyOnSteps, slot: int, match: Match, role: str, limit: PlannedLimit) -> str | None:
    """Why the verdict by size is not proven over all assignments of steps to circuits; None where it is."""
    step = match.step
    if step is None:
        return None
    value, u = _figures(bench, one, step, role)
    verdict = conformity(value, u or 0.0, limit.min, limit.max)
    if verdict == "not proven":
        return None
    right = 0.0
    wrong: list[tuple[float, LoadStep | None]] = []
    for other, chance in match.chances:
        if other is None:
            wrong.append((chance, other))
            continue
        amps, own_u = _figures(bench, one, other, role)
        conforms = probability_of_conforming(amps, own_u or 0.0, limit.min, limit.max)
        agrees = conforms if verdict == "pass" else 1 - conforms
        right += chance * agrees
        wrong.append((chance * (1 - agrees), other))
    # its own figure's doubt is judged apart from whose it is
    mine = probability_of_conforming(value, u or 0.0, limit.min, limit.max)
    if right >= PASS_PROBABILITY * (mine if verdict == "pass" else 1 - mine):
        return None
    likeliest = max(((chance, other) for chance, other in wrong if other is not step), key=lambda one: one[0])[1]
    if likeliest is None:
        return f"the step at {step.time_s:.1f} s may be another load"
    return f"the step of {likeliest.amps:.2f} A at {likeliest.time_s:.1f} s may be slot {slot} instead"


def _sags_on(bench: LogContext, one: KeyOnSteps, step: LoadStep) -> float:
    """By how much, relative, the circuit's voltage goes on to change while it is on: so may its current.

    A heater draws less in proportion as the voltage falls, a converter more. The circuit's voltage is the feed's,
    which falls further than the battery's. The engine's start does not count: the circuit is judged before it.
    """
    starts = [crank.from_s for crank in bench.story.cranks] + [run.from_s for run in bench.story.running]
    until = min((start for start in starts if start > step.time_s), default=math.inf)
    stretches = [one.after for one in one.steps if step.time_s <= one.step.time_s < until]
    most = 0.0
    for role in ("battery_v", "feed_v"):
        volts = [stretch.readings[role].value for stretch in stretches if role in stretch.readings]
        if volts and min(volts) > UP_ABOVE_V:
            most = max(most, (max(volts) - min(volts)) / volts[0])
    return most


def _mistaken(
    bench: LogContext, slot: int, one: KeyOnSteps, step: LoadStep, role: str, limit: PlannedLimit
) -> str | None:
    """Why the step may be another load than the slot's, with another verdict; None where it may not."""
    match = one.matches[slot]
    value, u = _step_figures(bench, step, role)
    verdict = conformity(value, u or 0.0, limit.min, limit.max)
    if not match.marked and (by_size := _by_size(bench, one, slot, match, role, limit)) is not None:
        return by_size
    for other in match.others if match.marked else ():
        if other is None:
            return f"the step at {step.time_s:.1f} s may be another load"
        other_value, other_u = _step_figures(bench, other, role)
        if conformity(other_value, other_u or 0.0, limit.min, limit.max) != verdict:
            return f"the step of {other_value:.2f} A at {other.time_s:.1f} s fits slot {slot} about as well"
    planned = next(circuit.planned_a for circuit in bench.plan.circuit if circuit.slot == slot)
    if verdict == "fail":
        other_a = hidden_beside(step, planned, [stepped.step for stepped in one.steps])
        if other_a is not None:
            return f"a load of {other_a:.2f} A that was seen at another time may have come or gone in the same step"
    if step.owner != "unknown" or role == "feed_a":
        return None
    if not match.marked and verdict == "fail":
        return f"nothing but its size tells whose the step at {step.time_s:.1f} s is, and it does not fit the plan"
    if _went_off(slot, one, step):
        return f"the load that came on at {step.time_s:.1f} s went off again while others stayed, and may be another"
    return None


def _went_off(slot: int, one: KeyOnSteps, step: LoadStep) -> bool:
    """Whether the load of this step was switched off amid the test, while the circuits stay on as they come."""
    loads = [load for load in follow([stepped.step for stepped in one.steps]) if load.ons]
    mine = next((load for load in loads if any(up is step for up in load.ons)), None)
    if mine is None or mine.on or not mine.offs:
        return False
    off_s = mine.offs[-1].time_s
    if any(abs(at_s - off_s) <= MARK_AFTER_S for at_s in times_of(one.marks, SlotOff(slot))):
        return False
    later = [load for load in loads if load.ons[0].time_s > off_s]
    stay = [load for load in loads if load is not mine and (load.on or load.offs[-1].time_s > off_s)]
    return bool(later) and len(stay) >= len(loads) / 2


def _step_figures(bench: LogContext, step: LoadStep, role: str) -> tuple[float, float | None]:
    accuracy = bench.accuracy.get(role)
    return step.load_a, None if accuracy is None else combine(step.load_u, accuracy.change_u(step.load_a))
