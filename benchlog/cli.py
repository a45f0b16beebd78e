"""The command line, thin: parse, call one function, print, exit."""

import sys
from pathlib import Path
from typing import Annotated, Literal

import typer

from benchlog.commands.shared import EXIT_STATUS, PlanOption, user_errors
from benchlog.errors import BenchlogError

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Proves from a logger's record that switched accessory power on a motorcycle does what was planned.",
)


@app.callback()
def _root() -> None:
    """Options that hold for every command would stand here; there are none."""


@app.command()
def check(
    logs: Annotated[
        list[Path], typer.Argument(metavar="LOG...", help="One or more logs of the same install.", readable=False)
    ],
    plan: PlanOption,
    before: Annotated[
        Path | None,
        typer.Option(metavar="LOG", help="The log recorded before the install, for the added drain.", readable=False),
    ] = None,
    logger: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="What the channels mean, for logs without LOG.logger.toml.", readable=False),
    ] = None,
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the result as JSON; - for standard output alone.")
    ] = None,
    report: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the report as an HTML page.")] = None,
) -> None:
    """Check logs against the plan. Exit status: 0 pass, 1 fail, 3 not proven, 2 unusable input."""
    with user_errors():
        from benchlog.progress import shown_progress
        from benchlog.run import check as run_check

        with shown_progress() as progress:
            result = run_check(list(logs), plan=plan, logger=logger, before=before, progress=progress)
        if json == "-":
            typer.echo(result.to_json())
        else:
            from benchlog.report_text import render_text

            typer.echo(render_text(result, colour=sys.stdout.isatty()), nl=False)
        if json not in (None, "-"):
            from benchlog.files import write_whole

            write_whole(Path(json), result.to_json() + "\n", what="the result")
        if report is not None:
            from benchlog.report import write_html

            write_html(result, report)
            typer.echo(f"Report: {report}", err=json == "-")
    raise typer.Exit(EXIT_STATUS[result.verdict])


@app.command()
def plan(plan: Annotated[Path, typer.Argument(metavar="PLAN", readable=False, help="The plan, a TOML file.")]) -> None:
    """Print the planned values worked out from a plan, and what in it should be looked at again."""
    with user_errors():
        from benchlog.plan import load_plan
        from benchlog.plan_report import render_plan

        typer.echo(render_plan(load_plan(plan)), nl=False)


@app.command()
def demo() -> None:
    """Do the whole job on the sample logs of the invented bike "Larch"."""
    with user_errors():
        from benchlog.demo import run_demo

        try:
            here = Path.cwd()
        except OSError:
            raise BenchlogError("the folder you are in is gone; change to one that exists") from None
        for text in run_demo(here, colour=sys.stdout.isatty()):
            typer.echo(text)


@app.command()
def schema(
    what: Annotated[Literal["plan", "logger", "result"], typer.Argument(help="plan, logger or result")],
) -> None:
    """Print the JSON Schema of a plan, a logger file or a result, for editors and other programs."""
    with user_errors():
        from benchlog.schemas import schema_text

        typer.echo(schema_text(what))


def main() -> None:
    """Run the command line."""
    try:
        app()
    except KeyboardInterrupt:
        typer.echo("benchlog: stopped", err=True)
        sys.exit(130)
