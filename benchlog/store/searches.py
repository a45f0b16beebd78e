"""Searches for a fault's place, kept with the record of the failed check: entered and read."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection

from benchlog.core.errors import BenchlogError
from benchlog.store.entry import Entry, moment
from benchlog.store.kinds import FoundFault
from benchlog.store.ledger import append, entries_about
from benchlog.store.schema import SEARCHES


def keep(connection: Connection, record: Entry, session: Mapping[str, Any], mended: str) -> FoundFault:
    """Enter a search, inside the caller's write transaction; like a signature it names the record and its hash.

    Args:
        record: the entry of the record.
        session: ``found`` and ``answers``, as the search's JSON has them.
        mended: what was done, in the words of who did it; "" for nothing said.

    Raises:
        BenchlogError: nothing was found yet.
    """
    if not session["found"]:
        raise BenchlogError("the search has not found the place yet; finish it before it is kept")
    body = {"bike": record.bike, "record": record.number, "record_hash": record.hash, "mended": mended}
    append(connection, [("search", body | {"found": session["found"], "answers": session["answers"]})])
    return searches_of(connection, record.number)[-1]


def searches_of(connection: Connection, number: int) -> tuple[FoundFault, ...]:
    """The searches kept with a record, the first one first."""
    kept = entries_about(connection, number, SEARCHES)
    return tuple(_search(entry.number, entry.made_at, json.loads(entry.body)) for entry in kept)


def _search(number: int, made_at: str, body: Mapping[str, Any]) -> FoundFault:
    found = body["found"]
    return FoundFault(
        number=number,
        record=body["record"],
        at=moment(made_at),
        place=found["place"],
        kind=found["kind"],
        belief=found["belief"],
        also=tuple(found["also"]),
        mend=found["mend"],
        check_again=found["check_again"],
        mended=body["mended"],
        answers=tuple(body["answers"]),
    )
