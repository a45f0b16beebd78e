"""A finer index of a piece: what is needed to read a few of its rows alone and get what the whole piece gives."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.trace import Trace
from benchlog.log.readers.raw import Floats, Ints, Piece, Raw, Table
from benchlog.log.readers.timeline import Placed, State, turns_at

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

#: Parts of a piece, and of a whole log: their index must not grow with it.
_PARTS, _MOST_PARTS = 128, 1 << 17
#: A row too far ahead is told by one row before it and two behind: no part begins or ends among such rows.
_BEFORE, _BEHIND = 3, 2


@dataclass(frozen=True, slots=True)
class BlockParts:
    """The parts of one piece, in order; each but the first begins with a row that is kept.

    Attributes:
        line: the line with which each begins, from the piece's first.
        lines: of the piece.
        kept: samples before each, and in all.
        time_s: time of the first sample from each part's begin on, s.
        rows, turns, last: of the ``State`` before each part; the first part's is the piece's own. The last time that
            was kept is not needed: all rows near a part's begin rise.
        first: of that of all but the first.
        counted: no column tells the time.
        by_lines: how the piece was read, see ``Raw``.
    """

    line: Ints
    lines: int
    kept: Ints
    time_s: Floats
    rows: Ints
    turns: Ints
    last: Floats
    first: float | int | None
    counted: bool
    by_lines: bool

    def __len__(self) -> int:
        return len(self.time_s)

    def around(self, from_s: float, to_s: float) -> tuple[int, int]:
        """The parts (the first, and the one after the last) that hold all samples of a stretch."""
        first = max(int(np.searchsorted(self.time_s, from_s, side="right")) - 1, 0)
        return first, max(int(np.searchsorted(self.time_s, to_s, side="right")), first + 1)

    def read(self, table: Table, piece: Piece, first: int, end: int) -> Raw | None:
        """The rows of neighbouring parts; None where they cannot be read without the rest of their piece."""
        inner = end < len(self)
        lines = [int(self.line[first]), *([int(self.line[end])] if inner else [])]
        begins = table.begins(piece, lines, self.lines, self.by_lines)
        if begins is None:
            return None
        size = (begins[1] if inner else piece.size) - begins[0]
        return table.part(Piece(piece.start + begins[0], size), self.by_lines)

    def state(self, before: State, part: int) -> State:
        """What a part needs to know of the log before it; ``before``: what the whole piece does."""
        if part == 0:
            return before
        return State(
            rows=int(self.rows[part]),
            first=self.first,
            turns=int(self.turns[part]),
            last=None if self.counted else float(self.last[part]),
        )

    def agrees(self, trace: Trace, first: int, end: int) -> bool:
        """Whether samples read from neighbouring parts can be those that the whole piece gave there."""
        count = int(self.kept[end] - self.kept[first])
        return len(trace) == count and (not count or float(trace.time_s[0]) == float(self.time_s[first]))


def parts_of(raw: Raw, placed: Placed, before: State, logger: "Logger", share: float) -> BlockParts | None:
    """The finer index of a piece that has been read; None where it can only be read as a whole.

    Args:
        raw, placed: the piece's rows. before: what it needed to know of the log before. share: of the log it is, 1.
    """
    n = len(raw)
    turns = turns_at(raw, logger, before)
    begins = np.arange(0, n, max(n // max(min(_PARTS, int(_MOST_PARTS * share)), 1), 1))[1:]
    if turns is None or not len(placed.trace):
        return None
    kept = begins
    if placed.keep is not None:
        near = np.clip(begins[:, None] + np.arange(-_BEFORE, _BEHIND + 1), 0, n - 1)
        begins = begins[placed.keep[near].all(axis=1)]
        kept = np.cumsum(placed.keep)[begins - 1]
    if not len(begins):
        return None
    time_s = placed.trace.time_s
    zero = np.zeros(1, dtype=np.int64)
    return BlockParts(
        line=np.concatenate((zero, begins if raw.line is None else raw.line[begins])),
        lines=raw.lines,
        kept=np.concatenate((zero, kept, [len(time_s)])),
        time_s=time_s[np.concatenate((zero, kept))],
        rows=before.rows + np.concatenate((zero, begins if raw.row is None else raw.row[begins])),
        turns=np.concatenate(([before.turns], turns[begins - 1])),
        last=np.concatenate(([np.nan], np.full(len(begins), np.nan) if raw.time is None else raw.time[begins - 1])),
        first=placed.after.first,
        counted=raw.time is None,
        by_lines=raw.by_lines,
    )
