"""The ledger: nothing is lost, doubled or half saved, whoever saves at once and whatever is killed."""

import json
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from store_cases import save_small, small_log

from benchlog.core.errors import BenchlogError
from benchlog.store import Store, open_store
from benchlog.store.engine import reading
from benchlog.store.entry import canonical, hash_of, moment, stamp
from benchlog.store.ledger import batches

if TYPE_CHECKING:
    from store_fixtures import Server  # the plugin below loads it

pytest_plugins = ("store_fixtures",)

SAVER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from store_cases import small_log, small_plan, small_result
from benchlog.store import open_store
url, folder, bike, count, keep = sys.argv[2], Path(sys.argv[3]), sys.argv[4], int(sys.argv[5]), sys.argv[6] == "keep"
with open_store(url) as store:
    log = small_log(folder / bike, text="time_s,battery_v\\n0,12.5\\n1,12.5\\n")
    print("ready", flush=True)
    sys.stdin.readline()
    for n in range(count):
        if keep:
            small_log(folder / bike, text=log.read_text() + f"{6 + n},12.5\\n")
        store.save(small_result(bike), plan=small_plan(bike), logs=[log], keep_logs=keep)
        print(n + 1, flush=True)
"""


@contextmanager
def saver(url: str, folder: Path, bike: str, count: int, keep: str = "hashes") -> Iterator[subprocess.Popen[str]]:
    """A process of its own that saves so many records, telling each, once it is told to begin."""
    here = str(Path(__file__).parent)
    process = subprocess.Popen(
        [sys.executable, "-c", SAVER, here, url, str(folder), bike, str(count), keep],
        cwd=Path(here).parent,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        try:
            yield process
        finally:
            process.kill()


def begin(*processes: "subprocess.Popen[str]") -> None:
    """Let them save, once all of them have opened the store."""
    for process in processes:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()


def test_two_processes_saving_at_once_lose_nothing(store_url: str, tmp_path: Path, long: bool):
    """100 records each, with ``--long`` 200, into a new store: twice as many entries, one chain."""
    each = 200 if long else 100
    with saver(store_url, tmp_path, "Larch", each) as one, saver(store_url, tmp_path, "Rowan", each) as two:
        begin(one, two)
        seen = []
        with open_store(store_url) as store:
            while len(seen) < 5 and (one.poll() is None or two.poll() is None):
                seen.append(store.verify())
        told = [process.communicate(timeout=100)[0].split()[-1] for process in (one, two)]
    with open_store(store_url) as store:
        rows = store.rows()
        troubles = store.verify()
        bikes = {row.bike: row.records for row in store.bikes()}

    assert told == [str(each)] * 2
    # who looks while others save sees one whole state
    assert seen
    assert not any(seen)
    assert [row.number for row in rows] == list(range(2 * each, 0, -1))
    assert bikes == {"Larch": each, "Rowan": each}
    assert troubles == []
    # they did run side by side
    assert len({row.bike for row in rows[each * 2 // 5 : -each * 2 // 5]}) == 2


def test_a_kill_in_the_midst_of_saving_leaves_a_whole_store(store_url: str, tmp_path: Path):
    """After kill -9 every record that was told is there, the chain holds, and saving goes on."""
    told = 0
    for n in range(2):
        with saver(store_url, tmp_path, "Larch", 10_000, "keep") as process:
            begin(process)
            assert process.stdout is not None
            for line in process.stdout:
                if int(line) >= 7 + 5 * n:
                    break
            time.sleep(0.003 * n)
            process.send_signal(signal.SIGKILL)
            told += len(process.stdout.read().split()) + 7 + 5 * n

    with open_store(store_url) as store:
        number = save_small(store, tmp_path)
        grave = [trouble for trouble in store.verify() if not trouble.harmless]
        saved = len(store.rows())

    assert grave == []
    assert told + 1 <= saved <= told + 3
    assert number == saved


def test_a_save_that_fails_midway_leaves_no_entry(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Entry, lists and head go together or not at all."""
    save_small(store, tmp_path)

    def broken(*_: object) -> None:
        raise RuntimeError("the plug was pulled")

    with monkeypatch.context() as patched:
        patched.setattr("benchlog.store.ledger.enter", broken)
        with pytest.raises(RuntimeError, match="the plug was pulled"):
            save_small(store, tmp_path)

    assert store.verify() == []
    assert save_small(store, tmp_path) == 2


def test_a_restart_of_the_server_is_told_and_the_next_try_works(server: "Server", tmp_path: Path, monkeypatch):
    """One plain sentence while it is gone; an open store goes on once it is back."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    url = server.new_store()
    with open_store(url) as store:
        save_small(store, tmp_path)
        server.stop()
        try:
            with pytest.raises(BenchlogError, match="the database server cannot be reached; check that it runs"):
                save_small(store, tmp_path)
        finally:
            server.start()

        assert save_small(store, tmp_path) == 2
        assert store.verify() == []


def test_a_restart_in_the_midst_of_a_save_is_told(server: "Server", tmp_path: Path, monkeypatch):
    """The transaction is gone as a whole, and the message says what to do."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    with open_store(server.new_store()) as store:
        save_small(store, tmp_path)

        def restart(*_: object) -> None:
            server.stop()
            server.start()

        with monkeypatch.context() as patched:
            patched.setattr("benchlog.store.ledger.enter", restart)
            with pytest.raises(BenchlogError, match=r"the database server was stopped or restarted; try again"):
                save_small(store, tmp_path)

        assert [row.number for row in store.rows()] == [1]
        assert save_small(store, tmp_path) == 2


def refused_by_the_database(store: Store, statement: str) -> None:
    """Whoever only has SQL is refused, and the ledger is whole afterwards."""
    with (
        pytest.raises(DBAPIError, match="the ledger is only added to"),
        store.engine.connect() as connection,
        connection.begin(),
    ):
        connection.execute(text(statement))
    assert store.verify() == []


@pytest.mark.parametrize("statement", ["UPDATE ledger SET body = '{}'", "DELETE FROM ledger"])
def test_the_database_itself_refuses_changes(store: Store, tmp_path: Path, statement: str):
    """Triggers guard the ledger against anyone who only has SQL."""
    save_small(store, tmp_path)

    refused_by_the_database(store, statement)


def test_replacing_and_truncating_are_refused_too(store: Store, tmp_path: Path):
    """Both engines have a statement that removes rows without DELETE."""
    save_small(store, tmp_path)
    statement = "TRUNCATE ledger"
    if store.engine.dialect.name == "sqlite":
        statement = "INSERT OR REPLACE INTO ledger SELECT number, kind, bike, made_at, '{}', previous, hash FROM ledger"

    refused_by_the_database(store, statement)


def test_an_entrys_hash_can_be_made_without_benchlog(store: Store, tmp_path: Path):
    """The stated form, six lines of UTF-8, gives the stored hash (sha256sum does, here as a second witness)."""
    save_small(store, tmp_path, notes="Ω")
    store.sign(1, "bench two")
    with reading(store.engine, store.where) as connection:
        entries = [entry for batch in batches(connection) for entry in batch]

    for entry in entries:
        lines = "\n".join(
            ["benchlog entry 1", str(entry.number), entry.kind, entry.made_at, entry.previous, entry.body]
        )
        witness = subprocess.run(["sha256sum"], input=lines.encode(), capture_output=True, check=True).stdout

        assert witness.decode().split()[0] == entry.hash
        assert canonical(json.loads(entry.body)) == entry.body
    assert [entry.previous for entry in entries] == ["0" * 64, entries[0].hash]


def test_no_two_entries_share_a_text():
    """Moving a letter from one part to the next changes the hash."""
    hashes = {
        hash_of(1, "record", "a", "b", "c"),
        hash_of(11, "record", "a", "b", "c"),
        hash_of(1, "recorda", "", "b", "c"),
        hash_of(1, "record", "a", "bc", ""),
        hash_of(1, "record", "a", "", "bc"),
    }

    assert len(hashes) == 5


def test_a_stored_moment_is_utc_and_sorts_as_text():
    """Every zone gives one form, whose order is the order of time."""
    moments = [moment(f"{year}-03-30T0{hour}:59:59.00000{hour}Z") for year in (1970, 2025, 2100) for hour in (0, 1, 2)]

    assert [moment(stamp(one.astimezone())) for one in moments] == moments
    assert [stamp(one) for one in moments] == sorted(stamp(one) for one in moments)


def test_a_locked_store_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Another program that holds the file does not hang benchlog for ever."""
    monkeypatch.setattr("benchlog.store.engine._BUSY_MS", 200)
    path = tmp_path / "records.sqlite"
    with open_store(str(path)) as store, closing(sqlite3.connect(path, isolation_level=None)) as other:
        save_small(store, tmp_path)
        other.execute("BEGIN IMMEDIATE")

        with pytest.raises(BenchlogError, match="the store is locked by another program; close it or wait"):
            save_small(store, tmp_path)
        other.execute("ROLLBACK")
        assert save_small(store, tmp_path) == 2


def test_a_full_disk_is_told_and_nothing_is_half_saved(tmp_path: Path):
    """SQLite's own limit of pages stands in for the disk's end."""
    log = small_log(tmp_path)
    with open_store(str(tmp_path / "records.sqlite")) as store:
        save_small(store, tmp_path)
        with store.engine.connect() as connection:
            pages = connection.execute(text("PRAGMA page_count")).scalar_one()
            connection.execute(text(f"PRAGMA max_page_count = {pages}"))
        with pytest.raises(BenchlogError, match="the disk is full; make room and try again"):
            _save_many(store, tmp_path)
        saved = len(store.rows())

        assert store.verify() == []
        assert log.exists()
    with open_store(str(tmp_path / "records.sqlite")) as store:
        assert save_small(store, tmp_path) == saved + 1


def test_a_failing_write_rolls_back(store: Store):
    """An exception inside the transaction undoes it."""
    with pytest.raises(DBAPIError, match="no_such_table"):
        _write_and_fail(store)

    assert store.head()[0] == 0


def _save_many(store: Store, folder: Path) -> None:
    for _ in range(50):
        save_small(store, folder)


def _write_and_fail(store: Store) -> None:
    with store.engine.connect() as connection, connection.begin():
        connection.execute(text("UPDATE head SET number = 5"))
        connection.execute(text("DELETE FROM no_such_table"))
