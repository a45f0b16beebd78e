"""A look at a dropped log, in a process of its own: is it foreign, and what are its columns?"""

import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from benchlog.core.errors import BadLog, BadLogger, BenchlogError, UnknownColumns
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.typed import Unusable
from benchlog.log.foreign.choices import Choices, check_roles, choose
from benchlog.log.foreign.dates import turned_round
from benchlog.log.foreign.guess import Draft, draft_of
from benchlog.log.foreign.look import look
from dashboards.apart import Tell

#: What of a file is read for the preview, bytes.
_HEAD_BYTES = 64 << 10
_SHOWN_ROWS, _SHOWN_CELLS = 6, 3
#: Cells of a column, from all over the file, among which those that are shown are found.
_LOOKED_AT = 40


@dataclass(frozen=True, slots=True)
class SightColumn:
    """One column as the form shows it.

    Attributes:
        number: from 1. header: its name. cells: a few of its cells.
        role, unit, positive, why: what it is taken for. unsure: nothing tells the direction of its current.
    """

    number: int
    header: str
    cells: tuple[str, ...]
    role: str
    unit: str
    positive: str
    why: str
    unsure: bool


@dataclass(frozen=True, slots=True)
class Sighted:
    """What was seen of a log.

    Attributes:
        foreign: its own headers do not say what it holds.
        fault: why it cannot be read as it is taken; "" where it can.
        lines: number and text of the lines where its table begins.
        columns: all of them.
        time: how its time is written; "" where no column tells it. other_time: with day and month the other way
            round, where nothing tells which it is. unit_unsure: no word tells the unit of its times.
        quantities: V and A, whichever it has.
        heads, rows: some of its rows as they are read.
        toml: the logger file; "" where there is none that will do.
    """

    foreign: bool
    fault: str = ""
    lines: tuple[tuple[int, str], ...] = ()
    columns: tuple[SightColumn, ...] = ()
    time: str = ""
    other_time: str = ""
    unit_unsure: bool = False
    quantities: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    toml: str = ""


@dataclass(frozen=True, slots=True)
class SightErrand:
    """A log to be looked at, and what was chosen already.

    Attributes:
        most_bytes, most_s: of memory and time.
    """

    path: Path
    choices: Choices = field(default_factory=Choices)
    most_bytes: int = 1 << 30
    most_s: float = 20.0

    def do(self, _tell: Tell) -> Sighted:
        """Look at it."""
        with tempfile.TemporaryDirectory() as folder:
            return _sighted(self, Path(folder))


def _sighted(errand: SightErrand, folder: Path) -> Sighted:
    head = _foreign_head(errand.path, folder)
    if head is None:
        return Sighted(foreign=False)
    try:
        draft = draft_of(look(errand.path))
    except BadLog as problem:
        return Sighted(foreign=True, fault=str(problem))
    guessed = _time_of(draft)
    other = turned_round(guessed) if draft.day_unsure else ""
    fault = toml = ""
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    try:
        choose(draft, errand.choices)
        check_roles(draft)
        heads, rows, toml = _read(draft, head, errand.path.name)
    except BadLogger as problem:
        fault = "; ".join(problem.faults)
    except (Unusable, BenchlogError) as problem:
        fault = str(problem)
    return Sighted(
        foreign=True,
        fault=fault,
        lines=draft.seen.shown,
        columns=tuple(_column(draft, number) for number in draft.meant),
        time=_time_of(draft),
        other_time={guessed: other, other: guessed}.get(_time_of(draft), "") if other else "",
        unit_unsure=draft.unit_unsure,
        quantities=tuple(
            own for own in ("V", "A") if any(ROLE_UNITS.get(meant.role) == own for meant in draft.meant.values())
        ),
        heads=heads,
        rows=rows,
        toml=toml,
    )


def _foreign_head(path: Path, folder: Path) -> Path | None:
    """The first lines of a log whose own headers do not say what it holds; None for any other."""
    from benchlog.log.log import Log

    try:
        head = _head(path, folder)
        if head is None:
            return None
        Log.open(head).close()
    except UnknownColumns:
        return head
    except BenchlogError:
        return None  # the check says what is wrong with it
    return None


def _head(path: Path, folder: Path) -> Path | None:
    """The first lines of a text as a file of its own; None for Parquet, which names its columns itself."""
    from benchlog.log.readers.cutting import text_of
    from benchlog.log.readers.source import Source

    source = Source(path)
    try:
        if source.head.startswith(b"PAR1"):
            return None
        text = text_of(source.read(_HEAD_BYTES))
    finally:
        source.close()
    whole, newline, _cut = text.rpartition("\n")
    head = folder / f"{path.name.partition('.')[0] or 'log'}.csv"
    head.write_text(whole + newline or text, encoding="utf-8", newline="")
    return head


def _read(draft: Draft, head: Path, name: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...], str]:
    """Heads and first rows as the log's own reader gives them, and the logger file."""
    from benchlog.bench.recording.beside import logger_text
    from benchlog.log.log import Log
    from benchlog.logger.model import logger_from_mapping

    logger = logger_from_mapping(draft.logger(name), "the form")
    with Log.open(head, logger) as opened:
        trace = opened.trace(opened.start_s, opened.end_s)
        roles = [role for role in ROLE_UNITS if role in trace.values]
        rows = tuple(
            (f"{trace.time_s[n]:.6g}", *(f"{trace.values[role][n]:.5g}" for role in roles))
            for n in _spread(len(trace.time_s))
        )
    return ("time / s", *(f"{role} / {ROLE_UNITS[role]}" for role in roles)), rows, logger_text(logger)


def _spread(rows: int) -> list[int]:
    """The first rows, and some on the way to the last of those that were read."""
    first = min(_SHOWN_ROWS // 2, rows)
    return sorted({*range(first), *(rows * n // (_SHOWN_ROWS - first + 1) for n in range(1, _SHOWN_ROWS - first + 1))})


def _column(draft: Draft, number: int) -> SightColumn:
    seen, meant = draft.seen.columns[number - 1], draft.meant[number]
    spread = [cell for cell in seen.cells[:: max(len(seen.cells) // _LOOKED_AT, 1)] if cell]
    cells = tuple(dict.fromkeys(spread))[:_SHOWN_CELLS]
    return SightColumn(number, seen.header, cells, meant.role, meant.unit, meant.positive, meant.why, meant.unsure)


def _time_of(draft: Draft) -> str:
    return "" if not draft.times else draft.time.get("format") or draft.time.get("unit") or ""
