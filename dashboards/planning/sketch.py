"""A plan in the making, as the page holds it: what was typed, and what was opened."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from benchlog.core.roles import SLOTS
from benchlog.plan.comments import placed_again
from benchlog.plan.questions.working_out import WorkedOut, worked_out
from benchlog.plan.writing import plan_text

#: Longest answer that is looked at, and most answers: more is no form of ours.
_LONGEST, _MOST = 4000, 200


@dataclass(frozen=True, slots=True)
class Sketch:
    """A plan in the making.

    Attributes:
        typed: place of a question -> what was typed; empty answers are left out.
        circuits: how many there are.
        opened: name of what was opened; "" for a new plan.
        digest: of the kept plan that was opened, which may be replaced; "" where none was.
        behind: comments, as ``comments_of`` gives them.
    """

    typed: dict[str, str] = field(default_factory=dict)
    circuits: int = 1
    opened: str = ""
    digest: str = ""
    behind: list[tuple[str, int, str, Any, str]] = field(default_factory=list)

    @property
    def found(self) -> WorkedOut:
        """What the answers come to."""
        return worked_out(self.typed, self.circuits)

    @property
    def is_empty(self) -> bool:
        """Nothing was typed."""
        return not self.typed

    def with_answers(self, places: Iterable[str], said: Iterable[object]) -> "Sketch":
        """The same with these answers in place of all."""
        pairs = zip(places, said, strict=True)
        typed = {str(place): str(text)[:_LONGEST] for place, text in pairs if text not in (None, "")}
        return replace(self, typed=dict(list(typed.items())[:_MOST]))

    def with_circuit(self) -> "Sketch":
        """One circuit more, where the fuse block has a slot left."""
        return replace(self, circuits=min(self.circuits + 1, SLOTS))

    def without_circuit(self, number: int) -> "Sketch":
        """One circuit less; those behind it move up."""
        typed = {}
        for place, text in self.typed.items():
            head, bracket, rest = place.partition("[")
            at, _, key = rest.partition("]")
            if not bracket or int(at) < number:
                typed[place] = text
            elif int(at) > number:
                typed[f"{head}[{int(at) - 1}]{key}"] = text
        return replace(self, typed=typed, circuits=max(self.circuits - 1, 0))

    def text(self, found: WorkedOut) -> str:
        """The plan as TOML, with the comments of what was opened."""
        return plan_text(found.tables, {**placed_again(self.behind, found.tables), **found.said})

    def as_data(self) -> dict[str, Any]:
        """As the browser keeps it."""
        return asdict(self)


def sketch_of(data: object) -> Sketch:
    """What the browser kept; an empty plan where that is none of ours."""
    if not isinstance(data, Mapping):
        return Sketch()
    typed, behind = data.get("typed"), data.get("behind")
    circuits = data.get("circuits")
    if not isinstance(typed, Mapping) or type(circuits) is not int or not 0 <= circuits <= SLOTS:
        return Sketch()
    sketch = Sketch(circuits=circuits, opened=str(data.get("opened", "")), digest=str(data.get("digest", "")))
    kept = [tuple(each) for each in behind if _is_comment(each)] if isinstance(behind, list) else []
    return replace(sketch, behind=kept[:_MOST]).with_answers(typed.keys(), typed.values())


def _is_comment(each: object) -> bool:
    return isinstance(each, list) and len(each) == 5 and all(isinstance(each[n], str) for n in (0, 2, 4))
