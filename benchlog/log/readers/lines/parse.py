"""A stream's bytes to its samples: whole lines, checked and counted, in batches."""

import re
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from benchlog.log.readers.cutting import text_of
from benchlog.log.readers.layout import Layout
from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.lines.checksum import body_of, kind_of
from benchlog.log.readers.lines.forms import Form, find_form, header_of, numeric_columns
from benchlog.log.readers.lines.meaning import Meaning, meaning_of, names_needed
from benchlog.log.readers.lines.named_cells import NamedCells
from benchlog.log.readers.lines.parsed import Parsed
from benchlog.log.readers.lines.sift import (
    checked,
    cut,
    end_of_whole,
    goes_on,
    line_ends,
    odd_lines,
    of_width,
    single_spaces,
)
from benchlog.log.readers.raw import Flags, Raw
from benchlog.log.readers.rows import accept_rows
from benchlog.log.readers.sheets import regular_sheet, sheet_by_lines

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

_FAULTS = {"few": "cut", "many": "rubbish", "unreadable": "unreadable", "no_time": "unreadable"}
_NOTE = re.compile(rb"#\s*note:\s*(.*?)\s*$")
_LONGEST_LINE = 1 << 14
_MOST_HELD = 1 << 20  # bytes looked at before the form must be known
_FIRST_LINES = (20, 400)  # looked at for the form; more where the fewer do not settle it


class LineParser:
    """Reads a stream piece by piece.

    Attributes:
        form: of the lines; None until it is found.
        meaning: what the columns mean; None until the form is found.
        late_header: names that came after the stream had been taken for one without a header; else ().
    """

    def __init__(self, logger: "Logger | None", where: str = "the stream") -> None:
        self._logger, self._where = logger, where
        self.form: Form | None = None
        self.meaning: Meaning | None = None
        self.late_header: tuple[str, ...] = ()
        self._rest = b""  # a line without its end, or whole lines while the form is unknown
        self._joined_late = True  # the next line may lack its beginning
        self._named = NamedCells()
        self._header = b""
        self._refused = Counter[str]()
        self._notes: list[str] = []

    @property
    def found(self) -> tuple[Form, Meaning]:
        """Form and meaning, once they are found."""
        assert self.form is not None
        assert self.meaning is not None
        return self.form, self.meaning

    @property
    def columns(self) -> tuple[str, ...]:
        """The stream's columns; () until they are known."""
        return self.form.columns if self.form is not None else ()

    @property
    def holds(self) -> int:
        """Bytes that wait for more."""
        return len(self._rest)

    def feed(self, data: bytes, *, few: bool = False, last: bool = False) -> Parsed | None:
        """Take the next bytes of the stream.

        Args:
            data: any bytes.
            few: the lines that are there must settle the form, however few.
            last: nothing more is waited for, a header neither.

        Returns:
            None while the form is not known, or no line is whole.

        Raises:
            BadLog: the logger file does not suit the stream.
        """
        if self.form is None:
            self._rest += data
            if not self._find_form(few or last, last):
                self._forget_rubbish()
                return None
            whole, self._rest = cut(self._rest)
        else:
            whole = self._whole(data)
        if not whole:
            return self._nothing()
        return self._parsed(whole, last)

    def interrupted(self) -> None:
        """The stream broke off: half a line is dropped, and the next may lack its beginning."""
        if self.form is None:
            whole, rest = cut(self._rest)
            self._rest = whole
        else:
            rest, self._rest = self._rest, b""
        if rest:
            self._refused["cut"] += 1
        self._joined_late = True

    def _forget_rubbish(self) -> None:
        """Of a stream that shows no form the oldest part goes."""
        if len(self._rest) > _MOST_HELD:
            self._refused["rubbish"] += self._rest.count(b"\n", 0, -_MOST_HELD // 4) or 1
            self._rest = self._rest[-_MOST_HELD // 4 :]
            self._joined_late = True

    def _whole(self, data: bytes) -> bytes:
        end = end_of_whole(data)
        whole = b""
        if end:
            whole, self._rest = b"".join((self._rest, memoryview(data)[:end])), data[end:]
        else:
            self._rest += data
        if len(self._rest) > _LONGEST_LINE:
            self._refused["rubbish"] += 1
            self._rest = self._rest[-_LONGEST_LINE // 2 :]
            self._joined_late = True
        return whole

    def _find_form(self, few: bool, last: bool) -> bool:
        form = None
        for count in _FIRST_LINES:
            head = line_ends(self._rest[: count * _LONGEST_LINE // 16])
            lines = [line for line in cut(head)[0].split(b"\n", count)[:count] if line.strip()]
            form = find_form(lines, self._logger, few=few)
            if form is not None and (form.headed or (self._logger and not names_needed(self._logger, form.columns))):
                break
        if form is None:
            return False
        if not form.headed and not last and (self._logger is None or names_needed(self._logger, form.columns)):
            return False  # the header may still come
        self.meaning = meaning_of(self._where, self._logger, form.columns, numeric_columns(lines, form))
        self.form = form
        if form.kind == "csv" and form.headed:
            self._header = next(line for line in map(self._bare, lines) if self._names(line))
        return True

    def _names(self, line: bytes) -> bool:
        form = self.form
        return form is not None and header_of(line, form.separator, len(form.columns)) == form.columns

    def _bare(self, line: bytes) -> bytes:
        """A line without ``$`` and checksum."""
        checksum = self.form.checksum if self.form is not None else ""
        if checksum and kind_of(line) == checksum:
            return body_of(line, checksum)[0]
        return line.removeprefix(b"$")

    def _nothing(self) -> Parsed | None:
        if not self._refused and not self._notes:
            return None
        return self._told(b"", _empty())

    def _told(self, rows: bytes, raw: Raw) -> Parsed:
        refused = {reason: count for reason, count in self._refused.items() if count}
        parsed = Parsed(rows, raw, refused, tuple(self._notes))
        self._refused, self._notes = Counter(), []
        return parsed

    def _parsed(self, whole: bytes, last: bool) -> Parsed | None:
        form, _ = self.found
        block = Block.of(line_ends(whole))
        block = self._refuse(block, odd_lines(block, self._is_header), "rubbish")
        block = self._of_samples(block)
        if self._joined_late and len(block):
            if len(block) == 1 and not last and not form.checksum and form.kind == "csv":
                self._rest = block.data + self._rest  # the next line tells whether this one is whole
                return self._nothing()
            block = self._from_beginning(block)
        if len(block) and form.checksum:
            block, cut_lines, wrong = checked(block, form.checksum)
            self._refused += Counter(cut=cut_lines, checksum=wrong)
        elif len(block) and b"$" in block.data:
            block = Block.of(block.data.replace(b"\n$", b"\n").removeprefix(b"$"))
        if len(block) and form.kind != "csv":
            block, half, odd = self._named.cells(block, form)
            self._refused += Counter(cut=half, rubbish=odd)
        return self._told(*self._rows(block))

    def _refuse(self, block: Block, bad: Flags | None, reason: str) -> Block:
        if bad is None or not bad.any():
            return block
        self._refused[reason] += int(bad.sum())
        return block.only(~bad)

    def _is_header(self, line: bytes) -> bool:
        return bool(self._header) and self._names(self._bare(line))

    def _of_samples(self, block: Block) -> Block:
        """Without empty lines, comments and the header when it comes again."""
        block = block.only(block.lengths > 1)
        if not len(block):
            return block
        first = block.octets[block.starts]
        keep = np.ones(len(block), dtype=bool)
        for n in np.flatnonzero(first == ord("#")).tolist():
            keep[n] = False
            if found := _NOTE.match(self._bare(block.line(n))):
                self._notes.append(text_of(found[1]))
        if self._header:
            first = block.octets[block.starts + (first == ord("$"))]
            for n in np.flatnonzero(first == self._header[0]).tolist():
                keep[n] = keep[n] and self._bare(block.line(n)) != self._header
        if not keep[0]:
            self._joined_late = False
        return block.only(keep)

    def _from_beginning(self, block: Block) -> Block:
        """Without a first line that lacks its beginning; only CSV without checksums does not show that by itself."""
        form, _ = self.found
        self._joined_late = False
        if form.checksum or form.kind != "csv" or len(block) < 2:
            return block
        lines = [block.line(n).split(form.separator.encode())[0].strip() for n in range(min(len(block), 3))]
        bad = np.zeros(len(block), dtype=bool)
        bad[0] = not goes_on(lines)
        return self._refuse(block, bad, "cut")

    def _rows(self, block: Block) -> tuple[bytes, Raw]:
        form, meaning = self.found
        data = block.data
        if form.separator == " " and form.kind == "csv":
            data = single_spaces(data).replace(b" ", form.written.encode())
        if meaning.wanted.mark is None:
            data = data.replace(b"\n", form.written.encode() + b"\n")
        width = len(form.columns) + (meaning.wanted.mark is None)
        layout = Layout(form.written, form.decimal_comma, width, 0, 1, meaning.wanted)
        if not data:
            return b"", _empty(meaning.wanted.roles)
        sheet = regular_sheet(data, layout)
        if sheet is None or sheet.rows != len(block):
            data, few, many = of_width(data, layout.separator, width)
            self._refused += Counter(cut=few, rubbish=many)
            if not data:
                return b"", _empty(meaning.wanted.roles)
            sheet = regular_sheet(data, layout)
            if sheet is None or sheet.rows != data.count(b"\n"):
                sheet = sheet_by_lines(data, layout)
        raw = accept_rows(sheet, meaning.wanted)
        if not raw.faults and raw.line is None:
            return data, raw
        for fault in raw.faults:
            self._refused[_FAULTS.get(fault.kind, "unreadable")] += fault.count
        rows = Block.of(data)
        keep = np.zeros(len(rows), dtype=bool)
        keep[raw.line if raw.line is not None else slice(None)] = True
        self._look_for_header(rows, keep)
        return rows.only(keep).data, replace(raw, row=None, line=None, rows=len(raw), lines=len(raw), faults=())

    def _look_for_header(self, rows: Block, keep: Flags) -> None:
        form, _ = self.found
        if form.headed or self.late_header or form.kind != "csv":
            return
        for n in np.flatnonzero(~keep)[:20].tolist():
            line = rows.line(n).removesuffix(form.written.encode())
            names = header_of(line, form.written, len(form.columns))
            if names is not None and not any(name.isdigit() for name in names):
                self.late_header = names
                self._refused["unreadable"] -= 1
                return


def _empty(roles: "frozenset[str]" = frozenset()) -> Raw:
    return Raw(np.empty(0), None, None, {role: np.empty(0) for role in roles}, {}, (), 0, 0, ())
