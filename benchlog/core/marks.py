"""Which marks does the log hold that nobody can read?"""

import difflib
import re
from collections.abc import Collection, Sequence

from benchlog.core.events import PLAIN, SlotEvent, plain
from benchlog.core.trace import Mark

#: Marks that settle something. Free text is allowed beside them.
KNOWN = tuple(event.text for event in PLAIN)
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


def mark_notes(marks: Sequence[Mark], slots: Collection[int]) -> list[str]:
    """A plain sentence for each mark that looks like a known one but is not, or names a slot the plan lacks."""
    notes = []
    first: dict[str, Mark] = {}
    for mark in marks:
        first.setdefault(mark.text, mark)
    free = 0
    for text, mark in first.items():
        at_s, event = mark.time_s, mark.event
        if isinstance(event, SlotEvent):
            if event.slot not in slots:
                notes.append(f'the mark "{text}" at {at_s:.1f} s names a slot that the plan does not have')
            continue
        if event is not None:
            continue
        if (free := free + 1) > MOST_COMPARED:  # so many are a column of something else
            continue
        meant = _meant(plain(text))
        if meant:
            notes.append(f'the mark "{text}" at {at_s:.1f} s was not understood; did you mean "{meant}"?')
    return notes


def _meant(noted: str) -> str | None:
    """The known mark that a text in small letters was probably meant to be."""
    if len(noted) > _LONGEST:
        return None
    if spaced := _MEANT.get(re.sub(r"[\s_-]+", " ", noted)):
        return spaced
    if nearly := _NEARLY_NUMBERED.fullmatch(noted):
        what, number, how = nearly.groups()
        what = "fuse" if what == "fuse" else "slot"
        how = {"pulled": "out", "back": "in"}.get(how, how)
        meant = f"{what} {number} {how}"
        return meant if (what == "fuse") is (how in ("out", "in")) else None
    return next(iter(difflib.get_close_matches(noted, KNOWN, 1, ALIKE)), None)
