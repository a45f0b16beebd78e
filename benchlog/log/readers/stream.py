"""A logger's own lines in a file, as a memory card keeps them: each is looked at by its checksum, then read as text.

A line whose checksum is wrong, or missing, is left out and counted.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from benchlog.log.readers.delimited import DelimitedLog
from benchlog.log.readers.lines.block import Block
from benchlog.log.readers.lines.checksum import DIGITS, right
from benchlog.log.readers.lines.sift import cut, line_ends
from benchlog.log.readers.raw import Raw, Reader, ReadFault
from benchlog.log.readers.source import Source
from benchlog.log.readers.summed import summed_kind

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

#: Stands for a line that is not to be trusted: a row with too few fields, which every table counts.
WRONG = b"(wrong checksum)"
_HASH, _DOLLAR = ord("#"), ord("$")


def open_stream(source: Source, logger: "Logger | None", block_bytes: int) -> DelimitedLog:
    """Read the lines without their checksums."""
    take_sums_off(source)
    return StreamLog(source, logger, block_bytes)


def take_sums_off(source: Source) -> None:
    """Let lines be read without the checksums that they carry; others, and those that this was done to, stay."""
    kind = summed_kind(source.head)
    if kind is not None:
        source.recast(_Lines(kind).without_sums)


class StreamLog(DelimitedLog):
    """A table of which some lines were not to be trusted."""

    def parse(self, data: bytes) -> Raw:
        """The block's rows; those lines are told by their own name."""
        raw = super().parse(data)
        wrong = data.count(WRONG)
        if not wrong:
            return raw
        first = data.count(b"\n", 0, data.find(WRONG))
        faults = [ReadFault("checksum", wrong, first, "")]
        for fault in raw.faults:
            if fault.kind != "few":
                faults.append(fault)
            elif fault.count > wrong:
                faults.append(replace(fault, count=fault.count - wrong))
        return replace(raw, faults=tuple(faults))


class _Lines:
    """Lines in order: a header may lack its checksum, at the beginning or when it comes again."""

    def __init__(self, kind: str) -> None:
        self._kind = kind
        self._above: set[bytes] = set()  # lines without a checksum, before the first that has one
        self._begun = False

    def without_sums(self, chunks: Iterator[bytes]) -> Iterator[bytes]:
        """The same lines, to be read as a table."""
        rest = b""
        for chunk in chunks:
            whole, rest = cut(rest + chunk)
            if whole.endswith(b"\r"):  # its line feed may be the next chunk's first byte
                whole, rest = whole[:-1], b"\r" + rest
                whole, half = cut(whole)
                rest = half + rest
            if whole:
                yield self._plain(Block.of(line_ends(whole)))
        if rest.strip(b"\r\n\0 "):
            yield self._plain(Block.of(line_ends(rest.rstrip(b"\r\n\0 ")) + b"\n"))

    def _plain(self, block: Block) -> bytes:
        """Those with the right checksum without it; comments, empty lines and headers as they are."""
        starts = block.starts
        there, good = right(self._kind, block.octets, starts, block.ends)
        keep = np.ones(len(block.octets), dtype=bool)
        for n in range(1, DIGITS[self._kind] + 2):
            keep[block.ends[good] - n] = False
        keep[starts[good & (block.octets[starts] == _DOLLAR)]] = False
        first = int(np.argmax(good)) if good.any() else len(good)
        parts, done = [], 0
        for n in np.flatnonzero(~good & (block.octets[starts] != _HASH) & (block.lengths > 1)).tolist():
            if not there[n] and self._is_header(block.line(n), at_first=not self._begun and n < first):
                continue
            begin = int(starts[n])
            parts += [block.octets[done:begin][keep[done:begin]].tobytes(), WRONG]
            done = int(block.ends[n])
        self._begun |= bool(good.any())
        return b"".join([*parts, block.octets[done:][keep[done:]].tobytes()])

    def _is_header(self, line: bytes, *, at_first: bool) -> bool:
        if at_first:
            self._above.add(line)
        return line in self._above


READER = Reader("stream", lambda head: summed_kind(head) is not None, open_stream)
