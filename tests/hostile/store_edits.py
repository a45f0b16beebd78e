"""Edits of a store as its owner, or whoever has its files, could make them past benchlog."""

import hashlib
import json
import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.store import open_store
from benchlog.store.engine import writing
from benchlog.store.entry import hash_of
from benchlog.store.ledger import derive_again

TABLES = (
    "ledger",
    "head",
    "schema_version",
    "records",
    "logs",
    "measured",
    "signatures",
    "changes",
    "withdrawals",
    "searches",
)
#: What only the last hash proves: a store that fits together from its first entry to its last.
NEEDS_LAST_HASH = ("the chain made anew after an edit", "the end cut off, the lists to match")
#: No hash holds it and nothing reads it: when a step of the form was taken.
_NOT_HELD = {("schema_version", "applied_at")}
_ODD = (b"\x00\xff", "", "x", "12\x003", 0, -1, 1, 2**62, 1.5, -1e300, "2020-01-01T00:00:00.000000Z", "0" * 64)


class Nothing(Exception):
    """The edit would change nothing, or the database does not take it."""


def random_edit(rng: random.Random, store: Path, logs: Path) -> str:
    """Edit a store once; gives what was done.

    Args:
        store: a SQLite file. logs: its folder of kept logs.
    """
    edits: tuple[Callable[[random.Random, Path, Path], str], ...] = (_row, _row, _row, _file, _whole)
    while True:
        try:
            return rng.choice(edits)(rng, store, logs)
        except Nothing:
            continue


def _row(rng: random.Random, store: Path, _: Path) -> str:
    """A row changed, added, removed or renumbered in any table."""
    table = rng.choice(TABLES)
    with closing(sqlite3.connect(store)) as connection:
        before = _dump(connection)
        guards = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _sql in guards:
            connection.execute(f"DROP TRIGGER {name}")
        try:
            told = _change(rng, connection, table)
        except sqlite3.Error as problem:
            connection.rollback()
            raise Nothing from problem
        finally:
            for _name, sql in guards:
                connection.execute(sql)
            connection.commit()
        if _dump(connection) == before:
            raise Nothing
    return told


def _change(rng: random.Random, connection: sqlite3.Connection, table: str) -> str:
    columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    rows = connection.execute(f"SELECT rowid, * FROM {table}").fetchall()
    if not rows:
        raise Nothing
    row, values = rng.choice(rows), list(rng.choice(rows)[1:])
    how = rng.choice(("changed", "added", "removed", "renumbered"))
    if how == "changed":
        column = rng.choice(columns)
        if (table, column) in _NOT_HELD:
            raise Nothing
        other = rng.choice([*_ODD, rng.choice(rows)[1 + columns.index(column)]])
        connection.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (other, row[0]))
        return f"{table}: {column} changed to {other!r:.60}"
    if how == "removed":
        connection.execute(f"DELETE FROM {table} WHERE rowid = ?", (row[0],))
        return f"{table}: a row removed"
    number = rng.choice((0, -1, -rng.randrange(2, 99), 99, 2**62, 1.5, "one", b"\x01", None))
    if how == "added":
        values[0] = number
        connection.execute(f"INSERT INTO {table} VALUES ({', '.join('?' * len(values))})", values)
        return f"{table}: a row added, numbered {number!r}"
    connection.execute(f"UPDATE {table} SET {columns[0]} = ? WHERE rowid = ?", (number, row[0]))
    return f"{table}: a row renumbered to {number!r}"


def _file(rng: random.Random, _: Path, logs: Path) -> str:
    """A kept log swapped, linked, cut, lengthened, taken away, or made something that is no file."""
    one, other = rng.sample(sorted(logs.glob("??/*.parquet")), 2)
    how = rng.choice(("swapped", "linked", "truncated", "lengthened", "a byte", "removed", "a pipe", "a folder"))
    if how == "swapped":
        aside = one.with_suffix(".aside")
        os.rename(one, aside)
        os.rename(other, one)
        os.rename(aside, other)
    elif how == "linked":
        shutil.move(one, logs / "elsewhere")
        one.symlink_to(logs / "elsewhere")
    elif how in ("truncated", "lengthened"):
        whole = one.read_bytes()
        one.write_bytes(whole[: rng.randrange(len(whole))] if how == "truncated" else whole + b"\0")
    elif how == "a byte":
        whole = bytearray(one.read_bytes())
        whole[rng.randrange(len(whole))] ^= 1 << rng.randrange(8)
        one.write_bytes(whole)
    else:
        one.unlink()
        if how == "a pipe":
            os.mkfifo(one)
        elif how == "a folder":
            one.mkdir()
    return f"kept log: {how}"


def _whole(rng: random.Random, store: Path, _: Path) -> str:
    """What a forger does who knows the form: everything made to fit again."""
    how = rng.choice(NEEDS_LAST_HASH)
    with open_store(store) as opened, writing(opened.engine, opened.where) as connection:
        rows = connection.exec_driver_sql("SELECT * FROM ledger ORDER BY number").mappings().all()
        guards = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").all()
        for name, _sql in guards:
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        last = len(rows) if how == NEEDS_LAST_HASH[0] else rng.randrange(len(rows))
        edited = rng.randrange(1, len(rows) + 1)
        connection.exec_driver_sql(f"DELETE FROM ledger WHERE number > {last}")
        previous, hashes = "0" * 64, dict[int, str]()
        for row in rows[:last]:
            body = json.loads(row["body"])
            if row["number"] == edited and how == NEEDS_LAST_HASH[0]:
                body["notes"] = "all was well"
            for named in ("record", "change"):
                if f"{named}_hash" in body:
                    body[f"{named}_hash"] = hashes[body[named]]
            text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
            fresh = hash_of(row["number"], row["kind"], row["made_at"], previous, text)
            connection.exec_driver_sql(
                "UPDATE ledger SET body = ?, previous = ?, hash = ? WHERE number = ?",
                (text, previous, fresh, row["number"]),
            )
            previous = hashes[row["number"]] = fresh
        connection.exec_driver_sql("UPDATE head SET number = ?, hash = ?", (last, previous))
        derive_again(connection)
        for _name, sql in guards:
            connection.exec_driver_sql(sql)
    return how


def _dump(connection: sqlite3.Connection) -> str:
    """All rows with their types, as one hash."""
    told = hashlib.sha256()
    for table in TABLES:
        for row in sorted(map(repr, connection.execute(f"SELECT * FROM {table}"))):
            told.update(row.encode("utf-8", "backslashreplace"))
    return told.hexdigest()


class Trial:
    """A store of some entries of each kind, copied for each edit."""

    def __init__(self, kept: Path, into: Path) -> None:
        """Take a whole store in the folder ``kept``: ``records.sqlite`` and ``logs``; copies go to ``into``."""
        self._kept, self._into = kept, into
        with open_store(kept / "records.sqlite") as store:
            self.last_hash = store.head()[1]

    def one(self, seed: int) -> tuple[str, list[str], list[str]]:
        """Edit a copy; gives what was done, what verify alone says, and what it says with the last hash."""
        shutil.rmtree(self._into, ignore_errors=True)
        shutil.copytree(self._kept, self._into)
        done = random_edit(random.Random(seed), self._into / "records.sqlite", self._into / "logs")
        said = self._said()
        # the last hash adds one finding and takes none away
        return done, [one for one in said if not one.startswith("no entry has the hash")], said

    def _said(self) -> list[str]:
        try:
            with open_store(self._into / "records.sqlite") as store:
                return [trouble.text for trouble in store.verify(self.last_hash) if not trouble.harmless]
        except BenchlogError as problem:
            return [str(problem)]
