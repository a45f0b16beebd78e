"""Which circuit draws what? Load steps matched to the planned currents."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from benchlog.analysis.load_steps import Step, follow
from benchlog.trace import Mark

#: How far a circuit's true current is expected to stray from its plan, relative (common practice, no source).
EXPECTED_SPREAD = 0.10
#: Cost, in squared standard deviations, of a circuit without a step and of a step without a circuit.
MISSING_COST, STRAY_COST = 60.0, 4.0
#: A match that costs more than this may be some other load: that the slot has no step fits about as well.
DOUBTFUL_COST = 16.0
#: Another assignment fits about as well if it costs no more than this above the best.
ABOUT_AS_WELL = 4.0
#: A step of the fuse block costs no more than this as any circuit's, whatever its size (30 % off the plan): a circuit
#: with something wrong may draw anything, so that beyond this its size tells nothing of which it is.
WRONG_COST = 9.0
#: A step fits a circuit's plan, or the plans of several, up to this cost (20 %).
FITS_COST = 4.0
#: A step belongs to a mark when it lies this close to it, s.
MARK_BEFORE_S, MARK_AFTER_S = 2.0, 3.0
#: A step without a circuit this close to a mark without a step leaves it open whether they belong together, s.
MARK_DOUBT_S = 6.0


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
        steps: the load steps of one key-on in time order; falling ones tell which loads came back.
            Steps that are proven to be the bike's own are nobody's.
        planned_a: slot -> planned current, A.
        marks: ``slot N on`` settles slot N: of all marks and steps the nearest pairs belong together.
    """
    rising = [step for step in steps if step.amps > 0 and step.owner != "bike"]
    marked = {slot: marked_on(marks, slot) for slot in planned_a}
    pairs = sorted(
        (step.owner == "unknown", abs(step.apart_s(at)), slot, number)
        for slot, times in marked.items()
        for at in times
        for number, step in enumerate(rising)
        if near_mark(step, at)
    )
    found: dict[int, Match] = {}
    used: set[int] = set()
    for _, _, slot, number in pairs:
        if slot not in found and number not in used:
            found[slot] = Match(rising[number], (), marked=True)
            used.add(number)
    again = {id(step) for load in follow(steps) for step in load.ons[1:]}
    free = [step for number, step in enumerate(rising) if number not in used]
    for slot, times in marked.items():
        if not times:
            continue
        if slot not in found:
            # it may have come a little beside its mark, or much later by itself (a thermostat, a timer)
            near = tuple(
                step
                for step in free
                if any(
                    abs(step.time_s - at) <= MARK_DOUBT_S
                    or (step.time_s > at and id(step) not in again and _cost(step, planned_a[slot]) <= FITS_COST)
                    for at in times
                )
            )
            found[slot] = Match(None, near, marked=True)
        elif (chosen := found[slot].step) is not None and chosen.owner == "unknown":
            # with nothing to tell whose they are, another load that came at the mark may be the one
            near = tuple(step for step in free if any(near_mark(step, at) for at in times))
            found[slot] = Match(chosen, near, marked=True)
    # a load that came back is the one that was there before; where a mark has claimed it, it is no other's
    claimed = {id(step) for load in follow(steps) for step in load.ons if any(step is rising[n] for n in used)}
    free = [step for step in free if id(step) not in again and id(step) not in claimed]
    open_slots = {slot: amps for slot, amps in planned_a.items() if slot not in found}
    if open_slots:
        found.update(_assign(free, open_slots))
    return found


def marked_on(marks: Sequence[Mark], slot: int) -> list[float]:
    """When a slot was noted as switched on, s."""
    return [mark.time_s for mark in marks if mark.text.lower() == f"slot {slot} on"]


def near_mark(step: Step, at_s: float) -> bool:
    """Whether a step lies close enough to a mark to be what it notes."""
    return -MARK_BEFORE_S <= step.apart_s(at_s) <= MARK_AFTER_S


def come_together(
    steps: Sequence[Step], planned_a: Mapping[int, float], marks: Sequence[Mark], found: Mapping[int, Match]
) -> dict[int, tuple[Step, tuple[int, ...]]]:
    """Slots that may have come on in one step: slot -> that step, and all the slots that share it.

    Only slots without a step of their own, or with one that does not fit, are looked at, so that an overload beside
    sound circuits stays what it is.
    """
    left = [
        slot for slot, match in found.items() if match.step is None or _cost(match.step, planned_a[slot]) > FITS_COST
    ]
    settled = {id(match.step) for slot, match in found.items() if match.step is not None and slot not in left}
    free = [step for step in steps if step.amps > 0 and step.owner != "bike" and id(step) not in settled]
    shared: dict[int, tuple[Step, tuple[int, ...]]] = {}
    for step in free:
        near = [
            slot
            for slot in left
            if not (at := marked_on(marks, slot))
            # one that came by itself, later than it was switched, may come with any
            or any(near_mark(step, t) or (found[slot].step is None and step.time_s > t) for t in at)
        ]
        for size in range(2, len(near) + 1):
            for slots in combinations(near, size):
                spread = math.hypot(EXPECTED_SPREAD * math.hypot(*(planned_a[slot] for slot in slots)), step.u)
                if ((step.amps - sum(planned_a[slot] for slot in slots)) / spread) ** 2 <= FITS_COST:
                    shared |= {slot: (step, slots) for slot in slots if slot not in shared}
    return shared


def _cost(step: Step, planned: float) -> float:
    cost = ((step.amps - planned) / math.hypot(EXPECTED_SPREAD * planned, step.u)) ** 2
    # a circuit may draw anything when something is wrong with it; then its size says little
    return min(cost, WRONG_COST) if step.owner in ("block", "both") else cost


def _stray_cost(step: Step) -> float:
    """A step that is proven to be the fuse block's is some circuit's."""
    return MISSING_COST if step.owner in ("block", "both") else STRAY_COST


def _assign(steps: Sequence[Step], planned_a: Mapping[int, float]) -> dict[int, Match]:
    """The cheapest assignment, and for each slot what it gets in others that cost about as little."""
    slots = list(planned_a)
    cost = np.array([[_cost(step, planned_a[slot]) for step in steps] for slot in slots]).reshape(
        len(slots), len(steps)
    )
    stray = np.array([_stray_cost(step) for step in steps])
    cost[cost > MISSING_COST + stray] = np.inf
    best_cost, best = _cheapest(cost, stray)
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
            other_cost, other = _cheapest(held, stray)
            if other[row] == column and other_cost - best_cost <= ABOUT_AS_WELL:
                others.append(None if column is None else steps[column])
        chosen = best[row]
        if (
            chosen is not None
            and steps[chosen].owner == "unknown"
            and cost[row, chosen] > DOUBTFUL_COST
            and None not in others
        ):
            others.append(None)
        matches[slot] = Match(None if chosen is None else steps[chosen], tuple(others), marked=False)
    return matches


def _cheapest(cost: npt.NDArray[np.float64], stray: npt.NDArray[np.float64]) -> tuple[float, list[int | None]]:
    """Exact assignment by dynamic programming over the sets of slots served so far, one step after another.

    Args:
        cost: slots x steps; inf where a step cannot be that slot. stray: of each step that is none's.
    """
    slots, steps = cost.shape
    sets = np.arange(1 << slots)
    best = np.full(1 << slots, np.inf)
    best[0] = 0.0
    taken = np.full((steps, 1 << slots), -1, dtype=np.int8)
    for step in range(steps):
        after = best + stray[step]
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
