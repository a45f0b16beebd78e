"""Columns that were not used: the misspelt ones among them, and the rest."""

import difflib
import re
from collections.abc import Collection, Iterator, Sequence

from benchlog.roles import ROLE_UNITS, SLOTS, slot_of

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
        meant = meant_role(name, free)
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
    """The role that a header was probably meant to be: ``batery_v``, ``Battery V``, ``feed-v [mV]``."""
    folded = _folded(header)
    if folded in roles:
        return folded
    if folded in _TIMES:
        return "time_s" if "time_s" in roles else None
    if not re.search("[_ -]", header.strip()):  # a role is two words; Fuel1 is none
        return None
    # the number of a slot is not misspelt
    alike = [role for role in roles if re.findall(r"\d+", role) == re.findall(r"\d+", folded)]
    return next(iter(difflib.get_close_matches(folded, alike, 1, _ALIKE)), None)


_TIMES = ("time", "t", "t_s", "elapsed", "elapsed_s", "elapsed_time", "seconds", "timestamp", "test_time")


def _folded(header: str) -> str:
    """The header as a role is written, without its unit."""
    bare = re.sub(r"\s*[\[(].*[\])]\s*$", "", header.strip("\"' \ufeff"))
    return re.sub(r"[\s.\-/]+", "_", bare.strip().casefold())
