"""The tables of the store, as the newest migration leaves them. Only ``ledger`` and ``head`` are the truth."""

from typing import Any

from sqlalchemy import BigInteger, Column, Double, MetaData, Table, Text

META = MetaData()


def _key(name: str, kind: type[Any] = BigInteger) -> Column[Any]:
    """A column of the primary key."""
    return Column(name, kind, primary_key=True)


def _needed(kind: type[Any], *names: str) -> list[Column[Any]]:
    """Columns that every row fills."""
    return [Column(name, kind, nullable=False) for name in names]


def _perhaps(kind: type[Any], *names: str) -> list[Column[Any]]:
    """Columns that may stay empty."""
    return [Column(name, kind) for name in names]


#: The entries, chained; rows are added and never changed.
LEDGER = Table(
    "ledger",
    META,
    _key("number"),
    *_needed(Text, "kind", "bike", "made_at", "body", "previous"),
    Column("hash", Text, nullable=False, unique=True),
)

#: One row: the last entry. Whoever appends locks it first; without it the last entry could go unnoticed.
HEAD = Table("head", META, _key("one"), *_needed(BigInteger, "number"), *_needed(Text, "hash"))

VERSION = Table("schema_version", META, _key("number"), *_needed(Text, "applied_at"))

# all tables below are worked out from the ledger and can be made again

RECORDS = Table(
    "records",
    META,
    _key("number"),
    *_needed(Text, "bike", "recorded_at", "made_at", "verdict"),
    *_needed(BigInteger, "passed", "planned"),
    *(*_perhaps(Double, "percent"), *_perhaps(Text, "closest"), *_perhaps(BigInteger, "corrects")),
)

LOGS = Table(
    "logs",
    META,
    *(_key("record"), _key("place")),
    *_needed(Text, "name", "part", "sha256"),
    *_perhaps(Text, "kept_sha256"),
    *_needed(Text, "settings"),
)

MEASURED = Table(
    "measured",
    META,
    *(_key("record"), _key("check_id", Text)),
    *(*_needed(Text, "at"), *_needed(Double, "value")),
    *_perhaps(Double, "uncertainty", "temperature_c"),
)

SIGNATURES = Table("signatures", META, _key("number"), *_needed(BigInteger, "record"), *_needed(Text, "signed_by"))

CHANGES = Table("changes", META, _key("number"), *_needed(Text, "bike", "on_date", "what"))

#: Changes that were taken back; ``number`` is of the entry that says so.
WITHDRAWALS = Table("withdrawals", META, _key("number"), *_needed(BigInteger, "change"))

#: Searches for a fault's place; ``number`` is of the entry that keeps one with its record.
SEARCHES = Table("searches", META, _key("number"), *_needed(BigInteger, "record"))

DERIVED: tuple[Table, ...] = (RECORDS, LOGS, MEASURED, SIGNATURES, CHANGES, WITHDRAWALS, SEARCHES)
