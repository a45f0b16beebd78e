"""What was changed on a bike: noted, taken back and read; a change that is taken back stays in the ledger."""

import json
from datetime import date

from sqlalchemy import Connection, exists, func, select

from benchlog.core.errors import BenchlogError
from benchlog.store.kinds import Change
from benchlog.store.ledger import append, lock_head
from benchlog.store.reading import entry_at
from benchlog.store.schema import CHANGES, WITHDRAWALS

_SHOWN = "benchlog season BIKE shows the changes of a bike with their numbers"


def note(connection: Connection, bike: str, on: date, what: str) -> Change:
    """Enter a change, inside the caller's write transaction."""
    (entry,) = append(connection, [("change", {"bike": bike, "on": on.isoformat(), "what": what})])
    return Change(on, what, entry.number)


def take_back(connection: Connection, number: int, bike: str | None) -> Change:
    """Enter that a change no longer counts, inside the caller's write transaction; gives the change.

    The new entry names the change and its hash, as a signature does with its record.

    Raises:
        BenchlogError: there is no such change, it is of another bike, or it was taken back already.
    """
    # whoever takes the same one back at once waits here, and then sees that it is done
    lock_head(connection)
    # PostgreSQL and SQLite count to 2**63 - 1
    entry = entry_at(connection, number) if 0 < number < 2**63 else None
    if entry is None:
        raise BenchlogError(f"there is no change {number}; {_SHOWN}")
    if entry.kind != "change":
        raise BenchlogError(f"entry {number} is a {entry.kind}, not a change; {_SHOWN}")
    if bike is not None and entry.bike != bike:
        raise BenchlogError(f"change {number} is of {entry.bike}, not of {bike}; name the bike that it is of")
    by = connection.execute(
        select(func.min(WITHDRAWALS.c.number)).where(WITHDRAWALS.c.change == number)
    ).scalar_one_or_none()
    if by is not None:
        raise BenchlogError(f"change {number} was taken back already, by entry {by}; {_SHOWN}")
    append(connection, [("withdrawal", {"bike": entry.bike, "change": number, "change_hash": entry.hash})])
    body = json.loads(entry.body)
    return Change(date.fromisoformat(body["on"]), body["what"], number)


def changes_of(connection: Connection, bike: str) -> list[Change]:
    """What was changed on a bike and not taken back, in the order of dates."""
    found = connection.execute(
        select(CHANGES)
        .where(CHANGES.c.bike == bike, ~exists().where(WITHDRAWALS.c.change == CHANGES.c.number))
        .order_by(CHANGES.c.on_date, CHANGES.c.number)
    )
    return [Change(date.fromisoformat(row.on_date), row.what, row.number) for row in found]
