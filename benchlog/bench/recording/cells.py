"""Single cells of rows that are about to be written: times that were moved or added, marks."""

import csv
import io
import re
from collections.abc import Sequence

import numpy as np

from benchlog.log.readers.raw import Flags, Floats, Ints


def with_times(rows: bytes, separator: str, column: int, texts: list[str], moved: Flags) -> bytes:
    """Rows with other times in them.

    Args:
        rows: whole lines.
        separator: between their cells.
        column: the time's place, from 0.
        texts: one for each moved row.
        moved: which rows those are.
    """
    comma = separator.encode()
    lines = rows.split(b"\n")
    for n, text in zip(np.flatnonzero(moved).tolist(), texts, strict=True):
        cells = lines[n].split(comma, column + 1)
        cells[column] = text.encode()
        lines[n] = comma.join(cells)
    return b"\n".join(lines)


def with_added_times(rows: bytes, separator: str, time_s: Floats, decimal_comma: bool, own_mark: bool) -> bytes:
    """Rows with a time before the empty cell of the mark, or at the end where the stream has marks of its own."""
    comma = separator.encode()
    texts = [f"{value:.6f}" for value in time_s.tolist()]
    if decimal_comma:
        texts = [text.replace(".", ",") for text in texts]
    lines = rows.split(b"\n")[:-1]
    if own_mark:
        return b"".join(b"%b%b%b\n" % (line, comma, text.encode()) for line, text in zip(lines, texts, strict=True))
    # each row ends with the separator before its mark
    return b"".join(b"%b%b%b\n" % (line, text.encode(), comma) for line, text in zip(lines, texts, strict=True))


def time_texts(time: Floats | Ints, decimals: int, decimal_comma: bool) -> list[str]:
    """Times as they are written; dates in UTC where they are us since 1970."""
    if time.dtype == np.int64:
        return [f"{text}Z" for text in np.datetime_as_string(time.astype("datetime64[us]")).tolist()]
    texts = [f"{value:.{decimals}f}" for value in time.tolist()]
    return [text.replace(".", ",") for text in texts] if decimal_comma else texts


def decimals_of(cell: bytes) -> int:
    """How many places after the decimal mark a number is written with."""
    found = re.fullmatch(rb'["\s]*[+-]?\d*[.,](\d*)["\s]*', cell)
    if found:
        return len(found[1])
    return 0 if re.fullmatch(rb'["\s]*[+-]?\d+["\s]*', cell) else 6


def with_mark(row: bytes, separator: str, column: int, text: str) -> bytes:
    """One row, without its line end, with a mark in it; one that is there already is kept before it.

    Args:
        row: its cells.
        separator: between them.
        column: the mark's place, from 0.
        text: the mark.
    """
    cells = next(csv.reader([row.decode("utf-8", "replace")], delimiter=separator), [])
    cells += [""] * (column + 1 - len(cells))
    cells[column] = f"{cells[column]}; {text}" if cells[column].strip() else text
    written = io.StringIO()
    csv.writer(written, delimiter=separator, lineterminator="").writerow(cells)
    return written.getvalue().encode()


def has_mark(row: bytes, separator: str, column: int) -> bool:
    """Whether one row, without its line end, has a mark already."""
    cells = next(csv.reader([row.decode("utf-8", "replace")], delimiter=separator), [])
    return len(cells) > column and bool(cells[column].strip())


def one_line(text: str) -> str:
    """A text without line ends and control characters."""
    return re.sub(r"[\x00-\x1f\x7f]+", " ", text).strip()


def header_row(names: Sequence[str], separator: str) -> bytes:
    """The header line of a file."""
    return separator.join(_quoted(name, separator) for name in names).encode() + b"\n"


def _quoted(name: str, separator: str) -> str:
    return '"' + name.replace('"', '""') + '"' if separator in name or '"' in name else name
