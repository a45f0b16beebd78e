"""A foreign file: show it, guess its columns, let the user correct them, write the logger file beside it."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from benchlog.commands.asking import Asker
from benchlog.commands.shared import user_errors
from benchlog.core.errors import BenchlogError
from benchlog.core.printable import printable
from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.core.typed import Unusable, number

if TYPE_CHECKING:
    from benchlog.log.foreign.guess import Draft

_WIDTH = 100  # letters of a line that is shown
_HELP = (
    "To correct one, type its number and what it is, such as: 4 feed_a mA, or 4 charge (positive charges), "
    "4 time, 4 - (not used). Roles: battery_v battery_a drain_a key_v trigger_v feed_v ground_v feed_a slot1_a "
    "to slot12_a slot1_v to slot12_v battery_c mark."
)


def logger(
    log: Annotated[Path, typer.Argument(metavar="LOG", readable=False, help="A file of a logger, meter or scope.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="The logger file; LOG.logger.toml if not given.")
    ] = None,
) -> None:
    """Show a foreign log's columns, guess and ask what they are, and write the logger file beside it."""
    with user_errors():
        from benchlog.bench.recording.beside import logger_text
        from benchlog.core.files import refuse_unwritable, write_whole
        from benchlog.log.foreign.guess import draft_of
        from benchlog.log.foreign.look import look
        from benchlog.log.log import Log
        from benchlog.logger.model import logger_from_mapping
        from benchlog.logger.sidecar import sidecar_of

        target = out or sidecar_of(log)
        draft = draft_of(look(log))
        if target.exists():
            raise BenchlogError(f"{target}: there is a logger file already; move it away, or name another with --out")
        refuse_unwritable(target, "the logger file", (log,))
        asker = Asker("nothing was written")
        _shown(draft)
        _columns(draft, asker)
        _unknown(draft, asker)
        made = logger_from_mapping(draft.logger(log.name), "the answers")
        with Log.open(log, made) as opened:
            roles, lasts_s = sorted(opened.roles), opened.end_s
        write_whole(target, logger_text(made), what="the logger file")
        typer.echo(f"Read with it, the log lasts {lasts_s:.6g} s and has {', '.join(roles)}.")
        typer.echo(f"Written: {target}\nNext: benchlog check {log} --plan PLAN.toml")


def _shown(draft: "Draft") -> None:
    typer.echo(f"{draft.seen.path.name} begins its table like this:")
    for line, text in draft.seen.shown:
        typer.echo(f"  line {line}: {printable(text[:_WIDTH])}")


def _table(draft: "Draft") -> None:
    typer.echo("Taken as (number, header, a value, meaning, why):")
    for column in draft.seen.columns:
        meant = draft.meant[column.number]
        value = next((cell for cell in column.cells if cell), "")
        what = "not used"
        if meant.role == "time":
            what = f"time ({', '.join(draft.time.values())})"
        elif meant.role:
            sign = ", positive charges" if meant.positive == "charge" else ""
            what = f"{meant.role} {meant.unit or ROLE_UNITS[meant.role]}{sign}"
        why = f"  ({meant.why})" if meant.role else ""
        typer.echo(f"  {column.number:2} {column.header[:24]:24} {value[:20]:20} {what}{why}")


def _columns(draft: "Draft", asker: Asker) -> None:
    from benchlog.log.foreign.guess import corrected

    typer.echo(_HELP)
    while True:
        _table(draft)
        found = asker.ask("Right? Enter, or a correction", lambda said: _correction(draft, said), "as shown")
        if found is None:
            return
        corrected(draft, *found)


def _correction(draft: "Draft", said: str) -> tuple[int, dict[str, str]] | None:
    """Column and what it is; None where all is right."""
    from benchlog.log.foreign.choices import check_roles
    from benchlog.log.foreign.units import unit_in

    if said == "as shown" or said.casefold() in ("y", "yes", "ok"):
        check_roles(draft)
        return None
    first, *words = said.split()
    if not first.isdigit() or int(first) not in draft.meant or not words:
        raise Unusable(f"a column's number (1 to {len(draft.meant)}) and what it is are needed, such as: 2 battery_v")
    what: dict[str, str] = {}
    for word in words:
        if word == "-":
            what["role"] = ""
        elif word in ROLE_UNITS or word == "time":
            what["role"] = "time" if word == "time_s" else word
        elif word in ("charge", "discharge"):
            what["positive"] = word
        elif unit_in(word) in UNITS:
            what["unit"] = str(unit_in(word))
        else:
            raise Unusable(f'"{word}" is no role, unit or direction; {_HELP}')
    return int(first), what


def _unknown(draft: "Draft", asker: Asker) -> None:
    """What no guess can know."""
    from benchlog.log.foreign.choices import accuracy_of
    from benchlog.log.foreign.dates import turned_round

    if draft.day_unsure:
        shown = draft.seen.columns[draft.times[0] - 1].cells[0]
        first = draft.time["format"].startswith("%d")
        if asker.yes(f"In {shown}, is the first number the day?", first) is not first:
            draft.time["format"] = turned_round(draft.time["format"])
    for number_of, meant in draft.meant.items():
        if meant.unsure:
            out = asker.yes(f"Column {number_of}: is a current out of the battery (a load) positive?", True)
            draft.meant[number_of] = replace(meant, positive="discharge" if out else "charge")
    if not draft.times:
        draft.rate_hz = asker.ask("No column tells the time. Samples a second", number)
    elif draft.unit_unsure and list(draft.time) == ["unit"]:
        draft.time["unit"] = asker.ask("Unit of the time column (s, ms, us)", _time_unit, draft.time["unit"])
    for own, word in (("V", "voltages"), ("A", "currents")):
        if any(ROLE_UNITS.get(meant.role) == own for meant in draft.meant.values()):
            what = f"Accuracy of the {word}, as the manual prints it (0.5 % + 2 digits; Enter: not stated)"
            limits = asker.ask(what, accuracy_of, "")
            if limits is not None:
                draft.accuracy[own] = limits


def _time_unit(said: str) -> str:
    if said not in ("s", "ms", "us"):
        raise Unusable("s, ms or us is needed")
    return said
