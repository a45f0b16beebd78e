"""What is wrong in a file of settings, in plain words: what was needed, what was found, what to do."""

import difflib
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

#: Of any number in a file of settings; a counter of 64 bits wraps at 1.8e19.
_LEAST, _MOST = 1e-20, 1e20
#: Nothing that is meant is longer, and comparing takes the square of the length.
_LONGEST_WORD = 60


def near(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant, if any."""
    known = list(known)
    if len(word) > _LONGEST_WORD:
        return None
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
    if isinstance(value, int) and abs(value) >= 10**30:
        return "a number of more than 30 digits"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    text = text.replace("\n", " ")
    return text if len(text) <= 60 else f"{text[:57]}..."


def strange_numbers(data: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Numbers that no quantity of a motorcycle has, with their paths: worked with, they run over."""
    waiting: list[tuple[tuple[int | str, ...], Any]] = [((), data)]
    while waiting:
        loc, value = waiting.pop()
        if isinstance(value, Mapping):
            waiting += [((*loc, key), each) for key, each in value.items()]
        elif isinstance(value, (list, tuple)):
            waiting += [((*loc, n), each) for n, each in enumerate(value)]
        elif isinstance(value, (int, float)) and value and _is_finite(value) and not _LEAST <= abs(value) <= _MOST:
            yield path_of(loc), f"must be 0 or between {_LEAST:g} and {_MOST:g}, got {shown(value)}"


def _is_finite(value: float) -> bool:
    return isinstance(value, int) or math.isfinite(value)  # an int may be too large for a float


def path_of(loc: tuple[int | str, ...]) -> str:
    """A place in the file as it is told: ``circuit[2].fuse_a``."""
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


def worded(model: type[BaseModel], detail: ErrorDetails) -> str:
    """One fault of the validation in plain words: what was needed, what was found, what to do."""
    *above, key = detail["loc"] or ("",)
    table = _model_at(model, above)
    kind, ctx, got = detail["type"], detail.get("ctx", {}), shown(detail["input"])
    match kind:
        case "extra_forbidden":
            return _other_unit(table, str(key), detail["input"]) or _unknown_key(model, table, str(key))
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
            words = [word for word in _words_of(table.model_fields[str(key)].annotation) if word is not None]
            meant = near(str(detail["input"]), words)
            return f"must be one of {', '.join(words)}, got {got}" + (f"; did you mean {meant}?" if meant else "")
        case "model_type":
            if isinstance(detail["input"], list):
                return f"must be one table, got a list; write [{key}] in single brackets"
            return f"must be a table, got {got}; write [{key}] and its keys below it"
        case "tuple_type":
            if next(_models_in(table.model_fields[str(key)].annotation), None):
                return f"must be a list of tables, got {got}; write [[{key}]] in double brackets"
            return f"must be a list in brackets, got {got}; write [{got}]"
        case "too_short":
            return f"is empty; {_example(table, str(key))}"
        case "too_long":
            return f"at most {ctx['max_length']} are possible, got {ctx['actual_length']}; take some out"
        case _:
            text = str(ctx.get("text", detail["msg"]))
            return text[:1].lower() + text[1:] if kind not in ("wire_size", "worded") else text


def _words_of(annotation: Any) -> list[Any]:
    """The words of a Literal, inside a union or not."""
    parts = get_args(annotation)
    return [word for part in parts for word in (_words_of(part) or ([part] if isinstance(part, str) else []))]


#: Ending of a key -> what it measures, its size in that, and its name.
_ENDINGS = {
    **{"in": ("m", 0.0254, "inches"), "inch": ("m", 0.0254, "inches"), "ft": ("m", 0.3048, "feet")},
    **{"cm": ("m", 0.01, "centimetres"), "mm": ("m", 0.001, "millimetres"), "m": ("m", 1.0, "metres")},
    **{"ma": ("A", 1e-3, "milliamperes"), "a": ("A", 1.0, "amperes"), "ua": ("A", 1e-6, "microamperes")},
    **{"mv": ("V", 1e-3, "millivolts"), "v": ("V", 1.0, "volts"), "ms": ("s", 1e-3, "milliseconds")},
    **{"s": ("s", 1.0, "seconds"), "min": ("s", 60.0, "minutes"), "ohm": ("ohm", 1.0, "ohms")},
    **{"mohm": ("ohm", 1e-3, "milliohms"), "ah": ("Ah", 1.0, "ampere-hours"), "mah": ("Ah", 1e-3, "milliampere-hours")},
}


def _other_unit(table: type[BaseModel], key: str, value: object) -> str | None:
    """A known key in a unit that is not known for it: what it would be, for the user to write."""
    stem, _, ending = key.rpartition("_")
    if not stem or ending.lower() not in _ENDINGS or isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    kind, size, name = _ENDINGS[ending.lower()]
    for known in table.model_fields:
        known_stem, _, unit = known.rpartition("_")
        if known_stem == stem and unit in _ENDINGS and _ENDINGS[unit][0] == kind:
            turned = float(f"{value * size / _ENDINGS[unit][1]:.2g}")
            return f"{name} are not known; {value:g} {ending} are {turned:g} {unit}: {known} = {turned:g}"
    return None


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
