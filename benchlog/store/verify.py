"""Proof that nothing was altered: the chain, its head, the database's form, what is worked out, and the kept logs."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, Engine

from benchlog.store.engine import reading
from benchlog.store.entry import Entry
from benchlog.store.trouble import Trouble
from benchlog.store.verify_chain import Chain, entry_in, of_entry, of_head, rows_in_order
from benchlog.store.verify_files import of_logs
from benchlog.store.verify_lists import Lists, of_counts, of_entries
from benchlog.store.verify_schema import of_file, of_schema


def troubles_of(engine: Engine, where: str, logs: Path, head: str | None = None) -> list[Trouble]:
    """All that differs, ledger first.

    Args:
        engine: of the store's database. where: its name in messages. logs: the folder of kept logs.
        head: a hash that ``records verify`` printed earlier; it must still be that of an entry. Without it, whoever
            may write to the database could make the whole ledger anew, hashes and all, and nothing here would show.
    """
    chain, done = Chain(), Lists()
    ledger: list[Trouble] = []
    lists: list[Trouble] = []
    with reading(engine, where) as connection, _any_text(connection):
        ledger += of_file(connection)
        ledger += of_schema(connection)
        for rows in rows_in_order(connection):
            entries: list[Entry] = []
            for row in rows:
                entry, odd = entry_in(row)
                ledger += odd
                if entry is not None:
                    entries.append(entry)
                    ledger += of_entry(entry, chain)
            if entries:
                lists += of_entries(connection, entries, chain.last, done)
        lists += of_entries(connection, [], None, done)
        lists += of_counts(connection, done)
        ledger += of_head(connection, chain)
    if head is not None and head.strip().lower() not in chain.hashes:
        ledger.append(Trouble(f"no entry has the hash {head}; the ledger was made anew, or it is another", "ledger"))
    return [*ledger, *lists, *of_logs(logs, chain.kept)]


@contextmanager
def _any_text(connection: Connection) -> Iterator[None]:
    """Let SQLite give text that is no UTF-8, so that it is found and not stumbled over."""
    if connection.dialect.name != "sqlite":
        yield
        return
    driver = connection.connection.driver_connection
    assert driver is not None
    driver.text_factory = lambda raw: raw.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        driver.text_factory = str
