"""Files of settings in TOML: read, checked in full against a model, every fault reported at once with its line."""

import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from benchlog.core.errors import BadAnswers, BadLogger, BadPlan, BadReadings, reason_of
from benchlog.core.toml_faults import path_of, strange_numbers, worded
from benchlog.core.toml_text import TOO_DEEP, TOO_MANY_PARTS, tables_of

_LARGEST_FILE = 1_000_000  # bytes; a plan or logger file is a few thousand
_MOST_TOLD = 50  # faults of one file
_LONGEST_PATH = 120  # letters of a key as it is told

Model = TypeVar("Model", bound=BaseModel)
Cross = Callable[[Mapping[str, Any]], Iterable[tuple[str, str]]]
Kind = Literal["plan", "logger file", "file of answers", "file of meter readings"]
_REFUSALS: dict[Kind, type[BadPlan] | type[BadLogger] | type[BadAnswers] | type[BadReadings]] = {
    "plan": BadPlan,
    "logger file": BadLogger,
    "file of answers": BadAnswers,
    "file of meter readings": BadReadings,
}
#: Where the command line takes which file.
OPTIONS: dict[Kind, str] = {
    "plan": "with --plan",
    "logger file": "with --logger",
    "file of answers": "with --answers",
    "file of meter readings": "in place of a log",
}
#: First bytes of .docx and .odt, .rtf, and .doc.
_WRITTEN_BY_A_WORD_PROCESSOR = (b"PK\x03\x04", b"{\\rtf", b"\xd0\xcf\x11\xe0")
_TYPOGRAPHIC = re.compile("[\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb]")
_SIGNS: tuple[tuple[Kind, str], ...] = (
    # no \s, which runs over the ends of lines and tries again from each
    ("plan", r"^[\x20\t]*+\[[\x20\t]*+(install|battery)[\x20\t]*+\]"),
    ("logger file", r"^[\x20\t]*+\[\[[\x20\t]*+channel[\x20\t]*+\]\]"),
    ("file of answers", r"^[\x20\t]*+\[\[[\x20\t]*+answer[\x20\t]*+\]\]"),
    ("file of meter readings", r"^[\x20\t]*+(\[\[[\x20\t]*+reading[\x20\t]*+\]\]|\[[\x20\t]*+meter[\x20\t]*+\])"),
)


class TomlTable(BaseModel):
    """A table of a file of settings: frozen, unknown keys and numbers written as text refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


def load(path: str | Path, kind: Kind, model: type[Model], cross: Cross) -> Model:
    """Read a file of settings.

    Args:
        path: the file.
        kind: what it should be.
        model: of the whole file.
        cross: gives the faults between keys of raw tables: (path, text).

    Raises:
        BadPlan, BadLogger, BadAnswers: the file cannot be read or does not fit the model; names every fault.
    """
    text, faults = _read(Path(path))
    data = {} if faults else _parsed(text, faults)
    if (other := kind_of(text)) not in (None, kind):
        faults = [f"this is a {other}, not a {kind}; name it {OPTIONS[other]} and the {kind} {OPTIONS[kind]}"]
    if faults:
        raise _REFUSALS[kind](str(path), faults)
    return validated(data, kind, model, cross, str(path), _lines(text))


def validated(
    data: Mapping[str, Any],
    kind: Kind,
    model: type[Model],
    cross: Cross,
    where: str,
    lines: Mapping[str, int] | None = None,
) -> Model:
    """The model made from nested tables.

    Args:
        data: the tables, as a TOML or JSON reader gives them.
        kind, model, cross: as for ``load``.
        where: what to call the source in an error.
        lines: path of a key -> its line.

    Raises:
        BadPlan, BadLogger, BadAnswers: with every fault and its path, in the order of the file where it is known.
    """
    lines = lines or {}
    faults: list[tuple[str, str | ErrorDetails]] = []
    made: Model | None = None
    try:
        made = model.model_validate(dict(data))
    except ValidationError as error:
        faults += [
            (path_of(detail["loc"]), detail)
            for detail in error.errors(include_url=False)
            if detail["type"] != "disagree" and not (detail["type"] == "too_short" and detail["input"])
        ]
    faults += cross(data)
    named = {path for path, _ in faults}
    faults += [fault for fault in strange_numbers(data) if fault[0] not in named]
    if made is not None and not faults:
        return made
    faults.sort(key=lambda fault: lines.get(fault[0], lines.get(fault[0].rpartition(".")[0], 0)))
    told = []
    for path, fault in faults[:_MOST_TOLD]:  # looking for what was meant takes a while each
        text = fault if isinstance(fault, str) else worded(model, fault)
        told.append(f"{_short(path)}: {text}" + (f" (line {lines[path]})" if path in lines else ""))
    if len(faults) > _MOST_TOLD:
        told.append(f"and {len(faults) - _MOST_TOLD} more faults")
    raise _REFUSALS[kind](where, told)


def _short(path: str) -> str:
    return path if len(path) <= _LONGEST_PATH else f"{path[:_LONGEST_PATH]}…"


def schema(model: type[BaseModel]) -> dict[str, Any]:
    """The JSON Schema of a file of settings, for editors and other programs."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **model.model_json_schema()}


def kind_of(text: str) -> Kind | None:
    """What a text looks like, by its tables' names; None where it could be anything."""
    return next((kind for kind, sign in _SIGNS if re.search(sign, text, re.MULTILINE)), None)


def is_readings(path: Path) -> bool:
    """Whether a path names a file of meter readings, by its ending and its tables' names."""
    if path.suffix.lower() != ".toml":
        return False
    text, faults = _read(path)
    return not faults and kind_of(text) == "file of meter readings"


def _read(path: Path) -> tuple[str, list[str]]:
    """The text of a small UTF-8 file, or what is wrong with it."""
    try:
        if path.is_dir():
            return "", ["is a folder, not a file; name the .toml file in it"]
        if not path.exists():
            return "", ["no such file; check the name and the folder"]
        if not path.is_file():
            return "", ["is not an ordinary file; name a .toml file"]
        if (size := path.stat().st_size) > _LARGEST_FILE:
            return "", [f"holds {size / 1e6:.1f} MB, at most 1 MB is expected; this may be a log: name a .toml file"]
        raw = path.read_bytes()
    except (OSError, ValueError) as fault:
        return "", [f"cannot be read ({reason_of(fault)}); check its permissions"]
    if raw.startswith(_WRITTEN_BY_A_WORD_PROCESSOR):
        return "", ["is a word processor's document, not plain text; save it there as plain text (.txt) in UTF-8"]
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        return "", [f"line {line}: is not UTF-8 text; save it as UTF-8"]


def _parsed(text: str, faults: list[str]) -> dict[str, Any]:
    """The tables of a TOML text; a syntax error is added to ``faults``, with its line."""
    try:
        return tables_of(text)
    except ValueError as fault:
        if _is_table_of_numbers(text):
            faults.append(
                "this is a log, not a file of settings; the log comes first, then --plan or --logger FILE.toml"
            )
        elif str(fault) in (TOO_DEEP, TOO_MANY_PARTS):
            faults.append(str(fault))
        else:
            found = re.fullmatch(r"(.*?) \(at line (\d+), column (\d+)\)", str(fault), re.DOTALL)
            if named := _named_fault(str(fault), text, int(found[2]) if found else None):
                faults.append(named)
                return {}
            at = f"line {found[2]}, column {found[3]}: " if found else ""
            what = found[1] if found else str(fault).removesuffix(" (at end of document)")
            faults.append(f"{at}is not valid TOML: {what[:1].lower()}{what[1:]}; texts need quotes, decimals a point")
    return {}


def _named_fault(said: str, text: str, line: int | None) -> str | None:
    """What is really wrong where the syntax error only tells the consequence."""
    if twice := re.search(r"Cannot declare \('(\w+)',\) twice", said):
        at = f"line {line}: " if line else ""
        return f"{at}[{twice[1]}] stands twice; write [[{twice[1]}]] in double brackets, once for each"
    lines = text.splitlines()
    odd = next((n for n, each in enumerate(lines[:line], start=1) if _TYPOGRAPHIC.search(each.partition("#")[0])), None)
    if odd is not None:
        found = _TYPOGRAPHIC.findall(lines[odd - 1])
        return (
            f"line {odd}: has typographic quotes ({' '.join(dict.fromkeys(found))}), which a word processor sets; type "
            'straight ones (") in a plain text editor'
        )
    return None


def _is_table_of_numbers(text: str) -> bool:
    """Whether most of its first lines are numbers beside each other."""
    lines = [line for line in text[:4000].splitlines()[:40] if line.strip()]
    rows = sum(1 for line in lines if re.fullmatch(r"\s*[-+\d][-+\d.eE:TZ]*\s*[,;\t ].*\d.*", line))
    return 2 * rows > len(lines)


def _lines(text: str) -> dict[str, int]:
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
