"""The guided acceptance test: lead the tester through it, then check the log."""

import contextlib
import sys
from pathlib import Path
from typing import Annotated

import typer

from benchlog.commands.shared import (
    EXIT_STATUS,
    NOT_PROVEN,
    BeforeOption,
    LoggerOption,
    PlanOption,
    StoreOption,
    user_errors,
)


def acceptance(
    plan: PlanOption,
    port: Annotated[
        str | None, typer.Argument(metavar="PORT", help="Where the logger is: a device name or a pyserial URL.")
    ] = None,
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="Ask for the readings of a hand meter instead, and keep them in --out.")
    ] = False,
    logger: LoggerOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="LOG.csv",
            help="Where to write the log, or a hand meter's READINGS.toml; named by bike and date if not given.",
            readable=False,
        ),
    ] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE.html", help="Where to write the report; beside the log if not given.")
    ] = None,
    baud: Annotated[int, typer.Option(metavar="N", min=1, help="Line speed.")] = 115200,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only",
            metavar="CHECK",
            help="Retest: only the steps that this check needs; several with commas, or the option again.",
        ),
    ] = None,
    practise: Annotated[
        bool,
        typer.Option("--practise", help="On a stand-in: you do the steps yourself, typed in its terminal."),
    ] = False,
    resume: Annotated[
        bool, typer.Option("--resume", help="Resume a stopped test: the one named by --out, or the newest here.")
    ] = False,
    before: BeforeOption = None,
    save: Annotated[bool, typer.Option("--save", help="Keep the result as a record, and the log with it.")] = False,
    store: StoreOption = None,
) -> None:
    """Lead through the acceptance test, step by step, then check it. Exit status as for check; 3 for a stopped test."""
    with user_errors():
        if by_hand or port is None:
            from benchlog.commands.by_hand import AfterReadings, led_by_hand, target_of

            idle = {"PORT": port, "--logger": logger, "--only": only, "--resume": resume or None}
            target = target_of(out, asked=by_hand, idle=idle)
            raise typer.Exit(led_by_hand(plan, target, AfterReadings(report, before, save, store)))
        from benchlog.bench.guided.ending import can_be_found, ending_words, verdict_of
        from benchlog.bench.guided.leading import conclude, lead, prepare
        from benchlog.bench.guided.screen import screen_for
        from benchlog.bench.guided.words import closing_words, opening_words
        from benchlog.verdict.advice import fire_risks

        if save:
            from benchlog.store import open_store

            open_store(store).close()  # a store that cannot be used is refused before the tester begins
        test = prepare(
            port,
            plan,
            logger_file=logger,
            out=out,
            report=report,
            baud=baud,
            only=only or (),
            practise=practise,
            go_on=resume,
            before=before,
        )
        risks = fire_risks(test.plan)
        typer.echo(
            opening_words(
                test.log,
                by_itself=test.by_itself,
                resumed=test.stopped is not None,
                fire_risks=risks,
                only=test.only,
            )
        )
        with screen_for(sys.stdout) as screen:
            ended = lead(test, screen)
        if ended != "done":
            typer.echo(closing_words(port, test.plan_file, test.log, lost=ended == "lost"))
            raise typer.Exit(NOT_PROVEN)
        result = conclude(test)
        if save:
            from benchlog.commands.records import save_check
            from benchlog.report.written import write_html

            kept = save_check(store, result, plan=plan, logs=[test.log], logger=test.logger, before=before)
            # the report stood before the store was asked; the last line is the hash, which belongs where it is kept
            write_html(result, test.report, kept=kept.rpartition("\n")[2], plan=test.plan)
            typer.echo(kept)
        typer.echo(ending_words(test, result, colour=sys.stdout.isatty()), nl=False)
        ends = verdict_of(result, test.only)
        if can_be_found(result, test.only) and sys.stdin.isatty() and sys.stdout.isatty():
            _offer_find(test.log, plan)
    raise typer.Exit(EXIT_STATUS[ends])


def _offer_find(log: Path, plan: Path) -> None:
    """Go on to the faulty place, where the tester wants to."""
    from benchlog.commands.find import find

    typer.echo("Enter goes on to the faulty place now; q and Enter ends here: ", nl=False)
    if sys.stdin.readline().strip().lower() in ("", "y", "yes"):
        with contextlib.suppress(typer.Exit):  # the exit status stays that of the test
            find([log], plan)
