"""The walk along the ledger: numbers without holes, each entry's hash, and what entries say of one another."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, select

from benchlog.store.entry import KINDS, NOTHING_BEFORE, Entry, hash_of
from benchlog.store.schema import HEAD, LEDGER
from benchlog.store.trouble import NOT_OURS, Trouble, shown

_BATCH = 500
_HASH = re.compile(r"[0-9a-f]{64}")


@dataclass(slots=True)
class Chain:
    """What the walk along the chain knows so far.

    Attributes:
        last, previous: number and hash of the entry before.
        records, changes: number -> hash.
        taken_back: change -> the entry that took it back.
        kept: hash of a kept copy -> record, name of the log, bytes.
        hashes: of all entries.
    """

    last: int = 0
    previous: str = NOTHING_BEFORE
    records: dict[int, str] = field(default_factory=dict)
    changes: dict[int, str] = field(default_factory=dict)
    taken_back: dict[int, int] = field(default_factory=dict)
    kept: dict[str, tuple[int, str, int]] = field(default_factory=dict)
    hashes: set[str] = field(default_factory=set)


def rows_in_order(connection: Connection) -> Iterator[list[Mapping[str, Any]]]:
    """All rows of the ledger, whatever they are numbered, some hundreds in memory at a time."""
    wanted = select(LEDGER).order_by(LEDGER.c.number).execution_options(yield_per=_BATCH)
    for part in connection.execute(wanted).mappings().partitions():
        yield [dict(row) for row in part]


def entry_in(row: Mapping[str, Any]) -> tuple[Entry | None, list[Trouble]]:
    """The entry in a row of the ledger; none where SQLite let values of other types, or another number, in."""
    number = row["number"]
    odd = [name for name, value in row.items() if not _as_written(name, value)]
    if odd:
        what = "; ".join(f"{name} is {shown(row[name])}" for name in odd)
        told = f"the ledger's row {shown(number)} is not in the form that benchlog writes: {what}"
        return None, [Trouble(told, "ledger", number if type(number) is int else None)]
    if number < 1:
        told = f"entry {number} was added past benchlog, which counts from 1"
        return None, [Trouble(told, "ledger", number)]
    return Entry(**row), []


def _as_written(name: str, value: Any) -> bool:
    if name == "number":
        return type(value) is int
    return isinstance(value, str) and not any("\ud800" <= letter <= "\udfff" for letter in value)


def of_entry(entry: Entry, chain: Chain) -> Iterator[Trouble]:
    """What is wrong with one entry, after those before it."""
    yield from _of_place(entry, chain)
    number = entry.number
    if hash_of(number, entry.kind, entry.made_at, entry.previous, entry.body) != entry.hash:
        yield Trouble(
            f"entry {number} ({shown(entry.kind)[1:-1]}) was altered: its hash does not fit its text", "ledger", number
        )
    chain.last, chain.previous = number, entry.hash
    chain.hashes.add(entry.hash)
    try:
        yield from _of_body(entry, json.loads(entry.body), chain)
    except NOT_OURS:
        yield Trouble(
            f"entry {number} ({shown(entry.kind)[1:-1]}) is not in the form that benchlog writes", "ledger", number
        )


def _of_place(entry: Entry, chain: Chain) -> Iterator[Trouble]:
    number = entry.number
    if number <= chain.last:
        yield Trouble(f"entry {number} stands in the ledger more than once", "ledger", number)
    elif number != chain.last + 1:
        yield Trouble(f"{_gone(chain.last + 1, number - 1)} missing from the ledger", "ledger", chain.last + 1)
    elif entry.previous != chain.previous and chain.last:
        yield Trouble(
            f"entry {number} names another hash for entry {chain.last}: one of the two was altered or replaced",
            "ledger",
            chain.last,
        )
    elif entry.previous != chain.previous:
        yield Trouble(f"entry {number} names an entry before it, but it is the first", "ledger", number)


def _of_body(entry: Entry, body: Any, chain: Chain) -> Iterator[Trouble]:
    number = entry.number
    if entry.kind not in KINDS:
        raise ValueError(entry.kind)
    if body["bike"] != entry.bike:
        yield Trouble(
            f"entry {number} stands under {_named(entry.bike)} but is of {_named(body['bike'])}", "ledger", number
        )
    if entry.kind == "record":
        chain.records[number] = entry.hash
        for log in body["logs"]:
            if log["kept"] is not None:
                sha256 = log["kept"]["sha256"]
                if not _HASH.fullmatch(sha256):  # it names a file
                    raise ValueError(sha256)
                chain.kept.setdefault(sha256, (number, _named(log["name"]), log["kept"]["bytes"]))
    elif entry.kind == "change":
        chain.changes[number] = entry.hash
    elif entry.kind == "withdrawal":
        yield from _of_withdrawal(number, body, chain)
    elif chain.records.get(body["record"]) != body["record_hash"]:
        signed = f"{_named(body['by'])} signed record" if entry.kind == "signature" else "a search is kept with record"
        signed += f" {shown(body['record'])}"
        record = body["record"] if isinstance(body["record"], int) else None
        yield Trouble(f"entry {number}: {signed} in another form than it has now", "ledger", record)


def _of_withdrawal(number: int, body: Mapping[str, Any], chain: Chain) -> Iterator[Trouble]:
    change = body["change"]
    if chain.changes.get(change) != body["change_hash"]:
        told = f"entry {number} takes change {shown(change)} back in another form than it has now"
        yield Trouble(told, "ledger", change if isinstance(change, int) else None)
    first = chain.taken_back.setdefault(change, number)
    if first != number:
        yield Trouble(f"entry {number} takes change {change} back, as entry {first} did before", "ledger", number)


def of_head(connection: Connection, chain: Chain) -> Iterator[Trouble]:
    """Whether the note of the last entry fits the last entry."""
    rows = connection.execute(select(HEAD)).all()
    if not rows:
        yield Trouble("the note of the last entry is gone", "ledger")
        return
    row = rows[0]
    if len(rows) > 1 or row.one != 1 or type(row.number) is not int:
        yield Trouble("the note of the last entry is not in the form that benchlog writes", "ledger")
    elif row.number > chain.last:
        gone = f"{_gone(chain.last + 1, row.number)} missing from the end of the ledger"
        yield Trouble(gone, "ledger", chain.last + 1)
    elif (row.number, row.hash) != (chain.last, chain.previous):
        yield Trouble(
            f"the last entry is {chain.last}, but {row.number} was noted as the last, or it had another hash: "
            "entries were added or altered past benchlog",
            "ledger",
            chain.last,
        )


def _gone(first: int, last: int) -> str:
    return f"entry {first} is" if first == last else f"entries {first} to {last} are"


def _named(value: Any) -> str:
    """A name as it is; anything else so that it can be told from one."""
    return value if isinstance(value, str) else shown(value)
