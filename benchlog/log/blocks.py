"""The blocks of a log: where each lies, and any stretch of one, read again."""

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from benchlog.core.roles import ROLE_UNITS
from benchlog.core.trace import Trace
from benchlog.log.readers.parts import BlockParts
from benchlog.log.readers.raw import Piece, Table
from benchlog.log.readers.timeline import State, place

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

_HELD = 4
#: Of the stretches that were held as they passed, and of those that were read last.
_PASSED_BYTES, _READ_BYTES = 160 << 20, 16 << 20
#: Where a voltage leaps so far, V, from one of every so many samples to the next, the key may turn: what is looked at
#: there, from so long before to so long after, s, a rise or a fall, is held as it passes.
_LEAP_V, _LOOKED_AT, _AROUND_RISE_S, _AROUND_FALL_S = 3.0, 16, (1.1, 1.4), (3.2, 5.1)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """All samples of a block from one time to before another."""

    from_s: float
    before_s: float
    trace: Trace

    @property
    def size(self) -> int:
        """Bytes."""
        return sum(a.nbytes for a in (self.trace.time_s, *self.trace.values.values(), *self.trace.over.values()))


class Blocks:
    """The blocks of one log that hold samples, in order; the last ones read are held, and some stretches.

    Attributes:
        starts_s, ends_s: time of each block's first and last sample.
    """

    def __init__(self, table: Table, logger: "Logger") -> None:
        self._table, self._logger = table, logger
        self._blocks: list[tuple[Piece, State, BlockParts | None]] = []
        self.starts_s: list[float] = []
        self.ends_s: list[float] = []
        self._held: OrderedDict[int, Trace] = OrderedDict()
        self._passed, self._read = _Stretches(_PASSED_BYTES), _Stretches(_READ_BYTES)
        self._lock = threading.Lock()

    def add(self, piece: Piece, before: State, parts: BlockParts | None, trace: Trace) -> None:
        """Take the next block, one sample at least; ``before``: what it needs to know of those before it."""
        n = len(self._blocks)
        self._blocks.append((piece, before, parts))
        self.starts_s.append(float(trace.time_s[0]))
        self.ends_s.append(float(trace.time_s[-1]))
        self._hold(n, trace)
        for first, end in _around_leaps(trace):
            stretch = _cut_out(trace, first, end)
            if stretch.size <= self._passed.room:
                self._passed.hold(n, stretch)

    def samples(self, n: int, from_s: float, to_s: float) -> Trace:
        """What block ``n`` has from one time to another; may keep alive more than that."""
        with self._lock:
            stretch = None if n in self._held else self._stretch(n, from_s, to_s)
            return (self._whole(n) if stretch is None else stretch).between(from_s, to_s)

    def clear(self) -> None:
        """Let go what is held."""
        self._held.clear()
        self._passed.clear()
        self._read.clear()

    def _stretch(self, n: int, from_s: float, to_s: float) -> Trace | None:
        """A stretch of a block in which these times lie, held or read now; None where the whole block is better."""
        held = self._passed.find(n, from_s, to_s) or self._read.find(n, from_s, to_s)
        if held is not None:
            return held.trace
        piece, before, parts = self._blocks[n]
        if parts is None:
            return None
        first, end = parts.around(from_s, to_s)
        if 2 * (end - first) > len(parts):
            return None
        raw = parts.read(self._table, piece, first, end)
        if raw is None:
            return None
        trace = place(raw, self._logger, parts.state(before, first)).trace
        if not parts.agrees(trace, first, end):
            return None
        begins_s = float(parts.time_s[first]) if first else -np.inf
        self._read.hold(n, _Stretch(begins_s, float(parts.time_s[end]) if end < len(parts) else np.inf, trace))
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


def _around_leaps(trace: Trace) -> list[tuple[int, int]]:
    """The samples (the first, and the one after the last) around each leap of a voltage; none of them overlap."""
    firsts, ends = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for role, values in trace.values.items():
        if ROLE_UNITS[role] != "V":
            continue
        looked_at = values[::_LOOKED_AT]
        change = looked_at[1:] - looked_at[:-1]
        for leaps, (before_s, after_s) in ((change > _LEAP_V, _AROUND_RISE_S), (change < -_LEAP_V, _AROUND_FALL_S)):
            around_s = trace.time_s[np.flatnonzero(leaps) * _LOOKED_AT]
            firsts.append(np.searchsorted(trace.time_s, around_s - before_s))
            ends.append(np.searchsorted(trace.time_s, around_s + after_s))
    first = np.concatenate(firsts)
    if not len(first):
        return []
    order = np.argsort(first)
    first, end = first[order], np.maximum.accumulate(np.concatenate(ends)[order])
    apart = first[1:] > end[:-1]
    return list(zip(first[np.append(True, apart)].tolist(), end[np.append(apart, True)].tolist(), strict=True))


def _cut_out(trace: Trace, first: int, end: int) -> _Stretch:
    """Some samples of a block by themselves."""
    time_s = trace.time_s
    return _Stretch(
        float(time_s[first]) if first else -np.inf,
        float(time_s[end]) if end < len(time_s) else np.inf,
        Trace(
            time_s[first:end].copy(),
            {role: column[first:end].copy() for role, column in trace.values.items()},
            {role: flags[first:end].copy() for role, flags in trace.over.items()},
        ),
    )


class _Stretches:
    """Stretches of blocks within bounds: the one that was asked for longest ago goes first."""

    def __init__(self, most_bytes: int) -> None:
        self.room = most_bytes
        self._held: OrderedDict[tuple[int, float], _Stretch] = OrderedDict()
        self._of_block: dict[int, list[tuple[int, float]]] = {}

    def find(self, n: int, from_s: float, to_s: float) -> _Stretch | None:
        """A stretch of block ``n`` that has all of its samples between these times."""
        for key in self._of_block.get(n, ()):
            held = self._held[key]
            if held.from_s <= from_s and to_s < held.before_s:
                self._held.move_to_end(key)
                return held
        return None

    def hold(self, n: int, stretch: _Stretch) -> None:
        """Hold a stretch, in the place of those of its block that lie in it."""
        of_block = self._of_block.setdefault(n, [])
        for other in [self._held[key] for key in of_block]:
            if stretch.from_s <= other.from_s and other.before_s <= stretch.before_s:
                self._drop((n, other.from_s))
        if any(begin == stretch.from_s for _, begin in of_block):  # a longer one
            return
        self._held[n, stretch.from_s] = stretch
        of_block.append((n, stretch.from_s))
        self.room -= stretch.size
        while self.room < 0 and len(self._held) > 1:
            self._drop(next(iter(self._held)))

    def clear(self) -> None:
        """Let all go."""
        for key in list(self._held):
            self._drop(key)

    def _drop(self, key: tuple[int, float]) -> None:
        self.room += self._held.pop(key).size
        self._of_block[key[0]].remove(key)
