"""Which circuit draws what? Load steps matched to marks and to the planned currents."""

import math
from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from benchlog.analysis.assignment import LEAST_CHANCE, assign
from benchlog.analysis.load_steps import LoadStep, follow
from benchlog.core.events import SlotOn
from benchlog.core.trace import Mark, times_of

#: How far a circuit's true current is expected to stray from its plan, relative (common practice, no source).
EXPECTED_SPREAD = 0.10
#: A step fits a circuit's plan, or the plans of several, up to so many squared standard deviations (20 %).
FITS_COST = 4.0
#: A step belongs to a mark when it lies this close before or after it, s; one without a circuit that lies within the
#: last of a mark without a step leaves it open whether they belong together.
MARK_BEFORE_S, MARK_AFTER_S, MARK_DOUBT_S = 2.0, 3.0, 6.0


@dataclass(frozen=True, slots=True)
class Match:
    """What was found for one slot.

    Attributes:
        step: the step that is its switching on; None if none fits.
        others: steps that it may be instead; None among them is no step.
        marked: a mark settled it.
        chances: where its size alone tells: each step, and None, with the probability that it is this slot's.
    """

    step: LoadStep | None
    others: tuple[LoadStep | None, ...]
    marked: bool
    chances: tuple[tuple[LoadStep | None, float], ...] = ()


def match_slots(
    steps: Sequence[LoadStep], planned_a: Mapping[int, float], marks: Sequence[Mark], vague_s: float = 0.0
) -> dict[int, Match]:
    """Assign load steps to slots: marks first, then the likeliest assignment by planned current.

    Args:
        steps: the load steps of one key-on in time order; falling ones tell which loads came back.
            Steps that are proven to be the bike's own are nobody's.
        planned_a: slot -> planned current, A.
        marks: ``slot N on`` settles slot N: of all marks and steps the nearest pairs belong together.
        vague_s: how much later or earlier than it happened the logger may have stamped a step, s.
    """
    rising = [step for step in steps if step.amps > 0.0 and step.owner != "bike"]
    marked = {slot: marked_on(marks, slot) for slot in planned_a}
    found = _at_marks(rising, marked, vague_s)
    used = {id(match.step) for match in found.values()}
    free = [step for step in rising if id(step) not in used]
    loads = follow(steps)
    again = {id(step) for load in loads for step in load.ons[1:]}
    for slot, times in marked.items():
        if times:
            chosen = found[slot].step if slot in found else None
            near = _may_be(chosen, planned_a[slot], free, again, (times, vague_s))
            found[slot] = Match(chosen, near, marked=True)
    # a load that came back is the one that was there before, and one that a mark names is no other circuit's
    named = {id(step) for load in loads if any(id(on) in used for on in load.ons) for step in load.ons}
    first = [step for step in free if id(step) not in again | named]
    open_slots = {slot: amps for slot, amps in planned_a.items() if slot not in found}
    for slot, one in (assign(first, open_slots) if open_slots else {}).items():
        others = tuple(step for step, chance in one.chances if step is not one.step and chance >= LEAST_CHANCE)
        found[slot] = Match(one.step, others, marked=False, chances=one.chances)
    return found


def _may_be(
    chosen: LoadStep | None,
    planned: float,
    free: Sequence[LoadStep],
    again: Container[int],
    marked: tuple[Sequence[float], float],
) -> tuple[LoadStep, ...]:
    """The steps of no mark that a marked slot's may be beside the one chosen.

    Args:
        again: ids of the steps in which a load came back. marked: times of the slot's marks, s, and how vague they are.
    """
    times, vague_s = marked
    beside = [step for step in free if any(abs(step.time_s - at) <= MARK_DOUBT_S + vague_s for at in times)]
    fits = {id(step) for step in free if id(step) not in again and _off_plan(step, planned) <= FITS_COST}
    if chosen is None:
        # it may have come a little beside its mark, or much later by itself (a thermostat, a timer)
        near = {id(step) for step in beside}
        return tuple(s for s in free if id(s) in near or (id(s) in fits and s.time_s > min(times)))
    if chosen.owner == "unknown":
        # with nothing to tell whose they are, another load that came at the mark may be the one
        return tuple(step for step in free if any(near_mark(step, at, vague_s) for at in times))
    if _off_plan(chosen, planned) > FITS_COST:
        # a mark that came late for its own step lies near the next circuit's
        return tuple(step for step in beside if id(step) in fits)
    return ()


def _at_marks(rising: Sequence[LoadStep], marked: Mapping[int, list[float]], vague_s: float) -> dict[int, Match]:
    """The slots whose step lies at their mark: of all pairs the nearest belong together, known owners first."""
    pairs = sorted(
        (step.owner == "unknown", abs(step.apart_s(at)), slot, number)
        for slot, times in marked.items()
        for at in times
        for number, step in enumerate(rising)
        if near_mark(step, at, vague_s)
    )
    found: dict[int, Match] = {}
    used: set[int] = set()
    for _, _, slot, number in pairs:
        if slot not in found and number not in used:
            found[slot] = Match(rising[number], (), marked=True)
            used.add(number)
    return found


def marked_on(marks: Sequence[Mark], slot: int) -> list[float]:
    """When a slot was noted as switched on, s."""
    return times_of(marks, SlotOn(slot))


def near_mark(step: LoadStep, at_s: float, vague_s: float = 0.0) -> bool:
    """Whether a step lies close enough to a mark to be what it notes."""
    return -MARK_BEFORE_S - vague_s <= step.apart_s(at_s) <= MARK_AFTER_S + vague_s


def come_together(
    steps: Sequence[LoadStep],
    planned_a: Mapping[int, float],
    marks: Sequence[Mark],
    found: Mapping[int, Match],
    vague_s: float = 0.0,
) -> dict[int, tuple[LoadStep, tuple[int, ...]]]:
    """Slots that may have come on in one step: slot -> that step, and all the slots that share it.

    Only slots without a step of their own, or with one that does not fit, are looked at, so that an overload beside
    sound circuits stays what it is.
    """
    left = [
        slot
        for slot, match in found.items()
        if match.step is None or _off_plan(match.step, planned_a[slot]) > FITS_COST
    ]
    settled = {id(match.step) for slot, match in found.items() if match.step is not None and slot not in left}
    free = [step for step in steps if step.amps > 0.0 and step.owner != "bike" and id(step) not in settled]
    if sum(step.owner == "block" for step in free) >= len(left):
        return {}  # as many steps of the fuse block's own as circuits: each has one
    shared: dict[int, tuple[LoadStep, tuple[int, ...]]] = {}
    for step in free:
        near = [
            slot
            for slot in left
            if not (at := marked_on(marks, slot))
            # one that came by itself, later than it was switched, may come with any
            or any(near_mark(step, t, vague_s) or (found[slot].step is None and step.time_s > t) for t in at)
        ]
        for size in range(2, len(near) + 1):
            for slots in combinations(near, size):
                spread = math.hypot(EXPECTED_SPREAD * math.hypot(*(planned_a[slot] for slot in slots)), step.u)
                if ((step.amps - sum(planned_a[slot] for slot in slots)) / spread) ** 2 <= FITS_COST:
                    shared |= {slot: (step, slots) for slot in slots if slot not in shared}
    return shared


def _off_plan(step: LoadStep, planned: float) -> float:
    """How far a step lies off a circuit's plan, in squared standard deviations."""
    return ((step.amps - planned) / math.hypot(EXPECTED_SPREAD * planned, step.u)) ** 2
