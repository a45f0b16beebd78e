"""The load steps of one key-on, matched to the circuits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchlog.analysis.load_steps import LoadStep, follow
from benchlog.analysis.plateaus import Plateau
from benchlog.analysis.slots import MARK_AFTER_S, MARK_BEFORE_S, Match, come_together, marked_on, match_slots
from benchlog.core.trace import Mark
from benchlog.core.uncertainty import PASS_PROBABILITY
from benchlog.examine.context import LogContext
from benchlog.examine.stepped import Stepped


@dataclass(frozen=True, slots=True)
class KeyOnSteps:
    """One key-on: its steps, the marks that fall into it, and what was matched."""

    steps: tuple[Stepped, ...]
    marks: tuple[Mark, ...]
    matches: Mapping[int, Match]
    together: Mapping[int, tuple[LoadStep, tuple[int, ...]]]
    first: Plateau | None
    ends_s: float


def match_key_on(
    bench: LogContext, role: str, group: Sequence[Plateau], steps: tuple[Stepped, ...], planned: Mapping[int, float]
) -> KeyOnSteps:
    """Match the steps of one key-on, by the current ``role``, to marks and plan."""
    marks = tuple(
        mark
        for mark in bench.log.marks
        if group[0].from_s - MARK_BEFORE_S <= mark.time_s <= group[-1].to_s + MARK_AFTER_S
    )
    plain = [one.step for one in steps]
    # a logger that sends packets, or holds its readings, stamps a step as late as that
    vague_s = bench.true_step_s(role)
    matches = match_slots(plain, planned, marks, vague_s)
    together = come_together(plain, planned, marks, matches, vague_s)
    return KeyOnSteps(steps, marks, matches, together, group[0], group[-1].to_s)


def proven_steps(one: KeyOnSteps) -> tuple[Stepped, ...]:
    """The steps up and down that the paths or the matching prove to be the fuse block's."""
    sure = {
        id(match.step)
        for match in one.matches.values()
        if match.marked and match.step is not None and not match.others and match.step.owner == "unknown"
    }
    # a step may be one circuit's or another's, as long as it is the block's
    chances: dict[int, float] = {}
    for match in one.matches.values():
        for step, chance in match.chances:
            if step is not None and step.owner == "unknown":
                chances[id(step)] = chances.get(id(step), 0.0) + chance
    sure |= {step for step, chance in chances.items() if chance >= PASS_PROBABILITY}
    for load in follow([stepped.step for stepped in one.steps]):
        if any(id(step) in sure for step in load.ons):
            sure |= {id(step) for step in (*load.ons, *load.offs) if step.owner == "unknown"}
    return tuple(
        stepped for stepped in one.steps if stepped.step.owner in ("block", "both") or id(stepped.step) in sure
    )


def switched_unseen(bench: LogContext, slot: int) -> bool:
    """Whether a slot was marked on, and each time while the battery's shunt was bridged."""
    at = marked_on(bench.log.marks, slot)
    return bool(at) and all(any(bridge.touches(t, t) for bridge in bench.bridged) for t in at)


def note_it(slot: int) -> str:
    """What to do so that a step is known as this slot's."""
    return f'note "slot {slot} on" as a mark when switching it on, or log slot{slot}_a'
