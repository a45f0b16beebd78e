"""What the channels of a logger mean: column, role, unit, sign and accuracy."""

import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, Field, JsonValue, PlainValidator, PrivateAttr, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from benchlog.errors import BadLogger
from benchlog.plan import Table, lines_of, near, parse_settings, read_settings, shown, validated
from benchlog.roles import ROLE_UNITS, UNITS

TimeUnit = Literal["s", "ms", "us", "epoch_s", "epoch_ms", "iso8601"]
TIME_UNITS: tuple[str, ...] = get_args(TimeUnit)
_CHANNEL_UNITS = tuple(unit for unit, (canonical, _) in UNITS.items() if canonical != "s")

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


def _known_role(role: str) -> str:
    if fault := _role_fault(role):
        raise PydanticCustomError("worded", "{text}", {"text": fault})
    return role


def _known_unit(unit: str) -> str:
    plain = tidy_unit(unit)
    if plain not in _CHANNEL_UNITS and plain != "text":
        raise PydanticCustomError("worded", "{text}", {"text": _unit_fault(unit, _CHANNEL_UNITS)})
    return plain


def _column(column: object) -> str | int:
    if (type(column) is int and column >= 1) or (isinstance(column, str) and column):
        return column
    text = f"must be a header in quotes or a column number from 1, got {shown(column)}"
    raise PydanticCustomError("worded", "{text}", {"text": text})


Column = Annotated[
    str | int,
    PlainValidator(_column),
    WithJsonSchema({"anyOf": [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 1}]}),
]
_ROLES: list[JsonValue] = [role for role in ROLE_UNITS if role != "time_s"]


class LogTime(Table):
    """The log's time column."""

    column: Column = Field(description="a header, or a column number from 1", examples=["t_us"])
    unit: TimeUnit = Field(default="s", description="unit of the column", examples=["us"])
    wraps_at: float | None = Field(
        default=None, gt=0, description="where the counter wraps to 0, in `unit`", examples=[4294967296]
    )


class Channel(Table):
    """One column of the log, and what is known of it."""

    column: Column = Field(description="a header, or a column number from 1", examples=["I_batt"])
    role: Annotated[str, AfterValidator(_known_role)] = Field(
        description="what it measures", examples=["battery_a"], json_schema_extra={"enum": _ROLES}
    )
    unit: Annotated[str, AfterValidator(_known_unit)] = Field(
        default="", description="uV mV V, uA mA A or degC; the role's own unit if left out", examples=["mA"]
    )
    shunt_mohm: float | None = Field(
        default=None, gt=0, description="mΩ, only where the column is a shunt voltage", examples=[0.75]
    )
    scale: float = Field(default=1.0, description="value = column * scale + offset, in `unit`", examples=[1.0])
    offset: float = Field(default=0.0, description="in `unit`", examples=[0.0])
    positive: Literal["discharge", "charge"] = Field(
        default="discharge", description="what a positive current means", examples=["discharge"]
    )
    gain_error_pct: float | None = Field(
        default=None, ge=0, description="half-width of the maker's limits, per cent of reading", examples=[0.2]
    )
    offset_error: float | None = Field(
        default=None, ge=0, description="half-width of the maker's limits, in `unit`", examples=[0.05]
    )
    resolution: float | None = Field(default=None, ge=0, description="smallest step, in `unit`", examples=[0.02])
    over_range: tuple[str, ...] = Field(
        default=(), strict=False, description="column texts that mean over range", examples=[["OL"]]
    )
    low_side_mohm: float | None = Field(
        default=None,
        gt=0,
        description="mΩ of a shunt between battery negative and the ground bus: it lifts the bus by its own drop",
        examples=[0.75],
    )

    @model_validator(mode="before")
    @classmethod
    def _own_unit(cls, data: Any) -> Any:
        """Where no unit is given, the role's own."""
        if isinstance(data, Mapping) and not data.get("unit", "") and isinstance(data.get("role"), str):
            own = ROLE_UNITS.get(data["role"], "V")
            return {**data, "unit": "V" if own == "s" else own}
        return data

    @model_validator(mode="after")
    def _agrees(self) -> "Channel":
        for key, text in _channel_disagreements(self.model_dump()):
            raise PydanticCustomError("disagree", "{text}", {"text": f"{key}: {text}"})
        return self

    @property
    def is_current(self) -> bool:
        """Its role is a current."""
        return ROLE_UNITS[self.role] == "A"

    @property
    def is_shunt_voltage(self) -> bool:
        """Its column is the voltage across a shunt and is turned into a current."""
        return self.is_current and UNITS[self.unit][0] == "V"

    @property
    def _to_si(self) -> float:
        """Canonical units per `unit`, without the sign."""
        if self.unit == "text":
            return 1.0
        factor = UNITS[self.unit][1]
        return factor * 1000.0 / self.shunt_mohm if self.is_shunt_voltage and self.shunt_mohm else factor

    def to_canonical(self) -> tuple[float, float]:
        """(factor, addend): value in the role's own unit and sign = column * factor + addend."""
        sign = -1.0 if self.positive == "charge" and self.is_current else 1.0
        return sign * self.scale * self._to_si, sign * self.offset * self._to_si

    @property
    def gain_rel(self) -> float | None:
        """Half-width of the gain's limits, as a fraction of the reading; None where not stated."""
        return None if self.gain_error_pct is None else self.gain_error_pct / 100.0

    @property
    def offset_c(self) -> float | None:
        """Half-width of the offset's limits, in the role's own unit; None where not stated."""
        return None if self.offset_error is None else self.offset_error * self._to_si

    @property
    def resolution_c(self) -> float | None:
        """Smallest step, in the role's own unit; None where not stated."""
        return None if self.resolution is None else self.resolution * self._to_si


class LoggerName(Table):
    """The logger as a whole."""

    name: str = Field(default="logger", min_length=1, description="what it is called", examples=["two-range logger"])
    rate_hz: float | None = Field(
        default=None, gt=0, description="samples a second; only where the log has no time column", examples=[1000]
    )


class LoggerFile(Table):
    """A logger file."""

    logger: LoggerName = LoggerName()
    time: LogTime | None = None
    channel: tuple[Channel, ...] = Field(strict=False, min_length=1)


class Logger(Table):
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
    text, faults = read_settings(Path(path))
    data = {} if faults else parse_settings(text, faults)
    if faults:
        raise BadLogger(str(path), faults)
    return logger_from_mapping(data, where=str(path), lines=lines_of(text))


def logger_from_mapping(
    data: Mapping[str, Any], where: str = "logger", lines: Mapping[str, int] | None = None
) -> Logger:
    """Make a logger from nested tables, as a TOML or JSON reader gives them.

    Raises:
        BadLogger: with every fault and its path.
    """
    file, faults = validated(LoggerFile, data, _disagreements, lines or {})
    if file is None:
        raise BadLogger(where, faults)
    notes = [
        f"{channel.role}: unit {channel.unit} is a current already, so shunt_mohm is not used"
        for channel in file.channel
        if channel.shunt_mohm is not None and not channel.is_shunt_voltage
    ]
    rate_hz = file.logger.rate_hz
    if rate_hz is not None and file.time is not None:
        rate_hz = None
        notes.append(f'time is taken from column "{file.time.column}", so rate_hz is not used')
    logger = Logger(name=file.logger.name, rate_hz=rate_hz, time=file.time, channel=file.channel)
    logger._notes = tuple(notes)
    return logger


def logger_schema() -> dict[str, Any]:
    """The JSON Schema of a logger file, for editors and other programs."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **LoggerFile.model_json_schema()}


def logger_from_headers(headers: Iterable[str]) -> Logger | None:
    """The logger that a log's own headers describe; its accuracy is not stated.

    Headers are role names, each with an optional unit (``battery_a [mA]``, ``time_s (ms)``), or the columns
    of the open Battery Data Format, whose positive current charges. Other columns are left alone.

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
                faults.append(f'column "{header}": {_unit_fault(unit, TIME_UNITS)}')
                continue
            times[:0] = [LogTime(column=header, unit=unit)]  # type: ignore[arg-type] # checked in the line above
        elif role is None:
            continue
        elif role in found:
            faults.append(f'column "{header}": {role} is already in column "{found[role].column}"; rename one of them')
        elif fault := _suits(role, unit, None):
            faults.append(f'column "{header}": {fault}')
        else:
            found[role] = Channel(column=header, role=role, unit=unit, positive=positive)
    if faults:
        raise BadLogger("the log's header line", faults)
    if not found:
        return None
    return Logger(name="the log's own headers", time=times[0] if times else None, channel=tuple(found.values()))


def tidy_unit(unit: str) -> str:
    """A unit in the plain spelling: ``µA`` is ``uA``, ``°C`` is ``degC``."""
    plain = unit.strip().replace("\u00b5", "u").replace("\u03bc", "u")
    return "degC" if plain in ("°C", "℃", "C") else plain


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


def _role_fault(role: str) -> str | None:
    if role == "time_s":
        return 'is not a channel; describe the time column in [time], as column = "time_s"'
    if role in ROLE_UNITS:
        return None
    meant = near(role, ROLE_UNITS)
    hint = f"did you mean {meant}?" if meant else f"known are {', '.join(_short_roles())}"
    return f'unknown role "{role}"; {hint}'


def _short_roles() -> Iterator[str]:
    yield from (role for role in ROLE_UNITS if not role.startswith("slot") and role != "time_s")
    yield "slot1_a to slot12_a"
    yield "slot1_v to slot12_v"


def _unit_fault(unit: str, known: Iterable[str]) -> str:
    known = tuple(known)
    meant = next((each for each in known if each.casefold() == unit.casefold()), None)
    return f'unknown unit "{unit}"; ' + (f"did you mean {meant}?" if meant else f"known are {', '.join(known)}")


def _suits(role: str, unit: str, shunt_mohm: object) -> str | None:
    """Why a unit does not suit a role, if it does not."""
    own = ROLE_UNITS[role]
    if own == "text":
        return None if unit == "text" else f"{role} is text and has no unit, got {unit}"
    if unit not in _CHANNEL_UNITS:
        return _unit_fault(unit, _CHANNEL_UNITS)
    if UNITS[unit][0] == own or (own == "A" and UNITS[unit][0] == "V" and shunt_mohm is not None):
        return None
    fitting = ", ".join(each for each in _CHANNEL_UNITS if UNITS[each][0] == own)
    hint = "; for a shunt voltage give shunt_mohm" if own == "A" and UNITS[unit][0] == "V" else ""
    return f"{unit} does not suit {role}, which needs {fitting}{hint}"


def _channel_disagreements(channel: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults between the keys of one raw channel: (key, text)."""
    role = channel.get("role")
    if not isinstance(role, str) or role not in _ROLES:
        return
    unit = channel.get("unit") or ROLE_UNITS[role]
    shunt_mohm = channel.get("shunt_mohm")
    if isinstance(unit, str) and (tidy_unit(unit) in _CHANNEL_UNITS or tidy_unit(unit) == "text"):
        fault = _suits(role, tidy_unit(unit), shunt_mohm)
        if fault:
            yield "unit", fault
    if ROLE_UNITS[role] != "A":
        for key in ("shunt_mohm", "low_side_mohm"):
            if channel.get(key) is not None:
                yield key, f"suits currents only, and {role} is none"
        if channel.get("positive") == "charge":
            yield "positive", f"suits currents only, and {role} is none"
    if channel.get("scale") == 0:
        yield "scale", "must not be 0: every value would be the same"


def _disagreements(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults between the keys of a raw logger file: (path, text)."""
    time = data.get("time")
    time_column: object = None
    if isinstance(time, Mapping):
        time_column = time.get("column")
        unit = time.get("unit")
        if time.get("wraps_at") is not None and unit in ("epoch_s", "epoch_ms", "iso8601"):
            yield "time.wraps_at", f"a counter in s, ms or us wraps, {unit} does not; leave it out"
    channels = data.get("channel")
    seen: dict[str, str] = {}
    for number, channel in enumerate(channels if isinstance(channels, (list, tuple)) else (), start=1):
        path = f"channel[{number}]"
        if not isinstance(channel, Mapping):
            continue
        yield from ((f"{path}.{key}", text) for key, text in _channel_disagreements(channel))
        role = channel.get("role")
        if isinstance(role, str) and role in seen:
            yield f"{path}.role", f"{role} is already the role of {seen[role]}; each role once"
        elif isinstance(role, str):
            seen[role] = path
        if time_column is not None and channel.get("column") == time_column:
            yield f"{path}.column", "is the time column already; name another"
