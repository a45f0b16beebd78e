"""From a failed check to the faulty place."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.asking import line_read
from benchlog.commands.shared import (
    NOT_PROVEN,
    PASS,
    LoggerOption,
    PlanOption,
    StoreOption,
    refuse_outputs,
    user_errors,
)
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.bench.clip import Clips
    from benchlog.find.hunt import Hunt

AnswersOption = Annotated[
    Path | None,
    typer.Option("--answers", metavar="FILE", help="Where the answers are kept; beside the first log if not given."),
]
KeepOption = Annotated[
    int | None,
    typer.Option("--keep", metavar="NUMBER", help="Keep what is found with this record, for its hand-over sheet."),
]


def find(
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Logs in which a check failed.", readable=False)],
    plan: PlanOption,
    logger: LoggerOption = None,
    answers: AnswersOption = None,
    json: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Ask nothing; write the next test and what is found; - for standard output."),
    ] = None,
    keep: KeepOption = None,
    mended: Annotated[str, typer.Option(metavar="TEXT", help="What was mended, for --keep.")] = "",
    store: StoreOption = None,
    port: Annotated[
        str | None,
        typer.Option(metavar="PORT", help="A running logger; its free clip does the tests that it can."),
    ] = None,
    baud: Annotated[int, typer.Option(metavar="N", min=50, help="Baud rate, where the port has one.")] = 115200,
) -> None:
    """Lead from a failed check to the faulty place, test by test. Exit status: 0 found, 3 open, 2 unusable input."""
    with user_errors():
        from benchlog.core.files import refuse_unwritable
        from benchlog.find.answers import beside

        inputs = [*logs, plan, *([] if logger is None else [logger])]
        lies = answers or beside(logs[0])
        refuse_outputs(json, None, "the state of the search", [*inputs, lies])
        if json is None:
            refuse_unwritable(lies, "the answers", tuple(inputs))
        _refuse_alone(json, keep, mended, port)
        hunt = _opened(logs, plan, logger, lies)
        if keep is not None:
            _refuse_other_record(store, keep, logs)
        if json is None:
            from benchlog.find.terminal import lead
            from benchlog.logger.sidecar import find_sidecar

            clips = None if port is None else _clips(port, logger or find_sidecar(logs[0]), baud)
            found = lead(hunt, lies, line_read, typer.echo, clips)
        else:
            found = hunt.found()
            _write_state(hunt, json)
        if keep is not None and found:
            from benchlog.find.as_json import kept
            from benchlog.store import open_store

            with open_store(store, create=False) as opened:
                entry = opened.keep_search(keep, kept(hunt), mended).number
            typer.echo(f"Kept with record {keep} (entry {entry})", err=json == "-")
    raise typer.Exit(PASS if found else NOT_PROVEN)


def _refuse_alone(json: str | None, keep: int | None, mended: str, port: str | None) -> None:
    """Options that say nothing without another, or against it.

    Raises:
        BenchlogError: one was given so.
    """
    if mended and keep is None:
        raise BenchlogError("--mended says what was mended for a record; give --keep NUMBER as well")
    if json is not None and port is not None:
        raise BenchlogError("--port measures while you answer, and --json asks nothing; give one of them")


def _opened(logs: list[Path], plan: Path, logger: Path | None, answers: Path) -> "Hunt":
    """The session as its logs and its answers have it."""
    from benchlog.find.answers import read_answers
    from benchlog.find.beliefs import Knowledge
    from benchlog.find.hunt import Hunt
    from benchlog.plan.model import load_plan
    from benchlog.run import check

    knowledge = Knowledge(load_plan(plan))
    replies = read_answers(answers, knowledge.questions)
    return Hunt(knowledge, check(list(logs), plan=plan, logger=logger), replies)


def _write_state(hunt: "Hunt", target: str) -> None:
    from json import dumps

    from benchlog.core.files import write_whole
    from benchlog.find.as_json import state

    text = dumps(state(hunt), indent=2, ensure_ascii=False) + "\n"
    if target == "-":
        typer.echo(text, nl=False)
    else:
        write_whole(Path(target), text, what="the state of the search")


def _clips(port: str, logger: Path | None, baud: int) -> "Clips":
    """The logger at the port; a stand-in's own file describes its channels."""
    from benchlog.bench.clip import Clips
    from benchlog.logger.model import load_logger
    from benchlog.standin.hands import hands_of

    hands = hands_of(port)
    if hands is not None and hands.logger.is_file():
        logger = hands.logger
    return Clips(port, None if logger is None else load_logger(logger), baud)


def _refuse_other_record(store: str | None, number: int, logs: list[Path]) -> None:
    """A search is kept with the record of its own logs.

    Raises:
        BenchlogError: there is no such record, or it is of other logs.
    """
    from hashlib import file_digest

    from benchlog.core.files import is_read_once
    from benchlog.store import open_store

    def sha256_of(log: Path) -> str:
        if is_read_once(log):
            return ""  # what came through a pipe is gone
        with log.open("rb") as file:
            return file_digest(file, "sha256").hexdigest()

    with open_store(store, create=False) as opened:
        of_record = opened.record(number).logs
    if not {log.sha256 for log in of_record} & {sha256_of(log) for log in logs}:
        names = ", ".join(log.name for log in of_record)
        raise BenchlogError(f"record {number} is of other logs ({names}); benchlog records list shows all records")
