"""Records as a table for a spreadsheet, or whole as JSON for another program."""

import csv
import io
import json
import re
from collections.abc import Generator, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchlog.core.files import write_whole
from benchlog.store import reading as read
from benchlog.store.engine import reading
from benchlog.store.ledger import batches
from benchlog.store.named import path_of

if TYPE_CHECKING:
    from benchlog.store.store import Store

#: Columns of the table: one row for each check of each record.
COLUMNS = (
    *("record", "bike", "recorded_at", "made_at", "overall", "percent", "corrects", "corrected_by", "signed_by"),
    *("check", "title", "verdict", "measured", "unit", "uncertainty", "planned", "limit_min", "limit_max"),
    *("margin_pct", "log", "temperature_c", "because", "notes", "hash", "last_hash"),
)
#: A spreadsheet takes a cell that begins with one of these for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
#: Where another spreadsheet begins a cell: it takes other signs for what parts them, or the text's own lines.
_WITHIN = re.compile(r"([;,\t\r\n|]\s*\"*)(?=[=+\-@＝＋－＠])")


def csv_lines(store: "Store", bike: str | None = None) -> Generator[str, None, None]:
    """The table as CSV (RFC 4180), a piece at a time; texts that a spreadsheet would run get an apostrophe before."""
    yield _lines([COLUMNS])
    with read.understood(store.where), reading(store.engine, store.where) as connection:
        known = {row.number: row for row in read.rows_of(connection, bike, None, 0)}
        _, last_hash = read.head_of(connection)  # where the table is kept, so is what proves the store
        for batch in batches(connection, bike):
            for entry in batch:
                row = known.get(entry.number)
                if entry.kind != "record" or row is None:
                    continue
                body = json.loads(entry.body)
                dates = (body["recorded_at"], entry.made_at)
                fate = (row.corrects, row.corrected_by, ", ".join(row.signed_by))
                warmth = {log["name"]: log["temperature_c"] for log in reversed(body["logs"])}
                lines = []
                for check in body["result"]["checks"]:
                    limit = check["limit"] or {"min": None, "max": None}
                    found = (check["measured"], check["unit"], check["uncertainty"], check["planned"])
                    tail = (check["margin_pct"], check["log"], warmth.get(check["log"], body["temperature_c"]))
                    lines.append(
                        (
                            *(row.number, row.bike, *dates, row.verdict, row.percent, *fate),
                            *(check["id"], check["title"], check["verdict"], *found, limit["min"], limit["max"]),
                            *(*tail, check["because"], body["notes"], entry.hash, last_hash),
                        )
                    )
                yield _lines(lines)


def json_lines(store: "Store", bike: str | None = None) -> Generator[str, None, None]:
    """All entries with their hashes as one JSON text, an entry a line, a piece at a time."""
    yield '{"benchlog_store":1,"entries":['
    comma = "\n"
    with read.understood(store.where), reading(store.engine, store.where) as connection:
        for batch in batches(connection, bike):
            for entry in batch:
                head = json.dumps(
                    {
                        **{"number": entry.number, "kind": entry.kind, "bike": entry.bike, "made_at": entry.made_at},
                        **{"previous": entry.previous, "hash": entry.hash},
                    },
                    ensure_ascii=False,
                )
                # the body as it was hashed
                yield f'{comma}{head[:-1]}, "body": {entry.body}}}'
                comma = ",\n"
    yield "\n]}\n"


def write_pieces(target: Path, pieces: Iterable[str]) -> None:
    """Write a text of any length whole or not at all.

    Raises:
        BenchlogError: the folder is missing or cannot be written to, ``target`` is a folder or the URL of a database,
            or the disk is full.
    """
    write_whole(path_of(target, "the export"), pieces, what="the export")


def cell(value: Any) -> Any:
    """A value as it may stand in a spreadsheet: numbers stay numbers, a text is never a formula."""
    if not isinstance(value, str):
        return value
    text = _WITHIN.sub(r"\1'", value)
    return f"'{text}" if text.lstrip(' "').startswith(_FORMULA) else text


def _lines(rows: Iterable[Iterable[Any]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows([cell(value) for value in row] for row in rows)
    return text.getvalue()
