"""Marks, so that none is lost: several in one cell, and those of rows that are left out."""

import numpy as np

from benchlog.log.readers.raw import Flags

#: Parts the marks of one cell, as a recording writes those that fall on one sample.
BETWEEN = ";"

Marks = tuple[tuple[int, str], ...]


def parted(text: str) -> list[str]:
    """The marks of one cell, without spaces and quotes around them."""
    return [part for each in text.split(BETWEEN) if (part := each.strip(' \t\r"'))]


def kept_marks(marks: Marks, keep: Flags) -> Marks:
    """Marks at their places among the rows that are kept.

    What was noted is true whatever the row's numbers are: the mark of a row that is left out stands at the next one
    that is kept, or at the last. Of a row that came twice it stands once; a number in such a row is no mark but a
    cell out of its place.

    Args:
        marks: place among all rows, text; in order.
        keep: which rows are kept.
    """
    place = np.cumsum(keep) - 1  # of the last one kept so far
    if not len(place) or place[-1] < 0:
        return ()
    found: list[tuple[int, str]] = []
    for n, text in marks:
        here = int(place[n])
        if keep[n]:
            found.append((here, text))
        elif any(map(str.isalpha, text)) and (here, text) not in found:
            found.append((min(here + 1, int(place[-1])), text))
    return tuple(found)
