"""A plan as a person would have written it."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

#: The order of the tables.
_TABLES = ("install", "battery", "relay", "feed", "ground", "alternator", "circuit", "limits")


def plan_text(tables: Mapping[str, Any], said: Mapping[str, str]) -> str:
    """The TOML text of a plan.

    Args:
        tables: as ``plan_from_mapping`` takes them; an empty table is left out.
        said: place of a key, as ``limits.crank_min_v`` or ``circuit[2].fuse_a`` -> the comment behind it.
    """
    lines: list[str] = []
    for name in _TABLES:
        table = tables.get(name)
        if isinstance(table, list):
            for number, each in enumerate(table, start=1):
                lines += [f"[[{name}]]", *_lines(each, f"{name}[{number}]", said), ""]
        elif table:
            lines += [f"[{name}]", *_lines(table, name, said), ""]
    return "\n".join(lines)


def _lines(table: Mapping[str, Any], path: str, said: Mapping[str, str]) -> Iterator[str]:
    for key, value in table.items():
        written = f"{key} = {_value(value)}"
        comment = said.get(f"{path}.{key}")
        yield f"{written:<32}# {comment}" if comment else written


def _value(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")  # as TOML escapes its basic strings
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_value, value)) + "]"
    return f"{value:.10g}" if isinstance(value, float) else str(value)
