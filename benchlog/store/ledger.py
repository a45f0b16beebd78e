"""The chain: entries are appended under a lock, numbered without holes, each naming the hash before it."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update

from benchlog.store.derived import enter, forget
from benchlog.store.entry import Entry, Kind, canonical, hash_of, stamp
from benchlog.store.schema import HEAD, LEDGER

_BATCH = 500


def lock_head(connection: Connection) -> tuple[int, str]:
    """Number and hash of the last entry; nobody else appends until this transaction ends.

    SQLite holds its write lock from the transaction's start (BEGIN IMMEDIATE) and has no FOR UPDATE.
    """
    row = connection.execute(select(HEAD.c.number, HEAD.c.hash).with_for_update()).one()
    return int(row.number), str(row.hash)


def append(connection: Connection, news: Sequence[tuple[Kind, dict[str, Any]]]) -> list[Entry]:
    """Add entries and what is worked out from them, inside the caller's write transaction.

    Args:
        news: kind and body of each, in order; every body has its bike's name under ``bike``.
    """
    number, previous = lock_head(connection)
    entries = []
    for kind, plain in news:
        number += 1
        body, made_at = canonical(plain), stamp(datetime.now(UTC))
        entry = Entry(
            number, kind, plain["bike"], made_at, body, previous, hash_of(number, kind, made_at, previous, body)
        )
        entries.append(entry)
        previous = entry.hash
    connection.execute(insert(LEDGER), [row_of(entry) for entry in entries])
    enter(connection, entries)
    connection.execute(update(HEAD).values(number=number, hash=previous))
    return entries


def batches(connection: Connection, bike: str | None = None) -> Iterator[list[Entry]]:
    """All entries in order, some hundreds in memory at a time; of one bike alone if named."""
    last = 0
    while True:
        wanted = select(LEDGER).where(LEDGER.c.number > last).order_by(LEDGER.c.number).limit(_BATCH)
        if bike is not None:
            wanted = wanted.where(LEDGER.c.bike == bike)
        found = [entry_of(row) for row in connection.execute(wanted)]
        if not found:
            return
        yield found
        last = found[-1].number


def entries_about(connection: Connection, record: int, table: Table) -> list[Entry]:
    """The entries that name a record, in order; ``table`` lists those of their kind."""
    wanted = select(LEDGER).join(table, table.c.number == LEDGER.c.number).where(table.c.record == record)
    return [entry_of(row) for row in connection.execute(wanted.order_by(LEDGER.c.number))]


def entry_of(row: Any) -> Entry:
    """The entry in a row of the ledger."""
    return Entry(row.number, row.kind, row.bike, row.made_at, row.body, row.previous, row.hash)


def derive_again(connection: Connection) -> None:
    """Rebuild the tables derived from the ledger, inside the caller's write transaction."""
    forget(connection)
    for batch in batches(connection):
        enter(connection, batch)


def row_of(entry: Entry) -> dict[str, Any]:
    """The row of the ledger for an entry."""
    return {name: getattr(entry, name) for name in Entry.__slots__}
