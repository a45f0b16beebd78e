"""``benchlog records``: list, show, sign, import, export and verify what was saved; and the saving of a check."""

import sys
from contextlib import ExitStack, closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from benchlog.commands.bikes import opened_store, refuse_unknown_bike
from benchlog.commands.many import EventsOption, OnOption, end_event, imported_event, quiet_cluster, shown_course
from benchlog.commands.rechecking import backup, recheck
from benchlog.commands.shared import UNUSABLE, HashesOnlyOption, LoggerOption, PlanOption, StoreOption, user_errors
from benchlog.core.errors import BenchlogError
from benchlog.core.remote import fetched, shown
from benchlog.process.course import Course

if TYPE_CHECKING:
    from benchlog.logger.given import LoggerLike
    from benchlog.verdict.result import Result

app = typer.Typer(
    no_args_is_help=True,
    help="The store of records: list, show, sign, import, export, verify; and whom a rider calls.",
)

BikeOption = Annotated[str | None, typer.Option("--bike", metavar="BIKE", help="Only the records of this bike.")]
NumberArgument = Annotated[int, typer.Argument(metavar="NUMBER", help="The record's number, as the list shows it.")]

_UNPROVEN = (
    "  Without a last hash that was noted earlier (each report, sheet and export has one) this cannot show that the\n"
    "  whole store was made anew, or that its newest entries were cut off with all that names them."
)


def save_check(
    store: str | None,
    result: "Result",
    *,
    plan: Path,
    logs: list[Path],
    logger: "LoggerLike | None" = None,
    before: Path | None = None,
    notes: str = "",
    temperature_c: float | None = None,
    recorded_at: datetime | None = None,
    corrects: int | None = None,
    hashes_only: bool = False,
) -> str:
    """Save what ``check`` has found; gives the lines that say so.

    Raises:
        BenchlogError: the store or a log cannot be used.
    """
    from benchlog.store import open_store

    # a time without a zone is the time on the tester's wall
    at = None if recorded_at is None else recorded_at.astimezone()
    with open_store(store) as opened, ExitStack() as local:
        record = opened.save(
            result,
            plan=plan,
            loggers=logger,
            logs=[local.enter_context(fetched(log)) for log in logs],
            before=None if before is None else local.enter_context(fetched(before)),
            recorded_at=at,
            notes=notes,
            temperature_c=temperature_c,
            corrects=corrects,
            keep_logs=not hashes_only,
        )
        lines = [f"Note: {text}." for text in opened.remarks(record)]
        # the last line is the hash, which a report repeats
        lines += [f"Saved as record {record.number} in {opened.where}"]
        return "\n".join([*lines, f"Last hash, to be noted elsewhere: {opened.head()[1]}"])


@app.command("list")
def list_records(
    bike: BikeOption = None,
    limit: Annotated[int | None, typer.Option(metavar="N", min=1, help="Only the newest N.")] = None,
    store: StoreOption = None,
) -> None:
    """List the records, the last saved first; dates in this computer's time zone."""
    with user_errors():
        from benchlog.store.listing import list_text

        with opened_store(store) as opened:
            rows = opened.rows(bike, limit)
            if bike is not None and not rows:
                refuse_unknown_bike(opened, bike)
            typer.echo(list_text(rows), nl=False)


@app.command()
def show(
    number: NumberArgument,
    json: Annotated[bool, typer.Option("--json", help="The whole record as JSON.")] = False,
    store: StoreOption = None,
) -> None:
    """Show one record: its result, and what is known of its logs, corrections and signatures."""
    with user_errors():
        from benchlog.store.listing import record_json, record_text

        with opened_store(store) as opened:
            record = opened.record(number)
            if json:
                typer.echo(record_json(record))
            else:
                typer.echo(record_text(record, opened.head()[1], colour=sys.stdout.isatty()), nl=False)


@app.command()
def sign(
    number: NumberArgument,
    by: Annotated[str, typer.Option(metavar="NAME", help="Who signs.")],
    notes: Annotated[str, typer.Option(metavar="TEXT", help="A note to go with the signature.")] = "",
    store: StoreOption = None,
) -> None:
    """Sign a record as it is now."""
    with user_errors(), opened_store(store) as opened:
        signature = opened.sign(number, by, notes)
        typer.echo(f"Record {number} is signed by {signature.by} (entry {signature.number})")


@app.command("import")
def import_folder(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", readable=False, help="Every log in it and below; s3://BUCKET/FOLDER for one in a bucket."
        ),
    ],
    plan: PlanOption,
    logger: LoggerOption = None,
    hashes_only: HashesOnlyOption = False,
    store: StoreOption = None,
    on: OnOption = None,
    json: EventsOption = False,
) -> None:
    """Check every log under a folder and save each as a record; run again, it continues where it stopped.

    Exit status: 0 if every log is in the store now, 2 if one could not be used.
    """
    with user_errors():
        from benchlog.logger.model import load_logger
        from benchlog.plan.model import load_plan
        from benchlog.store import open_store
        from benchlog.store.importing import import_logs, logs_under

        quiet_cluster(on)
        planned = load_plan(plan)
        named = None if logger is None else load_logger(logger)
        counted = {"saved": 0, "known": 0, "bad": 0}
        with open_store(store) as opened:
            logs = logs_under(folder, but=opened.logs)
            course = Course(len(logs))
            with shown_course(course, events=json) as step:
                imported = import_logs(
                    opened, logs, plan=planned, logger=named, keep_logs=not hashes_only, on=on, watch=course.watch
                )
                for one in imported:
                    counted[one.outcome] += 1
                    course.done, course.failed = one.done, counted["bad"]
                    if json:
                        typer.echo(imported_event(one))
                    elif one.outcome == "bad":
                        typer.echo(f"benchlog: {shown(one.path)} was not imported: {one.text}", err=True)
                    step()
        if json:
            typer.echo(end_event({**counted, "of": len(logs)}))
        else:
            typer.echo(
                f"{counted['saved']} of {len(logs)} logs saved, {counted['known']} were in the store already, "
                f"{counted['bad']} could not be used"
            )
    if counted["bad"]:
        raise typer.Exit(UNUSABLE)


@app.command()
def contact(
    text: Annotated[
        str | None, typer.Argument(metavar="TEXT", help="Name and number; without it, shows what is kept.")
    ] = None,
) -> None:
    """Keep the installer's name and number, shown on the rider's page of each report and sheet."""
    with user_errors():
        from benchlog.core.contact import keep_contact, kept_contact

        kept = kept_contact() if text is None else keep_contact(text)
        typer.echo(f"Contact on each rider's page: {kept or 'none yet'}")


app.command()(recheck)
app.command()(backup)


@app.command()
def export(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="The file to write; standard output if left out.")
    ] = None,
    form: Annotated[
        Literal["csv", "json"],
        typer.Option("--format", help="csv: a row for each check of each record; json: all entries, whole."),
    ] = "csv",
    bike: BikeOption = None,
    store: StoreOption = None,
) -> None:
    """Export the records as a table for a spreadsheet, or as JSON for another program; dates in UTC."""
    with user_errors():
        from benchlog.core.files import refuse_unwritable
        from benchlog.store.exporting import csv_lines, json_lines, write_pieces
        from benchlog.store.named import path_of

        with opened_store(store) as opened:
            if bike is not None:
                refuse_unknown_bike(opened, bike)
            if file is not None:
                refuse_unwritable(path_of(file, "the export"), "the export", inputs=opened.files)
            # closed, that the store is let go whatever happens
            with closing(csv_lines(opened, bike) if form == "csv" else json_lines(opened, bike)) as pieces:
                if file is None:
                    binary = sys.stdout.buffer
                    for piece in pieces:
                        binary.write(piece.encode())
                    binary.flush()
                else:
                    write_pieces(file, pieces)
                    typer.echo(f"Exported: {file}", err=True)


@app.command()
def verify(
    last_hash: Annotated[
        str | None,
        typer.Option(metavar="HASH", help="The last hash as printed earlier: an entry must still have it."),
    ] = None,
    mend: Annotated[
        bool, typer.Option("--mend", help="Rebuild the lists from the ledger and remove leftover files.")
    ] = False,
    store: StoreOption = None,
) -> None:
    """Prove that nothing in the store was altered. Exit status: 0 intact, 2 something differs."""
    with user_errors():
        from benchlog.store.mending import mend as put_right

        with opened_store(store) as opened:
            troubles = opened.verify(last_hash)
            if mend:
                troubles = put_right(opened, troubles)
            last, its_hash = opened.head()
        for trouble in troubles:
            typer.echo(f"{'· ' if trouble.harmless else '▲ '}{trouble.text}")
        grave = [trouble for trouble in troubles if not trouble.harmless]
        if grave:
            raise BenchlogError(_advice({trouble.kind for trouble in grave}, len(grave)))
        typer.echo(f"● {last} entries, all as saved. The last hash, to be noted elsewhere:")
        typer.echo(f"  {its_hash}")
        if last_hash is None:
            typer.echo(_UNPROVEN)


def _advice(kinds: set[str], count: int) -> str:
    found = "1 thing differs" if count == 1 else f"{count} things differ"
    if "ledger" in kinds:
        return f"{found} from what was saved; keep this store untouched as evidence and continue with a backup"
    if "logs" in kinds:
        return f"{found} from what was saved; restore the kept logs from a backup; the records themselves are intact"
    return f"{found} from what was saved, only in the lists; benchlog records verify --mend rebuilds them"
