"""A tester's hands and meter on the stand-in: what to type there for a test, and the answer that it gives."""

from collections.abc import Callable

from benchlog.find.questions import Question

#: State of a test -> what is done to a parked bike for it, and afterwards.
BEFORE = {
    "key on": ["key on"],
    "all on": ["key on", "all on"],
    "cranking": ["key on", "crank"],
    "running": ["key on", "all on", "crank", "wait 20"],
    "asleep": ["key on", "all on", "key off", "wait 600"],
    "power off": ["unplug battery"],
}
AFTER = {"power off": ["plug battery"]}


def typed_for(question: Question) -> tuple[list[str], str, list[str]]:
    """What is typed at the stand-in before, to measure, and to put everything back."""
    out = ", ".join(question.without)
    before = [f"unplug {out}"] if out else []
    if question.kind == "look":
        asked = f"look {question.of}"
    elif question.kind == "current":
        asked = f"clamp {question.of}"
    elif question.kind == "drain":
        asked = "drain"
    else:
        asked = f"{'ohms' if question.kind == 'resistance' else 'probe'} {question.start} {question.end}"
    after = [*AFTER.get(question.state, []), "key off", "all off", *([f"plug {out}"] if out else [])]
    return [*before, *BEFORE.get(question.state, [])], asked, after


def answer_at(standin: Callable[[str], str], question: Question) -> str:
    """What the tester reads off: ``0.410 V``, ``OL``, ``yes``.

    Args:
        standin: does or measures what is typed there, and gives its answer.
    """
    before, asked, after = typed_for(question)
    for line in before:
        standin(line)
    shown = standin(asked)
    for line in after:
        standin(line)
    assert not shown.startswith("no: "), f"{asked}: {shown}"
    return shown
