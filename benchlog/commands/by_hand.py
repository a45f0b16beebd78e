"""The acceptance test with a hand meter: ask for each reading, then check them."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from benchlog.commands.asking import line_read
from benchlog.commands.shared import EXIT_STATUS, NOT_PROVEN, refuse_outputs
from benchlog.core.errors import BenchlogError

if TYPE_CHECKING:
    from benchlog.plan.model import Plan


@dataclass(frozen=True, slots=True)
class AfterReadings:
    """What is done once all is read.

    Attributes:
        report: where the report goes. before: a log or readings from before the install.
        save: keep the result as a record, in ``store``.
    """

    report: Path | None
    before: Path | None
    save: bool
    store: str | None


def led_by_hand(plan_file: Path, target: Path, after: AfterReadings) -> int:
    """The whole test; gives the exit status.

    Args:
        target: the file of readings; one that is there goes on.

    Raises:
        BenchlogError: a file cannot be used.
    """
    from benchlog.bench.by_hand.session import begun, lead_by_hand
    from benchlog.plan.model import load_plan
    from benchlog.report.text import render_text
    from benchlog.run import check, refuse_unreadable_before

    if after.save:
        from benchlog.store import open_store

        open_store(after.store).close()  # a store that cannot be used is refused before the tester begins
    inputs = [plan_file, *([] if after.before is None else [after.before])]
    refuse_outputs(str(target), after.report, "the readings", inputs)
    if after.before is not None:
        refuse_unreadable_before(after.before, None)
    plan = load_plan(plan_file)
    test = begun(plan, target)
    whole = lead_by_hand(test, line_read, typer.echo)
    if not whole or not test.readings:
        kept = f"The readings are in {target}; the same command goes on." if test.readings else "Nothing was read."
        typer.echo(f"\n{kept}")
        return NOT_PROVEN
    result = check([target], plan=plan, before=after.before)
    typer.echo(render_text(result, colour=sys.stdout.isatty()), nl=False)
    typer.echo(f"Readings: {target}")
    kept = ""
    if after.save:
        from benchlog.commands.records import save_check

        kept = save_check(after.store, result, plan=plan_file, logs=[target], before=after.before)
        typer.echo(kept)
    if after.report is not None:
        from benchlog.report.written import write_html

        write_html(result, after.report, kept=kept.rpartition("\n")[2], plan=plan)
        typer.echo(f"Report: {after.report}")
    return EXIT_STATUS[result.verdict]


def target_of(out: Path | None, *, asked: bool, idle: Mapping[str, object]) -> Path:
    """The file of readings.

    Args:
        asked: a hand meter was asked for. idle: what only a logger needs, as it was given.

    Raises:
        BenchlogError: it was not named, or something was given that does not go together.
    """
    if not asked:
        raise BenchlogError(
            "no PORT was given: name one (benchlog ports lists them), or give --by-hand for a hand meter"
        )
    given = [name for name, value in idle.items() if value is not None]
    if given:
        raise BenchlogError(f"{', '.join(given)}: not for a hand meter; leave it out, or leave out --by-hand")
    if out is None or out.suffix.lower() != ".toml":
        raise BenchlogError("--by-hand keeps the readings in a file; name it with --out READINGS.toml")
    return out


def write_sheet(plan: "Plan", sheet: Path, plan_file: Path) -> None:
    """Write the measuring sheet of a plan, and say where it is.

    Raises:
        BenchlogError: it cannot be written, or there is nothing to measure.
    """
    from benchlog.bench.by_hand.sheet import render_sheet
    from benchlog.core.files import write_whole

    refuse_outputs(str(sheet), None, "the measuring sheet", [plan_file])
    write_whole(sheet, render_sheet(plan), what="the measuring sheet")
    typer.echo(f"Measuring sheet: {sheet}")
