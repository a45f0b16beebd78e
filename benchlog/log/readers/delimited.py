"""Delimited text: cut into blocks at line ends, each parsed by itself."""

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.errors import BadLog
from benchlog.log.readers.comments import Written, notes_in
from benchlog.log.readers.cutting import split, text_of
from benchlog.log.readers.layout import Layout, find_layout
from benchlog.log.readers.raw import Ints, Piece, Raw, Reader
from benchlog.log.readers.rows import accept_rows
from benchlog.log.readers.source import Source
from benchlog.log.readers.summed import summed_kind

if TYPE_CHECKING:
    from benchlog.logger.model import Logger
from benchlog.log.readers.sheets import is_utf8, regular_sheet, sheet_by_lines

_LONGEST_LINE = 1 << 20
_LINE_END = ord("\n")
_WINDOW = 1 << 16  # searched for line ends


class DelimitedLog:
    """A text log in blocks of whole lines."""

    def __init__(self, source: Source, logger: "Logger | None", block_bytes: int) -> None:
        self._source, self._block_bytes = source, max(block_bytes, 1)
        self._layout = _layout(source, logger)
        self.logger = self._layout.wanted.logger
        self.roles = self._layout.wanted.roles
        self.first_line = self._layout.line
        self.notes: list[tuple[int | None, str]] = [(None, text) for text in self._layout.wanted.unused]
        above = text_of(source.head[: self._layout.start]).split("\n")
        written = Written()
        written.add(notes_in(enumerate(above)), 1)
        self.notes += written.notes()
        self._taken = 0
        self._ends: dict[Piece, Ints | None] = {}  # of the blocks that were read in part

    def pieces(self) -> Iterator[tuple[Piece, bytes | None]]:
        """Blocks that end with a line's end; a last line that was cut is left out or kept whole."""
        start = self._layout.start
        if self._source.in_place:
            # most of a plain file is only cut here and read where it is parsed, which saves a copy of it
            for piece in self._plain_pieces(start):
                yield piece, None
                start = piece.start + piece.size
                self._taken = start
        for piece, data in self._streamed(start):
            yield piece, data
            self._taken = piece.start + piece.size
        self._taken = self._source.size

    def _plain_pieces(self, start: int) -> Iterator[Piece]:
        """Blocks of a file that can be read anywhere, all but the last one or two."""
        window = min(_WINDOW, self._block_bytes)
        while start + 2 * self._block_bytes < self._source.size:
            end = start + self._block_bytes
            cut = self._source.at(end - window, window).rfind(b"\n")
            if cut < 0:
                return
            size = end - window + cut + 1 - start
            if size <= 0:
                return
            yield Piece(start, size)
            start += size

    def _streamed(self, start: int) -> Iterator[tuple[Piece, bytes | None]]:
        rest = b""
        before = b""  # the line before the block
        self._source.skip_to(start)
        while data := self._source.read(self._block_bytes):
            end = data.rfind(b"\n") + 1
            if end:
                block, rest = rest + data[:end], data[end:]
                yield Piece(start, len(block)), block
                start += len(block)
                before = block[block.rfind(b"\n", 0, -1) + 1 :]
            else:
                rest += data
            if len(rest) > _LONGEST_LINE:
                if len(rest.strip(b"\0")) > _LONGEST_LINE:
                    raise BadLog(
                        self._source.name,
                        "a line is over a million characters long; needed is one sample a line: export it as CSV",
                    )
                # zero bytes: space laid out for samples that never came
                yield from self._last(start, rest, before)
                start, rest = start + len(rest), b""
        yield from self._last(start, rest, before)

    def _last(self, start: int, line: bytes, before: bytes) -> Iterator[tuple[Piece, bytes | None]]:
        """A line without an end: left out where it was cut, else a piece of its own."""
        if not line.strip(b" \r\n\0"):
            return
        if not line.lstrip(b" ").startswith(b"#") and self._is_cut(line.rstrip(b"\0"), before):
            self.notes.append((None, "the last line is cut short and was left out"))
        else:
            yield Piece(start, len(line)), line

    def _is_cut(self, line: bytes, before: bytes) -> bool:
        separator = self._layout.separator
        last, full = split(text_of(line), separator), split(text_of(before), separator)
        if len(last) < min(len(full) or self._layout.width, self._layout.width):
            return True
        if not last or len(last) != len(full):
            return False
        mark = "," if self._layout.decimal_comma else "."
        if not full[-1][-1:].isdigit():  # words, or nothing: nothing to compare
            return False
        return len(last[-1].partition(mark)[2]) < len(full[-1].partition(mark)[2])

    def load(self, piece: Piece) -> bytes:
        """A block's bytes again."""
        return self._source.at(piece.start, piece.size)

    def done(self) -> tuple[int, int]:
        """Bytes of the file taken, of how many."""
        return self._taken if self._source.in_place else self._source.taken(), self._source.size

    def parse(self, data: bytes) -> Raw:
        """The block's rows: by the fast way if every line has its fields, else line by line."""
        sheet = regular_sheet(data, self._layout) or sheet_by_lines(data, self._layout)
        return accept_rows(sheet, self._layout.wanted)

    def begins(self, piece: Piece, lines: Sequence[int], of: int, by_lines: bool, /) -> Sequence[int] | None:
        """How far from a block's start these of its lines begin; None where line ends do not tell the lines."""
        if piece not in self._ends:
            self._ends[piece] = _line_ends(self.load(piece), of, by_lines)
        ends = self._ends[piece]
        if ends is None:
            return None
        begins = [self._begin(piece, line, ends) for line in lines]
        return None if -1 in begins else begins

    def _begin(self, piece: Piece, line: int, ends: Ints) -> int:
        """How far from a block's start a line begins; -1 where the file is no longer what it was."""
        if line == 0:
            return 0
        n = int(np.searchsorted(ends, line))
        start, before = n * _WINDOW, int(ends[n - 1]) if n else 0
        found = _ends_in(self._source.at(piece.start + start, min(_WINDOW, piece.size - start)))
        return start + int(found[line - 1 - before]) + 1 if line - before <= len(found) else -1

    def part(self, piece: Piece, by_lines: bool, /) -> Raw | None:
        """The rows of a few lines of a block; None where they are not as regular as the block."""
        data = self.load(piece)
        sheet = sheet_by_lines(data, self._layout) if by_lines else regular_sheet(data, self._layout)
        return None if sheet is None else accept_rows(sheet, self._layout.wanted)


def _layout(source: Source, logger: "Logger | None") -> Layout:
    try:
        return find_layout(source.name, source.head, logger)
    except BadLog:
        from benchlog.core.toml_files import OPTIONS, kind_of

        kind = kind_of(text_of(source.head))
        if kind == "file of meter readings":
            raise BadLog(source.name, f"this is a {kind}; rename it so that its name ends in .toml") from None
        if kind:
            raise BadLog(
                source.name,
                f"this is a {kind}, not a log; name it {OPTIONS[kind]}, and the log before the options",
            ) from None
        raise


def _line_ends(data: bytes, lines: int, by_lines: bool) -> Ints | None:
    """How many line ends a block has up to each ``_WINDOW`` of it; None where they do not tell its lines."""
    if by_lines and not is_utf8(data):  # what another line holds decides how the text is read
        return None
    text = np.frombuffer(data, np.uint8)
    ends = np.cumsum([np.count_nonzero(text[n : n + _WINDOW] == _LINE_END) for n in range(0, len(data), _WINDOW)])
    if int(ends[-1]) + (not data.endswith(b"\n")) != lines:  # a cell holds one, or an empty line was passed over
        return None
    return ends


def _ends_in(data: bytes) -> Ints:
    return np.flatnonzero(np.frombuffer(data, np.uint8) == _LINE_END)


def claims(head: bytes) -> bool:
    """Text: hardly a byte that no text has. Some zero bytes further on are what a loss of power leaves."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):  # UTF-16
        return True
    head = head.rstrip(b"\0")
    if not head or b"\0" in head[:512] or head.startswith(b"PAR1"):
        return False
    odd = sum(head.count(byte) for byte in _CONTROLS)
    return odd * 50 <= len(head) and summed_kind(head) is None


_CONTROLS = [bytes([n]) for n in (*range(9), *range(14, 32), 127)]
READER = Reader("delimited", claims, DelimitedLog)
