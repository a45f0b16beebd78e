"""A plan as a person would have written it."""

import json
from collections.abc import Mapping
from typing import Any

#: The order of the tables.
_TABLES = ("install", "battery", "relay", "feed", "ground", "alternator", "circuit", "limits")


def plan_text(tables: Mapping[str, Any], said: Mapping[str, str]) -> str:
    """The TOML text of a plan.

    Args:
        tables: as ``plan_from_mapping`` takes them; an empty table is left out.
        said: path of a key, as ``limits.crank_min_v`` -> the comment behind it.
    """
    lines: list[str] = []
    for name in _TABLES:
        table = tables.get(name)
        if isinstance(table, list):
            for each in table:
                lines += [f"[[{name}]]", *(f"{key} = {_value(value)}" for key, value in each.items()), ""]
        elif table:
            lines.append(f"[{name}]")
            for key, value in table.items():
                written = f"{key} = {_value(value)}"
                comment = said.get(f"{name}.{key}")
                lines.append(f"{written:<32}# {comment}" if comment else written)
            lines.append("")
    return "\n".join(lines)


def _value(value: object) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")  # as TOML escapes its basic strings
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_value, value)) + "]"
    return f"{value:g}" if isinstance(value, float) else str(value)
