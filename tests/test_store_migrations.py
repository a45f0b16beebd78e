"""An older store is brought up with a copy made first, a newer one refused, a failing step undone."""

import hashlib
import shutil
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import MetaData, inspect, text
from store_cases import save_small

from benchlog.core.errors import BenchlogError
from benchlog.store import Store, open_store
from benchlog.store.engine import engine_of, reading
from benchlog.store.migrations import MIGRATIONS, Migration, version_of
from benchlog.store.named import url_of
from benchlog.store.opening import bring_up
from benchlog.store.schema import META

pytest_plugins = ("store_fixtures",)

SAMPLES = Path(__file__).parent / "store_samples"
FORM_1 = SAMPLES / "form1.sqlite"
#: A store of each form that a program wrote before.
FORMS = [SAMPLES / f"form{form}.sqlite" for form in range(1, len(MIGRATIONS))]
#: Start of the SHA-256 of what each released step runs.
RELEASED = ["0f47a30325478d4e", "600f4b40d9c5b863", "448b7ea905db5e6a", "e19dbcb1c2dd6f28"]
BROKEN = Migration("breaks", ("CREATE TABLE extra (one BIGINT)", "CREATE TABLE ledger (twice BIGINT)"), {})
FINE = Migration("adds a table", ("CREATE TABLE extra (one BIGINT)",), {}, derives=True)


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A store of the first form."""
    return shutil.copy(FORM_1, tmp_path / "records.sqlite")


def form_of(store: Store) -> int:
    """The store's form."""
    with reading(store.engine, store.where) as connection:
        return version_of(connection)


def test_the_migrations_make_what_the_queries_expect(store: Store):
    """Tables, columns, keys and nulls are those of the schema, on both engines."""
    made = MetaData()
    made.reflect(store.engine)

    assert set(made.tables) == set(META.tables)
    for name, wanted in META.tables.items():
        columns = {column.name: (column.nullable, column.primary_key) for column in made.tables[name].columns}
        assert columns == {column.name: (column.nullable, column.primary_key) for column in wanted.columns}


@pytest.mark.parametrize("form", FORMS, ids=lambda path: path.stem)
def test_an_old_store_is_brought_up_and_keeps_all(tmp_path: Path, form: Path):
    """Records, signatures and changes are there, the lists are filled, the chain is untouched, and all goes on."""
    old = Path(shutil.copy(form, tmp_path / "records.sqlite"))
    with closing(sqlite3.connect(old)) as before:
        ledger = before.execute("SELECT * FROM ledger ORDER BY number").fetchall()

    with open_store(str(old)) as store:
        rows, readings, changes = store.rows(), store.readings("Larch"), store.changes("Larch")
        troubles = store.verify()
        signed = store.record(1).signatures
        newest = form_of(store)
        with store.engine.connect() as connection:
            after = [tuple(row) for row in connection.execute(text("SELECT * FROM ledger ORDER BY number"))]
        assert save_small(store, old.parent) == 5
        assert store.take_back(4).what == "new battery"
        assert store.verify() == []

    assert newest == len(MIGRATIONS)
    assert after == ledger
    assert [row.number for row in rows] == [2, 1]
    assert [(reading.value, reading.temperature_c) for reading in readings] == [(12.75, None), (12.7, 8.0)]
    assert [(change.on, change.what) for change in changes] == [(date(2025, 4, 1), "new battery")]
    assert [(one.by, one.notes) for one in signed] == [("bench two", "seen on the bench")]
    assert troubles == []


def test_a_copy_is_made_before_and_can_be_opened(old: Path):
    """The owner can go back to the store as it was."""
    held = old.read_bytes()

    with open_store(str(old)):
        pass
    (copy,) = old.parent.glob("records.sqlite.form1-*.backup")
    with closing(sqlite3.connect(copy)) as backup:
        entries = backup.execute("SELECT count(*) FROM ledger").fetchone()
        form = backup.execute("SELECT max(number) FROM schema_version").fetchone()

    assert (entries, form) == ((4,), (1,))
    assert held == FORM_1.read_bytes()
    with open_store(str(old)):
        assert len(list(old.parent.glob("*.backup"))) == 1


def test_a_copy_that_cannot_be_made_stops_the_upgrade(old: Path, monkeypatch: pytest.MonkeyPatch):
    """Without a copy nothing is touched."""

    def full(*_: object) -> Path:
        raise BenchlogError("the backup made before the store is updated cannot be written")

    monkeypatch.setattr("benchlog.store.opening.back_up", full)
    with pytest.raises(BenchlogError, match="the backup made before"):
        open_store(str(old))

    with closing(sqlite3.connect(old)) as store:
        assert store.execute("SELECT max(number) FROM schema_version").fetchone() == (1,)


def test_a_step_that_fails_leaves_the_store_as_it_was(store: Store, tmp_path: Path):
    """All missing steps are one transaction."""
    save_small(store, tmp_path)
    before = inspect(store.engine).get_table_names()

    with pytest.raises(BenchlogError, match="already exists"):
        bring_up(store.engine, store.where, (*MIGRATIONS, BROKEN))

    assert inspect(store.engine).get_table_names() == before
    assert form_of(store) == len(MIGRATIONS)
    assert store.verify() == []
    assert save_small(store, tmp_path) == 2


def test_a_new_step_fills_the_lists_again(store: Store, tmp_path: Path):
    """A step that changes what is worked out from the ledger has it worked out anew."""
    save_small(store, tmp_path)
    with store.engine.connect() as connection, connection.begin():
        connection.execute(text("DELETE FROM measured"))

    bring_up(store.engine, store.where, (*MIGRATIONS, FINE))

    assert form_of(store) == len(MIGRATIONS) + 1
    assert len(store.readings("Larch")) == 1
    # the step that this program does not know is told, and no list differs
    assert {trouble.kind for trouble in store.verify()} == {"ledger"}


def test_a_newer_store_is_refused(store: Store, store_url: str):
    """A store that a later program has brought up is not touched by this one."""
    bring_up(store.engine, store.where, (*MIGRATIONS, FINE))

    with pytest.raises(BenchlogError, match=r"a later benchlog wrote this store \(its form is 5, this one knows 4\)"):
        open_store(store_url)


def test_another_programs_database_is_refused(store_url: str):
    """A table that happens to be called ledger is left alone."""
    engine = engine_of(url_of(store_url))
    with engine.connect() as connection, connection.begin():
        connection.execute(text("CREATE TABLE ledger (mine TEXT)"))
    engine.dispose()

    with pytest.raises(BenchlogError, match="holds another program's ledger; name another with --store"):
        open_store(store_url)


def test_opening_twice_changes_nothing(store: Store, store_url: str):
    """A store of the newest form is only read when it is opened."""
    with open_store(store_url) as again:
        assert form_of(again) == form_of(store) == len(MIGRATIONS)


def test_a_step_is_described_once():
    """Each step says what it is for."""
    assert len({step.what for step in MIGRATIONS}) == len(MIGRATIONS)


def test_a_released_step_is_never_edited():
    """Stores out there have taken it as it was; what must change becomes a new step, added here with its hash."""
    hashes = [
        hashlib.sha256(repr((step.statements, sorted(step.own.items()), step.derives)).encode()).hexdigest()[:16]
        for step in MIGRATIONS
    ]

    assert hashes == RELEASED
