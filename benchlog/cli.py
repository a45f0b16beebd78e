"""The command line, thin: parse, call one function, print, exit."""

import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Literal

import typer

from benchlog.commands import acceptance, find, logger, page, recording, records, season, standin
from benchlog.commands.many import OnOption, quiet_cluster
from benchlog.commands.shared import (
    EXIT_STATUS,
    BeforeOption,
    CorrectsOption,
    HashesOnlyOption,
    JsonOption,
    LoggerOption,
    NotesOption,
    PlanOption,
    ReportOption,
    StoreOption,
    TemperatureOption,
    refuse_outputs,
    user_errors,
)
from benchlog.core.errors import BenchlogError
from benchlog.core.files import is_read_once

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Proves from a logger's record that switched accessory power on a motorcycle does what was planned.",
)


def _told_version(wanted: bool) -> None:
    if wanted:
        from benchlog import __version__

        typer.echo(f"benchlog {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    _: Annotated[
        bool, typer.Option("--version", callback=_told_version, is_eager=True, help="Print the version and exit.")
    ] = False,
    max_unpacked_mb: Annotated[
        int | None,
        typer.Option(
            min=1,
            max=1 << 24,
            metavar="N",
            help="Most that a packed log (.gz, .zst, .parquet) may unpack to, MB; 128 times its size if not given.",
        ),
    ] = None,
) -> None:
    """What holds for every command."""
    if max_unpacked_mb is not None:
        # the processes that a command starts have to know it too
        os.environ["BENCHLOG_MAX_UNPACKED_MB"] = str(max_unpacked_mb)


@app.command()
def check(
    logs: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOG", help="Logs of the same install; a folder stands for every log in it.", readable=False
        ),
    ],
    plan: PlanOption,
    before: BeforeOption = None,
    logger: LoggerOption = None,
    json: JsonOption = None,
    report: ReportOption = None,
    save: Annotated[bool, typer.Option("--save", help="Keep the result as a record, and the logs with it.")] = False,
    store: StoreOption = None,
    notes: NotesOption = "",
    temperature_c: TemperatureOption = None,
    corrects: CorrectsOption = None,
    hashes_only: HashesOnlyOption = False,
    on: OnOption = None,
) -> None:
    """Check logs against the plan. Exit status: 0 pass, 1 fail, 3 not proven, 2 unusable input."""
    with user_errors():
        from benchlog.commands.progress import shown_progress
        from benchlog.core.files import write_whole
        from benchlog.log.discovery import every_log
        from benchlog.run import check as run_check

        quiet_cluster(on)
        logs = [Path(log) for log in every_log(logs, before)]
        inputs = [*logs, plan, *(path for path in (before, logger) if path is not None)]
        refuse_outputs(json, report, "the result", inputs)
        if save:
            _refuse_unkeepable([*logs, *([] if before is None else [before])])
        keep = _keeper(store, notes, temperature_c, corrects, hashes_only=hashes_only, save=save)
        with shown_progress(len(logs)) as (progress, watch):
            result = run_check(
                list(logs), plan=plan, logger=logger, before=before, progress=progress, on=on, watch=watch
            )
        if json == "-":
            typer.echo(result.to_json())
        else:
            from benchlog.report.text import render_text

            typer.echo(render_text(result, colour=sys.stdout.isatty()), nl=False)
        if json not in (None, "-"):
            write_whole(Path(json), result.to_json() + "\n", what="the result")
        kept = "" if keep is None else keep(result, plan=plan, logs=list(logs), logger=logger, before=before)
        if report is not None:
            from benchlog.plan.model import load_plan
            from benchlog.report.written import write_html

            # the last line is the hash, which belongs where the report is kept
            write_html(result, report, kept=kept.rpartition("\n")[2], plan=load_plan(plan))
            typer.echo(f"Report: {report}", err=json == "-")
        if kept:
            typer.echo(kept, err=json == "-")
    raise typer.Exit(EXIT_STATUS[result.verdict])


def _refuse_unkeepable(logs: list[Path]) -> None:
    """A log that is kept is read a second time, which a pipe does not allow."""
    for log in logs:
        if is_read_once(log):
            raise BenchlogError(
                f"{log}: this is a pipe or a device, not a file, and --save has to read it twice; "
                "save it to a file first, and check that"
            )


def _keeper(
    store: str | None,
    notes: str,
    temperature_c: float | None,
    corrects: int | None,
    *,
    hashes_only: bool,
    save: bool,
) -> Callable[..., str] | None:
    """What saves the result; a store that cannot be used is reported before the logs are read."""
    if not save:
        given = {
            "--notes": notes,
            "--temperature-c": temperature_c,
            "--corrects": corrects,
            "--hashes-only": hashes_only,
        }
        idle = [option for option, value in given.items() if value not in ("", None, False)]
        if idle:
            raise BenchlogError(f"{', '.join(idle)}: nothing is saved without --save; add --save, or leave it out")
        return None
    from benchlog.store import open_store

    with open_store(store) as opened:
        if corrects is not None:
            opened.record(corrects)
    return partial(
        records.save_check, store, notes=notes, temperature_c=temperature_c, corrects=corrects, hashes_only=hashes_only
    )


@app.command()
def plan(
    plan: Annotated[Path, typer.Argument(metavar="PLAN", readable=False, help="The plan, a TOML file.")],
    new: Annotated[bool, typer.Option("--new", help="Ask for the install, and write a first plan.")] = False,
    sheet: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="Write a page to print, with a box for each reading of a hand meter."),
    ] = None,
) -> None:
    """Print the planned values worked out from a plan, and what in it deserves a second look."""
    with user_errors():
        if new:
            from benchlog.commands.new_plan import new_plan

            new_plan(plan)
            return
        from benchlog.plan.model import load_plan
        from benchlog.report.plan import render_plan

        planned = load_plan(plan)
        if sheet is not None:
            from benchlog.commands.by_hand import write_sheet

            write_sheet(planned, sheet, plan)
            return
        typer.echo(render_plan(planned), nl=False)


@app.command()
def demo() -> None:
    """Do the whole job on the sample logs of the invented bike "Larch"."""
    with user_errors():
        from benchlog.commands.demo import run_demo

        try:
            here = Path.cwd()
        except OSError:
            raise BenchlogError("the current folder no longer exists; change to one that does") from None
        for text in run_demo(here, colour=sys.stdout.isatty()):
            typer.echo(text)


@app.command()
def schema(
    what: Annotated[
        Literal["plan", "logger", "result", "answers", "readings"],
        typer.Argument(help="plan, logger, result, answers or readings"),
    ],
) -> None:
    """Print the JSON Schema of a plan, logger file, result, answers or meter readings, for other programs."""
    with user_errors():
        if what == "answers" or what == "readings":
            from json import dumps

            from benchlog.find.answers import answers_schema
            from benchlog.meter.model import readings_schema

            of = answers_schema if what == "answers" else readings_schema
            typer.echo(dumps(of(), indent=2, ensure_ascii=False))
            return
        from benchlog.verdict.schemas import schema_text

        typer.echo(schema_text(what))


app.command()(recording.ports)
app.command()(recording.record)
app.command()(acceptance.acceptance)
app.command()(logger.logger)
app.command(cls=standin.WithBehaviours)(standin.standin)
app.command()(season.season)
app.add_typer(records.app, name="records")
app.command()(find.find)
app.command()(page.page)
