"""The session at a terminal: one question at a time, every answer in its file before the next is asked."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from benchlog.core.errors import BenchlogError
from benchlog.find.answers import write_answers
from benchlog.find.as_json import expected, question_table
from benchlog.find.hunt import FoundPlace, Hunt, Reply, share_words
from benchlog.find.mending import check_again, mend
from benchlog.find.questions import OL_OHM, Question
from benchlog.find.words import HOW, range_words

_FACTORS = {"n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6}
_VALUE = re.compile(r"([-+−]?\d+(?:[.,]\d+)?)\s*([nuµmkM]?)(V|A|Ω|ohms?|Ohms?)?")
_LIKELIEST = 3


@dataclass(frozen=True, slots=True)
class Shown:
    """What a logger shows: a value in the test's unit, and the half-width of its accuracy; None where not stated."""

    value: float
    half_width: float | None


class LiveMeter(Protocol):
    """A running logger that can take some of the tests."""

    def offers(self, question: Question, widest: float) -> str:
        """What to do so that it takes this test; "" where it cannot. ``widest``: what good installs differ by."""

    def take(self, question: Question) -> Shown:
        """What the test shows.

        Raises:
            BenchlogError: no reading came; says what to do.
        """


def lead(
    hunt: Hunt,
    answers: Path,
    read: Callable[[str], str],
    say: Callable[[str], None],
    meter: LiveMeter | None = None,
) -> FoundPlace | None:
    """Ask until the place is found, nothing is left that tells anything, or the tester stops.

    Args:
        hunt: the session, with the answers it had.
        answers: the file that each answer goes into.
        read: shows a prompt and gives the line typed; raises EOFError at the end.
        say: shows a text.
        meter: a logger that takes what it can; None for none.
    """
    while (found := hunt.found()) is None:
        question = hunt.next_question()
        if question is None:
            say("No test is left that would tell more. The likeliest places are listed below.")
            break
        say(shown_test(question, hunt))
        typed = _typed(question, read, say, _offered(meter, question, hunt))
        if typed == "stop":
            break
        if typed == "back":
            _take_back(hunt, say)
        else:
            doubted = set(hunt.doubtful())
            hunt.replies.append(Reply(question.name, typed if isinstance(typed, float) else None))
            for name in sorted(set(hunt.doubtful()) - doubted):
                say(f'The answer to "{name}" does not fit the others; it is asked in another way.')
        write_answers(answers, hunt.replies, hunt.knowledge.questions)
    say(_ended(hunt, found, answers))
    return found


def value_typed(text: str, question: Question) -> float | None:
    """A value as typed, in the test's unit (of a look 1 yes, 0 no); None where it cannot be one.

    A decimal comma, a unit and its prefix (mV, kΩ) may be typed; ``OL`` is an open circuit.
    """
    text = text.strip()
    if question.kind == "look":
        return {"y": 1.0, "yes": 1.0, "n": 0.0, "no": 0.0}.get(text.lower())
    if question.kind == "resistance" and text.upper() in ("OL", "O.L", "INF"):
        return OL_OHM
    found = _VALUE.fullmatch(text)
    if found is None:
        return None
    number = float(found[1].replace(",", ".").replace("−", "-"))
    base = {"voltage": "V", "current": "A", "drain": "A", "resistance": "Ω"}[question.kind]
    given = "Ω" if (found[3] or "").lower().startswith("ohm") else found[3]
    if given is None and not found[2]:
        return number
    if given not in (None, base):
        return None
    return number * _FACTORS[found[2]] * (1000.0 if question.kind == "drain" else 1.0)


def _offered(meter: LiveMeter | None, question: Question, hunt: Hunt) -> tuple[str, Callable[[], Shown]] | None:
    """What to do so that the logger takes this test, and what takes it; None where it does not."""
    if meter is None or question.kind in ("look", "resistance"):
        return None
    good = expected(question, hunt.knowledge.good[question.name])
    low, high = good["min"], good["max"]
    assert isinstance(low, float)
    assert isinstance(high, float)
    first = meter.offers(question, high - low)
    return (first, lambda: meter.take(question)) if first else None


def _typed(
    question: Question,
    read: Callable[[str], str],
    say: Callable[[str], None],
    offered: tuple[str, Callable[[], Shown]] | None,
) -> float | str:
    """The answer: a value, or "skip", "back" or "stop"."""
    prompt = "y, n" if question.kind == "look" else f"value in {question.unit}"
    if offered is not None:
        say(f"  {offered[0]}, or type a meter's value.")
    while True:
        try:
            text = read(f"{prompt}  (? how · s cannot do · u take back · q stop): ").strip()
        except EOFError:
            return "stop"
        if text in ("s", "u", "q"):
            return {"s": "skip", "u": "back", "q": "stop"}[text]
        if text == "?":
            say(HOW[question.kind])
        elif (value := value_typed(text, question)) is not None:
            return value
        elif not text and offered is not None:
            try:
                taken = offered[1]()
            except BenchlogError as problem:  # the question stays; a meter can answer it
                say(f"  {problem}")
                continue
            say(f"  Measured: {shown_words(taken, question)}")
            return taken.value
        elif text:
            say(no_answer_words(text, question))


def shown_words(shown: Shown, question: Question) -> str:
    """A measured value with its accuracy."""
    unit = question.unit
    if shown.half_width is None:
        return f"{shown.value:.4g} {unit}, of a logger whose accuracy is not stated."
    return f"{shown.value:.4g} {unit}, within {shown.half_width:.2g} {unit}."


def no_answer_words(text: str, question: Question) -> str:
    """What is said to a text that is no answer."""
    needed = "y or n" if question.kind == "look" else f"a number in {question.unit}, such as 0.41"
    return f'"{text}" is no answer here; type {needed}.'


def _take_back(hunt: Hunt, say: Callable[[str], None]) -> None:
    if hunt.replies:
        say(f"Taken back: {hunt.replies.pop().test}")
    else:
        say("There is no answer to take back.")


def shown_test(question: Question, hunt: Hunt) -> str:
    """A test as it is asked for: the caution first."""
    table = question_table(question, hunt.knowledge)
    return (
        f"\nTest {len(hunt.replies) + 1}: {question.name}   (about {question.minutes:g} min)\n"
        f"  Caution: {table['caution']}\n  {table['ask']}\n"
        f"  A good install shows {range_words(table['expected'], question)}."
    )


def _ended(hunt: Hunt, found: FoundPlace | None, answers: Path) -> str:
    if found is None:
        listed = "\n".join(
            f"  {share_words(each.belief):>4}  {' '.join((each.place, each.kind)).strip()}"
            for each in hunt.suspects()[:_LIKELIEST]
        )
        return f"\nNot found yet. Likeliest:\n{listed}\nThe answers are in {answers}; the same command goes on."
    also = f" (or, which no test at hand can tell from it: {', '.join(found.also)})" if found.also else ""
    return (
        f"\nFound: {found.place}, {found.kind}{also}: {100 * found.belief:.1f} % sure.\n"
        f"  Mend it: {mend(found.place, found.kind)}\n"
        f"  Then take this check again: {check_again(found.place, found.kind)}\n"
        f"  benchlog acceptance PORT --plan PLAN --only {check_again(found.place, found.kind)}\n"
        f"The answers are in {answers}."
    )
