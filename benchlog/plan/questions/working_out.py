"""What answers come to: the plan's tables, what an empty answer stands for, and what cannot be used or is doubted."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from benchlog.core.errors import BadPlan
from benchlog.core.typed import Unusable
from benchlog.plan.model import Plan, plan_from_mapping
from benchlog.plan.questions.kinds import ChoiceAnswer
from benchlog.plan.questions.listed import SECTIONS
from benchlog.plan.questions.question import Offer, PlanQuestion, is_none

#: Where a question stands -> what was typed; empty, or not there, for nothing.
Typed = Mapping[str, str]
WHERE = "the answers"


@dataclass(frozen=True, slots=True)
class AnswerState:
    """How it stands with one question.

    Attributes:
        question: the question.
        offer: what an empty answer stands for; None for nothing.
        told: what was made of the answer, where that is not what was typed.
        fault: why the answer cannot be taken.
        doubt: what is hardly meant.
        missing: a plan cannot do without, and nothing was typed.
    """

    question: PlanQuestion
    offer: Offer | None = None
    told: str = ""
    fault: str = ""
    doubt: str = ""
    missing: bool = False


@dataclass(slots=True)
class WorkedOut:
    """What the answers come to.

    Attributes:
        tables: as ``plan_from_mapping`` takes them, without what cannot be used.
        states: where a question stands -> how it stands with it, in order.
        said: place -> the comment behind a limit that was suggested.
        numbers: of the circuits that the tables have; one that lacks its device or load is left out.
    """

    tables: dict[str, Any] = field(default_factory=dict)
    states: dict[str, AnswerState] = field(default_factory=dict)
    said: dict[str, str] = field(default_factory=dict)
    numbers: list[int] = field(default_factory=list)

    @property
    def open(self) -> list[str]:
        """Places whose answers are missing or cannot be used."""
        return [place for place, state in self.states.items() if state.missing or state.fault]

    def asked_at(self, path: str) -> str:
        """Place of the question that a path of the tables belongs to, such as ``circuit[2].planned_w``; "" for none."""
        head, _, key = path.partition(".")
        table, bracket, rest = head.partition("[")
        number = int(rest.rstrip("]")) if bracket else None
        if number is not None and number > len(self.numbers):
            return ""
        at = None if number is None else self.numbers[number - 1]
        asked = (each for section in SECTIONS if section.table == table for each in section.questions)
        return next((each.place(at) for each in asked if key in each.keys), "")

    def plan(self) -> Plan:
        """The plan.

        Raises:
            BadPlan: an answer is missing, or two do not agree.
        """
        return plan_from_mapping(self.tables, WHERE)

    def plan_so_far(self) -> tuple[Plan | None, tuple[str, ...]]:
        """The plan, or why there is none yet: what does not agree, or nothing where answers are still missing."""
        try:
            return self.plan(), ()
        except BadPlan as refused:
            needed = {"install.bike", "battery.capacity_ah"} & set(self.open)
            return None, () if needed else refused.faults


def worked_out(typed: Typed, circuits: int) -> WorkedOut:
    """What answers come to.

    Args:
        typed: the answers.
        circuits: how many there are; theirs stand at ``circuit[1]`` and on.
    """
    found = WorkedOut()
    for section in SECTIONS:
        if section.table != "circuit":
            own = found.tables.setdefault(section.table, {})
            for question in section.questions:
                _answer(found, question, question.place(), typed, own)
            continue
        listed: list[dict[str, Any]] = found.tables.setdefault("circuit", [])
        for number in range(1, circuits + 1):
            listed.append(own := {})
            for question in section.questions:
                _answer(found, question, question.place(number), typed, own)
    _tidy(found)
    _mark_suggested(found, typed)
    return found


def _answer(found: WorkedOut, question: PlanQuestion, place: str, typed: Typed, own: dict[str, Any]) -> None:
    said = str(typed.get(place) or "").strip()
    offer = question.offer(found.tables, own)
    state = AnswerState(question, offer)
    chosen = isinstance(question.kind, ChoiceAnswer) and said.casefold() in question.kind.words
    if is_none(said) and not question.needed and not chosen:
        pass
    elif not said and offer is None:
        state = AnswerState(question, missing=question.needed)
    else:
        try:
            taken = question.kind.take(said or (offer.text if offer else ""), question.keys)
        except Unusable as why:
            state = AnswerState(question, offer, fault=str(why))
        else:
            own |= taken.values
            state = AnswerState(question, offer, taken.told, doubt=question.doubt(own, found.tables))
    found.states[place] = state


def _tidy(found: WorkedOut) -> None:
    """Leave out what no plan could be made of; circuits keep the order of their numbers."""
    listed = list(enumerate(found.tables["circuit"], start=1))
    whole = {n: each for n, each in listed if "device" in each and ("planned_a" in each or "planned_w" in each)}
    found.numbers, found.tables["circuit"] = list(whole), list(whole.values())
    for name in [name for name, table in found.tables.items() if not table and name not in ("install", "battery")]:
        del found.tables[name]


def _mark_suggested(found: WorkedOut, typed: Typed) -> None:
    """Limits that nobody typed stay marked; those that are as suggested say where they come from."""
    left = []
    for place, state in _limits(found):
        key = state.question.keys[0]
        said, offer = str(typed.get(place) or "").strip(), state.offer
        if offer is None or key not in found.tables.get("limits", {}):
            continue
        if not said:
            left.append(key)
        if said in ("", offer.text):
            found.said[place] = f"{'confirmed' if said else 'suggested'}: {offer.source}"
    if left:
        found.tables["install"]["suggested"] = left


def _limits(found: WorkedOut) -> Iterator[tuple[str, AnswerState]]:
    return ((place, state) for place, state in found.states.items() if state.question.table == "limits")
