"""The tables of the store, as the newest migration leaves them. Only ``ledger`` and ``head`` are the truth."""

from sqlalchemy import BigInteger, Column, Double, MetaData, Table, Text

META = MetaData()

#: The entries, chained; rows are added and never changed.
LEDGER = Table(
    "ledger",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("bike", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False, unique=True),
)

#: One row: the last entry. Whoever appends locks it first; without it the last entry could go unnoticed.
HEAD = Table(
    "head",
    META,
    Column("one", BigInteger, primary_key=True),
    Column("number", BigInteger, nullable=False),
    Column("hash", Text, nullable=False),
)

VERSION = Table(
    "schema_version",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("applied_at", Text, nullable=False),
)

# all tables below are worked out from the ledger and can be made again

RECORDS = Table(
    "records",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("bike", Text, nullable=False),
    Column("recorded_at", Text, nullable=False),
    Column("made_at", Text, nullable=False),
    Column("verdict", Text, nullable=False),
    Column("passed", BigInteger, nullable=False),
    Column("planned", BigInteger, nullable=False),
    Column("percent", Double),
    Column("closest", Text),
    Column("corrects", BigInteger),
)

LOGS = Table(
    "logs",
    META,
    Column("record", BigInteger, primary_key=True),
    Column("place", BigInteger, primary_key=True),
    Column("name", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("kept_sha256", Text),
    Column("settings", Text, nullable=False),
)

MEASURED = Table(
    "measured",
    META,
    Column("record", BigInteger, primary_key=True),
    Column("check_id", Text, primary_key=True),
    Column("at", Text, nullable=False),
    Column("value", Double, nullable=False),
    Column("uncertainty", Double),
    Column("temperature_c", Double),
)

SIGNATURES = Table(
    "signatures",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("record", BigInteger, nullable=False),
    Column("signed_by", Text, nullable=False),
)

CHANGES = Table(
    "changes",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("bike", Text, nullable=False),
    Column("on_date", Text, nullable=False),
    Column("what", Text, nullable=False),
)

#: Changes that were taken back; ``number`` is of the entry that says so.
WITHDRAWALS = Table(
    "withdrawals",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("change", BigInteger, nullable=False),
)

#: Searches for a fault's place; ``number`` is of the entry that keeps one with its record.
SEARCHES = Table(
    "searches",
    META,
    Column("number", BigInteger, primary_key=True),
    Column("record", BigInteger, nullable=False),
)

DERIVED: tuple[Table, ...] = (RECORDS, LOGS, MEASURED, SIGNATURES, CHANGES, WITHDRAWALS, SEARCHES)
