"""The lists beside the ledger: every row that it makes is there as it makes it, and no other."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Table, func, select

from benchlog.store.derived import rows_of
from benchlog.store.entry import Entry
from benchlog.store.schema import DERIVED
from benchlog.store.trouble import NOT_OURS, Trouble, shown


@dataclass(slots=True)
class Lists:
    """How much of the lists was compared.

    Attributes:
        after: number of the last entry whose rows were compared; None for none yet.
        seen: table -> rows that were looked at.
    """

    after: int | None = None
    seen: dict[str, int] = field(default_factory=lambda: {table.name: 0 for table in DERIVED})


def of_entries(connection: Connection, entries: Iterable[Entry], last: int | None, done: Lists) -> Iterator[Trouble]:
    """Compare what was worked out for some entries with what their bodies say, both ways.

    The first look has no lower end and the last no upper one, so that a row is seen whatever its number.

    Args:
        entries: in order. last: number of the last of them; None for no end.
    """
    wanted = _wanted(entries)
    for table in DERIVED:
        number = next(iter(table.primary_key))
        found = select(table)
        if done.after is not None:
            found = found.where(number > done.after)
        if last is not None:
            found = found.where(number <= last)
        rows = [dict(row) for row in connection.execute(found).mappings()]
        done.seen[table.name] += len(rows)
        there = {_key(table, row): row for row in rows}
        if wanted[table.name] == there:
            continue
        for key in sorted(wanted[table.name].keys() | there.keys(), key=str):
            told = _difference(wanted[table.name].get(key), there.get(key))
            if told:
                place = f"the list of {table.name}, entry {shown(key[0])}" + "".join(f", {part}" for part in key[1:])
                yield Trouble(f"{place}: {told}", "lists", key[0] if type(key[0]) is int else None)
    done.after = last


def of_counts(connection: Connection, done: Lists) -> Iterator[Trouble]:
    """Rows without any number are in no range: they show in the count alone."""
    for table in DERIVED:
        there = connection.execute(select(func.count()).select_from(table)).scalar_one()
        if there != done.seen[table.name]:
            yield Trouble(f"the list of {table.name}: {there - done.seen[table.name]} rows have no number", "lists")


def _wanted(entries: Iterable[Entry]) -> dict[str, dict[tuple[Any, ...], Mapping[str, Any]]]:
    wanted: dict[str, dict[tuple[Any, ...], Mapping[str, Any]]] = {table.name: {} for table in DERIVED}
    for entry in entries:
        try:
            made = rows_of(entry)
            keyed = [(table.name, _key(table, row), row) for table in DERIVED for row in made.get(table.name, ())]
            hash(tuple(key for _, key, _ in keyed))
        except NOT_OURS:
            continue  # told as a trouble of the ledger
        for name, key, row in keyed:
            wanted[name][key] = row
    return wanted


def _key(table: Table, row: Mapping[str, Any]) -> tuple[Any, ...]:
    return tuple(row[column.name] for column in table.primary_key)


def _difference(wanted: Mapping[str, Any] | None, there: Mapping[str, Any] | None) -> str:
    if there is None:
        return "a row is missing that the ledger has"
    if wanted is None:
        return "a row was added that the ledger has not"
    odd = [name for name in wanted if wanted[name] != there[name]]
    return "; ".join(f"{name} is {shown(there[name])}, in the ledger {shown(wanted[name])}" for name in odd)
