"""Lines that name their values, ``name=value`` pairs and JSON objects: turned into the cells of a table."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.raw import Flags

PAIR = re.compile(rb"\s*([A-Za-z_][\w.\-]*(?: ?[\[(][^\])=]*[\])])?)\s*=\s*([^,;=\s]*)\s*")
_PAIRS = re.compile(PAIR.pattern + rb"(?:[,;\s]" + PAIR.pattern + rb")*[,;]?\s*")
_JSON_CELL = re.compile(rb'("(?:[^"\\]|\\.)*"\s*:\s*)([^,{}\[\]"]*|"[^"\\]*")(?=[,}])')
# names have a control character each while lines are compared with the template
_CODES = [n for n in range(1, 29) if n not in (9, 10, 13)]
_TO_COMMAS = bytes(ord(",") if n in _CODES else n for n in range(256))
_FIRST = 31  # stands for what is before the first value


def pairs_of(line: bytes) -> dict[str, str] | None:
    """Names and values of a line of pairs; None where it is none."""
    if b"=" not in line or not _PAIRS.fullmatch(line):
        return None
    return {name.decode("utf-8", "replace"): value.decode("utf-8", "replace") for name, value in PAIR.findall(line)}


def object_of(line: bytes) -> dict[str, str] | None:
    """Names and values of a line with one JSON object; None where it is none. What is no number or text is left out."""
    if not line.lstrip().startswith(b"{"):
        return None
    try:
        found = json.loads(line, parse_float=str, parse_int=str, parse_constant=str)
    except (ValueError, RecursionError):
        return None
    if not isinstance(found, dict):
        return None
    return {str(name): "" if value is None else str(value) for name, value in found.items() if _plain(value)}


def _plain(value: object) -> bool:
    return value is None or isinstance(value, str)


@dataclass(frozen=True, slots=True)
class Template:
    """What stands around the values of a line, the same in every line of a well-behaved stream.

    Attributes:
        before: what stands before each value, the first one's from the line's beginning.
        after: what stands behind the last.
    """

    before: tuple[bytes, ...]
    after: bytes


def template_of(kind: str, line: bytes) -> Template | None:
    """Learn it from one line; None where lines of this shape are better read singly."""
    found = list((PAIR if kind == "pairs" else _JSON_CELL).finditer(line))
    if not found or len(found) > len(_CODES):
        return None
    before, at = [], 0
    for match in found:
        before.append(line[at : match.start(2)])
        at = match.end(2)
    after = line[at:]
    if any(not text or b'"' in match[2] for text, match in zip(before, found, strict=True)) or b"," in after:
        return None
    return Template(tuple(before), after)


def cells_by_template(data: bytes, template: Template, lines: int) -> bytes | None:
    """Rows ``a,b,c`` for a block whose every line fits; None if one does not.

    Each name gives way to a control character of its own; the characters that are left must then come in
    the template's order in every line, so that nothing is taken for what it is not.
    """
    if not data:
        return data
    first, *others = template.before
    work = b"\n" + data
    for n, text in enumerate(others):
        work = work.replace(text, bytes([_CODES[n]]))
    work = work.replace(template.after + b"\n", b"\n") if template.after else work
    work = work.replace(b"\n" + first, b"\n" + bytes([_FIRST]))
    octets = np.frombuffer(work, np.uint8)
    control = octets[octets < 32]  # the last line feed begins no line
    wanted = np.array([10, _FIRST, *_CODES[: len(others)]], dtype=np.uint8)
    if len(control) != lines * len(wanted) + 1 or control[-1] != 10:
        return None
    if not (control[:-1].reshape(lines, len(wanted)) == wanted).all():
        return None
    if any(mark in work for mark in (b"=", b'"', b",", b";", b":", b"{", b"}", b" ")):
        return None
    return work[1:].replace(bytes([_FIRST]), b"").translate(_TO_COMMAS)


def cells_singly(block: Block, kind: str, names: Sequence[str], lacking_allowed: bool) -> tuple[bytes, Flags, Flags]:
    """Rows ``a,b,c`` line by line.

    Args:
        block: the lines.
        kind: "pairs" or "json".
        names: the columns.
        lacking_allowed: a line without some of the names is whole; else it was cut.

    Returns:
        (rows, whole, cut): the rows of the whole lines; a flag a line. A line that is neither is rubbish.
    """
    read = pairs_of if kind == "pairs" else object_of
    rows: list[bytes] = []
    whole, cut = np.zeros(len(block), dtype=bool), np.zeros(len(block), dtype=bool)
    for n, line in enumerate(block.data.split(b"\n")[:-1]):
        found = read(line)
        if found is None or not any(name in found for name in names):
            cut[n] = kind == "json" and line.lstrip().startswith(b"{") and not line.rstrip().endswith(b"}")
            continue
        if not lacking_allowed and not all(name in found for name in names):
            cut[n] = True
            continue
        whole[n] = True
        rows.append(",".join(_cell(found.get(name, "")) for name in names).encode() + b"\n")
    return b"".join(rows), whole, cut


def _cell(text: str) -> str:
    return re.sub(r'[,"\s\x00-\x1f]+', " ", text).strip() if not text.isalnum() else text
