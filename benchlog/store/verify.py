"""Proof that nothing was altered: the chain, its head, the signatures, what is worked out, and the kept logs."""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, select, text

from benchlog.store.derived import rows_of
from benchlog.store.engine import reading
from benchlog.store.entry import KINDS, NOTHING_BEFORE, Entry, hash_of
from benchlog.store.ledger import batches
from benchlog.store.logs_kept import kept_path
from benchlog.store.schema import DERIVED, HEAD

_GUARDS = {
    "sqlite": (
        "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'ledger'",
        {"ledger_no_update", "ledger_no_delete", "ledger_no_replace"},
    ),
    "postgresql": (
        "SELECT tgname FROM pg_trigger WHERE tgrelid = to_regclass('ledger') AND tgenabled <> 'D'",
        {"ledger_no_change", "ledger_no_truncate"},
    ),
}


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that differs from what was saved.

    Attributes:
        text: in words, naming the entry or the file.
        entry: number of the entry concerned; None where none is.
        file: the kept log concerned; None where none is.
        kind: "ledger", "lists" (worked out from the ledger, can be made again), "logs", or "left over"
            (harmless: a file that no record names).
    """

    text: str
    kind: str
    entry: int | None = None
    file: Path | None = None

    @property
    def harmless(self) -> bool:
        """Nothing that was saved is concerned."""
        return self.kind == "left over"


@dataclass(slots=True)
class _Walk:
    """What the walk along the chain knows so far."""

    last: int = 0
    previous: str = NOTHING_BEFORE
    records: dict[int, str] = field(default_factory=dict)  # number -> hash
    changes: dict[int, str] = field(default_factory=dict)  # the same
    taken_back: dict[int, int] = field(default_factory=dict)  # change -> entry that took it back
    kept: dict[str, tuple[int, str, int]] = field(default_factory=dict)  # hash of the copy -> record, log, bytes
    hashes: set[str] = field(default_factory=set)


def troubles_of(engine: Engine, where: str, logs: Path, head: str | None = None) -> list[Trouble]:
    """All that differs, ledger first.

    Args:
        engine: of the store's database. where: its name in messages. logs: the folder of kept logs.
        head: a hash that ``records verify`` printed earlier; it must still be that of an entry. Without it, whoever
            may write to the database could make the whole ledger anew, hashes and all, and nothing here would show.
    """
    walk = _Walk()
    ledger: list[Trouble] = []
    lists: list[Trouble] = []
    with reading(engine, where) as connection:
        for batch in batches(connection):
            before = walk.last
            for entry in batch:
                ledger += _of_entry(entry, walk)
            lists += _of_lists(connection, batch, before, walk.last)
        lists += _of_lists(connection, [], walk.last, None)
        ledger += _of_head(connection, walk)
        ledger += _of_guards(connection)
    if head is not None and head.strip().lower() not in walk.hashes:
        ledger.append(Trouble(f"no entry has the hash {head}; the ledger was made anew, or it is another", "ledger"))
    return [*ledger, *lists, *_of_logs(logs, walk.kept)]


def _of_entry(entry: Entry, walk: _Walk) -> Iterator[Trouble]:
    number = entry.number
    if number != walk.last + 1:
        gone = (
            f"entry {walk.last + 1} is" if number == walk.last + 2 else f"entries {walk.last + 1} to {number - 1} are"
        )
        yield Trouble(f"{gone} missing from the ledger", "ledger", walk.last + 1)
    elif entry.previous != walk.previous:
        if walk.last:
            yield Trouble(
                f"entry {number} names another hash for entry {walk.last}: one of the two was altered or replaced",
                "ledger",
                walk.last,
            )
        else:
            yield Trouble(f"entry {number} names an entry before it, but it is the first", "ledger", number)
    if hash_of(number, entry.kind, entry.made_at, entry.previous, entry.body) != entry.hash:
        yield Trouble(f"entry {number} ({entry.kind}) was altered: its hash does not fit its text", "ledger", number)
    walk.last, walk.previous = number, entry.hash
    walk.hashes.add(entry.hash)
    try:
        body = json.loads(entry.body)
        if entry.kind not in KINDS:
            raise ValueError(entry.kind)
        if body["bike"] != entry.bike:
            yield Trouble(f"entry {number} stands under {entry.bike} but is of {body['bike']}", "ledger", number)
        if entry.kind == "record":
            walk.records[number] = entry.hash
            for log in body["logs"]:
                if log["kept"] is not None:
                    walk.kept.setdefault(log["kept"]["sha256"], (number, log["name"], log["kept"]["bytes"]))
        elif entry.kind == "change":
            walk.changes[number] = entry.hash
        elif entry.kind == "withdrawal":
            yield from _of_withdrawal(number, body, walk)
        elif entry.kind == "signature" and walk.records.get(body["record"]) != body["record_hash"]:
            yield Trouble(
                f"entry {number}: {body['by']} signed record {body['record']} in another form than it has now",
                "ledger",
                body["record"],
            )
    except (ValueError, KeyError, TypeError):
        yield Trouble(f"entry {number} ({entry.kind}) is not in the form that benchlog writes", "ledger", number)


def _of_withdrawal(number: int, body: Mapping[str, Any], walk: _Walk) -> Iterator[Trouble]:
    change = body["change"]
    if walk.changes.get(change) != body["change_hash"]:
        yield Trouble(f"entry {number} takes change {change} back in another form than it has now", "ledger", change)
    first = walk.taken_back.setdefault(change, number)
    if first != number:
        yield Trouble(f"entry {number} takes change {change} back, as entry {first} did before", "ledger", number)


def _of_head(connection: Connection, walk: _Walk) -> Iterator[Trouble]:
    row = connection.execute(select(HEAD)).one_or_none()
    if row is None:
        yield Trouble("the note of the last entry is gone", "ledger")
    elif row.number > walk.last:
        gone = (
            f"entry {row.number} is" if row.number == walk.last + 1 else f"entries {walk.last + 1} to {row.number} are"
        )
        yield Trouble(f"{gone} missing from the end of the ledger", "ledger", walk.last + 1)
    elif (row.number, row.hash) != (walk.last, walk.previous):
        yield Trouble(
            f"the last entry is {walk.last}, but {row.number} was noted as the last, or it had another hash: "
            "entries were added or altered past benchlog",
            "ledger",
            walk.last,
        )


def _of_guards(connection: Connection) -> Iterator[Trouble]:
    query, wanted = _GUARDS[connection.dialect.name]
    gone = wanted - set(connection.execute(text(query)).scalars())
    if gone:
        yield Trouble(
            f"what guards the ledger against changes was taken away ({', '.join(sorted(gone))}): "
            "someone with rights in the database did so",
            "ledger",
        )


def _of_lists(connection: Connection, entries: Iterable[Entry], after: int, last: int | None) -> Iterator[Trouble]:
    """Compare what was worked out for some entries with what their bodies say.

    Args:
        entries: in order. after: number of the entry before them. last: their last number; None for no end.
    """
    wanted: dict[str, dict[tuple[Any, ...], Mapping[str, Any]]] = {table.name: {} for table in DERIVED}
    for entry in entries:
        try:
            made = rows_of(entry)
        except (ValueError, KeyError, TypeError):
            continue  # told as a trouble of the ledger
        for table in DERIVED:
            for row in made.get(table.name, ()):
                wanted[table.name][_key(table, row)] = row
    for table in DERIVED:
        number = next(iter(table.primary_key))
        found = select(table).where(number > after)
        if last is not None:
            found = found.where(number <= last)
        there = {_key(table, row): row for row in map(dict, connection.execute(found).mappings())}
        if wanted[table.name] == there:
            continue
        for key in sorted(wanted[table.name].keys() | there.keys(), key=str):
            told = _difference(wanted[table.name].get(key), there.get(key))
            if told:
                place = f"the list of {table.name}, entry {key[0]}" + "".join(f", {part}" for part in key[1:])
                yield Trouble(f"{place}: {told}", "lists", key[0])


def _key(table: Table, row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row[column.name] for column in table.primary_key)


def _difference(wanted: Mapping[str, Any] | None, there: Mapping[str, Any] | None) -> str:
    if there is None:
        return "a row is missing that the ledger has"
    if wanted is None:
        return "a row was added that the ledger has not"
    odd = [name for name in wanted if wanted[name] != there[name]]
    return "; ".join(f"{name} is {there[name]!r}, in the ledger {wanted[name]!r}" for name in odd)


def _of_logs(folder: Path, kept: Mapping[str, tuple[int, str, int]]) -> Iterator[Trouble]:
    for sha256, (record, name, size) in kept.items():
        path = kept_path(folder, sha256)
        who = f"record {record}: the kept copy of {name} ({path})"
        try:
            with path.open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except FileNotFoundError:
            yield Trouble(f"{who} is not there", "logs", record, path)
        except OSError as problem:
            yield Trouble(f"{who} cannot be read ({(problem.strerror or '').lower()})", "logs", record, path)
        else:
            if found != sha256 or path.stat().st_size != size:
                yield Trouble(f"{who} was altered or damaged", "logs", record, path)
    for path in left_over(folder, kept):
        yield Trouble(f"{path} belongs to no record: what was left of a save that did not end", "left over", file=path)


def left_over(folder: Path, kept: Iterable[str]) -> list[Path]:
    """Files in the folder of kept logs that no record names."""
    named = {kept_path(folder, sha256) for sha256 in kept}
    found = [*folder.glob(".*.part"), *folder.glob("[0-9a-f][0-9a-f]/*.parquet")]
    return sorted(path for path in found if path not in named)
