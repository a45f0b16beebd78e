"""From a failed check to the faulty place."""

from pathlib import Path
from typing import Annotated

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


def find(
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Logs in which a check failed.", readable=False)],
    plan: PlanOption,
    logger: LoggerOption = None,
    answers: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Where the answers are kept; beside the first log if not given."),
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(metavar="FILE", help="Ask nothing; write the next test and what is found; - for standard output."),
    ] = None,
    keep: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", help="Keep what is found with this record, for its hand-over sheet."),
    ] = None,
    mended: Annotated[str, typer.Option(metavar="TEXT", help="What was mended, for --keep.")] = "",
    store: StoreOption = None,
) -> None:
    """Lead from a failed check to the faulty place, test by test. Exit status: 0 found, 3 open, 2 unusable input."""
    with user_errors():
        from benchlog.core.files import refuse_unwritable, write_whole
        from benchlog.find.answers import beside, read_answers
        from benchlog.find.as_json import kept as kept_of
        from benchlog.find.as_json import state
        from benchlog.find.beliefs import Knowledge
        from benchlog.find.hunt import Hunt
        from benchlog.find.terminal import lead
        from benchlog.plan.model import load_plan
        from benchlog.run import check

        inputs = [*logs, plan, *([] if logger is None else [logger])]
        lies = answers or beside(logs[0])
        refuse_outputs(json, None, "the state of the search", [*inputs, lies])
        if json is None:
            refuse_unwritable(lies, "the answers", tuple(inputs))
        if mended and keep is None:
            raise BenchlogError("--mended says what was mended for a record; give --keep NUMBER as well")
        if keep is not None:
            _refuse_other_record(store, keep, logs)
        knowledge = Knowledge(load_plan(plan))
        replies = read_answers(lies, knowledge.questions)
        hunt = Hunt(knowledge, check(list(logs), plan=plan, logger=logger), replies)
        if json is None:
            found = lead(hunt, lies, line_read, typer.echo)
        else:
            from json import dumps

            text = dumps(state(hunt), indent=2, ensure_ascii=False) + "\n"
            found = hunt.found()
            if json == "-":
                typer.echo(text, nl=False)
            else:
                write_whole(Path(json), text, what="the state of the search")
        if keep is not None and found:
            from benchlog.store import open_store

            with open_store(store, create=False) as opened:
                entry = opened.keep_search(keep, kept_of(hunt), mended).number
            typer.echo(f"Kept with record {keep} (entry {entry})", err=json == "-")
    raise typer.Exit(PASS if found else NOT_PROVEN)


def _refuse_other_record(store: str | None, number: int, logs: list[Path]) -> None:
    """A search is kept with the record of its own logs.

    Raises:
        BenchlogError: there is no such record, or it is of other logs.
    """
    from hashlib import file_digest

    from benchlog.store import open_store

    def sha256_of(log: Path) -> str:
        with log.open("rb") as file:
            return file_digest(file, "sha256").hexdigest()

    with open_store(store, create=False) as opened:
        of_record = opened.record(number).logs
    if not {log.sha256 for log in of_record} & {sha256_of(log) for log in logs}:
        names = ", ".join(log.name for log in of_record)
        raise BenchlogError(f"record {number} is of other logs ({names}); benchlog records list shows all records")
