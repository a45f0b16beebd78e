"""A database opened for reading or writing, and one plain sentence where it cannot be reached."""

import logging
import os
import re
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, NoSuchModuleError, SQLAlchemyError

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.store.named import where_of

# of a Ctrl-C while a connection is closed it would print a page, where nobody else takes its log
logging.getLogger("sqlalchemy").addHandler(logging.NullHandler())

_BUSY_MS = 30_000
_CONNECT_S = 10
#: What a driver quotes of a URL's own words, which may be a password in the wrong place; not the server's name.
_QUOTED = re.compile(r'(?<!server at )(?<!host )(?<!host name )"[^"]*"')
_FULL = "benchlog_full"  # of a connection that only reads, since the disk is full


def engine_of(url: URL) -> Engine:
    """The engine for a URL; connects to nothing yet.

    Raises:
        BenchlogError: the folder of a new file cannot be made, or the driver is missing.
    """
    if url.get_backend_name() == "sqlite":
        return _sqlite(url)
    try:
        wait = {} if "connect_timeout" in url.query else {"connect_timeout": _CONNECT_S}
        return create_engine(url, pool_pre_ping=True, connect_args=wait)
    except (ImportError, NoSuchModuleError):
        raise BenchlogError(
            f'{where_of(url)}: the driver for PostgreSQL is not installed; run: pip install "benchlog[postgresql]"'
        ) from None


def _sqlite(url: URL) -> Engine:
    folder = Path(str(url.database)).parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise BenchlogError(
            f"{folder}: the folder for the store cannot be created ({reason_of(problem)}); name a file "
            "elsewhere with --store"
        ) from problem
    named = _unwritten(url) if _only_read(Path(str(url.database))) else url
    engine = create_engine(named, connect_args={"timeout": _BUSY_MS / 1000})

    @event.listens_for(engine, "do_connect")
    def _connect(dialect: Any, record: Any, names: list[Any], options: dict[str, Any]) -> Any:
        connection = dialect.connect(*names, **options)
        if _lacks_room(connection, Path(str(url.database))):
            connection.close()
            record.info[_FULL] = True
            unwritten, others = dialect.create_connect_args(_unwritten(url))
            connection = dialect.connect(*unwritten, **{**options, **others})
        return connection

    @event.listens_for(engine, "checkin")
    def _forget(_: object, record: Any) -> None:
        if record.info.get(_FULL):
            record.invalidate(soft=True)  # it would never see what others save once there is room

    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None  # the driver must not begin transactions by itself
        connection.execute(f"PRAGMA busy_timeout = {_BUSY_MS}")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")  # a saved record outlives a power cut

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get("benchlog_writes", False)
        if writes and connection.connection.info.get(_FULL):
            raise _full()
        if writes:  # a store that is only read is left as it is, to the byte
            _write_ahead(connection.connection.driver_connection)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _lacks_room(connection: sqlite3.Connection, path: Path) -> bool:
    """Whether a file in write-ahead mode cannot be read for want of 32 kB beside it, and holds all that was saved."""
    try:
        connection.execute("SELECT 1 FROM sqlite_master").fetchone()
    except sqlite3.Error as problem:
        if not getattr(problem, "sqlite_errorname", "").startswith("SQLITE_IOERR_SHM"):
            return False  # told where it is met again
        ahead = path.with_name(f"{path.name}-wal")
        return not ahead.exists() or ahead.stat().st_size == 0
    return False


def _full() -> sqlite3.OperationalError:
    """What SQLite itself raises on a full disk."""
    problem = sqlite3.OperationalError("SQLITE_FULL")
    problem.sqlite_errorname = "SQLITE_FULL"
    return problem


def _only_read(path: Path) -> bool:
    """Whether a whole file lies where nothing can be written beside it, as on a read-only disk."""
    return path.is_file() and not os.access(path.parent, os.W_OK) and not path.with_name(f"{path.name}-wal").exists()


def _unwritten(url: URL) -> URL:
    """The same file, opened so that SQLite wants no files beside it: one in write-ahead mode else cannot be read."""
    return URL.create(
        "sqlite",
        database=Path(str(url.database)).resolve().as_uri(),
        query={"mode": "ro", "immutable": "1", "uri": "true"},
    )


def _write_ahead(connection: Any) -> None:
    """Let readers and a writer work side by side; the switch does not wait by itself for others who make it too."""
    until = time.monotonic() + _BUSY_MS / 1000
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return  # a file that may only be read stays as it is; the write then says so
        except sqlite3.OperationalError as problem:
            if problem.sqlite_errorname != "SQLITE_BUSY" or time.monotonic() > until:
                raise
            time.sleep(0.02)


@contextmanager
def writing(engine: Engine, where: str) -> Iterator[Connection]:
    """A transaction that holds the write lock from its start on SQLite; whole or not at all."""
    with plain_words(where), engine.connect() as connection:
        marked = connection.execution_options(benchlog_writes=True)
        with marked.begin():
            yield marked


@contextmanager
def reading(engine: Engine, where: str) -> Iterator[Connection]:
    """A transaction that sees one state of the store, whatever others save meanwhile."""
    with plain_words(where), engine.connect() as connection:
        if engine.dialect.name == "postgresql":  # else each statement would see a newer state
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def plain_words(where: str) -> Iterator[None]:
    """Turn what a database says into one sentence with what to do."""
    try:
        yield
    except DBAPIError as problem:
        raise BenchlogError(f"{where}: {_said(problem.orig)}") from problem
    except sqlite3.Error as problem:  # from what is done to a connection before SQLAlchemy has it
        raise BenchlogError(f"{where}: {_said(problem)}") from problem
    except SQLAlchemyError as problem:
        raise BenchlogError(f"{where}: {_unknown(problem)}") from problem


#: Start of SQLite's name for an error -> what it means and what to do.
_SQLITE = {
    "SQLITE_BUSY": "the store is locked by another program; close it or wait, then try again",
    "SQLITE_LOCKED": "the store is locked by another program; close it or wait, then try again",
    "SQLITE_FULL": "the disk is full; make room and try again (nothing was half saved)",
    "SQLITE_READONLY": "no permission to write to the store; change the permissions of the file and its folder, or "
    "name another",
    "SQLITE_CANTOPEN": "the store cannot be opened; name a file in a folder that you can read and write",
    "SQLITE_PERM": "no permission to open the store; change the permissions of the file, or name another",
    "SQLITE_NOTADB": "this file is not a store; name another file",
    "SQLITE_CORRUPT": "the file is damaged; take the newest backup of it",
    "SQLITE_IOERR_SHM": "the disk is full; make room and try again (nothing was half saved)",
    "SQLITE_IOERR": "the disk fails to read or write the file; check the disk, then run: benchlog records verify",
}

#: Start of PostgreSQL's state (its manual, appendix A) -> the same.
_POSTGRESQL = {
    "28": "the database refuses this user or password; check both in the store's URL",
    "3D": "the server has no such database; create it (createdb) or correct the store's URL",
    "42501": "this database user lacks the permission; have the owner grant it",
    "53100": "the database server's disk is full; make room there and try again (nothing was half saved)",
    "53300": "the database server has too many connections; close some, or try again later",
    "55P03": "the store is locked by another program; close it or wait, then try again",
    "57P": "the database server was stopped or restarted; try again once it runs (nothing was half saved)",
    "08": "the connection to the database server was lost; try again (nothing was half saved)",
    "25006": "the database is read-only; name one that you can write to",
}


def _said(origin: Any) -> str:
    detail = _QUOTED.sub('"***"', _first_line(origin))
    name = getattr(origin, "sqlite_errorname", None)
    if name is not None:
        words = next((text for start, text in _SQLITE.items() if name.startswith(start)), None)
        return words or _unknown(origin)
    if not type(origin).__module__.startswith("psycopg"):
        return _unknown(origin)
    state = getattr(origin, "sqlstate", None)
    if state:
        words = next((text for start, text in _POSTGRESQL.items() if state.startswith(start)), None)
        return words or f"the database refuses ({detail}); ask whoever looks after the server"
    # a connection that fails has no state, only words
    lower = str(origin).casefold()
    if "too many connections" in lower or "connection slots" in lower:
        return _POSTGRESQL["53300"]
    if "permission denied" in lower:
        return _POSTGRESQL["42501"]
    if "password" in lower or "authentication" in lower or "role " in lower:
        return _POSTGRESQL["28"]
    if "does not exist" in lower and "database" in lower:
        return _POSTGRESQL["3D"]
    if "terminat" in lower or "closed the connection" in lower or "connection is lost" in lower:
        return _POSTGRESQL["57P"]
    return f"the database server cannot be reached; check that it runs, and the store's URL ({detail})"


def _unknown(problem: object) -> str:
    return (
        f"the store cannot be used ({_first_line(problem)}); try again, and if it persists continue with the newest "
        "backup"
    )


def _first_line(problem: object) -> str:
    lines = str(problem).strip().splitlines()
    return lines[0] if lines else type(problem).__name__
