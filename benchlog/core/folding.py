"""Text in lines: a figure stays with its unit."""

import re
import textwrap

_NO_BREAK = "\N{NO-BREAK SPACE}"
#: Spaces after a number and before its unit, and between ± and its number.
_HELD = re.compile(r"(?<=\d) (?=(?:[mk]?[VAWΩ]|[mµ]?s|Ah|Hz|min|h|°C|%|mm²|m)(?!\w))|(?<=±) (?=\d)")


def held_together(text: str) -> str:
    """The text with no line's end between a number and its unit, for whoever breaks the lines."""
    return _HELD.sub(_NO_BREAK, text)


def folded(text: str, first: str, then: str, width: int) -> list[str]:
    """Broken at spaces, no line wider than ``width``; a longer word is cut.

    Args:
        first, then: what the first line begins with, and the others.
    """
    lines = textwrap.wrap(
        held_together(text), width, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )
    return [line.replace(_NO_BREAK, " ") for line in lines]
