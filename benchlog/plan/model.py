"""What was planned: the TOML file of one install, checked in full and frozen."""

import math
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeGuard

from pydantic import AfterValidator, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from benchlog.core.roles import SLOTS
from benchlog.core.toml_files import TomlTable, load, schema, validated
from benchlog.plan.wiring import M_PER_FT, Conductor, conductor

#: V at which a device rated in watts draws them: between rest and charging (common practice, no source).
RATED_V = 13.0
CHEMISTRIES = ("flooded", "agm", "gel", "lifepo4")


def _wire_size(text: str) -> str:
    try:
        conductor(text)
    except ValueError as fault:
        raise PydanticCustomError("wire_size", "{text}", {"text": str(fault)}) from None
    return text


Name = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f-\x9f]*$")
]
Wire = Annotated[str, AfterValidator(_wire_size)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]


def _open(**words: Any) -> Any:
    """A key that a plan may leave open; ``words`` are those of ``pydantic.Field``."""
    return Field(default=None, **words)


class Run(TomlTable):
    """A wire run."""

    conductor: Wire | None = _open(description='wire size: "4 mm2" or "12 AWG"', examples=["4 mm2"])
    length_m: Positive | None = _open(le=100, description="one way, m", examples=[1.5])
    length_ft: Positive | None = _open(le=328, description="one way, ft; instead of length_m", examples=[5.0])

    @property
    def wire(self) -> Conductor | None:
        """The size, read."""
        return None if self.conductor is None else conductor(self.conductor)

    @property
    def run_m(self) -> float | None:
        """Length one way, m, in whichever unit it was given."""
        return self.length_ft * M_PER_FT if self.length_ft is not None else self.length_m


class Install(TomlTable):
    """The finished wiring job."""

    bike: Name = Field(description="the season is kept under this name", examples=["Larch"])
    notes: str | None = _open(description="free text", examples=["winter touring bike"])
    suggested: tuple[str, ...] = Field(
        default=(),
        strict=False,
        description="limits that benchlog suggested and nobody has confirmed yet",
        examples=[["off_state_drain_ma"]],
    )


class Battery(TomlTable):
    """The bike's battery."""

    chemistry: Literal["flooded", "agm", "gel", "lifepo4"] = Field(description="its kind", examples=["agm"])
    capacity_ah: Positive = Field(description="rated capacity, Ah", examples=[11.2])


class Relay(TomlTable):
    """The relay that switches the feed."""

    trigger: Name | None = _open(
        description="the switched circuit that feeds terminal 86 (DIN 72552)", examples=["tail lamp"]
    )
    trigger_fuse_a: Positive | None = _open(description="the trigger wire's own fuse, A", examples=[1])
    coil_a: Positive | None = _open(description="coil current, A", examples=[0.14])
    contact_a: Positive | None = _open(description="contact rating, A", examples=[30])
    suppression: Literal["none", "resistor", "diode"] | None = _open(
        description="what takes up the coil's spike", examples=["diode"]
    )
    pull_in_max_ms: Positive | None = _open(description="trigger up to feed up, at most, ms", examples=[30])
    drop_out_max_ms: Positive | None = _open(description="trigger down to feed down, at most, ms", examples=[60])


class Feed(Run):
    """Battery + through the feed fuse and relay to the fuse block's positive stud."""

    fuse_a: Positive | None = _open(description="feed fuse, A", examples=[20])
    unfused_m: NotNegative | None = _open(
        le=100, description="wire from battery + to the feed fuse, m", examples=[0.12]
    )
    unfused_ft: NotNegative | None = _open(le=328, description="the same, ft; instead of unfused_m", examples=[0.4])
    drop_max_v: Positive | None = _open(
        description="battery + to fuse block at the planned load, at most, V", examples=[0.30]
    )

    @property
    def unfused_run_m(self) -> float | None:
        """Wire that no fuse protects, m, in whichever unit it was given."""
        return self.unfused_ft * M_PER_FT if self.unfused_ft is not None else self.unfused_m


class Ground(Run):
    """Ground bus to battery negative."""

    lift_max_v: Positive | None = _open(
        description="ground bus above battery negative at the planned load, at most, V", examples=[0.10]
    )


def _amperes_or_watts(schema: dict[str, Any]) -> None:
    """Either key will do, which the fields alone do not say."""
    schema["required"] = [key for key in schema["required"] if key != "planned_a"]
    schema["anyOf"] = [{"required": ["planned_a"]}, {"required": ["planned_w"]}]


class Circuit(Run):
    """One fuse block position: its device, wire and fuse."""

    model_config = ConfigDict(json_schema_extra=_amperes_or_watts)

    slot: int = Field(ge=1, le=SLOTS, description=f"fuse block position, 1 to {SLOTS}", examples=[1])
    device: Name = Field(description="what is connected", examples=["heated grips"])
    planned_a: Positive = Field(description="planned current, A", examples=[3.5])
    planned_w: Positive | None = _open(
        description=f"planned power, W, instead of planned_a; taken at {RATED_V:g} V", examples=[45]
    )
    tolerance_pct: float = Field(default=20.0, ge=0, le=100, description="allowed either way, per cent", examples=[20])
    fuse_a: Positive | None = _open(description="its fuse, A", examples=[5])

    @model_validator(mode="before")
    @classmethod
    def _from_watts(cls, data: Any) -> Any:
        """The current of a power."""
        if not isinstance(data, Mapping) or data.get("planned_a") is not None:
            return data
        watts = data.get("planned_w")
        if isinstance(watts, (int, float)) and not isinstance(watts, bool) and math.isfinite(watts) and watts > 0:
            return {**data, "planned_a": amperes(watts)}
        return data


class Alternator(TomlTable):
    """What the alternator gives, for the budget of the planned load."""

    idle_a: Positive | None = _open(description="at idle, A", examples=[12])
    speed_a: Positive | None = _open(description="at riding speed, A", examples=[30])
    bike_a: NotNegative | None = _open(description="what the bike itself needs, A", examples=[10])


class Limits(TomlTable):
    """Limits of the measured values; one that is left out makes its check 'not planned'."""

    off_state_drain_ma: NotNegative | None = _open(description="key off, settled, at most, mA", examples=[1.0])
    added_drain_ma: NotNegative | None = _open(
        description="over the log recorded before the install, at most, mA", examples=[0.2]
    )
    settle_max_s: NotNegative | None = _open(description="key-off to settled, at most, s", examples=[120])
    feed_off_max_v: NotNegative | None = _open(description="feed with the key off, at most, V", examples=[0.5])
    battery_sag_max_v: Positive | None = _open(
        description="battery's fall under the planned load, at most, V", examples=[0.6]
    )
    source_resistance_max_mohm: Positive | None = _open(description="battery to its posts, at most, mΩ", examples=[40])
    resting_min_v: Positive | None = _open(description="battery at rest, at least, V", examples=[12.6])
    crank_min_v: Positive | None = _open(description="battery while cranking, at least, V", examples=[9.6])
    feed_in_crank: Literal["hold", "drop", "any"] | None = _open(
        description="what the feed must do while cranking; any = not judged", examples=["any"]
    )
    charging_min_v: Positive | None = _open(description="battery with the engine running, V", examples=[13.5])
    charging_max_v: Positive | None = _open(description="battery with the engine running, V", examples=[14.8])
    charging_balance_min_a: float | None = _open(
        description="net current into the battery, engine running, at least, A", examples=[0.0]
    )


class Plan(TomlTable):
    """The planned values of one install."""

    install: Install
    battery: Battery
    relay: Relay | None = None
    feed: Feed | None = None
    ground: Ground | None = None
    alternator: Alternator | None = None
    circuit: tuple[Circuit, ...] = Field(default=(), strict=False, max_length=SLOTS)
    limits: Limits = Limits()

    @model_validator(mode="after")
    def _agrees(self) -> "Plan":
        for path, text in _disagreements(self.model_dump()):
            raise PydanticCustomError("disagree", "{path}: {text}", {"path": path, "text": text})
        return self

    @property
    def planned_load_a(self) -> float:
        """The planned load, A: all circuits together."""
        return sum((circuit.planned_a for circuit in self.circuit), 0.0)


def slots_in_order(plan: Plan) -> list[Circuit]:
    """The plan's circuits by slot number."""
    return sorted(plan.circuit, key=lambda circuit: circuit.slot)


def load_plan(path: str | Path) -> Plan:
    """Read a plan file.

    Raises:
        BadPlan: the file cannot be read or does not describe a plan; names every fault.
    """
    return load(path, "plan", Plan, _disagreements)


def plan_from_mapping(data: Mapping[str, Any], where: str = "plan") -> Plan:
    """Make a plan from nested tables, as a TOML or JSON reader gives them.

    Args:
        data: the tables.
        where: what to call the source in an error.

    Raises:
        BadPlan: with every fault and its path.
    """
    return validated(data, "plan", Plan, _disagreements, where)


def plan_schema() -> dict[str, Any]:
    """The JSON Schema of a plan file, for editors and other programs."""
    return schema(Plan)


def amperes(watts: float) -> float:
    """The current of a device that is rated in watts, A."""
    return round(watts / RATED_V, 3)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _disagreements(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Faults between keys of raw tables: (path, text). Wrong types are others' to report."""
    circuits = data.get("circuit")
    tables = {"feed": data.get("feed"), "ground": data.get("ground")}
    if isinstance(circuits, (list, tuple)):
        tables |= {f"circuit[{n}]": circuit for n, circuit in enumerate(circuits, start=1)}
    seen: dict[int, str] = {}
    for path, table in tables.items():
        if not isinstance(table, Mapping):
            continue
        if table.get("length_m") is not None and table.get("length_ft") is not None:
            yield f"{path}.length_ft", "give length_m or length_ft, not both"
        if table.get("unfused_m") is not None and table.get("unfused_ft") is not None:
            yield f"{path}.unfused_ft", "give unfused_m or unfused_ft, not both"
        watts, amps = table.get("planned_w"), table.get("planned_a")
        if _is_number(watts) and _is_number(amps) and amps != amperes(watts):
            yield f"{path}.planned_w", "give planned_a or planned_w, not both"
        slot = table.get("slot")
        if type(slot) is int and slot in seen:
            yield f"{path}.slot", f"slot {slot} is already taken by {seen[slot]}; give each circuit its own"
        elif type(slot) is int:
            seen[slot] = path
    limits = data.get("limits")
    if isinstance(limits, Mapping):
        low, high = limits.get("charging_min_v"), limits.get("charging_max_v")
        if isinstance(low, (int, float)) and isinstance(high, (int, float)) and low > high:
            yield "limits.charging_max_v", f"must be at least charging_min_v ({low:g}), got {high:g}"
