"""Rows of delimited text as columns: regular blocks read by polars, odd ones line by line."""

import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING

import numpy as np

from benchlog.log.readers import cells
from benchlog.log.readers.comments import notes_in, places, without_comments
from benchlog.log.readers.cutting import text_of, unquoted
from benchlog.log.readers.layout import Layout
from benchlog.log.readers.rows import Found, Sheet, are_whole

if TYPE_CHECKING:
    import polars as pl


_UNIT = "\x1f"  # between cells once quotes are resolved


# polars would unpack a block that begins like this: gzip, zstd, zlib
_PACKED = (b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"x\x01", b"x^", b"x\x9c", b"x\xda")


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
    chosen = sorted(numbers | texts)
    frame = _frame(data, layout, dict.fromkeys(texts, pl.String), chosen)
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
    doubtful = _take_numbers(sheet, frame, sorted(numbers))
    if doubtful:
        if layout.width == 1 or quoted or wanted.time in doubtful:
            return None  # an empty line looks like an empty cell
        again = _frame(data, layout, dict.fromkeys(range(layout.width), pl.String), doubtful)
        if again is None or again.height != rows:
            return None
        for n in doubtful:
            sheet.numbers[n] = _doubtful(frame[_name(n)], again[_name(n)], layout, n)
    for n in texts:
        sheet.texts[n] = frame[_name(n)]
        if n == wanted.time and sheet.texts[n].null_count():
            return None
    return sheet


def _name(index: int) -> str:
    return f"column_{index + 1}"


def _frame(
    data: bytes, layout: Layout, kinds: dict[int, "type[pl.DataType]"], chosen: list[int]
) -> "pl.DataFrame | None":
    """These columns of the lines, numbers where ``kinds`` says nothing else; None where polars refuses them."""
    import polars as pl

    quoted = b'"' in data
    try:
        with _not_malformed() if quoted else nullcontext():
            return pl.read_csv(
                data,
                has_header=False,
                separator=layout.separator,
                schema={_name(n): kinds.get(n, pl.Float64) for n in range(layout.width)},
                columns=[_name(n) for n in chosen],
                ignore_errors=True,
                decimal_comma=layout.decimal_comma,
                quote_char='"' if quoted else None,
            )
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError):
        return None


def _take_numbers(sheet: Sheet, frame: "pl.DataFrame", wanted: list[int]) -> list[int]:
    """Put the columns that are all numbers into the sheet; gives those that must be looked at cell by cell."""
    doubtful = []
    for n in wanted:
        column = frame[_name(n)]
        if column.null_count():
            doubtful.append(n)
            continue
        values = column.to_numpy()
        whole = are_whole(values)
        if not whole and np.isinf(values).any():
            doubtful.append(n)
            continue
        sheet.numbers[n] = Found(values, whole=whole)
    return doubtful


_told_off = threading.Lock()


@contextmanager
def _not_malformed() -> Iterator[None]:
    """Of a quote within a cell polars warns beside what the rows' count says already; others' filters stay."""
    with _told_off, warnings.catch_warnings():
        warnings.filterwarnings("ignore", "CSV malformed")
        yield


def is_utf8(data: bytes) -> bool:
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
    odd = texts.gather(at.tolist())  # an array of indices loads numpy's masked ones
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


def _fields(lines: "pl.Series", separator: str) -> "pl.Series":
    """The cells of each line, quotes resolved."""
    joined = lines.str.replace_all(separator, _UNIT, literal=True)
    quoted = np.flatnonzero(lines.str.contains('"', literal=True).to_numpy())
    if len(quoted):
        resolved = [_UNIT.join(unquoted(line, separator)) for line in lines.gather(quoted).to_list()]
        joined = joined.scatter(quoted, resolved)
    return joined.str.split(_UNIT)


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
    if comment.any():
        told = np.flatnonzero(comment.to_numpy())
        notes = tuple(notes_in(zip(told.tolist(), every.gather(told).to_list(), strict=True)))
    fields = _fields(kept, separator)
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
