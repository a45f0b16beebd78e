"""The blocks of a log: where each lies, and any stretch of one, read again."""

import threading
from collections import OrderedDict
from typing import TYPE_CHECKING

from benchlog.readers.parts import Parts
from benchlog.readers.raw import Piece, Table
from benchlog.readers.timeline import State, place
from benchlog.trace import Trace

if TYPE_CHECKING:
    from benchlog.logger import Logger

_HELD = 4
#: Of the samples in all stretches that are held.
_HELD_BYTES = 32 << 20


class Blocks:
    """The blocks of one log that hold samples, in order; the last ones read are held, and the last stretches.

    Attributes:
        starts_s, ends_s: time of each block's first and last sample.
    """

    def __init__(self, table: Table, logger: "Logger") -> None:
        self._table, self._logger = table, logger
        self._blocks: list[tuple[Piece, State, Parts | None]] = []
        self.starts_s: list[float] = []
        self.ends_s: list[float] = []
        self._held: OrderedDict[int, Trace] = OrderedDict()
        self._stretches = _Stretches()
        self._lock = threading.Lock()

    def add(self, piece: Piece, before: State, parts: Parts | None, trace: Trace) -> None:
        """Take the next block, one sample at least; ``before``: what it needs to know of those before it."""
        self._blocks.append((piece, before, parts))
        self.starts_s.append(float(trace.time_s[0]))
        self.ends_s.append(float(trace.time_s[-1]))
        self._hold(len(self._blocks) - 1, trace)

    def samples(self, n: int, from_s: float, to_s: float) -> Trace:
        """What block ``n`` has from one time to another; may keep alive more than that."""
        with self._lock:
            stretch = self._of_parts(n, from_s, to_s)
            return (self._whole(n) if stretch is None else stretch).between(from_s, to_s)

    def clear(self) -> None:
        """Let go what is held."""
        self._held.clear()
        self._stretches.clear()

    def _of_parts(self, n: int, from_s: float, to_s: float) -> Trace | None:
        """The parts of a block that hold a stretch; None where the whole block serves better."""
        piece, before, parts = self._blocks[n]
        if parts is None or n in self._held:
            return None
        first, end = parts.around(from_s, to_s)
        held = self._stretches.find(n, first, end)
        if held is not None:
            return held
        if 2 * (end - first) > len(parts):
            return None
        raw = self._table.part(parts.piece(piece, first, end), parts.by_lines)
        if raw is None:
            return None
        trace = place(raw, self._logger, parts.state(before, first)).trace
        if not parts.agrees(trace, first, end):
            return None
        self._stretches.hold(n, first, end, trace)
        return trace

    def _whole(self, n: int) -> Trace:
        if n in self._held:
            self._held.move_to_end(n)
            return self._held[n]
        piece, before, _ = self._blocks[n]
        trace = place(self._table.parse(self._table.load(piece)), self._logger, before).trace
        self._hold(n, trace)
        return trace

    def _hold(self, n: int, trace: Trace) -> None:
        self._held[n] = trace
        if len(self._held) > _HELD:
            self._held.popitem(last=False)


class _Stretches:
    """The last stretches of blocks that were read, within bounds; those asked for last go last."""

    def __init__(self) -> None:
        self._held: OrderedDict[tuple[int, int, int], Trace] = OrderedDict()
        self._of_block: dict[int, list[tuple[int, int, int]]] = {}
        self._bytes = 0

    def find(self, n: int, first: int, end: int) -> Trace | None:
        """A held stretch of block ``n`` in which these parts lie."""
        for key in self._of_block.get(n, ()):
            if key[1] <= first and end <= key[2]:
                self._held.move_to_end(key)
                return self._held[key]
        return None

    def hold(self, n: int, first: int, end: int, trace: Trace) -> None:
        """Keep a stretch, in the place of those that lie in it."""
        for key in [key for key in self._of_block.get(n, ()) if first <= key[1] and key[2] <= end]:
            self._drop(key)
        self._held[n, first, end] = trace
        self._of_block.setdefault(n, []).append((n, first, end))
        self._bytes += _size(trace)
        while self._bytes > _HELD_BYTES:
            self._drop(next(iter(self._held)))

    def clear(self) -> None:
        """Let all go."""
        self._held.clear()
        self._of_block.clear()
        self._bytes = 0

    def _drop(self, key: tuple[int, int, int]) -> None:
        self._bytes -= _size(self._held.pop(key))
        self._of_block[key[0]].remove(key)


def _size(trace: Trace) -> int:
    return sum(column.nbytes for column in (trace.time_s, *trace.values.values(), *trace.over.values()))
