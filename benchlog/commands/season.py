"""``benchlog season``: a battery's health over the records of a bike, or all bikes at a glance."""

import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.bikes import unknown_bike
from benchlog.commands.shared import LoggerOption, StoreOption, refuse_outputs, user_errors
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.plan.model import Plan
    from benchlog.season import Season
    from benchlog.store import Store


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
    json: Annotated[
        str | None, typer.Option(metavar="FILE", help="Write the season as JSON; - for standard output only.")
    ] = None,
    report: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the season as an HTML page.")] = None,
) -> None:
    """Show a battery's health over time: trends, when a limit would be crossed, and how long the bike can stand."""
    with user_errors():
        added = [*(logs or []), *(log or [])]
        day = date.today() if today is None else _date(today, "--today")
        _refuse(bike, every, changed, what, take_back, added, plan, report)
        change = None if changed is None else (_date(changed, "--changed"), (what or "").strip())
        from benchlog.store import open_store

        # logs alone need no records yet; else a mistyped store would be made by looking at it
        with open_store(store, create=bool(added and plan)) as opened:
            inputs = [*added, *opened.files, *(path for path in (plan, logger) if path is not None)]
            refuse_outputs(json, report, "the bikes" if bike is None else "the season", inputs)
            if bike is None:
                _all(opened, day, json)
            else:
                _one(opened, bike, day, change, take_back, plan, added, logger, json, report)


def _one(
    store: "Store",
    bike: str,
    day: date,
    change: tuple[date, str] | None,
    take_back: int | None,
    plan: Path | None,
    logs: list[Path],
    logger: Path | None,
    json: str | None,
    report: Path | None,
) -> None:
    from benchlog.season.as_json import season_json
    from benchlog.season.chart import render_season
    from benchlog.season.from_logs import readings_of_logs

    known = [row.bike for row in store.bikes()]
    if bike not in known and not (logs and plan):
        text = unknown_bike(bike, known)
        raise BenchlogError(f"{text}; for logs alone, name the battery with --plan" if logs else text)
    planned = _plan(store, bike, plan)
    added, notes = readings_of_logs(logs, planned, logger)
    if change is not None:
        # the store is written last of all that can fail
        store.note_change(bike, *change)
    if take_back is not None:
        gone = store.take_back(take_back, bike)
        notes = [*notes, f"change {gone.number} ({gone.on}: {gone.what}) is taken back and no longer counts"]
    found = _season(store, bike, day, planned, added)
    if json == "-":
        typer.echo(season_json(found))
    else:
        typer.echo(render_season(found, colour=sys.stdout.isatty()), nl=False)
    for note in notes:
        typer.echo(f"note: {note}", err=True)
    if json not in (None, "-"):
        from benchlog.core.files import write_whole

        write_whole(Path(json), season_json(found) + "\n", what="the season")
    if report is not None:
        from benchlog.core.files import write_whole
        from benchlog.season.report import render_html

        write_whole(report, render_html(found), what="the report")
        typer.echo(f"Report: {report}", err=json == "-")


def _all(store: "Store", day: date, json: str | None) -> None:
    from benchlog.season.as_json import bikes_json
    from benchlog.season.bikes import at_a_glance, render_bikes

    bikes = [row.bike for row in store.bikes()]
    if not bikes:
        raise BenchlogError("the store has no records yet; the first benchlog check LOG --plan PLAN --save makes one")
    glances = at_a_glance(_season(store, bike, day, _plan(store, bike, None), []) for bike in bikes)
    if json == "-":
        typer.echo(bikes_json(glances))
        return
    typer.echo(render_bikes(glances), nl=False)
    if json is not None:
        from benchlog.core.files import write_whole

        write_whole(Path(json), bikes_json(glances) + "\n", what="the bikes")


def _season(store: "Store", bike: str, day: date, plan: "Plan", added: list) -> "Season":  # type: ignore[type-arg]  # readings; the class is heavy to import here
    from benchlog.season import season_of

    return season_of(
        [*store.readings(bike), *added],
        store.changes(bike),
        chemistry=plan.battery.chemistry,
        capacity_ah=plan.battery.capacity_ah,
        limits=plan.limits,
        today=day,
        bike=bike,
    )


def _plan(store: "Store", bike: str, plan: Path | None) -> "Plan":
    if plan is not None:
        from benchlog.plan.model import load_plan

        return load_plan(plan)
    newest = max(store.rows(bike), key=lambda row: (row.recorded_at, row.number))
    return store.record(newest.number).plan


def _refuse(
    bike: str | None, every: bool, changed: str | None, what: str | None, take_back: int | None, logs: list[Path],
    plan: Path | None, report: Path | None,
) -> None:  # fmt: skip
    faults = []
    if bike is not None and every:
        faults.append("--all shows every bike; leave the bike's name or --all out")
    if bike is None and (changed or what or take_back is not None or logs or plan or report):
        faults.append("name the bike: --changed, --what, --take-back, --plan, --report and logs belong to one bike")
    if changed is not None and not (what or "").strip():
        faults.append('--changed needs --what, such as --what "new battery"')
    if what is not None and changed is None:
        faults.append("--what needs --changed DATE, the day of the change")
    if take_back is not None and changed is not None:
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
