"""Which circuit draws what? Load steps matched to the planned currents."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.trace import Mark

#: How far a circuit's true current is expected to stray from its plan, relative (common practice, no source).
EXPECTED_SPREAD = 0.10
#: Cost, in squared standard deviations, of a circuit without a step and of a step without a circuit.
MISSING_COST, STRAY_COST = 60.0, 4.0
#: A match that costs more than this may be some other load: that the slot has no step fits about as well.
DOUBTFUL_COST = 16.0
#: Another assignment fits about as well if it costs no more than this above the best.
ABOUT_AS_WELL = 4.0
#: A step belongs to a mark when it lies this close to it, s.
MARK_BEFORE_S, MARK_AFTER_S = 2.0, 3.0
#: A step without a circuit this close to a mark without a step leaves it open whether they belong together, s.
MARK_DOUBT_S = 6.0


@dataclass(frozen=True, slots=True)
class Step:
    """A change of load between two steady stretches.

    Attributes:
        time_s: s. amps: positive where a load comes on, A. u: standard uncertainty, A.
        from_s, to_s: the stretches behind it, s.
    """

    time_s: float
    amps: float
    u: float
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Match:
    """What was found for one slot.

    Attributes:
        step: the step that is its switching on; None if none fits.
        others: steps that other assignments, which fit about as well, give it instead; None among them is no step.
        marked: a mark settled it.
    """

    step: Step | None
    others: tuple[Step | None, ...]
    marked: bool


def match_slots(steps: Sequence[Step], planned_a: Mapping[int, float], marks: Sequence[Mark]) -> dict[int, Match]:
    """Assign load steps to slots: marks first, then the cheapest assignment by planned current.

    Args:
        steps: the load steps of one key-on in time order; falling ones are not assigned.
        planned_a: slot -> planned current, A.
        marks: ``slot N on`` settles slot N: of all marks and steps the nearest pairs belong together.
    """
    rising = [step for step in steps if step.amps > 0]
    marked = {slot: [mark.time_s for mark in marks if mark.text.lower() == f"slot {slot} on"] for slot in planned_a}
    pairs = sorted(
        (abs(step.time_s - at), slot, number)
        for slot, times in marked.items()
        for at in times
        for number, step in enumerate(rising)
        if -MARK_BEFORE_S <= step.time_s - at <= MARK_AFTER_S
    )
    found: dict[int, Match] = {}
    used: set[int] = set()
    for _, slot, number in pairs:
        if slot not in found and number not in used:
            found[slot] = Match(rising[number], (), marked=True)
            used.add(number)
    free = [step for number, step in enumerate(rising) if number not in used]
    for slot, times in marked.items():
        if times and slot not in found:
            near = tuple(step for step in free if any(abs(step.time_s - at) <= MARK_DOUBT_S for at in times))
            found[slot] = Match(None, near, marked=True)
    open_slots = {slot: amps for slot, amps in planned_a.items() if slot not in found}
    if open_slots:
        found.update(_assign(free, open_slots))
    return found


def _cost(step: Step, planned: float) -> float:
    return ((step.amps - planned) / math.hypot(EXPECTED_SPREAD * planned, step.u)) ** 2


def _assign(steps: Sequence[Step], planned_a: Mapping[int, float]) -> dict[int, Match]:
    """The cheapest assignment, and for each slot what it gets in others that cost about as little."""
    slots = list(planned_a)
    cost = np.array([[_cost(step, planned_a[slot]) for step in steps] for slot in slots]).reshape(
        len(slots), len(steps)
    )
    cost[cost > MISSING_COST + STRAY_COST] = np.inf
    best_cost, best = _cheapest(cost)
    matches = {}
    for row, slot in enumerate(slots):
        others: list[Step | None] = []
        for column in [*np.flatnonzero(np.isfinite(cost[row])), None]:
            if column == best[row]:
                continue
            held = cost.copy()
            held[row] = np.inf
            if column is not None:
                held[row, column] = cost[row, column]
                held[np.arange(len(slots)) != row, column] = np.inf
            other_cost, other = _cheapest(held)
            if other[row] == column and other_cost - best_cost <= ABOUT_AS_WELL:
                others.append(None if column is None else steps[column])
        chosen = best[row]
        if chosen is not None and cost[row, chosen] > DOUBTFUL_COST and None not in others:
            others.append(None)
        matches[slot] = Match(None if chosen is None else steps[chosen], tuple(others), marked=False)
    return matches


def _cheapest(cost: npt.NDArray[np.float64]) -> tuple[float, list[int | None]]:
    """Exact assignment by dynamic programming over the sets of slots served so far, one step after another.

    Args:
        cost: slots x steps; inf where a step cannot be that slot.
    """
    slots, steps = cost.shape
    sets = np.arange(1 << slots)
    best = np.full(1 << slots, np.inf)
    best[0] = 0.0
    taken = np.full((steps, 1 << slots), -1, dtype=np.int8)
    for step in range(steps):
        after = best + STRAY_COST
        for slot in range(slots):
            if not np.isfinite(cost[slot, step]):
                continue
            without = sets[(sets >> slot) & 1 == 0]
            with_it = without | (1 << slot)
            price = best[without] + cost[slot, step]
            cheaper = price < after[with_it]
            after[with_it[cheaper]] = price[cheaper]
            taken[step, with_it[cheaper]] = slot
        best = after
    missing = slots - np.array([int(number).bit_count() for number in sets])
    total = best + MISSING_COST * missing
    at = int(np.argmin(total))
    lowest = float(total[at])
    assigned: list[int | None] = [None] * slots
    for step in range(steps - 1, -1, -1):
        slot = int(taken[step, at])
        if slot >= 0:
            assigned[slot] = step
            at &= ~(1 << slot)
    return lowest, assigned
