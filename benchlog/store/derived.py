"""What is worked out from each entry for finding it fast: pure, so that it can be made again and compared."""

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, delete, insert

from benchlog.store.entry import Entry
from benchlog.store.schema import CHANGES, DERIVED, LOGS, MEASURED, RECORDS, SEARCHES, SIGNATURES, WITHDRAWALS

Rows = dict[str, list[dict[str, Any]]]


def rows_of(entry: Entry) -> Rows:
    """Table name -> the rows that this entry makes.

    Raises:
        ValueError, KeyError, TypeError: the body is not one that this program writes.
    """
    made = _made(entry, json.loads(entry.body))
    return {name: [_storable(row) for row in rows] for name, rows in made.items()}


def _storable(row: dict[str, Any]) -> dict[str, Any]:
    """The row with half characters, which JSON can hold and no database, as question marks."""
    return {
        name: value.encode("utf-8", "replace").decode() if isinstance(value, str) else value
        for name, value in row.items()
    }


def _made(entry: Entry, body: Mapping[str, Any]) -> Rows:
    if entry.kind == "record":
        return _of_record(entry, body)
    if entry.kind == "signature":
        return {SIGNATURES.name: [{"number": entry.number, "record": body["record"], "signed_by": body["by"]}]}
    if entry.kind == "change":
        row = {"number": entry.number, "bike": body["bike"], "on_date": body["on"], "what": body["what"]}
        return {CHANGES.name: [row]}
    if entry.kind == "withdrawal":
        return {WITHDRAWALS.name: [{"number": entry.number, "change": body["change"]}]}
    if entry.kind == "search":
        return {SEARCHES.name: [{"number": entry.number, "record": body["record"]}]}
    raise ValueError(f"unknown kind {entry.kind}")


def _of_record(entry: Entry, body: Mapping[str, Any]) -> Rows:
    result, score = body["result"], body["result"]["score"]
    record = {
        "number": entry.number,
        "bike": body["bike"],
        "recorded_at": body["recorded_at"],
        "made_at": entry.made_at,
        "verdict": result["verdict"],
        "passed": score["pass"],
        "planned": score["pass"] + score["fail"] + score["not_proven"] + score["not_seen"],
        "percent": score["percent"],
        "closest": score["closest"],
        "corrects": body["corrects"],
    }
    logs = [
        {
            "record": entry.number,
            "place": place,
            "name": log["name"],
            "part": "before" if log["before"] else "log",
            "sha256": log["sha256"],
            "kept_sha256": None if log["kept"] is None else log["kept"]["sha256"],
            "settings": log["settings"],
        }
        for place, log in enumerate(body["logs"])
    ]
    by_name = {log["name"]: log for log in reversed(body["logs"])}
    measured = [
        {
            "record": entry.number,
            "check_id": check["id"],
            "at": by_name.get(check["log"], body)["recorded_at"],
            "value": check["measured"],
            "uncertainty": check["uncertainty"],
            "temperature_c": by_name.get(check["log"], body)["temperature_c"],
        }
        for check in result["checks"]
        if check["measured"] is not None
    ]
    return {RECORDS.name: [record], LOGS.name: logs, MEASURED.name: measured}


def enter(connection: Connection, entries: list[Entry]) -> None:
    """Add the rows of new entries, a statement a table."""
    gathered: Rows = {table.name: [] for table in DERIVED}
    for entry in entries:
        for name, rows in rows_of(entry).items():
            gathered[name] += rows
    for table in DERIVED:
        if gathered[table.name]:
            connection.execute(insert(table), gathered[table.name])


def forget(connection: Connection) -> None:
    """Empty all tables that are worked out from the ledger."""
    for table in DERIVED:
        connection.execute(delete(table))
