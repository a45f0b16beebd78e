"""A logger: its channels and how its log tells time, from its file or from a log's own headers."""

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, PrivateAttr

from benchlog.core.errors import BadLogger
from benchlog.core.roles import ROLE_UNITS
from benchlog.core.toml_files import TomlTable, load, schema, validated
from benchlog.logger.channels import (
    TIME_UNITS,
    Channel,
    LogTime,
    TimeUnit,
    channel_faults,
    suits,
    tidy_unit,
    unit_fault,
)

__all__ = [
    "TIME_UNITS",
    "Channel",
    "LogTime",
    "Logger",
    "LoggerFile",
    "LoggerName",
    "TimeUnit",
    "load_logger",
    "logger_from_headers",
    "logger_from_mapping",
    "logger_schema",
    "tidy_unit",
]

#: Columns of the open Battery Data Format: label, machine name -> role. There positive current charges.
_BATTERY_DATA_FORMAT = {
    "voltage / v": "battery_v",
    "voltage_volt": "battery_v",
    "current / a": "battery_a",
    "current_ampere": "battery_a",
    "ambient temperature / degc": "battery_c",
    "ambient_temperature_celsius": "battery_c",
}
_BATTERY_DATA_TIMES: dict[str, TimeUnit] = {
    "test time / s": "s",
    "test_time_second": "s",
    "unix time / s": "epoch_s",
    "unix_time_second": "epoch_s",
}


class LoggerName(TomlTable):
    """The logger as a whole."""

    name: str = Field(default="logger", min_length=1, description="what it is called", examples=["two-range logger"])
    rate_hz: float | None = Field(
        default=None, gt=0, description="samples a second; only where the log has no time column", examples=[1000]
    )


class LoggerFile(TomlTable):
    """A logger file."""

    logger: LoggerName = LoggerName()
    time: LogTime | None = None
    channel: tuple[Channel, ...] = Field(strict=False, min_length=1)


class Logger(TomlTable):
    """A logger: its channels, and how its log tells time.

    Where neither ``rate_hz`` nor ``time`` is set, the log itself must have a ``time_s`` column.
    """

    name: str = "logger"
    rate_hz: float | None = Field(default=None, gt=0)
    time: LogTime | None = None
    channel: tuple[Channel, ...] = Field(strict=False, min_length=1)

    _notes: tuple[str, ...] = PrivateAttr(default=())

    @property
    def notes(self) -> tuple[str, ...]:
        """What in the file was not used, and why: one sentence each."""
        return self._notes

    def channel_of(self, role: str) -> Channel | None:
        """The channel with this role, if there is one."""
        return next((channel for channel in self.channel if channel.role == role), None)


def load_logger(path: str | Path) -> Logger:
    """Read a logger file.

    Raises:
        BadLogger: the file cannot be read or does not describe a logger; names every fault.
    """
    return _logger(load(path, "logger file", LoggerFile, _disagreements))


def logger_from_mapping(data: Mapping[str, Any], where: str = "logger") -> Logger:
    """Make a logger from nested tables, as a TOML or JSON reader gives them.

    Raises:
        BadLogger: with every fault and its path.
    """
    return _logger(validated(data, "logger file", LoggerFile, _disagreements, where))


def logger_schema() -> dict[str, Any]:
    """The JSON Schema of a logger file, for editors and other programs."""
    return schema(LoggerFile)


def _logger(file: LoggerFile) -> Logger:
    notes = [
        f"{channel.role}: unit {channel.unit} is a current already, so shunt_mohm is not used"
        for channel in file.channel
        if channel.shunt_mohm is not None and not channel.is_shunt_voltage
    ]
    rate_hz = file.logger.rate_hz
    if rate_hz is not None and file.time is not None:
        rate_hz = None
        listed = '" and "'.join(str(column) for column in file.time.columns)
        notes.append(f'time is taken from column "{listed}", so rate_hz is not used')
    logger = Logger(name=file.logger.name, rate_hz=rate_hz, time=file.time, channel=file.channel)
    logger._notes = tuple(notes)
    return logger


#: What meters and loggers write beyond their range, where no logger file says (common practice, no source).
USUAL_OVER_RANGE = ("OL",)


def logger_from_headers(headers: Iterable[str]) -> Logger | None:
    """The logger that a log's own headers describe; its accuracy is not stated.

    Headers are role names, each with an optional unit (``battery_a [mA]``, ``time_s (ms)``), or the columns
    of the open Battery Data Format, whose positive current charges. Other columns are left alone.
    ``OL`` in a cell means over range.

    Returns:
        None where no header is a role.

    Raises:
        BadLogger: a role with a unit that is unknown or does not suit it, or a role named twice.
    """
    found: dict[str, Channel] = {}
    times: list[LogTime] = []
    faults: list[str] = []
    for header in headers:
        role, unit, positive = _header(header)
        if role == "time_s":
            if times and times[0].unit != "epoch_s":
                continue
            if unit not in TIME_UNITS:
                faults.append(f'column "{header}": {unit_fault(unit, TIME_UNITS)}')
                continue
            times[:0] = [LogTime(column=header, unit=unit)]  # type: ignore[arg-type] # checked in the line above
        elif role is None:
            continue
        elif role in found:
            faults.append(f'column "{header}": {role} is already in column "{found[role].column}"; rename one of them')
        elif fault := suits(role, unit, None):
            faults.append(f'column "{header}": {fault}')
        else:
            over = () if role == "mark" else USUAL_OVER_RANGE
            found[role] = Channel(column=header, role=role, unit=unit, positive=positive, over_range=over)
    if faults:
        raise BadLogger("the log's header line", faults)
    if not found:
        return None
    return Logger(name="the log's own headers", time=times[0] if times else None, channel=tuple(found.values()))


def _header(header: str) -> tuple[str | None, str, Literal["discharge", "charge"]]:
    """Role, unit and sign in a header; no role where it is another column."""
    tidy = header.strip().lstrip("\ufeff").strip("\"' ")
    folded = " ".join(tidy.casefold().split())
    if folded in _BATTERY_DATA_TIMES:
        return "time_s", _BATTERY_DATA_TIMES[folded], "discharge"
    if role := _BATTERY_DATA_FORMAT.get(folded):
        return role, ROLE_UNITS[role], "charge" if role == "battery_a" else "discharge"
    match = re.fullmatch(r"(\w+)\s*(?:\[(.*)\]|\((.*)\))?", tidy)
    role = match[1].casefold() if match else ""
    if match is None or role not in ROLE_UNITS:
        return None, "", "discharge"
    return role, tidy_unit(match[2] or match[3] or ROLE_UNITS[role]), "discharge"


def _disagreements(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults between the keys of a raw logger file: (path, text)."""
    time = data.get("time")
    time_column: object = None
    if isinstance(time, Mapping):
        time_column = time.get("column")
        unit = time.get("unit")
        if time.get("format") is not None and unit not in (None, "iso8601"):
            yield "time.unit", f"format says how dates are written, {unit} that the time is a number; leave one out"
        elif isinstance(time_column, (list, tuple)) and unit not in (None, "iso8601"):
            yield "time.unit", f"two columns are a date and a time, {unit} is a number's; leave it out"
        if time.get("wraps_at") is not None and unit in ("epoch_s", "epoch_ms", "iso8601"):
            yield "time.wraps_at", f"a counter in s, ms or us wraps, {unit} does not; leave it out"
    channels = data.get("channel")
    seen: dict[str, str] = {}
    for number, channel in enumerate(channels if isinstance(channels, (list, tuple)) else (), start=1):
        path = f"channel[{number}]"
        if not isinstance(channel, Mapping):
            continue
        yield from ((f"{path}.{key}", text) for key, text in channel_faults(channel))
        role = channel.get("role")
        if isinstance(role, str) and role in seen:
            yield f"{path}.role", f"{role} is already the role of {seen[role]}; each role once"
        elif isinstance(role, str):
            seen[role] = path
        times = time_column if isinstance(time_column, (list, tuple)) else (time_column,)
        if channel.get("column") is not None and channel.get("column") in times:
            yield f"{path}.column", "is the time column already; name another"
