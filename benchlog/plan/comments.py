"""The comments behind a plan's keys, so that a plan that is opened and saved keeps them."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

_TABLE = re.compile(r"[ \t]*\[{1,2}[ \t]*([\w-]+)[ \t]*\]{1,2}")
_KEY = re.compile(r"""[ \t]*([\w-]+)[ \t]*=(?:"(?:[^"\\]|\\.)*+"|'[^']*+'|[^#"'])*+#[ \t]*(.*\S)""")
_ALONE = re.compile(r"[ \t]*#.*\S")
#: What benchlog itself writes behind a limit, and writes anew.
_OURS = ("suggested:", "confirmed:")


@dataclass(frozen=True, slots=True)
class Comments:
    """The comments of one plan.

    Attributes:
        behind: (table, slot of a circuit or 0, key, value, comment), for each comment behind a key.
        alone: how many stand on lines of their own, and have no key to go with.
    """

    behind: tuple[tuple[str, int, str, Any, str], ...]
    alone: int


def comments_of(text: str, tables: Mapping[str, Any]) -> Comments:
    """The comments of a plan's text of the usual plain layout.

    Args:
        tables: the same text, read.
    """
    behind, alone = [], 0
    name, number = "", 0
    for line in text.splitlines():
        if found := _TABLE.match(line):
            number = number + 1 if found[1] == "circuit" else 0
            name = found[1]
        elif _ALONE.match(line):
            alone += 1
        elif (found := _KEY.match(line)) and not found[2].startswith(_OURS):
            table = tables.get(name, {})
            own = table[number - 1] if isinstance(table, list) and number <= len(table) else table
            if isinstance(own, Mapping) and found[1] in own:
                behind.append((name, own.get("slot", 0) if number else 0, found[1], own[found[1]], found[2]))
    return Comments(tuple(behind), alone)


def placed_again(behind: list[tuple[str, int, str, Any, str]], tables: Mapping[str, Any]) -> dict[str, str]:
    """Place -> comment, for each comment whose value is still the one it was written behind."""
    found = {}
    for name, slot, key, value, comment in behind:
        table = tables.get(name, {})
        if isinstance(table, list):
            at = next((n for n, each in enumerate(table, start=1) if each.get("slot") == slot), None)
            if at is not None and table[at - 1].get(key) == value:
                found[f"{name}[{at}].{key}"] = comment
        elif table.get(key) == value:
            found[f"{name}.{key}"] = comment
    return found
