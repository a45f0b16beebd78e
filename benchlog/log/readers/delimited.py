"""Delimited text: cut into blocks at line ends, each parsed by itself."""

import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.errors import BadLog
from benchlog.log.readers import cells
from benchlog.log.readers.comments import Written, notes_in, places, without_comments
from benchlog.log.readers.cutting import split, text_of, unquoted
from benchlog.log.readers.layout import Layout, find_layout
from benchlog.log.readers.raw import Ints, Piece, Raw, Reader
from benchlog.log.readers.rows import Found, Sheet, accept_rows
from benchlog.log.readers.source import Source

if TYPE_CHECKING:
    import polars as pl

    from benchlog.logger.model import Logger

_UNIT = "\x1f"  # between cells once quotes are resolved
_LONGEST_LINE = 1 << 20
# polars would unpack a block that begins like this: gzip, zstd, zlib
_PACKED = (b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"x\x01", b"x^", b"x\x9c", b"x\xda")
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

        if kind := kind_of(text_of(source.head)):
            raise BadLog(
                source.name,
                f"this is a {kind}, not a log; name it with {OPTIONS[kind]}, and the log before the options",
            ) from None
        raise


def regular_sheet(data: bytes, layout: Layout) -> Sheet | None:
    """All lines at once, if each has the right number of fields; None if that is not certain."""
    import polars as pl

    if layout.separator == " ":
        data = _single_spaces(data)
    if data.startswith(_PACKED):
        return None
    comments: dict[int, bytes] = {}
    if b"#" in data and (data.startswith(b"#") or b"\n#" in data):
        data, comments = without_comments(data)
    quoted = b'"' in data
    if quoted and data.count(b'"') % 2:  # one is never closed: polars would take what follows for one cell, and say so
        return None
    wanted = layout.wanted
    numbers = {column.index for column in wanted.columns}
    if wanted.time is not None and not wanted.iso_time:
        numbers.add(wanted.time)
    texts = wanted.texts
    if texts and not data.isascii():
        data = text_of(data).encode()
    names = [f"column_{n + 1}" for n in range(layout.width)]
    chosen = [names[n] for n in sorted(numbers | texts)]

    def read(kinds: dict[int, "type[pl.DataType]"], which: list[str]) -> "pl.DataFrame | None":
        try:
            with _not_malformed() if quoted else nullcontext():
                return pl.read_csv(
                    data,
                    has_header=False,
                    separator=layout.separator,
                    schema={name: kinds.get(n, pl.Float64) for n, name in enumerate(names)},
                    columns=which,
                    ignore_errors=True,
                    decimal_comma=layout.decimal_comma,
                    quote_char='"' if quoted else None,
                )
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError):
            return None

    frame = read(dict.fromkeys(texts, pl.String), chosen)
    if frame is None:
        return None
    rows = frame.height
    # with every column read, polars has refused long rows, and a short row has an empty last cell
    whole = len(chosen) == layout.width and not any(frame.null_count().row(0))
    if not whole and _count(data, layout.separator) != rows * (layout.width - 1):
        return None
    sheet = Sheet(rows=rows, lines=rows + len(comments))
    if comments:
        sheet.at = places(rows, comments)
        sheet.notes = tuple(notes_in((line, text_of(comment)) for line, comment in comments.items()))
    doubtful: list[int] = []
    for n in sorted(numbers):
        column = frame[names[n]]
        if column.null_count():
            doubtful.append(n)
            continue
        values = column.to_numpy()
        if not np.isfinite(values.sum()) and np.isinf(values).any():
            doubtful.append(n)
            continue
        sheet.numbers[n] = Found(values)
    if doubtful:
        if layout.width == 1 or quoted or wanted.time in doubtful:
            return None  # an empty line looks like an empty cell
        again = read(dict.fromkeys(range(layout.width), pl.String), [names[n] for n in doubtful])
        if again is None or again.height != rows:
            return None
        for n in doubtful:
            sheet.numbers[n] = _doubtful(frame[names[n]], again[names[n]], layout, n)
    for n in texts:
        sheet.texts[n] = frame[names[n]]
        if n == wanted.time and sheet.texts[n].null_count():
            return None
    return sheet


_told_off = threading.Lock()


@contextmanager
def _not_malformed() -> Iterator[None]:
    """Of a quote within a cell polars warns beside what the rows' count says already; others' filters stay."""
    with _told_off, warnings.catch_warnings():
        warnings.filterwarnings("ignore", "CSV malformed")
        yield


def _line_ends(data: bytes, lines: int, by_lines: bool) -> Ints | None:
    """How many line ends a block has up to each ``_WINDOW`` of it; None where they do not tell its lines."""
    if by_lines and not _is_utf8(data):  # what another line holds decides how the text is read
        return None
    text = np.frombuffer(data, np.uint8)
    ends = np.cumsum([np.count_nonzero(text[n : n + _WINDOW] == _LINE_END) for n in range(0, len(data), _WINDOW)])
    if int(ends[-1]) + (not data.endswith(b"\n")) != lines:  # a cell holds one, or an empty line was passed over
        return None
    return ends


def _ends_in(data: bytes) -> Ints:
    return np.flatnonzero(np.frombuffer(data, np.uint8) == _LINE_END)


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _count(data: bytes, separator: str) -> int:
    # ten times as fast as bytes.count where separators are dense
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord(separator)))


def _doubtful(read: "pl.Series", texts: "pl.Series", layout: Layout, index: int) -> Found:
    """A column with cells that are no numbers: those are looked at singly."""
    values = read.fill_null(float("nan")).to_numpy().copy()
    at = np.flatnonzero((read.is_null() & texts.is_not_null()).to_numpy() | np.isinf(values))
    if not len(at):
        return Found(values)
    odd = texts.gather(at)
    got = cells.numbers(odd, _over_texts(layout, index), layout.decimal_comma, _unit(layout, index))
    values[at] = got.values
    over, unreadable = np.zeros(len(values), dtype=bool), np.zeros(len(values), dtype=bool)
    over[at], unreadable[at] = got.over, got.unreadable
    return Found(values, over if got.over.any() else None, unreadable if got.unreadable.any() else None, texts)


def _over_texts(layout: Layout, index: int) -> tuple[str, ...]:
    return tuple(text for column in layout.wanted.columns if column.index == index for text in column.over)


def _unit(layout: Layout, index: int) -> str | None:
    return next((column.unit for column in layout.wanted.columns if column.index == index), None)


def _single_spaces(data: bytes) -> bytes:
    if b"\t" in data:
        data = data.replace(b"\t", b" ")
    while b"  " in data:  # faster than a pattern: a few rounds do
        data = data.replace(b"  ", b" ")
    if data.startswith(b" "):
        data = data[1:]
    return data.replace(b"\n ", b"\n").replace(b" \n", b"\n").replace(b" \r\n", b"\n")


def sheet_by_lines(data: bytes, layout: Layout) -> Sheet:
    """Line by line, so that short, long, empty and comment lines are distinguished."""
    import polars as pl

    separator, width, wanted = layout.separator, layout.width, layout.wanted
    texts = text_of(data).split("\n")
    if not texts[-1]:
        texts.pop()
    notes: tuple[tuple[int, str], ...] = ()
    every = pl.Series("line", texts, dtype=pl.String).str.strip_chars(" \r")
    lead = every.str.strip_chars(f" {separator}\0")
    comment = every.str.starts_with("#")
    header = every == layout.header if layout.header else comment
    at = np.flatnonzero(((lead != "") & ~comment & ~header).to_numpy())
    kept = every.gather(at)
    if separator == " ":
        kept = kept.str.replace_all("[ \t]+", " ")
    joined = kept.str.replace_all(separator, _UNIT, literal=True)
    quoted = np.flatnonzero(kept.str.contains('"', literal=True).to_numpy())
    if len(quoted):
        resolved = [_UNIT.join(unquoted(line, separator)) for line in kept.gather(quoted).to_list()]
        joined = joined.scatter(quoted, resolved)
    if comment.any():
        told = np.flatnonzero(comment.to_numpy())
        notes = tuple(notes_in(zip(told.tolist(), every.gather(told).to_list(), strict=True)))
    fields = joined.str.split(_UNIT)
    counts = fields.list.len().to_numpy().astype(np.int64)

    def cell(index: int) -> pl.Series:
        return fields.list.get(index, null_on_oob=True)

    sheet = Sheet(len(kept), len(texts), at if len(at) < len(texts) else None, kept, notes=notes, by_lines=True)
    numbered = [column.index for column in wanted.columns]
    if wanted.time is not None:
        numbered += (wanted.time, *wanted.more_time)
    if layout.header:
        sheet.again = np.flatnonzero(header.to_numpy())
    sheet.few = counts <= max(numbered)
    sheet.many = counts > width
    if sheet.many.any():  # empty fields at the end of a line do no harm
        sheet.many &= (fields.list.slice(width).list.join("").str.strip_chars() != "").to_numpy()
    for n in numbered:
        if n in wanted.texts:
            sheet.texts[n] = cell(n)
            continue
        texts_n = cell(n)
        got = cells.numbers(texts_n, _over_texts(layout, n), layout.decimal_comma, _unit(layout, n))
        sheet.numbers[n] = Found(got.values, got.over, got.unreadable, texts_n)
    if wanted.mark is not None:
        sheet.texts[wanted.mark] = cell(wanted.mark)
    return sheet


def claims(head: bytes) -> bool:
    """Text: hardly a byte that no text has. Some zero bytes further on are what a loss of power leaves."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):  # UTF-16
        return True
    head = head.rstrip(b"\0")
    if not head or b"\0" in head[:512] or head.startswith(b"PAR1"):
        return False
    odd = sum(head.count(byte) for byte in _CONTROLS)
    return odd * 50 <= len(head)


_CONTROLS = [bytes([n]) for n in (*range(9), *range(14, 32), 127)]

READER = Reader("delimited", claims, DelimitedLog)
