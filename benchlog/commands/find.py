"""From a failed check to the faulty place."""

from pathlib import Path
from typing import Annotated

import typer

from benchlog.commands.asking import line_read
from benchlog.commands.shared import NOT_PROVEN, PASS, LoggerOption, PlanOption, refuse_outputs, user_errors


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
) -> None:
    """Lead from a failed check to the faulty place, test by test. Exit status: 0 found, 3 open, 2 unusable input."""
    with user_errors():
        from benchlog.core.files import refuse_unwritable, write_whole
        from benchlog.find.answers import beside, read_answers
        from benchlog.find.as_json import state
        from benchlog.find.beliefs import Knowledge
        from benchlog.find.hunt import Hunt
        from benchlog.find.terminal import lead
        from benchlog.plan.model import load_plan
        from benchlog.run import check

        inputs = [*logs, plan, *([] if logger is None else [logger])]
        kept = answers or beside(logs[0])
        refuse_outputs(json, None, "the state of the search", [*inputs, kept])
        if json is None:
            refuse_unwritable(kept, "the answers", tuple(inputs))
        knowledge = Knowledge(load_plan(plan))
        replies = read_answers(kept, knowledge.questions)
        hunt = Hunt(knowledge, check(list(logs), plan=plan, logger=logger), replies)
        if json is None:
            found = lead(hunt, kept, line_read, typer.echo)
        else:
            from json import dumps

            text = dumps(state(hunt), indent=2, ensure_ascii=False) + "\n"
            found = hunt.found()
            if json == "-":
                typer.echo(text, nl=False)
            else:
                write_whole(Path(json), text, what="the state of the search")
    raise typer.Exit(PASS if found else NOT_PROVEN)
