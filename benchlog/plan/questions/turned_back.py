"""A plan as answers: what someone would have typed to get it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from benchlog.plan.questions.listed import SECTIONS
from benchlog.plan.questions.question import NONE, PlanQuestion
from benchlog.plan.questions.working_out import worked_out


@dataclass(frozen=True, slots=True)
class TurnedBack:
    """The answers of a plan.

    Attributes:
        typed: place of a question -> its answer.
        circuits: how many there are.
        changed: limits that were only suggested when the plan was written, and for which another figure is suggested
            today, as clauses; today's stands, since nobody confirmed the other.
    """

    typed: dict[str, str]
    circuits: int
    changed: tuple[str, ...]


def turned_back(tables: Mapping[str, Any]) -> TurnedBack:
    """The answers of a plan that is in order.

    Args:
        tables: of the plan, as a TOML reader gives them.
    """
    typed: dict[str, str] = {}
    circuits = tables.get("circuit", ())
    for section in SECTIONS:
        for question in section.questions:
            if section.table == "circuit":
                for number, circuit in enumerate(circuits, start=1):
                    typed[question.place(number)] = _as_typed(question, circuit)
            else:
                typed[question.place()] = _as_typed(question, tables.get(section.table) or {})
    changed = _unconfirmed(typed, len(circuits), tables.get("install", {}).get("suggested", ()))
    states = worked_out(typed, len(circuits)).states
    for place, said in typed.items():
        offer = states[place].offer
        if said == NONE and offer is None:
            typed[place] = ""
    return TurnedBack({place: said for place, said in typed.items() if said}, len(circuits), changed)


def _as_typed(question: PlanQuestion, table: Mapping[str, Any]) -> str:
    return question.kind.shown(table, question.keys) or NONE


def _unconfirmed(typed: dict[str, str], circuits: int, suggested: tuple[str, ...] | list[str]) -> tuple[str, ...]:
    """Leave limits empty that nobody confirmed, so that they stay suggestions; those that are other today are told."""
    changed = []
    places = [f"limits.{key}" for key in suggested if f"limits.{key}" in typed]
    was = {place: typed.pop(place) for place in places}
    states = worked_out(typed, circuits).states
    for place, said in was.items():
        offer = states[place].offer
        typed[place] = ""
        if offer is not None and said not in (NONE, offer.text):
            changed.append(f"{place.partition('.')[2]} was {said}, and is {offer.text}")
    return tuple(changed)
