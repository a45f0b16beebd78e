"""Comment lines of a text log, and the notes among them: ``# note: TEXT``."""

import re
from collections.abc import Iterable, Iterator

import numpy as np

from benchlog.core.printable import printable
from benchlog.log.readers.raw import Ints

_NOTE = re.compile(r"#\s*note\s*:(.*)", re.IGNORECASE | re.DOTALL)
_COMMENT = re.compile(rb"^#[^\n]*(?:\n|\Z)", re.MULTILINE)
_LONGEST, _MOST = 300, 50


def notes_in(lines: Iterable[tuple[int, str]]) -> Iterator[tuple[int, str]]:
    """Number and text of each line that is a note; what a terminal might obey is blanked out."""
    for number, line in lines:
        if found := _NOTE.match(line.lstrip(" \ufeff")):
            text = printable(found[1]).strip()
            if text:
                yield number, text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


class Written:
    """The notes of one log: the first ones whole, then how many more there are."""

    def __init__(self) -> None:
        self._kept: list[tuple[int, str]] = []
        self._more, self._more_line = 0, 0

    def add(self, notes: Iterable[tuple[int, str]], line: int) -> None:
        """Take the notes of one piece, whose first line has the number ``line``."""
        for n, text in notes:
            if len(self._kept) < _MOST:
                self._kept.append((line + n, text))
            else:
                self._more_line = self._more_line or line + n
                self._more += 1

    def notes(self) -> Iterator[tuple[int, str]]:
        """Line and text of each."""
        yield from self._kept
        if self._more:
            yield self._more_line, f"{self._more} more notes follow in the log from here on"


def without_comments(data: bytes) -> tuple[bytes, dict[int, bytes]]:
    """A block without its comment lines, and those by their line from 0."""
    kept, comments = [], dict[int, bytes]()
    end = line = 0
    for found in _COMMENT.finditer(data):
        kept.append(data[end : found.start()])
        line += kept[-1].count(b"\n")
        comments[line] = found[0]
        line += 1
        end = found.end()
    kept.append(data[end:])
    return b"".join(kept), comments


def places(rows: int, comments: dict[int, bytes]) -> Ints:
    """The line of each row where comments stand between them; too early by one for each line end in a cell above."""
    lines = rows + len(comments)
    at: Ints = np.delete(np.arange(lines), [line for line in comments if line < lines])[:rows]
    return at
