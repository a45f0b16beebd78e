"""A first plan in the terminal: questions a person can answer who knows the bike, each with a suggestion."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from benchlog.commands.asking import Asker, Unusable
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.plan.questions.question import PlanQuestion, PlanSection
    from benchlog.plan.questions.working_out import AnswerState, WorkedOut


def new_plan(path: Path) -> None:
    """Ask for the install and write its plan.

    Raises:
        BenchlogError: a file lies there, it cannot be written, or the answers end too soon.
    """
    from benchlog.core.files import refuse_unwritable, write_whole
    from benchlog.plan.questions.listed import SECTIONS
    from benchlog.plan.writing import plan_text
    from benchlog.report.plan import render_plan

    if path.exists():
        raise BenchlogError(f"{path}: there is a file already; name a new one, or edit this one and run benchlog plan")
    refuse_unwritable(path, "the plan")
    typer.echo('Enter takes what stands in brackets; "-" means: not there, or not known.')
    asked = _Questions(Asker("nothing was written"))
    for section in SECTIONS:
        if section.table == "circuit":
            asked.circuits_of(section)
        elif section.table == "limits":
            asked.limits_of(section)
        else:
            asked.section(section)
    found = asked.found()
    plan = found.plan()
    typer.echo()
    typer.echo(render_plan(plan), nl=False)
    write_whole(path, plan_text(found.tables, found.said), what="the plan")
    typer.echo(f"\n{asked.asker.typed} answers typed of {asked.asker.asked} questions. Written: {path}")


class _Questions:
    """The plan's questions asked one by one; ``typed`` and ``circuits`` are as ``worked_out`` takes them."""

    def __init__(self, asker: Asker) -> None:
        from benchlog.plan.questions.working_out import worked_out

        self.asker = asker
        self.typed: dict[str, str] = {}
        self.circuits = 0
        self._worked_out = worked_out

    def found(self) -> "WorkedOut":
        """What the answers so far come to."""
        return self._worked_out(self.typed, self.circuits)

    def section(self, section: "PlanSection", number: int | None = None) -> None:
        """Each question of a section that is not quiet; the suggestion is taken for those that are."""
        if number is None and not all(question.quiet for question in section.questions):
            typer.echo(f"{section.title}")
        for question in section.questions:
            place = question.place(number)
            if question.quiet or place in self.typed:
                continue
            before = place.rpartition(".")[0]
            if question.after and self.typed.get(f"{before}.{question.after}", "-") in ("", "-"):
                continue
            self._ask(question, place)

    def circuits_of(self, section: "PlanSection") -> None:
        """Slots until no device is named."""
        from benchlog.core.roles import SLOTS

        for number in range(1, SLOTS + 1):
            device = self.asker.ask(f"Slot {number} of the fuse block: device (Enter: no more)", _one_line, "")
            if not device:
                return
            self.circuits = number
            self.typed[f"circuit[{number}].device"] = device
            self.section(section, number)

    def limits_of(self, section: "PlanSection") -> None:
        """Show the suggested limits, take changes, and ask whether the others are what is wanted."""
        states: dict[str, AnswerState] = self.found().states
        limits = {place: states[place] for place in map(_place, section.questions)}
        typer.echo("Limits suggested for this battery:")
        for n, state in enumerate(limits.values(), start=1):
            offer = state.offer
            assert offer is not None  # each limit is suggested once the battery is known
            typer.echo(f"  {n:2} {state.question.keys[0]:27} {offer.text:>6}  {offer.source}")
        while True:
            said = self.asker.ask(
                "Change one (number and value, such as: 1 2.5), or go on", _change(section.questions), "go on"
            )
            if said is None:
                break
            self.typed[said[0]] = said[1]
        if self.asker.yes("Are these limits the ones that you want? With n they stay marked as suggestions", False):
            for place, state in limits.items():
                self.typed.setdefault(place, state.offer.text if state.offer else "")

    def _ask(self, question: "PlanQuestion", place: str) -> None:
        label = f"  {question.text}" + (f", such as {question.such_as}" if question.such_as else "")
        offer = self.found().states[place].offer
        suggestion = None if question.needed else offer.text if offer else "-"
        while True:
            self.typed[place] = self.asker.ask(label, self._reader(place), suggestion)
            state = self.found().states[place]
            if state.told:
                typer.echo(f"  {state.told}")
            if not state.doubt or self.asker.yes(f"  {state.doubt[:1].upper()}{state.doubt[1:]} Is it right?", False):
                return

    def _reader(self, place: str) -> Callable[[str], str]:
        def read(said: str) -> str:
            fault = self._worked_out({**self.typed, place: said}, self.circuits).states[place].fault
            if fault:
                raise Unusable(fault)
            return said

        return read


def _place(question: "PlanQuestion") -> str:
    return question.place()


def _one_line(said: str) -> str:
    if not said.isprintable():
        raise Unusable("one line of plain text is needed")
    return said


def _change(questions: "tuple[PlanQuestion, ...]") -> Callable[[str], tuple[str, str] | None]:
    def read(said: str) -> tuple[str, str] | None:
        if said == "go on":
            return None
        words = said.split()
        if len(words) != 2 or not words[0].isdigit() or not 1 <= int(words[0]) <= len(questions):
            raise Unusable(f"the number of a limit (1 to {len(questions)}) and its value are needed")
        question = questions[int(words[0]) - 1]
        question.kind.take(words[1], question.keys)
        return question.place(), words[1]

    return read
