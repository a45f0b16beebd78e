"""Which marks does the log hold that nobody can read?"""

import difflib
import re
from collections.abc import Collection, Sequence

from benchlog.core.events import PLAIN, SlotEvent, plain
from benchlog.core.trace import Mark

#: Marks that settle something. Free text is allowed beside them.
KNOWN = tuple(event.text for event in PLAIN)
_NEARLY_NUMBERED = re.compile(r"(slot|circuit|fuse)s?[ _#.:-]*(\d+)[ _.:-]*(on|off|out|in|pulled|back)")
#: Words that mean a known mark and are not spelt like it.
_MEANT = {
    **dict.fromkeys(("ignition on", "ign on", "key in"), "key on"),
    **dict.fromkeys(("ignition off", "ign off", "key out"), "key off"),
    **dict.fromkeys(("starter", "starting", "start engine", "cranking", "engine start"), "crank"),
    **dict.fromkeys(("engine on", "engine running", "engine runs", "idle", "idling"), "running"),
    **dict.fromkeys(("engine stop", "engine stopped"), "engine off"),
}
#: This alike and a mark was meant to be another.
ALIKE = 0.75


def mark_notes(marks: Sequence[Mark], slots: Collection[int]) -> list[str]:
    """A plain sentence for each mark that looks like a known one but is not, or names a slot the plan lacks."""
    notes = []
    for text in dict.fromkeys(mark.text for mark in marks):
        first = next(mark for mark in marks if mark.text == text)
        at_s, event = first.time_s, first.event
        if isinstance(event, SlotEvent):
            if event.slot not in slots:
                notes.append(f'the mark "{text}" at {at_s:.1f} s names a slot that the plan does not have')
            continue
        if event is None and (meant := _meant(plain(text))):
            notes.append(f'the mark "{text}" at {at_s:.1f} s was not understood; did you mean "{meant}"?')
    return notes


def _meant(noted: str) -> str | None:
    """The known mark that a text in small letters was probably meant to be."""
    if spaced := _MEANT.get(re.sub(r"[\s_-]+", " ", noted)):
        return spaced
    if nearly := _NEARLY_NUMBERED.fullmatch(noted):
        what, number, how = nearly.groups()
        what = "fuse" if what == "fuse" else "slot"
        how = {"pulled": "out", "back": "in"}.get(how, how)
        meant = f"{what} {number} {how}"
        return meant if (what == "fuse") is (how in ("out", "in")) else None
    return next(iter(difflib.get_close_matches(noted, KNOWN, 1, ALIKE)), None)
