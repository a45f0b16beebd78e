"""One question of a plan, and the place in it that its answer belongs to."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from benchlog.plan.questions.kinds import AnswerKind

#: Nested tables as ``plan_from_mapping`` takes them.
Tables = Mapping[str, Any]
#: What is typed for "not there, or not known".
NONE = "-"
_NONES = (NONE, "no", "none")


@dataclass(frozen=True, slots=True)
class Offer:
    """What an empty answer stands for.

    Attributes:
        text: as it would be typed.
        source: where it comes from.
    """

    text: str
    source: str


def nothing_offered(_tables: Tables, _own: Tables) -> Offer | None:
    """No suggestion."""
    return None


def undoubted(_own: Tables, _tables: Tables) -> str:
    """No doubt."""
    return ""


@dataclass(frozen=True, slots=True)
class PlanQuestion:
    """One question.

    Attributes:
        table: of the plan.
        keys: that its answer gives; the first one names the question.
        text: what is asked, as a label.
        kind: how it is answered.
        such_as: an example of an answer.
        needed: a plan cannot do without; there is nothing to suggest.
        quiet: the terminal takes the suggestion without asking.
        after: key of the same table without which the terminal does not ask.
        offer: the suggestion, from all answers so far and those of its own table.
        doubt: what is hardly meant, from its own table and all answers so far; "" for no doubt.
        empty: what it means to leave it empty, where nothing is suggested.
    """

    table: str
    keys: tuple[str, ...]
    text: str
    kind: AnswerKind
    such_as: str = ""
    needed: bool = False
    quiet: bool = False
    after: str = ""
    offer: Callable[[Tables, Tables], Offer | None] = nothing_offered
    doubt: Callable[[Tables, Tables], str] = undoubted
    empty: str = ""

    def place(self, number: int | None = None) -> str:
        """Where its answer stands: ``feed.fuse_a``, or ``circuit[2].fuse_a``."""
        return f"{self.table}.{self.keys[0]}" if number is None else f"{self.table}[{number}].{self.keys[0]}"


@dataclass(frozen=True, slots=True)
class PlanSection:
    """Questions that belong together: one table of the plan. ``title``: what they are about."""

    table: str
    title: str
    questions: tuple[PlanQuestion, ...]


def is_none(said: str) -> bool:
    """Whether an answer says that there is nothing."""
    return said.casefold() in _NONES
