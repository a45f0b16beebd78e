"""The stores that the store's tests run on: a SQLite file, and a database on a PostgreSQL server of our own.

Test files load it as a plugin (``pytest_plugins``), so that all of them share one server.
"""

import os
import pwd
import secrets
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from benchlog.store import Store, open_store

ENGINES = ("sqlite", "postgresql")


class Server:
    """A PostgreSQL server in a folder of its own, on loopback alone; root runs it as the user postgres."""

    def __init__(self, folder: Path) -> None:
        """Make its files in an empty folder; it does not run yet."""
        self.bin = _binaries()
        self.folder = folder
        self.password = secrets.token_hex(8)
        self.port = _free_port()
        secret = self.folder / "password"
        secret.write_text(self.password, encoding="utf-8")
        self._as: list[str] = []
        if os.geteuid() == 0:
            user = pwd.getpwnam("postgres")
            for path in (self.folder, secret):
                os.chown(path, user.pw_uid, user.pw_gid)
            self._as = ["runuser", "-u", "postgres", "--"]
        self._run(
            *("initdb", "-D", str(self.folder / "data"), "-U", "workshop", "-E", "UTF8", "--locale=C.UTF-8"),
            *("--auth-local=trust", "--auth-host=scram-sha-256", f"--pwfile={secret}", "--no-sync"),
        )

    def start(self) -> None:
        """Start it and wait until it answers."""
        options = f"-p {self.port} -h 127.0.0.1 -k {self.folder} -c fsync=off"
        log = str(self.folder / "server.log")
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-l", log, "-o", options, "start")

    def stop(self, how: str = "fast") -> None:
        """Stop it as an owner in a hurry does: open connections are broken."""
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-m", how, "stop")

    def url(self, password: str | None = None, database: str = "postgres", more: str = "") -> str:
        """A URL on this server."""
        return f"postgresql://workshop:{password or self.password}@127.0.0.1:{self.port}/{database}{more}"

    def new_store(self) -> str:
        """The URL of a place without tables: a schema of its own, since a database of its own takes 7 MB."""
        name = f"store_{secrets.token_hex(6)}"
        with psycopg.connect(self.url(), autocommit=True) as connection:
            connection.execute(f"CREATE SCHEMA {name}")  # type: ignore[arg-type]  # our own name
        return self.url(more=f"?options=-csearch_path%3D{name}")

    def _run(self, program: str, *arguments: str) -> None:
        command = [*self._as, str(self.bin / program), *arguments]
        done = subprocess.run(
            command,
            cwd=self.folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=60,
            check=False,
        )
        if done.returncode:
            pytest.fail(f"PostgreSQL: {program} ended with {done.returncode}: {done.stdout[-2000:]}")


def _binaries() -> Path:
    """The folder of the newest PostgreSQL there is."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    named = shutil.which("initdb")
    if named is None:
        pytest.fail("the store's tests need a PostgreSQL server's programs; install them: apt-get install postgresql")
    return Path(named).resolve().parent


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """The PostgreSQL server of the whole run."""
    # not pytest's own folder: the user postgres may not look into it
    folder = Path(tempfile.mkdtemp(prefix="benchlog-postgresql-"))
    try:
        made = Server(folder)
        made.start()
        try:
            yield made
        finally:
            made.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=ENGINES)
def store_url(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The name of a store that does not exist yet, on each engine in turn; all its files in ``tmp_path``."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("BENCHLOG_STORE", raising=False)
    monkeypatch.delenv("BENCHLOG_LOGS", raising=False)
    if request.param == "sqlite":
        return str(tmp_path / "data" / "records.sqlite")
    url: str = request.getfixturevalue("server").new_store()
    return url


@pytest.fixture
def store(store_url: str) -> Iterator[Store]:
    """An open store on each engine in turn."""
    with open_store(store_url) as opened:
        yield opened
