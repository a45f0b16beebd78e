"""The file of meter readings: one meter, and what it showed where and in which state of the bike."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import ConfigDict, Field

from benchlog.core.roles import ROLE_UNITS, SLOTS, UNITS
from benchlog.core.toml_files import TomlTable, load, schema, validated
from benchlog.core.toml_text import tables_of
from benchlog.meter.shown import figure_of, is_figure, is_over_range

#: Between which a voltage can be measured, in the order of the current; the trigger's side last.
POINTS = (
    "battery +",
    "fuse in",
    "fuse out",
    "30",
    "87",
    "block",
    *(f"slot {n}" for n in range(1, SLOTS + 1)),
    *(f"device {n} {sign}" for n in range(1, SLOTS + 1) for sign in "+-"),
    "bus",
    "battery -",
    "key line",
    "86",
    "85",
)
STATES = ("asleep", "key on", "all on", "cranking", "running", *(f"slot {n} on" for n in range(1, SLOTS + 1)))
_ROLES = tuple(role for role in ROLE_UNITS if role not in ("time_s", "mark"))


class Precision(TomlTable):
    """Accuracy as a meter's manual prints it: ± per cent of the reading + digits of the last place."""

    pct: float = Field(ge=0, le=100, description="per cent of the reading", examples=[0.5])
    digits: float = Field(ge=0, le=1000, description="steps of the last place shown", examples=[2])


class MeterTable(TomlTable):
    """The meter."""

    name: str = Field(default="hand meter", min_length=1, description="what it is called", examples=["hand meter"])
    voltage: Precision | None = Field(default=None, description="its accuracy for voltage")
    current: Precision | None = Field(default=None, description="its accuracy for current")
    taken: datetime | None = Field(
        default=None,
        description="when the readings were taken; without an offset in this computer's time zone",
        examples=["2026-11-30T18:20:00"],
    )


class ReadingTable(TomlTable):
    """One reading."""

    model_config = ConfigDict(populate_by_name=True)

    role: str | None = Field(default=None, description="what was measured", examples=["drain_a"])
    start: str | None = Field(
        default=None, alias="from", description="red probe, for a voltage between two points", examples=["battery +"]
    )
    end: str | None = Field(default=None, alias="to", description="black probe", examples=["block"])
    state: str = Field(description="of the bike", examples=["asleep"])
    value: str = Field(description="as shown: its digits tell the resolution", examples=["0.61"])
    unit: str = Field(description="mA, A, mV, V or degC", examples=["mA"])
    waited_s: float | None = Field(default=None, ge=0, description="since the key-off, s", examples=[1800])
    lowest: str | None = Field(default=None, description="where the meter keeps it", examples=["0.58"])
    highest: str | None = Field(default=None, description="where the meter keeps it", examples=["0.66"])
    watched_s: float = Field(default=0.0, ge=0, description="how long lowest and highest were kept, s", examples=[600])
    averaged_s: float = Field(default=0.0, ge=0, description="over how long the meter averaged, s", examples=[600])
    loads_on: bool = Field(default=False, description="with the engine running: every planned circuit was on")
    pct: float | None = Field(default=None, ge=0, le=100, description="accuracy in this range, where it differs")
    digits: float | None = Field(default=None, ge=0, le=1000, description="accuracy in this range, where it differs")


class ReadingsFile(TomlTable):
    """A file of meter readings."""

    meter: MeterTable = MeterTable()
    reading: tuple[ReadingTable, ...] = Field(strict=False, min_length=1)


def load_readings(path: str | Path) -> ReadingsFile:
    """Read a file of meter readings.

    Raises:
        BadReadings: the file cannot be read or does not fit; names every fault.
    """
    return load(path, "file of meter readings", ReadingsFile, _disagreements)


def readings_from_text(text: str, where: str) -> ReadingsFile:
    """The same from a file's text that was kept.

    Raises:
        BadReadings: it does not fit.
    """
    return validated(tables_of(text), "file of meter readings", ReadingsFile, _disagreements, where)


def readings_schema() -> dict[str, Any]:
    """The JSON Schema of a file of meter readings, for editors and other programs."""
    return schema(ReadingsFile)


def reading_faults(table: Mapping[str, Any]) -> list[str]:
    """What does not go together within one reading, as it stands in a file; none where it can be used."""
    return [f"{key} {text}" if key else text for key, text in _misfits(table)]


def _disagreements(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """What does not go together within a reading: (path, text)."""
    readings = data.get("reading")
    for number, table in enumerate(readings if isinstance(readings, list) else (), start=1):
        if isinstance(table, Mapping):
            for key, text in _misfits(table):
                yield f"reading[{number}]" + (f".{key}" if key else ""), text


def _misfits(table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    role, state, unit = table.get("role"), table.get("state"), table.get("unit")
    points = [table.get("from"), table.get("to")]
    if (role is None) == (points == [None, None]) or (None in points and points != [None, None]):
        yield "", 'needs either a role or both from and to, such as role = "drain_a", or from = "battery +", to = "bus"'
    for key in ("from", "to"):
        if isinstance(table.get(key), str) and table[key] not in POINTS:
            yield key, f'must be a point such as "battery +", "block", "slot 1" or "bus", got "{table[key]}"'
    if isinstance(role, str) and role not in _ROLES:
        yield "role", f'must be a role such as "battery_v", "drain_a" or "slot1_a", got "{role}"'
    if isinstance(state, str) and state not in STATES:
        yield "state", f'must be one of asleep, key on, all on, slot N on, cranking, running, got "{state}"'
    wanted = ROLE_UNITS.get(role, "V") if isinstance(role, str) else "V"
    if isinstance(unit, str) and UNITS.get(unit, ("", 1.0))[0] != wanted:
        known = " or ".join(name for name, (base, _) in UNITS.items() if base == wanted)
        yield "unit", f'must be {known} here, got "{unit}"'
    for key in ("value", "lowest", "highest"):
        said = table.get(key)
        if isinstance(said, str) and not is_figure(said) and not is_over_range(said):
            yield key, f'must be a number as the meter shows it, such as "0.61", or "OL", got "{said}"'
    yield from _misordered(table)


def _misordered(table: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """A lowest value above the one that stood there is a slip of the pen."""
    shown = {
        key: figure_of(said)
        for key in ("lowest", "value", "highest")
        if isinstance(said := table.get(key), str) and is_figure(said)
    }
    order = list(shown.items())
    for (lower, low), (upper, high) in pairwise(order):
        if low > high:
            yield lower, f"is above {upper} ({low:g} > {high:g}); both are in the unit of the value"
