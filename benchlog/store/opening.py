"""A store opened: made where there is none, brought to the newest form where it is older, refused where newer."""

import sqlite3
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from benchlog.core.errors import BenchlogError
from benchlog.store.engine import reading, writing
from benchlog.store.ledger import derive_again
from benchlog.store.migrations import MIGRATIONS, Migration, migrate, refuse_newer, version_of

# any number will do, as long as every benchlog takes the same
_UPGRADE_LOCK = 7_240_051


def bring_up(engine: Engine, where: str, migrations: tuple[Migration, ...] = MIGRATIONS) -> None:
    """Bring a store to the newest form; several programs may do so at once.

    A SQLite file of an older form is first copied beside itself. On PostgreSQL a dump before an update is the
    owner's job. Either way a step that fails leaves the store as it was.

    Raises:
        BenchlogError: the store cannot be reached, or is newer than this program.
    """
    with reading(engine, where) as connection:
        found = version_of(connection)
    refuse_newer(found, where, len(migrations))
    if found == len(migrations):
        return
    with writing(engine, where) as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _UPGRADE_LOCK})
        _refuse_foreign(connection, where)
        if connection.dialect.name == "sqlite" and 0 < version_of(connection) < len(migrations):
            back_up(Path(str(engine.url.database)), version_of(connection))
        if migrate(connection, where, migrations):
            derive_again(connection)


def back_up(path: Path, form: int) -> Path:
    """Copy a SQLite store as it was last saved; gives the copy's path.

    Raises:
        BenchlogError: the copy cannot be written.
    """
    copy = path.with_name(f"{path.name}.form{form}-{datetime.now(UTC):%Y%m%dT%H%M%S%f}.backup")
    try:
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
            source.backup(target)
    except BaseException as problem:
        with suppress(OSError):  # not there, or under a name that cannot be
            copy.unlink()
        if not isinstance(problem, (OSError, sqlite3.Error)):
            raise
        raise BenchlogError(
            f"{path}: the backup made before the store is updated cannot be written ({problem}); "
            "make room in its folder, or allow writing there, then try again"
        ) from problem
    return copy


def _refuse_foreign(connection: Connection, where: str) -> None:
    """Tables of another program are not mixed with the store's own."""
    if version_of(connection) == 0 and inspect(connection).has_table("ledger"):
        raise BenchlogError(f"{where}: this database holds another program's ledger; name another with --store")
