"""Which logger it is: the one whose file names just the columns that its lines have."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchlog.bench.listening.hearing import Heard
from benchlog.core.errors import BenchlogError
from benchlog.core.roles import TICKS_A_SECOND
from benchlog.log.readers.lines import LineParser, Parsed
from benchlog.log.readers.lines.meaning import names_needed
from benchlog.logger.model import Logger, load_logger

_FILES = ("reference_logger/reference.logger.toml", "avr/avr.logger.toml")


@dataclass(frozen=True, slots=True)
class Recognised:
    """A logger that speaks.

    Attributes:
        logger: what its columns mean; None where neither a file nor the columns' own names say.
        from_file: a logger file says so, with its accuracy; else the names are roles.
        rate_hz: samples a second, by its own time where it sends one; None where too few came.
        widest_step: the longest step over the middle one; 1 for a steady pace, 2 where a sample was missed.
        kept, refused: lines.
        last: role -> its newest value, in canonical units and signs.
        notes: the stream's own.
    """

    logger: Logger | None
    from_file: bool
    rate_hz: float | None
    widest_step: float
    kept: int
    refused: int
    last: dict[str, float]
    notes: tuple[str, ...]


def reference_loggers() -> list[Logger]:
    """The loggers whose firmware comes with benchlog: in the installed package, or beside it in a source tree."""
    package = Path(__file__).parents[2]
    installed = package / "firmware_notes"
    folder = installed if installed.is_dir() else package.parent / "firmware_notes"
    return [load_logger(folder / name) for name in _FILES]


def recognise(heard: Heard, loggers: Sequence[Logger]) -> Recognised:
    """Match what was heard.

    Args:
        heard: with a form.
        loggers: those that it may be, the likeliest first.
    """
    assert heard.form is not None
    for logger in loggers:
        if names_needed(logger, heard.form.columns):
            continue
        try:
            return _recognised(heard, logger, logger)
        except BenchlogError:
            continue  # its columns by number do not suit these lines
    return _recognised(heard, None, None)


def _recognised(heard: Heard, logger: Logger | None, named: Logger | None) -> Recognised:
    parser = LineParser(logger, "the stream")
    parsed = parser.feed(_from_header(heard), few=True, last=True)
    meaning = parser.meaning
    if parsed is None or meaning is None:
        return Recognised(named, named is not None, None, 1.0, 0, 0, {}, ())
    rate_hz, widest = _pace(parsed, heard, meaning.logger, own_time=not meaning.adds_time)
    known = meaning.logger if meaning.known else None
    last = {role: float(column[-1]) for role, column in parsed.raw.values.items() if len(column)} if known else {}
    refused = sum(parsed.refused.values())
    return Recognised(known, named is not None, rate_hz, widest, len(parsed.raw), refused, last, parsed.notes)


def _from_header(heard: Heard) -> bytes:
    """The lines, their header first, as whoever waited for it knows them: no line before it is lost."""
    form = heard.form
    whole = heard.data[heard.data.find(b"\n") + 1 :]
    if form is None or not form.headed or form.kind != "csv":
        return whole
    return form.separator.join(form.columns).encode() + b"\n" + whole


def _pace(parsed: Parsed, heard: Heard, logger: Logger, *, own_time: bool) -> tuple[float | None, float]:
    rows = len(parsed.raw)
    if rows < 2:
        return None, 1.0
    if not own_time or parsed.raw.time is None or logger.time is None:
        return (rows / heard.took_s if heard.took_s > 0 else None), 1.0
    steps = np.diff(parsed.raw.time.astype(np.float64))
    steps = steps[steps > 0]  # a counter that wraps, or a logger that starts anew, falls back once
    if not len(steps):
        return None, 1.0
    middle = float(np.median(steps))
    return TICKS_A_SECOND[logger.time.unit] / middle, float(steps.max()) / middle
