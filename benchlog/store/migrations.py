"""The store's form, step by step: numbered, never edited once released, all missing steps in one transaction."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlalchemy import Connection, inspect, text

from benchlog.core.errors import BenchlogError
from benchlog.store.entry import NOTHING_BEFORE, stamp
from benchlog.store.schema import VERSION


@dataclass(frozen=True, slots=True)
class Migration:
    """One step.

    Attributes:
        what: in words.
        statements: SQL that both engines read alike.
        own: engine -> SQL of its own, run after ``statements``.
        derives: tables worked out from the ledger changed, so they are filled again after the last step.
    """

    what: str
    statements: tuple[str, ...]
    own: Mapping[str, tuple[str, ...]]
    derives: bool = False


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        what="the ledger, its head, and what is found by them",
        statements=(
            "CREATE TABLE ledger (number BIGINT PRIMARY KEY NOT NULL, kind TEXT NOT NULL, bike TEXT NOT NULL,"
            " made_at TEXT NOT NULL, body TEXT NOT NULL, previous TEXT NOT NULL, hash TEXT NOT NULL UNIQUE)",
            "CREATE TABLE head (one BIGINT PRIMARY KEY NOT NULL CHECK (one = 1), number BIGINT NOT NULL,"
            " hash TEXT NOT NULL)",
            f"INSERT INTO head (one, number, hash) VALUES (1, 0, '{NOTHING_BEFORE}')",
            "CREATE TABLE records (number BIGINT PRIMARY KEY NOT NULL, bike TEXT NOT NULL, recorded_at TEXT NOT NULL,"
            " made_at TEXT NOT NULL, verdict TEXT NOT NULL, passed BIGINT NOT NULL, planned BIGINT NOT NULL,"
            " percent DOUBLE PRECISION, closest TEXT, corrects BIGINT)",
            "CREATE INDEX records_by_bike ON records (bike, number)",
            "CREATE INDEX records_by_correction ON records (corrects)",
            "CREATE TABLE logs (record BIGINT NOT NULL, place BIGINT NOT NULL, name TEXT NOT NULL,"
            " part TEXT NOT NULL, sha256 TEXT NOT NULL, kept_sha256 TEXT, settings TEXT NOT NULL,"
            " PRIMARY KEY (record, place))",
            "CREATE INDEX logs_by_hash ON logs (sha256)",
            "CREATE TABLE signatures (number BIGINT PRIMARY KEY NOT NULL, record BIGINT NOT NULL,"
            " signed_by TEXT NOT NULL)",
            "CREATE INDEX signatures_by_record ON signatures (record)",
            "CREATE TABLE changes (number BIGINT PRIMARY KEY NOT NULL, bike TEXT NOT NULL, on_date TEXT NOT NULL,"
            " what TEXT NOT NULL)",
            "CREATE INDEX changes_by_bike ON changes (bike)",
        ),
        own={
            "sqlite": (
                "CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger BEGIN"
                " SELECT RAISE(ABORT, 'the ledger is only added to'); END",
                "CREATE TRIGGER ledger_no_delete BEFORE DELETE ON ledger BEGIN"
                " SELECT RAISE(ABORT, 'the ledger is only added to'); END",
                # INSERT OR REPLACE deletes without asking the trigger above
                "CREATE TRIGGER ledger_no_replace BEFORE INSERT ON ledger"
                " WHEN EXISTS (SELECT 1 FROM ledger WHERE number = NEW.number OR hash = NEW.hash) BEGIN"
                " SELECT RAISE(ABORT, 'the ledger is only added to'); END",
            ),
            "postgresql": (
                "CREATE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS"
                " $$ BEGIN RAISE EXCEPTION 'the ledger is only added to'; END $$",
                "CREATE TRIGGER ledger_no_change BEFORE UPDATE OR DELETE ON ledger"
                " FOR EACH ROW EXECUTE FUNCTION ledger_refuse()",
                "CREATE TRIGGER ledger_no_truncate BEFORE TRUNCATE ON ledger"
                " FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuse()",
            ),
        },
    ),
    Migration(
        what="measured values by check, for trends",
        statements=(
            "CREATE TABLE measured (record BIGINT NOT NULL, check_id TEXT NOT NULL, at TEXT NOT NULL,"
            " value DOUBLE PRECISION NOT NULL, uncertainty DOUBLE PRECISION, temperature_c DOUBLE PRECISION,"
            " PRIMARY KEY (record, check_id))",
            "CREATE INDEX measured_by_check ON measured (check_id, record)",
        ),
        own={},
        derives=True,
    ),
    Migration(
        # no earlier program enters any, so there is nothing to fill it with
        what="changes that were taken back",
        statements=(
            "CREATE TABLE withdrawals (number BIGINT PRIMARY KEY NOT NULL, change BIGINT NOT NULL)",
            "CREATE INDEX withdrawals_by_change ON withdrawals (change)",
        ),
        own={},
    ),
    Migration(
        # no earlier program enters any, so there is nothing to fill it with
        what="searches for a fault's place, kept with a record",
        statements=(
            "CREATE TABLE searches (number BIGINT PRIMARY KEY NOT NULL, record BIGINT NOT NULL)",
            "CREATE INDEX searches_by_record ON searches (record)",
        ),
        own={},
    ),
)


def version_of(connection: Connection) -> int:
    """How many steps a store has taken; 0 for an empty database.

    Raises:
        BenchlogError: what it says of that was altered.
    """
    if not inspect(connection).has_table(VERSION.name):
        return 0
    found = connection.execute(text("SELECT coalesce(max(number), 0) FROM schema_version")).scalar_one()
    if type(found) is not int:  # SQLite keeps what it is given
        raise BenchlogError(
            "this store's schema version is not a number, so it was altered; keep it untouched as evidence and "
            "continue with a backup"
        )
    return found


def refuse_newer(found: int, where: str, known: int | None = None) -> None:
    """A store of a later program is not touched.

    Raises:
        BenchlogError: ``found`` is above what this program knows.
    """
    known = len(MIGRATIONS) if known is None else known
    if found > known:
        raise BenchlogError(
            f"{where}: a later benchlog wrote this store (its form is {found}, this one knows {known}); update "
            "benchlog (pip install --upgrade benchlog) and try again"
        )


def migrate(connection: Connection, where: str, migrations: tuple[Migration, ...] = MIGRATIONS) -> bool:
    """Take the missing steps inside the caller's transaction, which must hold the store's write lock.

    Returns:
        Whether tables worked out from the ledger are to be filled again.

    Raises:
        BenchlogError: the store is newer than this program.
    """
    found = version_of(connection)
    refuse_newer(found, where, len(migrations))
    if not found and not inspect(connection).has_table(VERSION.name):
        connection.execute(
            text("CREATE TABLE schema_version (number BIGINT PRIMARY KEY NOT NULL, applied_at TEXT NOT NULL)")
        )
    for number, step in enumerate(migrations[found:], start=found + 1):
        for statement in (*step.statements, *step.own.get(connection.dialect.name, ())):
            connection.exec_driver_sql(statement)
        connection.execute(VERSION.insert().values(number=number, applied_at=stamp(datetime.now(UTC))))
    return any(step.derives for step in migrations[found:])
