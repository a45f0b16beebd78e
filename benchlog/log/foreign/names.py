"""What a column measures, by its name: English and German words, and the numbers of terminals."""

import re
from collections.abc import Collection
from typing import Literal

from benchlog.core.roles import ROLE_UNITS, SLOTS, UNITS
from benchlog.log.foreign.units import parted_header
from benchlog.log.readers.leftover import meant_role

Quantity = Literal["V", "A", "degC"]
_PLACES: tuple[tuple[str, str], ...] = (
    ("drain", "drain|ruhestrom|leak(age)?|parasitic|quiescent|sleep|standby"),
    ("key", "key|ign|ignition|kl15|15|zuendung|zündung|acc"),
    ("trigger", "trig|trigger|86|tail|taillight|rücklicht|ruecklicht|kl86|coil"),
    ("feed", "feed|87|kl87|block|fuseblock|fusebox|relay|relais|out"),
    ("ground", "gnd|ground|masse|earth|bus|return|neg|minus"),
    ("battery", "b|bat|batt|battery|batterie|akku|starter|kl30|30|pack"),
)
_SLOT = re.compile(r"(?:slot|fuse|circuit|circ|sicherung|kreis)[\s_#-]*(\d+)", re.IGNORECASE)
_QUANTITY: tuple[tuple[Quantity, str], ...] = (
    ("V", "u|v|volt|volts|voltage|spannung|ub"),
    ("A", "i|a|amp|amps|ampere|current|strom|ib|shunt"),
    ("degC", "t|temp|temperature|temperatur"),
)
_MARKS = {"mark", "marks", "note", "notes", "event", "comment", "remark", "bemerkung", "notiz"}
_TIMES = {"t", "time", "zeit", "elapsed", "seconds", "sec", "second", "timestamp", "uhrzeit", "x", "x-axis", "millis"}
_COUNTS = {"no", "no.", "nr", "nr.", "n", "#", "index", "sample", "count", "lfd", "record", "point", "reading", "scan"}


def is_mark(header: str) -> bool:
    """Whether a header names the column of notes."""
    return header.strip().casefold() in _MARKS


def is_time(header: str) -> bool:
    """Whether a header names the column of times."""
    return meant_role(header, ("time_s",)) is not None or bool({_folded(header), *_tokens(header)} & _TIMES)


def is_count(header: str) -> bool:
    """Whether a header names the column that numbers the samples."""
    return bool({_folded(header), *_tokens(header)} & _COUNTS)


def quantity_of(header: str, unit: str | None) -> Quantity | None:
    """What kind of value a column holds, by the unit or the words of its header."""
    if unit is not None and unit in UNITS:
        found = UNITS[unit][0]
        return found if found in ("V", "A", "degC") else None  # type: ignore[return-value] # those three
    words = _tokens(header)
    return next((quantity for quantity, known in _QUANTITY if _any(words, known)), None)


def role_of(header: str, quantity: Quantity | None, taken: Collection[str]) -> str | None:
    """The role that a header names; None where it names no place or the role is taken."""
    free = [role for role in ROLE_UNITS if role not in taken and role not in ("time_s", "mark")]
    meant = meant_role(header, free)
    if meant is not None and (quantity is None or ROLE_UNITS[meant] == quantity):
        return meant
    if quantity == "degC":
        return "battery_c" if "battery_c" in free else None
    ending = {"V": "v", "A": "a", None: ""}[quantity]
    slot = _SLOT.search(header)
    if slot is not None and 1 <= int(slot[1]) <= SLOTS:
        place = f"slot{int(slot[1])}"
    else:
        words = _tokens(header)
        place = next((place for place, known in _PLACES if _any(words, known)), "")
    role = f"{place}_{ending}"
    return role if role in free else None


def _tokens(header: str) -> list[str]:
    """Words and numbers of a header, in lower case, without its unit: ``IBatt (mA)`` gives ``i`` and ``batt``."""
    name = re.sub(r"([a-z])([A-Z])|([A-Z])([A-Z][a-z])", r"\1\3 \2\4", parted_header(header)[0])
    return [word for word in re.split(r"[^\w]+|_", name.casefold()) if word]


def _folded(header: str) -> str:
    return parted_header(header)[0].strip().casefold()


def _any(words: Collection[str], known: str) -> bool:
    return any(re.fullmatch(known, word) for word in words)
