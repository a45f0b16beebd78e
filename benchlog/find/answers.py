"""The answers of a session: a TOML file beside the log, written whole at each answer."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from pydantic import Field

from benchlog.core.errors import BadAnswers
from benchlog.core.files import write_whole
from benchlog.core.toml_files import TomlTable, load, schema
from benchlog.find.hunt import Reply
from benchlog.find.questions import Question


class AnswerTable(TomlTable):
    """The answer to one test."""

    test: str = Field(description="the test's name", examples=["voltage 30 to 87, all on"])
    value: float | None = Field(default=None, description="what the meter shows, in `unit`", examples=[0.41])
    unit: str | None = Field(default=None, description="the test's unit", examples=["V"])
    seen: Literal["yes", "no"] | None = Field(default=None, description="of a look: whether its statement is true")
    skipped: bool = Field(default=False, description="the test could not be done")


class AnswersFile(TomlTable):
    """All answers, in the order in which they were given."""

    answer: tuple[AnswerTable, ...] = Field(default=(), strict=False)


def beside(log: Path) -> Path:
    """Where the answers about a log lie if no other file is named."""
    return log.with_name(log.name + ".answers.toml")


def read_answers(path: Path, questions: Mapping[str, Question]) -> list[Reply]:
    """The answers in a file; none where there is no such file yet.

    Raises:
        BadAnswers: the file cannot be read, or an answer fits no test of this plan.
    """
    if not path.exists():
        return []
    content = load(path, "file of answers", AnswersFile, _disagreements)
    faults = [
        f"answer[{number}]: {text}"
        for number, answer in enumerate(content.answer, start=1)
        if (text := _misfit(answer, questions.get(answer.test)))
    ]
    if faults:
        raise BadAnswers(str(path), faults)
    return [Reply(answer.test, _value_of(answer)) for answer in content.answer]


def write_answers(path: Path, replies: Sequence[Reply], questions: Mapping[str, Question]) -> None:
    """Write all answers; the old file stays whole until the new one is.

    Raises:
        CannotWrite: there is no room, or no right to write.
    """
    write_whole(path, text_of(replies, questions), what="the answers")


def text_of(replies: Sequence[Reply], questions: Mapping[str, Question]) -> str:
    """The text of a file of answers."""
    import tomli_w

    return "\n".join("[[answer]]\n" + tomli_w.dumps(answer_table(reply, questions[reply.test])) for reply in replies)


def answers_schema() -> dict[str, Any]:
    """The JSON Schema of a file of answers, for editors and other programs."""
    return schema(AnswersFile)


def _disagreements(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Answers that say two things, or nothing: (path, text)."""
    answers = data.get("answer")
    for number, table in enumerate(answers if isinstance(answers, list) else (), start=1):
        if not isinstance(table, Mapping):
            continue
        given = [key for key in ("value", "seen") if table.get(key) is not None]
        given += ["skipped"] if table.get("skipped") is True else []
        if len(given) != 1:
            what = " and ".join(given) or "none"
            yield f"answer[{number}]", f"needs one of value, seen and skipped = true, got {what}"


def _misfit(answer: AnswerTable, question: Question | None) -> str:
    """What is wrong with an answer for its test; "" where nothing is."""
    if question is None:
        return f'this plan has no test "{answer.test}"; copy its name from what find prints'
    if question.kind == "look" and answer.value is not None:
        return 'this test is a look; give seen = "yes" or "no", not value'
    if question.kind != "look" and answer.seen is not None:
        return f"this test is measured; give value, in {question.unit}, not seen"
    if answer.value is not None and answer.unit not in (None, question.unit):
        return f'unit must be "{question.unit}", got "{answer.unit}"; write the value in {question.unit}'
    return ""


def _value_of(answer: AnswerTable) -> float | None:
    if answer.skipped:
        return None
    return answer.value if answer.seen is None else float(answer.seen == "yes")


def answer_table(reply: Reply, question: Question) -> dict[str, Any]:
    """One answer as it stands in the file."""
    if reply.value is None:
        return {"test": reply.test, "skipped": True}
    if question.kind == "look":
        return {"test": reply.test, "seen": "yes" if reply.value > 0.5 else "no"}
    return {"test": reply.test, "value": reply.value, "unit": question.unit}
