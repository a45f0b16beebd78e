"""What a stream's columns mean, and where its samples' time comes from."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchlog.core.errors import BadLog, BadLogger, MissingColumns
from benchlog.log.readers.columns import Column, Wanted, plain, resolve

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

#: The column that is added where a stream has no time of its own.
ADDED_TIME = "time_s"


@dataclass(frozen=True, slots=True)
class Meaning:
    """What is read from each line.

    Attributes:
        wanted: the columns; without a time where that is added.
        logger: what the columns mean in the file that is written, added time included.
        rate_hz: samples a second, where the logger file counts them.
        adds_time: the stream has no time column, so one is added.
        known: at least one column has a role; else ``wanted`` holds the first column of numbers, by its own name.
    """

    wanted: Wanted
    logger: "Logger"
    rate_hz: float | None
    adds_time: bool
    known: bool


def meaning_of(where: str, logger: "Logger | None", columns: Sequence[str], numeric: Sequence[int]) -> Meaning:
    """Find each channel's column.

    Args:
        where: the stream's name, for messages.
        logger: what the columns mean; None to take it from their names.
        columns: their names.
        numeric: places, from 0, of the columns that hold numbers.

    Raises:
        BadLog: the logger file does not suit the stream.
    """
    if logger is None and not _any_role(where, columns):
        return _unknown(columns, numeric)
    try:
        wanted = resolve(where, logger, columns, len(columns))
    except MissingColumns:
        raise
    except BadLog:
        wanted = resolve(where, logger, [*columns, ADDED_TIME], len(columns) + 1)
    rate_hz = wanted.logger.rate_hz if wanted.time is None else None
    if wanted.time is not None and wanted.time < len(columns):
        return Meaning(wanted, wanted.logger, None, False, True)
    timed = _with_added_time(wanted.logger)
    stream = Wanted(timed, wanted.columns, None, wanted.mark)
    return Meaning(stream, timed, rate_hz, True, True)


def names_needed(logger: "Logger | None", columns: Sequence[str]) -> tuple[str, ...]:
    """Column names that the logger file uses and the stream has not shown."""
    if logger is None:
        return ()
    named = [channel.column for channel in logger.channel]
    if logger.time is not None:
        named += logger.time.columns
    there = {plain(name).casefold() for name in columns}
    return tuple(name for name in named if isinstance(name, str) and plain(name).casefold() not in there)


def _with_added_time(logger: "Logger") -> "Logger":
    from benchlog.logger.model import LogTime

    return logger.model_copy(update={"rate_hz": None, "time": LogTime(column=ADDED_TIME, unit="s")})


def _any_role(where: str, columns: Sequence[str]) -> bool:
    from benchlog.logger.model import logger_from_headers

    try:
        return logger_from_headers(columns) is not None
    except BadLogger as why:
        faults = "; ".join(why.faults)
        raise BadLog(
            where,
            f"the logger's header line cannot be used: {faults}; correct it in the logger, or say what the columns "
            "mean in a logger file (--logger)",
        ) from None


def _unknown(columns: Sequence[str], numeric: Sequence[int]) -> Meaning:
    """No column has a role: lines are kept as they come, one column of numbers is looked at."""
    from benchlog.logger.model import Logger

    nobody = Logger.model_construct(name="", rate_hz=None, time=None, channel=())
    first = numeric[0] if numeric else 0
    column = Column(first, columns[first], 1.0, 0.0, (), frozenset(), "V")
    timed = next((n for n, name in enumerate(columns) if _time_of(name) is not None), None)
    if timed is None:
        logger = _with_added_time(nobody)
        return Meaning(Wanted(logger, (column,), None, None), logger, None, True, False)
    logger = nobody.model_copy(update={"time": _time_of(columns[timed])})
    return Meaning(Wanted(logger, (column,), timed, None), logger, None, False, False)


def _time_of(name: str) -> object:
    from benchlog.logger.model import logger_from_headers

    try:
        found = logger_from_headers([name, "battery_v"])
    except BadLogger:
        return None
    return None if found is None else found.time
