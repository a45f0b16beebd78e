"""``benchlog records recheck`` and ``backup``: every kept log judged again; the whole store copied while in use."""

import json as as_json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.bikes import opened_store, refuse_unknown_bike
from benchlog.commands.many import EventsOption, OnOption, end_event, quiet_cluster, shown_course
from benchlog.commands.shared import FAIL, UNUSABLE, StoreOption, user_errors
from benchlog.process.course import Course

if TYPE_CHECKING:
    from benchlog.store.rechecking import Rechecked


def recheck(
    bike: Annotated[str | None, typer.Option(metavar="BIKE", help="Only the records of this bike.")] = None,
    save: Annotated[
        bool, typer.Option("--save", help="Save a record that corrects the old one wherever a verdict changed.")
    ] = False,
    store: StoreOption = None,
    on: OnOption = None,
    json: EventsOption = False,
) -> None:
    """Judge every kept log again with this benchlog, and say which verdicts changed and why; nothing is overwritten.

    Exit status: 0 no verdict changed, 1 one changed, 2 one could not be judged.
    """
    with user_errors():
        from benchlog.store.rechecking import recheck_records

        quiet_cluster(on)
        counted = {"same": 0, "changed": 0, "not kept": 0, "bad": 0}
        with opened_store(store) as opened:
            if bike is not None:
                refuse_unknown_bike(opened, bike)
            course = Course(0)
            changed: list[Rechecked] = []
            with shown_course(course, events=json) as step:
                for one in recheck_records(opened, bike=bike, save=save, on=on, watch=course.watch):
                    counted[one.outcome] += 1
                    course.done, course.of, course.failed = one.done, one.of, counted["bad"]
                    if json:
                        typer.echo(_event(one))
                    elif one.outcome == "bad":
                        typer.echo(f"benchlog: {one.text}", err=True)
                    if one.outcome == "changed":
                        changed.append(one)
                    step()
        if json:
            typer.echo(end_event({name.replace(" ", "_"): count for name, count in counted.items()}))
        else:
            typer.echo("".join(f"{line}\n" for line in _lines(changed, counted)), nl=False)
    if counted["bad"]:
        raise typer.Exit(UNUSABLE)
    if counted["changed"]:
        raise typer.Exit(FAIL)


def _event(one: "Rechecked") -> str:
    told = {"event": "record", "record": one.number, "bike": one.bike, "outcome": one.outcome, "text": one.text}
    changes = [asdict(change) for change in one.changes]
    return as_json.dumps({**told, "changes": changes, "saved_as": one.saved_as}, ensure_ascii=False)


def _lines(changed: "list[Rechecked]", counted: dict[str, int]) -> list[str]:
    from benchlog.core.printable import one_line

    judged = counted["same"] + counted["changed"]
    lines = []
    for one in changed:
        saved = "" if one.saved_as is None else f", corrected by record {one.saved_as}"
        lines.append(f"Record {one.number}, {one_line(one.bike)}{saved}")
        for change in one.changes:
            lines.append(f"  {change.title}: {change.then or 'none'} → {change.now or 'none'}")
            lines += [f"    {one_line(change.because)}"] if change.because else []
    told = f"{counted['changed']} of {judged} records judged differently" if changed else "no verdict changed"
    lines.append(f"{judged} records judged again: {told}" if not changed else told)
    if counted["not kept"]:
        lines.append(f"{counted['not kept']} cannot be judged again, since only the hashes of their logs are kept")
    if counted["bad"]:
        lines.append(f"{counted['bad']} could not be judged")
    return lines


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The copy, a SQLite file; its logs lie in FILE.logs.")],
    store: StoreOption = None,
) -> None:
    """Copy the whole store and its kept logs, while it is in use; the copy is a store like any other (--store FILE)."""
    with user_errors():
        from benchlog.store.backup import back_up_store

        with opened_store(store) as opened:
            entries, logs, gone = back_up_store(opened, file)
        lacking = f"; {gone} more are listed but missing; benchlog records verify names them" if gone else ""
        typer.echo(f"Backed up: {entries} entries and {logs} kept logs in {file}{lacking}")
