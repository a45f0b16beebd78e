"""Which marks does the log hold that nobody can read?"""

import difflib
import re
from collections.abc import Collection, Sequence

from benchlog.trace import Mark

#: Marks that settle something. Free text is allowed beside them.
KNOWN = (
    *("key on", "key off", "crank", "running", "engine off"),
    *("zero", "zero end", "shunt bridged", "shunt free"),
)
_NUMBERED = re.compile(r"(slot|fuse) (\d+) (on|off|out|in)")
#: This alike and a mark was meant to be another.
ALIKE = 0.75


def mark_notes(marks: Sequence[Mark], slots: Collection[int]) -> list[str]:
    """A plain sentence for each mark that looks like a known one but is not, or names a slot the plan lacks."""
    notes = []
    for text in dict.fromkeys(mark.text for mark in marks):
        plain = text.lower()
        at_s = next(mark.time_s for mark in marks if mark.text == text)
        numbered = _NUMBERED.fullmatch(plain)
        if numbered:
            if int(numbered.group(2)) not in slots:
                notes.append(f'the mark "{text}" at {at_s:.1f} s names a slot that the plan does not have')
            continue
        if plain in KNOWN:
            continue
        meant = difflib.get_close_matches(plain, KNOWN, 1, ALIKE)
        if meant:
            notes.append(f'the mark "{text}" at {at_s:.1f} s was not understood; did you mean "{meant[0]}"?')
    return notes
