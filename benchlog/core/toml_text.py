"""A TOML text parsed within bounds: what is nested without end is refused before it costs memory."""

import re
import tomllib
from typing import Any

#: Parts of one key, such as ``install.bike``: settings have two, and each more costs the parser its square.
MOST_PARTS = 16
# texts and comments whole, so that what stands in them is no key; then what a dotted key is made of
_TOKEN = re.compile(
    r'"""(?s:.*?)"""|\'\'\'(?s:.*?)\'\'\''
    r'|(?P<part>"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*+\'|[\w-]++)|#[^\n]*+|(?P<dot>\.)|[ \t]++|(?s:.)'
)
TOO_MANY_PARTS = f"a key has more than {MOST_PARTS} parts between its dots; write each table under a [name] of its own"
TOO_DEEP = "is nested too deeply for a file of settings; write each table under a [name] of its own"
TOO_LONG_NUMBER = "a number has thousands of digits"


class TooMuch(ValueError):
    """The text would cost more than a file of settings may."""


def tables_of(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises:
        TooMuch: it is nested too deep, or a number too long.
        ValueError: it is no TOML.
    """
    if text.count(".") >= MOST_PARTS and _most_parts(text) > MOST_PARTS:
        raise TooMuch(TOO_MANY_PARTS)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise TooMuch(TOO_DEEP) from None
    except tomllib.TOMLDecodeError:
        raise
    except ValueError:  # what Python says to a number of thousands of digits
        raise TooMuch(TOO_LONG_NUMBER) from None


def _most_parts(text: str) -> int:
    """Parts of the longest run of words with dots between them, outside of texts and comments."""
    most = parts = 0
    joined = False  # a dot came last
    for token in _TOKEN.finditer(text):
        if token["part"] is not None:
            parts = parts + 1 if joined else 1
            joined, most = False, max(most, parts)
        elif token["dot"] is not None:
            joined = True
        elif token[0][0] not in " \t":
            parts, joined = 0, False
        if most > MOST_PARTS:
            break
    return most
