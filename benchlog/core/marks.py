"""Which marks does the log hold that nobody can read?"""

import difflib
import re
from collections.abc import Collection, Sequence

from benchlog.core.trace import Mark

#: Marks that settle something. Free text is allowed beside them.
KNOWN = (
    *("key on", "key off", "crank", "running", "engine off"),
    *("zero", "zero end", "shunt bridged", "shunt free"),
)
_NUMBERED = re.compile(r"(slot|fuse) ([0-9]{1,4}) (on|off|out|in)")
_NEARLY_NUMBERED = re.compile(r"(slot|circuit|fuse)s?[ _#.:-]{0,9}([0-9]{1,4})[ _.:-]{0,9}(on|off|out|in|pulled|back)")
#: Words that mean a known mark and are not spelt like it.
_MEANT = {
    **dict.fromkeys(("ignition on", "ign on", "key in"), "key on"),
    **dict.fromkeys(("ignition off", "ign off", "key out"), "key off"),
    **dict.fromkeys(("starter", "starting", "start engine", "cranking", "engine start"), "crank"),
    **dict.fromkeys(("engine on", "engine running", "engine runs", "idle", "idling"), "running"),
    **dict.fromkeys(("engine stop", "engine stopped"), "engine off"),
}
#: A mark that is meant to be a known one has no more letters; comparing takes the square of them.
_LONGEST = 40
#: Different marks that are compared with the known ones.
MOST_COMPARED = 500
#: This alike and a mark was meant to be another.
ALIKE = 0.75


def settles(text: str) -> bool:
    """Whether a mark is one that a check goes by."""
    plain = text.lower()
    return plain in KNOWN or _NUMBERED.fullmatch(plain) is not None


def mark_notes(marks: Sequence[Mark], slots: Collection[int]) -> list[str]:
    """A plain sentence for each mark that looks like a known one but is not, or names a slot the plan lacks."""
    notes = []
    first_s: dict[str, float] = {}
    for mark in marks:
        first_s.setdefault(mark.text, mark.time_s)
    free = 0
    for text, at_s in first_s.items():
        plain = text.lower()
        numbered = _NUMBERED.fullmatch(plain)
        if numbered:
            if int(numbered.group(2)) not in slots:
                notes.append(f'the mark "{text}" at {at_s:.1f} s names a slot that the plan does not have')
            continue
        if plain in KNOWN:
            continue
        if (free := free + 1) > MOST_COMPARED:  # so many are a column of something else
            continue
        meant = _meant(plain)
        if meant:
            notes.append(f'the mark "{text}" at {at_s:.1f} s was not understood; did you mean "{meant}"?')
    return notes


def _meant(plain: str) -> str | None:
    """The known mark that a text in small letters was probably meant to be."""
    if len(plain) > _LONGEST:
        return None
    if spaced := _MEANT.get(re.sub(r"[\s_-]+", " ", plain)):
        return spaced
    if nearly := _NEARLY_NUMBERED.fullmatch(plain):
        what, number, how = nearly.groups()
        what = "fuse" if what == "fuse" else "slot"
        how = {"pulled": "out", "back": "in"}.get(how, how)
        meant = f"{what} {number} {how}"
        return meant if (what == "fuse") is (how in ("out", "in")) else None
    return next(iter(difflib.get_close_matches(plain, KNOWN, 1, ALIKE)), None)
