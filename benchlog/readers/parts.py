"""A finer index of a piece: what is needed to read a few of its rows alone and get what the whole piece gives."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.readers.raw import Cuts, Floats, Ints, Piece, Raw
from benchlog.readers.timeline import Placed, State, turns_at
from benchlog.trace import Trace

if TYPE_CHECKING:
    from benchlog.logger import Logger

#: A row too far ahead is told by one row before it and two behind: no part begins or ends among such rows.
_BEFORE, _BEHIND = 3, 2


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of one piece, in order; each but the first begins with a row that is kept.

    Attributes:
        at: where each begins, from the piece's start, and the piece's size: one entry more than parts.
        kept: samples before each, and in all.
        time_s: time of the first sample from each part's begin on, s.
        rows, turns, last: of the ``State`` before each part; the first part's is the piece's own. The last time that
            was kept is not needed: all rows near a part's begin rise.
        first: of that of all but the first.
        counted: no column tells the time.
        by_lines: how the piece was read, see ``Raw``.
    """

    at: Ints
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

    def agrees(self, trace: Trace, first: int, end: int) -> bool:
        """Whether samples read from neighbouring parts can be those that the whole piece gave there."""
        count = int(self.kept[end] - self.kept[first])
        return len(trace) == count and (not count or float(trace.time_s[0]) == float(self.time_s[first]))

    def piece(self, whole: Piece, first: int, end: int) -> Piece:
        """Where neighbouring parts lie in the log."""
        return Piece(whole.start + int(self.at[first]), int(self.at[end] - self.at[first]))

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


def parts_of(cuts: Cuts, raw: Raw, placed: Placed, before: State, logger: "Logger") -> Parts | None:
    """The finer index of a piece that has been read; None where it can only be read as a whole.

    Args:
        cuts: where it could be cut. raw, placed: the piece's rows. before: what it needed to know of the log before.
    """
    turns = turns_at(raw, logger, before)
    if turns is None or not len(placed.trace):
        return None
    n = len(raw)
    begins = cuts.line if raw.line is None else np.searchsorted(raw.line, cuts.line)
    good = (begins > 0) & (begins < n)
    begins, at, line = begins[good], cuts.at[good], cuts.line[good]
    if raw.line is not None:  # else it begins with a line that is no row, and nobody knows how those count
        good = raw.line[begins] == line
        begins, at = begins[good], at[good]
    kept = begins
    if placed.keep is not None:
        near = np.clip(begins[:, None] + np.arange(-_BEFORE, _BEHIND + 1), 0, n - 1)
        good = placed.keep[near].all(axis=1)
        begins, at = begins[good], at[good]
        kept = np.cumsum(placed.keep)[begins - 1]
    if not len(begins):
        return None
    time_s = placed.trace.time_s
    zero = np.zeros(1, dtype=np.int64)
    return Parts(
        at=np.concatenate((zero, at, [cuts.size])),
        kept=np.concatenate((zero, kept, [len(time_s)])),
        time_s=time_s[np.concatenate((zero, kept))],
        rows=before.rows + np.concatenate((zero, begins if raw.row is None else raw.row[begins])),
        turns=np.concatenate(([before.turns], turns[begins - 1])),
        last=np.concatenate(([np.nan], np.full(len(begins), np.nan) if raw.time is None else raw.time[begins - 1])),
        first=placed.after.first,
        counted=raw.time is None,
        by_lines=raw.by_lines,
    )
