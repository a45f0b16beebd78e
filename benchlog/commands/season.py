"""``benchlog season``: a battery's health over the records of a bike, or all bikes at a glance."""

import sys
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.bikes import unknown_bike
from benchlog.commands.shared import JsonOption, LoggerOption, ReportOption, StoreOption, refuse_outputs, user_errors
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.plan.model import Plan
    from benchlog.store import Store


@dataclass(frozen=True, slots=True)
class _Asked:
    """The words of one call; what was left out is None.

    Attributes:
        day: the one to take as today. logs: plain ones, beside the records.
    """

    bike: str | None
    every: bool
    day: date
    changed: str | None
    what: str | None
    take_back: int | None
    logs: list[Path]
    plan: Path | None
    logger: Path | None
    json: str | None
    report: Path | None


def season(
    bike: Annotated[
        str | None, typer.Argument(help="The bike's name, as in the plan; without it, all bikes at a glance.")
    ] = None,
    logs: Annotated[
        list[Path] | None,
        typer.Argument(metavar="LOG", help="Plain resting logs to add to the records.", readable=False),
    ] = None,
    store: StoreOption = None,
    changed: Annotated[
        str | None,
        typer.Option(metavar="DATE", help="Note a new battery or accessory fitted on this day, with --what."),
    ] = None,
    what: Annotated[str | None, typer.Option(metavar="TEXT", help='What was changed, such as "new battery".')] = None,
    take_back: Annotated[
        int | None,
        typer.Option(metavar="NUMBER", help="Withdraw a change that was noted by mistake; its number is in the list."),
    ] = None,
    plan: Annotated[
        Path | None,
        typer.Option(
            metavar="PLAN",
            readable=False,
            help="The plan with chemistry, capacity and limits; else that of the newest record.",
        ),
    ] = None,
    log: Annotated[
        list[Path] | None, typer.Option(metavar="LOG", readable=False, help="Same as LOG; may be repeated.")
    ] = None,
    logger: LoggerOption = None,
    every: Annotated[bool, typer.Option("--all", help="All bikes at a glance.")] = False,
    today: Annotated[
        str | None, typer.Option(metavar="DATE", help="The day to take as today; later records are left out.")
    ] = None,
    json: JsonOption = None,
    report: ReportOption = None,
) -> None:
    """Show a battery's health over time: trends, when a limit would be crossed, and how long the bike can stand."""
    with user_errors():
        day = date.today() if today is None else _date(today, "--today")
        added = [*(logs or []), *(log or [])]
        asked = _Asked(bike, every, day, changed, what, take_back, added, plan, logger, json, report)
        _refuse(asked)
        change = None if changed is None else (_date(changed, "--changed"), (what or "").strip())
        from benchlog.store import open_store

        # logs alone need no records yet; else a mistyped store would be made by looking at it
        with open_store(store, create=bool(added and plan)) as opened:
            inputs = [*added, *opened.files, *(path for path in (plan, logger) if path is not None)]
            refuse_outputs(json, report, "the bikes" if bike is None else "the season", inputs)
            if bike is None:
                _all(opened, asked)
            else:
                _one(opened, bike, asked, change)


def _one(store: "Store", bike: str, asked: _Asked, change: tuple[date, str] | None) -> None:
    from benchlog.season.as_json import season_json
    from benchlog.season.chart import render_season
    from benchlog.season.from_logs import readings_of_logs
    from benchlog.season.on_file import season_on_file

    known = [row.bike for row in store.bikes()]
    if bike not in known and not (asked.logs and asked.plan):
        text = unknown_bike(bike, known)
        raise BenchlogError(f"{text}; for logs alone, name the battery with --plan" if asked.logs else text)
    planned = _plan(store, bike, asked.plan)
    added, notes = readings_of_logs(asked.logs, planned, asked.logger)
    if change is not None:
        # the store is written last of all that can fail
        store.note_change(bike, *change)
    if asked.take_back is not None:
        gone = store.take_back(asked.take_back, bike)
        notes = [*notes, f"change {gone.number} ({gone.on}: {gone.what}) is taken back and no longer counts"]
    found = season_on_file(store, bike, planned, asked.day, added)
    if asked.json == "-":
        typer.echo(season_json(found))
    else:
        typer.echo(render_season(found, colour=sys.stdout.isatty()), nl=False)
    for note in notes:
        typer.echo(f"note: {note}", err=True)
    if asked.json not in (None, "-"):
        from benchlog.core.files import write_whole

        write_whole(Path(asked.json), season_json(found) + "\n", what="the season")
    if asked.report is not None:
        from benchlog.core.files import write_whole
        from benchlog.season.report import render_html

        write_whole(asked.report, render_html(found), what="the report")
        typer.echo(f"Report: {asked.report}", err=asked.json == "-")


def _all(store: "Store", asked: _Asked) -> None:
    from benchlog.season.as_json import bikes_json
    from benchlog.season.bikes import at_a_glance, render_bikes
    from benchlog.season.on_file import season_on_file

    bikes = [row.bike for row in store.bikes()]
    if not bikes:
        raise BenchlogError("the store has no records yet; the first benchlog check LOG --plan PLAN --save makes one")
    glances = at_a_glance(season_on_file(store, bike, _plan(store, bike, None), asked.day) for bike in bikes)
    if asked.json == "-":
        typer.echo(bikes_json(glances))
        return
    typer.echo(render_bikes(glances), nl=False)
    if asked.json is not None:
        from benchlog.core.files import write_whole

        write_whole(Path(asked.json), bikes_json(glances) + "\n", what="the bikes")


def _plan(store: "Store", bike: str, plan: Path | None) -> "Plan":
    if plan is not None:
        from benchlog.plan.model import load_plan

        return load_plan(plan)
    newest = max(store.rows(bike), key=lambda row: (row.recorded_at, row.number))
    return store.record(newest.number).plan


def _refuse(asked: _Asked) -> None:
    more = (asked.changed, asked.what, asked.logs, asked.plan, asked.report)
    faults = []
    if asked.bike is not None and asked.every:
        faults.append("--all shows every bike; leave the bike's name or --all out")
    if asked.bike is None and (any(more) or asked.take_back is not None):
        faults.append("name the bike: --changed, --what, --take-back, --plan, --report and logs belong to one bike")
    if asked.changed is not None and not (asked.what or "").strip():
        faults.append('--changed needs --what, such as --what "new battery"')
    if asked.what is not None and asked.changed is None:
        faults.append("--what needs --changed DATE, the day of the change")
    if asked.take_back is not None and asked.changed is not None:
        faults.append("--take-back and --changed are two steps: take the wrong change back, then note the right one")
    if faults:
        raise BenchlogError("; ".join(faults))


def _date(text: str, option: str) -> date:
    try:
        return datetime.strptime(text.strip(), "%Y-%m-%d").date()
    except ValueError:
        raise BenchlogError(
            f'{option}: "{text}" is not a date; write it as year-month-day, such as 2026-09-20'
        ) from None
