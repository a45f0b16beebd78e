"""What was planned: the TOML file of one install, checked in full and frozen."""

import difflib
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, ValidationError, model_validator
from pydantic_core import ErrorDetails, PydanticCustomError

from benchlog.errors import BadPlan
from benchlog.roles import SLOTS
from benchlog.wiring import M_PER_FT, Conductor, conductor

CHEMISTRIES = ("flooded", "agm", "gel", "lifepo4")
_LARGEST_FILE = 1_000_000  # bytes; a plan or logger file is a few thousand


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


class Table(BaseModel):
    """A table of a file of settings: frozen, unknown keys and numbers written as text refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


class Run(Table):
    """A wire run."""

    conductor: Wire | None = Field(default=None, description='wire size: "4 mm2" or "12 AWG"', examples=["4 mm2"])
    length_m: Positive | None = Field(default=None, le=100, description="one way, m", examples=[1.5])
    length_ft: Positive | None = Field(
        default=None, le=328, description="one way, ft; instead of length_m", examples=[5.0]
    )

    @property
    def wire(self) -> Conductor | None:
        """The size, read."""
        return None if self.conductor is None else conductor(self.conductor)

    @property
    def run_m(self) -> float | None:
        """Length one way, m, in whichever unit it was given."""
        return self.length_ft * M_PER_FT if self.length_ft is not None else self.length_m


class Install(Table):
    """The finished wiring job."""

    bike: Name = Field(description="the season is kept under this name", examples=["Larch"])
    notes: str | None = Field(default=None, description="free text", examples=["winter touring bike"])


class Battery(Table):
    """The bike's battery."""

    chemistry: Literal["flooded", "agm", "gel", "lifepo4"] = Field(description="its kind", examples=["agm"])
    capacity_ah: Positive = Field(description="rated capacity, Ah", examples=[11.2])


class Relay(Table):
    """The relay that switches the feed."""

    trigger: Name | None = Field(
        default=None, description="the switched circuit that feeds terminal 86 (DIN 72552)", examples=["tail lamp"]
    )
    coil_a: Positive | None = Field(default=None, description="coil current, A", examples=[0.14])
    contact_a: Positive | None = Field(default=None, description="contact rating, A", examples=[30])
    suppression: Literal["none", "resistor", "diode"] | None = Field(
        default=None, description="what takes up the coil's spike", examples=["diode"]
    )
    pull_in_max_ms: Positive | None = Field(
        default=None, description="trigger up to feed up, at most, ms", examples=[30]
    )
    drop_out_max_ms: Positive | None = Field(
        default=None, description="trigger down to feed down, at most, ms", examples=[60]
    )


class Feed(Run):
    """Battery + through the feed fuse and relay to the fuse block's positive stud."""

    fuse_a: Positive | None = Field(default=None, description="feed fuse, A", examples=[20])
    drop_max_v: Positive | None = Field(
        default=None, description="battery + to fuse block at the planned load, at most, V", examples=[0.30]
    )


class Ground(Run):
    """Ground bus to battery negative."""

    lift_max_v: Positive | None = Field(
        default=None, description="ground bus above battery negative at the planned load, at most, V", examples=[0.10]
    )


class Circuit(Run):
    """One fuse block position: its device, wire and fuse."""

    slot: int = Field(ge=1, le=SLOTS, description=f"fuse block position, 1 to {SLOTS}", examples=[1])
    device: Name = Field(description="what is connected", examples=["heated grips"])
    planned_a: Positive = Field(description="planned current, A", examples=[3.5])
    tolerance_pct: float = Field(default=20.0, ge=0, le=100, description="allowed either way, per cent", examples=[20])
    fuse_a: Positive | None = Field(default=None, description="its fuse, A", examples=[5])


class Limits(Table):
    """Limits of the measured values; one that is left out makes its check 'not planned'."""

    off_state_drain_ma: NotNegative | None = Field(
        default=None, description="key off, settled, at most, mA", examples=[1.0]
    )
    added_drain_ma: NotNegative | None = Field(
        default=None, description="over the log recorded before the install, at most, mA", examples=[0.2]
    )
    settle_max_s: NotNegative | None = Field(default=None, description="key-off to settled, at most, s", examples=[120])
    feed_off_max_v: NotNegative | None = Field(
        default=None, description="feed with the key off, at most, V", examples=[0.5]
    )
    battery_sag_max_v: Positive | None = Field(
        default=None, description="battery's fall under the planned load, at most, V", examples=[0.6]
    )
    source_resistance_max_mohm: Positive | None = Field(
        default=None, description="battery to its posts, at most, mΩ", examples=[40]
    )
    resting_min_v: Positive | None = Field(default=None, description="battery at rest, at least, V", examples=[12.6])
    crank_min_v: Positive | None = Field(
        default=None, description="battery while cranking, at least, V", examples=[9.6]
    )
    feed_in_crank: Literal["hold", "drop", "any"] | None = Field(
        default=None, description="what the feed must do while cranking; any = not judged", examples=["any"]
    )
    charging_min_v: Positive | None = Field(
        default=None, description="battery with the engine running, V", examples=[13.5]
    )
    charging_max_v: Positive | None = Field(
        default=None, description="battery with the engine running, V", examples=[14.8]
    )
    charging_balance_min_a: float | None = Field(
        default=None, description="net current into the battery, engine running, at least, A", examples=[0.0]
    )


class Plan(Table):
    """The planned values of one install."""

    install: Install
    battery: Battery
    relay: Relay | None = None
    feed: Feed | None = None
    ground: Ground | None = None
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


def load_plan(path: str | Path) -> Plan:
    """Read a plan file.

    Raises:
        BadPlan: the file cannot be read or does not describe a plan; names every fault.
    """
    text, faults = read_settings(Path(path))
    data = {} if faults else parse_settings(text, faults)
    if faults:
        raise BadPlan(str(path), faults)
    return plan_from_mapping(data, where=str(path), lines=lines_of(text))


def plan_from_mapping(data: Mapping[str, Any], where: str = "plan", lines: Mapping[str, int] | None = None) -> Plan:
    """Make a plan from nested tables, as a TOML or JSON reader gives them.

    Args:
        data: the tables.
        where: what to call the source in an error.
        lines: path of a key -> its line, for errors.

    Raises:
        BadPlan: with every fault and its path.
    """
    plan, faults = validated(Plan, data, _disagreements, lines or {})
    if plan is None:
        raise BadPlan(where, faults)
    return plan


def plan_schema() -> dict[str, Any]:
    """The JSON Schema of a plan file, for editors and other programs."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **Plan.model_json_schema()}


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


# Reading a file of settings and wording its faults; the logger file is read the same way.

Model = TypeVar("Model", bound=BaseModel)
Cross = Callable[[Mapping[str, Any]], Iterable[tuple[str, str]]]


def read_settings(path: Path) -> tuple[str, list[str]]:
    """The text of a small UTF-8 file, or what is wrong with it."""
    try:
        if path.is_dir():
            return "", ["is a folder, not a file; name the .toml file in it"]
        if not path.exists():
            return "", ["no such file; check the name and the folder"]
        if not path.is_file():
            return "", ["is not an ordinary file; name a .toml file"]
        if (size := path.stat().st_size) > _LARGEST_FILE:
            return "", [f"holds {size / 1e6:.1f} MB, at most 1 MB is expected; is this a log?"]
        raw = path.read_bytes()
    except (OSError, ValueError) as fault:
        return "", [f"cannot be read ({str(getattr(fault, 'strerror', None) or fault).lower()}); check its permissions"]
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        return "", [f"line {line}: is not UTF-8 text; save it as UTF-8"]


def parse_settings(text: str, faults: list[str]) -> dict[str, Any]:
    """The tables of a TOML text; a syntax error is added to ``faults``, with its line."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        faults.append("is nested too deeply for a file of settings")
    except ValueError as fault:  # also what Python says to a number of thousands of digits
        found = re.fullmatch(r"(.*?) \(at line (\d+), column (\d+)\)", str(fault), re.DOTALL)
        at = f"line {found[2]}, column {found[3]}: " if found else ""
        what = found[1] if found else str(fault).removesuffix(" (at end of document)")
        if not isinstance(fault, tomllib.TOMLDecodeError):
            what = "a number has thousands of digits"
        faults.append(f"{at}is not valid TOML: {what[:1].lower()}{what[1:]}; texts need quotes, decimals a point")
    return {}


def lines_of(text: str) -> dict[str, int]:
    """Path of each key and table in a TOML text of the usual plain layout -> its line."""
    lines: dict[str, int] = {}
    table = ""
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if found := re.match(r"\s*\[\[\s*([\w-]+)\s*\]\]", line):
            counts[found[1]] = counts.get(found[1], 0) + 1
            table = f"{found[1]}[{counts[found[1]]}]"
            lines.setdefault(table, number)
        elif found := re.match(r"\s*\[\s*([\w-]+)\s*\]", line):
            table = found[1]
            lines.setdefault(table, number)
        elif found := re.match(r"\s*[\"']?([\w-]+)[\"']?\s*=", line):
            lines.setdefault(f"{table}.{found[1]}" if table else found[1], number)
    return lines


def validated(
    model: type[Model], data: Mapping[str, Any], cross: Cross, lines: Mapping[str, int]
) -> tuple[Model | None, list[str]]:
    """The model made from ``data``, or None and every fault found, in the order of the file where it is known."""
    faults: list[tuple[str, str]] = []
    made: Model | None = None
    try:
        made = model.model_validate(dict(data))
    except ValidationError as error:
        faults += [
            (_path(detail["loc"]), _fault(model, detail))
            for detail in error.errors()
            if detail["type"] != "disagree" and not (detail["type"] == "too_short" and detail["input"])
        ]
    faults += cross(data)
    texts = []
    for path, text in sorted(faults, key=lambda fault: lines.get(fault[0], lines.get(fault[0].rpartition(".")[0], 0))):
        line = f" (line {lines[path]})" if path in lines else ""
        texts.append(f"{path}: {text}{line}")
    return (None if texts else made), texts


def near(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, if any."""
    known = list(known)
    folded = {each.casefold(): each for each in reversed(known)}
    found = difflib.get_close_matches(word.casefold(), folded, n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def shown(value: object) -> str:
    """A value as an error shows it: short, texts in quotes, tables by name."""
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, (list, tuple)):
        return "a list"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = text.replace("\n", " ")
    return text if len(text) <= 60 else f"{text[:57]}..."


def _path(loc: tuple[int | str, ...]) -> str:
    path = ""
    for step in loc:
        path += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if path else str(step)
    return path


def _model_at(model: type[BaseModel], loc: Iterable[int | str]) -> type[BaseModel]:
    """The table's model at a place in the file."""
    for step in loc:
        if isinstance(step, str) and step in model.model_fields:
            model = next(iter(_models_in(model.model_fields[step].annotation)), model)
    return model


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _fault(model: type[BaseModel], detail: ErrorDetails) -> str:
    """One fault of the validation in plain words: what was needed, what was found, what to do."""
    *above, key = detail["loc"] or ("",)
    table = _model_at(model, above)
    kind, ctx, got = detail["type"], detail.get("ctx", {}), shown(detail["input"])
    match kind:
        case "extra_forbidden":
            return _unknown_key(model, table, str(key))
        case "missing":
            return f"missing; {_example(table, str(key))}"
        case "greater_than":
            return f"must be > {ctx['gt']:g}, got {got}"
        case "greater_than_equal":
            return f"must be >= {ctx['ge']:g}, got {got}"
        case "less_than_equal":
            return f"must be <= {ctx['le']:g}, got {got}"
        case "finite_number":
            return f"must be a finite number, got {got}"
        case "float_type" | "int_type" | "int_from_float" | "float_parsing":
            number = "a whole number" if kind.startswith("int") else "a number"
            hint = ", without quotes" if isinstance(detail["input"], str) else ""
            return f"must be {number}{hint}, got {got}"
        case "string_type":
            return f"must be text in quotes, got {got}"
        case "string_too_short":
            return f"must not be empty; {_example(table, str(key))}"
        case "string_pattern_mismatch":
            return f"must be one line of plain text, got {got}"
        case "literal_error":
            words = [word for word in get_args_flat(table.model_fields[str(key)].annotation) if word is not None]
            meant = near(str(detail["input"]), words)
            return f"must be one of {', '.join(words)}, got {got}" + (f"; did you mean {meant}?" if meant else "")
        case "model_type":
            if isinstance(detail["input"], list):
                return f"must be one table, got a list; write [{key}] in single brackets"
            return f"must be a table, got {got}; write [{key}] and its keys below it"
        case "tuple_type":
            if next(_models_in(table.model_fields[str(key)].annotation), None):
                return f"must be a list of tables, got {got}; write [[{key}]] in double brackets"
            return f"must be a list in brackets, got {got}"
        case "too_short":
            return f"is empty; {_example(table, str(key))}"
        case "too_long":
            return f"at most {ctx['max_length']} are possible, got {ctx['actual_length']}"
        case _:
            text = str(ctx.get("text", detail["msg"]))
            return text[:1].lower() + text[1:] if kind not in ("wire_size", "worded") else text


def get_args_flat(annotation: Any) -> list[Any]:
    """The words of a Literal, inside a union or not."""
    parts = get_args(annotation)
    return [word for part in parts for word in (get_args_flat(part) or ([part] if isinstance(part, str) else []))]


def _unknown_key(model: type[BaseModel], table: type[BaseModel], key: str) -> str:
    if meant := near(key, table.model_fields):
        return f"unknown key; did you mean {meant}?"
    for name, field in model.model_fields.items():
        inside = next(_models_in(field.annotation), None)
        if inside is not None and key in inside.model_fields:
            return f"unknown key here; it belongs in [{name}]"
    return f"unknown key; known are {', '.join(table.model_fields)}"


def _example(table: type[BaseModel], key: str) -> str:
    field = table.model_fields[key]
    inside = next(_models_in(field.annotation), None)
    if inside is not None:
        needed = [name for name, each in inside.model_fields.items() if each.is_required()]
        header = f"[{key}]" if inside is field.annotation else f"[[{key}]]"
        return f"add {header} with {' and '.join(needed)}"
    example = (field.examples or [""])[0]
    return f"for example {key} = " + (f'"{example}"' if isinstance(example, str) else f"{example}")
