"""Columns that were not used: the misspelt ones among them, and the rest."""

import difflib
import re
from collections.abc import Collection, Iterator, Sequence

from benchlog.core.roles import ROLE_UNITS, SLOTS, UNITS, slot_of
from benchlog.logger.channels import tidy_unit

_ALIKE = 0.8  # this alike and a header was meant to be a role
_MOST_NAMED = 8


def leftover_notes(names: Sequence[str], used: Collection[int | None], roles: Collection[str]) -> Iterator[str]:
    """One sentence for each header that looks like a role, one for all other columns that were not used.

    Args:
        names: the log's headers, in order.
        used: places, from 0, of the columns that were read.
        roles: what those hold; a header is not taken for one of them.
    """
    free = [role for role in ROLE_UNITS if role not in roles]
    others = []
    for place, name in enumerate(names):
        if place in used or not name:
            continue
        slot = slot_of(_folded(name))
        meant = meant_header(name, free)
        if slot is not None and not 1 <= slot <= SLOTS:
            yield f"column {name} was not used; slots are 1 to {SLOTS}"
        elif meant is not None:
            yield f"column {name} was not used; did you mean {meant}?"
        else:
            others.append(name)
    if others:
        more = len(others) - _MOST_NAMED
        named = ", ".join(others[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
        yield f"{'columns' if len(others) > 1 else 'column'} not used: {named}"


def meant_role(header: str, roles: Collection[str] = tuple(ROLE_UNITS)) -> str | None:
    """The role that a header was probably meant to be: ``batery_v``, ``Battery V``, ``FeedV``, ``feed-v [mV]``."""
    folded, spelt = _folded(header), _spelt(header)[0]
    if folded in roles:
        return folded
    if folded in _TIMES or spelt in _TIMES:
        return "time_s" if "time_s" in roles else None
    if folded in _MARKS:
        return "mark" if "mark" in roles else None
    for role in roles:
        if role.replace("_", "") in (folded.replace("_", ""), spelt.replace("_", "")):
            return role
    if not re.search("[_ -]", header.strip()):  # a role is two words; Fuel1 is none
        return None
    # the number of a slot is not misspelt
    alike = [role for role in roles if re.findall(r"\d+", role) == re.findall(r"\d+", folded)]
    found = (difflib.get_close_matches(written, alike, 1, _ALIKE) for written in (folded, spelt))
    return next((names[0] for names in found if names), None)


def meant_header(header: str, roles: Collection[str] = tuple(ROLE_UNITS)) -> str | None:
    """What to head the column with instead: the role, and the unit that its name tells, as in ``battery_v [mV]``."""
    role, unit = meant_role(header, roles), _spelt(header)[1]
    if role is None or unit not in UNITS or UNITS[unit][0] != ROLE_UNITS[role] or unit == ROLE_UNITS[role]:
        return role
    return f"{role} [{unit}]"


_TIMES = ("time", "t", "s", "t_s", "elapsed", "elapsed_s", "elapsed_time", "seconds", "timestamp", "test_time")
_MARKS = ("marks", "marker", "markers", "event", "events")
#: How the end of a header is written -> the letter at a role's end, and the unit that it tells.
_ENDS = {
    **dict.fromkeys(("voltage", "volt", "volts"), ("v", "V")),
    **{"mv": ("v", "mV"), "millivolt": ("v", "mV"), "millivolts": ("v", "mV"), "uv": ("v", "uV")},
    **dict.fromkeys(("current", "amp", "amps", "ampere", "amperes"), ("a", "A")),
    **{"ma": ("a", "mA"), "milliamp": ("a", "mA"), "milliamps": ("a", "mA"), "ua": ("a", "uA")},
    **dict.fromkeys(("sec", "secs", "second", "seconds"), ("s", "s")),
    **dict.fromkeys(("ms", "millis", "millisecond", "milliseconds"), ("s", "ms")),
    **dict.fromkeys(("us", "micros", "microsecond", "microseconds"), ("s", "us")),
    **dict.fromkeys(("temp", "temperature"), ("c", "degC")),
}
_NAMES = {"batt": "battery", "bat": "battery", "gnd": "ground", "trig": "trigger", "ign": "key", "ignition": "key"}


def _folded(header: str) -> str:
    """The header as a role is written, without its unit."""
    bare = _UNIT.sub("", header.strip("\"' \ufeff"))
    return re.sub(r"[\s.\-/]+", "_", bare.strip().casefold())


def _spelt(header: str) -> tuple[str, str]:
    """The same with each word as roles have it, and the unit that it tells: ``Batt mV`` is ``battery_v``, mV."""
    bare = header.strip("\"' \ufeff")
    bracketed = _UNIT.search(bare)
    if not re.search(r"[\s._/-]", bare):
        bare = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", bare)  # FeedV
    words = _folded(bare).split("_")
    if len(words) == 2 and words[0] in ("v", "u", "i"):  # I_batt
        words = [words[1], "a" if words[0] == "i" else "v"]
    letter, unit = _ENDS.get(words[-1], (words[-1], ""))
    words = [_NAMES.get(word, word) for word in words[:-1]]
    if unit and words[-1:] == [letter]:  # battery_v_mv
        words.pop()
    return "_".join((*words, letter)), tidy_unit(bracketed[1]) if bracketed else unit


_UNIT = re.compile(r"\s*[\[(](.*)[\])]\s*$")
