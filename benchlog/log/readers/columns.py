"""Which column of a log holds which role."""

import math
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchlog.core.errors import BadLog, BadLogger, MissingColumns, UnknownColumns
from benchlog.core.roles import ROLE_UNITS
from benchlog.log.readers.leftover import leftover_notes, meant_header

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

_MOST_COLUMNS = 1_000
_LONGEST = 200  # letters of a header that are looked at: what is compared takes the square of them


@dataclass(frozen=True, slots=True)
class Column:
    """One column of numbers.

    Attributes:
        index: from 0.
        role: what it measures.
        factor, addend: canonical value = number in the column * factor + addend.
        over: cell texts that mean over range.
        over_numbers: those of them that are numbers.
        unit: the numbers' own, where a cell names another.
    """

    index: int
    role: str
    factor: float
    addend: float
    over: tuple[str, ...]
    over_numbers: frozenset[float]
    unit: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """The columns to read; all others are ignored.

    Attributes:
        time: the time's column from 0; None where ``logger.rate_hz`` counts it.
        more_time: the columns whose cells belong behind it: the time of day beside the date.
        mark: the mark column from 0, or None.
        unused: a sentence for each header that was not used but looks like a role, and one for all others.
    """

    logger: "Logger"
    columns: tuple[Column, ...]
    time: int | None
    mark: int | None
    unused: tuple[str, ...] = ()
    more_time: tuple[int, ...] = ()

    @property
    def roles(self) -> frozenset[str]:
        """All roles with numbers."""
        return frozenset(column.role for column in self.columns)

    @property
    def iso_time(self) -> bool:
        """The time column holds dates, or times of day, as text."""
        return self.time is not None and self.logger.time is not None and self.logger.time.unit == "iso8601"

    @property
    def texts(self) -> frozenset[int]:
        """Columns that are read as text."""
        times = {self.time, *self.more_time} if self.iso_time else set()
        return frozenset(index for index in (self.mark, *times) if index is not None)


def plain(header: str) -> str:
    """A header as it is compared: the two Unicode forms of µ are one, spaces at the ends do not count."""
    header = header[:_LONGEST]
    return header.strip() if header.isascii() else unicodedata.normalize("NFKC", header).strip()


def resolve(
    where: str, logger: "Logger | None", headers: Sequence[str] | None, width: int, line: int | None = None
) -> Wanted:
    """Find each channel's column.

    Args:
        where: the log's name, for the message.
        logger: what the columns mean; None to take it from the headers.
        headers: None where the log has none.
        width: how many columns there are.
        line: where the header stands, from 1, for the message.

    Raises:
        BadLog: columns are missing or named twice, no header is a role, or nothing gives the time.
    """
    if width > _MOST_COLUMNS or len(headers or ()) > _MOST_COLUMNS:
        raise BadLog(
            where,
            f"it has {max(width, len(headers or ()))} columns, at most {_MOST_COLUMNS} are read; "
            "export those alone that the logger measured",
        )
    names = [plain(header) for header in headers or ()]
    if logger is None:
        logger = from_headers(where, names, line)
    there = _Headers(where, names, width)
    places = [there.index_of(column) for column in logger.time.columns] if logger.time is not None else []
    time = places[0] if places else None
    more_time = tuple(place for place in places[1:] if place is not None)
    columns, mark = _channels_of(logger, there)
    there.refuse_lacking()
    if mark is None:
        mark = next((n for n, name in enumerate(names) if name.casefold() == "mark"), None)
    if time is None and logger.rate_hz is None:
        fallback = _time_header(names)
        if fallback is None:
            raise _without_time(where, names)
        logger = logger.model_copy(update={"time": fallback.time})
        time = there.index_of(fallback.time.columns[0]) if fallback.time is not None else None
    if not columns:
        raise BadLog(
            where,
            "no column holds a voltage, current or temperature; give at least one column such a role, such as "
            "battery_v",
        )
    used = {column.index for column in columns} | {time, mark, *more_time}
    known = {channel.role for channel in logger.channel} | ({"time_s"} if mark is None else {"time_s", "mark"})
    unused = tuple(leftover_notes(names, used, known))
    return Wanted(logger, tuple(columns), time, mark, unused, more_time)


def _without_time(where: str, names: Sequence[str]) -> UnknownColumns:
    return UnknownColumns(
        where,
        f"nothing gives the time: there is no column time_s and no rate{_meant(names, ('time_s',))}; "
        f"run benchlog logger {where}, which asks for it, add a time_s column, or [time] or rate_hz in a logger file",
    )


class _Headers:
    """The columns of one log, found by header or number; what is asked for and not there is remembered.

    Attributes:
        where: the log's name, for messages. lacking: what was not there, as it was asked for.
    """

    def __init__(self, where: str, names: Sequence[str], width: int) -> None:
        """``names``: the headers; none where the log has none."""
        self.where, self._names, self._width = where, names, width
        self.lacking: list[str | int] = []

    def index_of(self, column: str | int) -> int | None:
        """The column's place from 0; None where it is not there."""
        if isinstance(column, int):
            if 1 <= column <= self._width:
                return column - 1
            self.lacking.append(column)
            return None
        name = plain(column)
        found = [n for n, header in enumerate(self._names) if header == name]
        found = found or [n for n, header in enumerate(self._names) if header.casefold() == name.casefold()]
        if len(found) > 1:
            listed = " and ".join(str(n + 1) for n in found)
            raise BadLog(
                self.where,
                f"columns {listed} are both headed '{name}'; give the right one's number in the logger file instead, "
                f"as column = {found[0] + 1}",
            )
        if not found:
            self.lacking.append(column)
            return None
        return found[0]

    def refuse_lacking(self) -> None:
        """Refuse the log where something was not there."""
        if not self.lacking:
            return
        faults = [
            f"'{column}'" if isinstance(column, str) else f"column {column} (the log has {self._width})"
            for column in self.lacking
        ]
        listed = ", ".join(f"'{name}'" for name in self._names)
        raise MissingColumns(
            self.where,
            f"the logger file names columns that the log lacks: {', '.join(faults)}; the log has "
            f"{listed or f'{self._width} columns and no header'}; "
            "correct `column` in the logger file, or the header line",
            self.lacking,
        )


def _channels_of(logger: "Logger", there: _Headers) -> tuple[list[Column], int | None]:
    """The columns of a logger's channels, and that of its marks."""
    columns, mark = list[Column](), None
    seen: dict[str, str | int] = {}
    for channel in logger.channel:
        if channel.role in seen:
            both = f"'{seen[channel.role]}' and '{channel.column}'"
            raise BadLog(there.where, f"columns {both} are both {channel.role}; keep one, a role has one column")
        seen[channel.role] = channel.column
        index = there.index_of(channel.column)
        if index is None:
            continue
        if channel.role == "mark":
            mark = index
            continue
        factor, addend = channel.to_canonical()
        over = tuple(text.strip() for text in channel.over_range)
        columns.append(Column(index, channel.role, factor, addend, over, _numbers(over), channel.unit))
    return columns, mark


def from_headers(where: str, names: Sequence[str], line: int | None = None) -> "Logger":
    """The logger that headers alone describe; ``line``: where they stand, from 1, for the message.

    Raises:
        BadLog: none of them is a role.
    """
    from benchlog.logger.model import logger_from_headers

    try:
        found = logger_from_headers(names) if names else None
    except BadLogger as why:
        faults = "; ".join(why.faults)
        advice = "" if ";" in faults else "; correct the header"
        raise BadLog(where, f"the header line cannot be used: {faults}{advice}") from None
    if found is None:
        what = "no column" if _time_header(names) is None else "no column other than the time"
        has = f"its headers are {', '.join(repr(name) for name in names)}" if names else "it has no header line"
        raise UnknownColumns(
            where if line is None else f"{where}, line {line}",
            f"{what} is known: {has}{_meant(names)}; run benchlog logger {where}, which asks what the columns mean, "
            "use role names such as time_s, battery_v, battery_a as headers, or name a logger file (--logger)",
        )
    return found


def _meant(names: Sequence[str], roles: Collection[str] = tuple(ROLE_UNITS)) -> str:
    found = ((name, meant_header(name, roles)) for name in names)
    alike = [f"'{name}' looks like {header}" for name, header in found if header not in (None, name)]
    return f" ({', '.join(alike)})" if alike else ""


def _time_header(names: Sequence[str]) -> "Logger | None":
    from benchlog.logger.model import logger_from_headers

    for name in names:
        try:
            found = logger_from_headers([name, "battery_v"])  # a time alone describes no logger
        except BadLogger:
            continue
        if found is not None and found.time is not None:
            return found
    return None


def _numbers(texts: Sequence[str]) -> frozenset[float]:
    numbers = []
    for text in texts:
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            continue
        if math.isfinite(number):
            numbers.append(number)
    return frozenset(numbers)
