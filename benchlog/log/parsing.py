"""The pieces of a table parsed side by side, and given in their order."""

from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

from benchlog.log.readers.raw import Piece, Raw, Table

_WORKERS, _IN_FLIGHT = 2, 3
#: Handing less than this to other threads takes longer than it saves.
_SMALL_BYTES = 2 << 20


def parsed(table: Table) -> Iterator[tuple[Piece, Raw]]:
    """Each piece with its rows; with the last one ``table.done()`` says that all is taken."""
    return _one_by_one(table) if table.done()[1] < _SMALL_BYTES else _side_by_side(table)


def _rows(table: Table, piece: Piece, data: Any) -> Raw:
    return table.parse(table.load(piece) if data is None else data)


def _one_by_one(table: Table) -> Iterator[tuple[Piece, Raw]]:
    before: tuple[Piece, Raw] | None = None
    for piece, data in table.pieces():
        if before is not None:
            yield before
        before = piece, _rows(table, piece, data)
    if before is not None:  # one late, so that with the last piece all is known to be taken
        yield before


def _side_by_side(table: Table) -> Iterator[tuple[Piece, Raw]]:
    waiting: deque[tuple[Piece, Future[Raw]]] = deque()
    with ThreadPoolExecutor(_WORKERS, thread_name_prefix="benchlog") as pool:
        for piece, data in table.pieces():
            waiting.append((piece, pool.submit(_rows, table, piece, data)))
            while len(waiting) >= _IN_FLIGHT:
                done, future = waiting.popleft()
                yield done, future.result()
        while waiting:
            done, future = waiting.popleft()
            yield done, future.result()
