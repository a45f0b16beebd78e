"""Text from outside as it may be shown: nothing in it steers a terminal, hides letters or turns their direction.

``plain`` is for whole outputs, whose lines stay and whose JSON stays the same; ``printable`` and ``one_line`` are for
one field among others, whose width counts.
"""

import re

#: ESC, BEL and the other controls but for line ends and tabs, C1, marks of direction, separators of lines (Unicode
#: Standard Annex 9, its explicit directional formatting characters, and annotations), and a line's end that is none.
_STEERS = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb]|\r(?!\n)"
)

_ENTRY = re.compile(r"\b([a-z][a-z0-9+.-]*:/+)[^\s/@]*(?:@[^\s/@]*)*@", re.IGNORECASE)


def plain(text: str) -> str:
    """The text with each such sign as JSON escapes it, so that JSON text stays the same."""
    if _STEERS.search(text) is None:
        return text
    return _STEERS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def short(text: str, most: int = 2000) -> str:
    """Each line no longer than anyone reads: what is quoted in a message may be a whole file."""
    return "\n".join(line if len(line) <= most else f"{line[:most]}…" for line in text.split("\n"))


def unsecret(text: str) -> str:
    """The text without what stands between a scheme and an @ in each address: a user's name and password, or a key."""
    return _ENTRY.sub(r"\1***@", text)


def printable(text: str, instead: str = " ") -> str:
    """The text, with ``instead`` in the place of every letter that cannot be shown."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else instead for letter in text)


def one_line(text: str) -> str:
    """The text as one line, each run of space as one, with U+FFFD for what cannot be shown."""
    return printable(" ".join(text.split()), "\N{REPLACEMENT CHARACTER}")
