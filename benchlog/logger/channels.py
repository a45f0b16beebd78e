"""One column of a log: what it measures, in which unit and sign, and how accurately; and the column of the time."""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, Field, JsonValue, PlainValidator, WithJsonSchema, model_validator
from pydantic_core import PydanticCustomError

from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.core.toml_faults import near, shown
from benchlog.core.toml_files import TomlTable

TimeUnit = Literal["s", "ms", "us", "epoch_s", "epoch_ms", "iso8601"]
TIME_UNITS: tuple[str, ...] = get_args(TimeUnit)
_CHANNEL_UNITS = tuple(unit for unit, (canonical, _) in UNITS.items() if canonical != "s")


def _known_role(role: str) -> str:
    if fault := _role_fault(role):
        raise PydanticCustomError("worded", "{text}", {"text": fault})
    return role


def _known_unit(unit: str) -> str:
    plain = tidy_unit(unit)
    if plain not in _CHANNEL_UNITS and plain != "text":
        raise PydanticCustomError("worded", "{text}", {"text": unit_fault(unit, _CHANNEL_UNITS)})
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


def _time_column(column: object) -> str | int | tuple[str | int, ...]:
    if isinstance(column, (list, tuple)):
        if len(column) == 2:
            return tuple(_column(each) for each in column)
        text = "must be a header in quotes or a column number from 1, got a list; a list names two: date and time"
        raise PydanticCustomError("worded", "{text}", {"text": text})
    return _column(column)


_COLUMN_SCHEMA: dict[str, Any] = {"anyOf": [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 1}]}
TimeColumn = Annotated[
    str | int | tuple[str | int, ...],
    PlainValidator(_time_column),
    WithJsonSchema(
        {"anyOf": [*_COLUMN_SCHEMA["anyOf"], {"type": "array", "items": _COLUMN_SCHEMA, "minItems": 2, "maxItems": 2}]}
    ),
]
_ROLES: list[JsonValue] = [role for role in ROLE_UNITS if role != "time_s"]


_DIRECTIVES = "dmYybHIMSfp"


def has_day(form: str) -> bool:
    """Whether a format has a date in it, not a time of day alone."""
    return "%d" in form


def _known_format(form: str) -> str:
    odd = [found for found in re.findall(r"%(.?)", form) if not found or found not in _DIRECTIVES]
    hours = "%H" in form or ("%I" in form and "%p" in form)
    day = [each in form for each in ("%d", "%m", "%b", "%Y", "%y")]
    whole = not any(day) or (day[0] and (day[1] or day[2]) and (day[3] or day[4]))
    if odd or not hours or "%M" not in form or not whole:
        what = f"%{odd[0]} is not known" if odd else "day, month and year, or hours and minutes, are not all in it"
        text = (
            f'{what}, got {shown(form)}; for example "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p", or "%H:%M:%S" alone'
        )
        raise PydanticCustomError("worded", "{text}", {"text": text})
    return form


class LogTime(TomlTable):
    """The log's time column."""

    column: TimeColumn = Field(
        description="a header, or a column number from 1; two in a list for date and time", examples=["t_us"]
    )
    unit: TimeUnit = Field(default="s", description="unit of the column", examples=["us"])
    wraps_at: float | None = Field(
        default=None, gt=0, description="where the counter wraps to 0, in `unit`", examples=[4294967296]
    )
    format: Annotated[str, AfterValidator(_known_format)] | None = Field(
        default=None,
        description="how dates that are not ISO 8601 are written: %d day, %m month, %Y year, %H hour, %I with %p",
        examples=["%d.%m.%Y %H:%M:%S"],
    )

    @model_validator(mode="before")
    @classmethod
    def _text_unit(cls, data: Any) -> Any:
        """A format, or two columns, are dates as text."""
        if not isinstance(data, Mapping) or "unit" in data:
            return data
        dates = data.get("format") is not None or isinstance(data.get("column"), (list, tuple))
        return {**data, "unit": "iso8601"} if dates else data

    @property
    def columns(self) -> tuple[str | int, ...]:
        """The one column, or those of date and time."""
        return self.column if isinstance(self.column, tuple) else (self.column,)

    @property
    def is_of_day(self) -> bool:
        """Its texts are times of day without a date, which begin again at midnight."""
        return self.format is not None and not has_day(self.format)


class Channel(TomlTable):
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
        default=(), strict=False, max_length=100, description="column texts that mean over range", examples=[["OL"]]
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
        for key, text in channel_faults(self.model_dump()):
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
    def offset_canonical(self) -> float | None:
        """Half-width of the offset's limits, in the role's own unit; None where not stated."""
        return None if self.offset_error is None else self.offset_error * self._to_si

    @property
    def resolution_c(self) -> float | None:
        """Smallest step, in the role's own unit; None where not stated."""
        return None if self.resolution is None else self.resolution * self._to_si


def tidy_unit(unit: str) -> str:
    """A unit in the plain spelling: ``µA`` is ``uA``, ``°C`` is ``degC``."""
    plain = unit.strip().replace("\u00b5", "u").replace("\u03bc", "u")
    return "degC" if plain in ("°C", "℃", "C") else plain


def _role_fault(role: str) -> str | None:
    if role == "time_s":
        return 'time_s is not a channel; describe the time column in [time], as column = "time_s"'
    if role in ROLE_UNITS:
        return None
    meant = near(role, ROLE_UNITS)
    hint = f"did you mean {meant}?" if meant else f"known are {', '.join(_short_roles())}"
    return f'unknown role "{role}"; {hint}'


def _short_roles() -> Iterator[str]:
    yield from (role for role in ROLE_UNITS if not role.startswith("slot") and role != "time_s")
    yield "slot1_a to slot12_a"
    yield "slot1_v to slot12_v"


def unit_fault(unit: str, known: Iterable[str]) -> str:
    known = tuple(known)
    meant = next((each for each in known if each.casefold() == unit.casefold()), None)
    return f'unknown unit "{unit}"; ' + (f"did you mean {meant}?" if meant else f"known are {', '.join(known)}")


def suits(role: str, unit: str, shunt_mohm: object) -> str | None:
    """Why a unit does not suit a role, if it does not."""
    own = ROLE_UNITS[role]
    if own == "text":
        return None if unit == "text" else f"{role} is text and has no unit, got {unit}; leave it out"
    if unit not in _CHANNEL_UNITS:
        return unit_fault(unit, _CHANNEL_UNITS)
    if UNITS[unit][0] == own or (own == "A" and UNITS[unit][0] == "V" and shunt_mohm is not None):
        return None
    fitting = ", ".join(each for each in _CHANNEL_UNITS if UNITS[each][0] == own)
    hint = "; for a shunt voltage give shunt_mohm" if own == "A" and UNITS[unit][0] == "V" else ""
    return f"{unit} does not suit {role}, which needs {fitting}{hint}"


def channel_faults(channel: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults between the keys of one raw channel: (key, text)."""
    role = channel.get("role")
    if not isinstance(role, str) or role not in _ROLES:
        return
    unit = channel.get("unit") or ROLE_UNITS[role]
    shunt_mohm = channel.get("shunt_mohm")
    if isinstance(unit, str) and (tidy_unit(unit) in _CHANNEL_UNITS or tidy_unit(unit) == "text"):
        fault = suits(role, tidy_unit(unit), shunt_mohm)
        if fault:
            yield "unit", fault if ";" in fault else f"{fault}; correct the unit or the role"
    if ROLE_UNITS[role] != "A":
        for key in ("shunt_mohm", "low_side_mohm"):
            if channel.get(key) is not None:
                yield key, f"applies to currents only, and {role} is not one; leave it out"
        if channel.get("positive") == "charge":
            yield "positive", f"applies to currents only, and {role} is not one; leave it out"
    if channel.get("scale") == 0:
        yield "scale", "must not be 0: every value would be the same; leave it out, or give the right factor"
