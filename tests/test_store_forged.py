"""Forgeries that fit together but for one thing: verify names it, whatever its number, type or kind of file."""

import csv
import io
import json
import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text
from store_cases import small_log, small_plan, small_result
from test_store_verify import tamper, told

from benchlog.core.errors import BenchlogError
from benchlog.store import Store, open_store
from benchlog.store.exporting import csv_lines
from benchlog.store.listing import record_text
from benchlog.store.seal import sealed, unsealed

sys.path.insert(0, str(Path(__file__).parent / "hostile"))

from store_edits import NEEDS_LAST_HASH, Trial

pytest_plugins = ("store_fixtures",)


def fill(store: Store, folder: Path) -> None:
    """Three records with logs of their own, a signature, two changes, a withdrawal, and a search that found a place."""
    for n in range(3):
        log = small_log(folder, f"ride{n}.csv", f"time_s,battery_v\n0,12.{n}\n1,12.5\n2,12.6\n")
        store.save(small_result(resting_v=12.7 + n / 100, log=log.name), plan=small_plan(), logs=[log])
    store.sign(2, "bench two", "seen")
    store.note_change("Larch", date(2025, 3, 1), "new battery")
    store.take_back(store.note_change("Larch", date(2025, 4, 1), "wrong").number)
    found = {"place": "contact", "kind": "open", "belief": 0.98, "also": [], "mend": "…", "check_again": "feed_drop"}
    store.keep_search(3, {"found": found, "answers": []}, "a new relay")


@pytest.fixture
def full(store: Store, tmp_path: Path) -> Store:
    """Entries 1 to 8."""
    fill(store, tmp_path)
    return store


@pytest.fixture
def sqlite_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """The same on SQLite, which holds any type in any column."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    store = open_store(tmp_path / "data" / "records.sqlite")
    fill(store, tmp_path)
    return store


@pytest.mark.parametrize("number", [0, -1, -(2**62)])
@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("signatures", "{}, 1, 'a forger'"),
        ("records", "{}, 'Larch', '2025', '2025', 'pass', 2, 2, 100, NULL, 1"),
        ("withdrawals", "{}, 5"),
        ("searches", "{}, 1"),
        ("changes", "{}, 'Larch', '2025-01-01', 'x'"),
        ("logs", "{}, 0, 'x', 'log', 'x', NULL, 'x'"),
        ("measured", "{}, 'resting_voltage', 'x', 13, NULL, NULL"),
    ],
)
def test_a_row_of_any_number_that_the_ledger_has_not_is_found(full: Store, table: str, values: str, number: int):
    """A forged signer, correction or withdrawal is no less one for being numbered 0 or below."""
    tamper(full, f"INSERT INTO {table} VALUES ({values.format(number)})")

    (found,) = full.verify(full.head()[1])

    assert f"the list of {table}, entry {number}" in found.text
    assert "a row was added that the ledger has not" in found.text


@pytest.mark.parametrize("number", [0, -5])
def test_an_entry_numbered_below_one_is_found(full: Store, number: int):
    """The ledger counts from 1."""
    tamper(full, f"INSERT INTO ledger SELECT {number}, kind, bike, made_at, body, previous, 'x' FROM ledger LIMIT 1")

    assert told(full) == [f"entry {number} was added past benchlog, which counts from 1"]


@pytest.mark.parametrize(
    ("statement", "text_"),
    [
        ("UPDATE ledger SET body = CAST(body AS BLOB) WHERE number = 2", "the ledger's row 2 is not in the form"),
        ("UPDATE ledger SET body = CAST(X'7B80FF7D' AS TEXT) WHERE number = 2", "the ledger's row 2 is not in the"),
        ("UPDATE ledger SET number = 'two' WHERE number = 2", "the ledger's row 'two' is not in the form"),
        ("UPDATE ledger SET hash = substr(hash, 1, 63) || char(0) WHERE number = 2", "entry 2 (record) was altered"),
        ("UPDATE head SET number = 'x'", "the note of the last entry is not in the form"),
        ("UPDATE head SET hash = X'00'", "the last entry is 8, but 8 was noted as the last, or it had another hash"),
        ("UPDATE records SET verdict = X'00' WHERE number = 2", "entry 2: verdict is b'\\x00', in the ledger"),
        ("UPDATE records SET number = 'x' WHERE number = 2", "the list of records, entry 'x': a row was added"),
        ("UPDATE measured SET value = 'x' WHERE record = 2", "resting_voltage: value is 'x', in the ledger 12.7"),
        ("DELETE FROM schema_version WHERE number = 2", "the steps that made the store are noted as [1, 3, 4]"),
        ("INSERT INTO schema_version VALUES (-1, 'x')", "the steps that made the store are noted as"),
    ],
)
def test_a_value_of_another_type_is_a_finding(sqlite_full: Store, statement: str, text_: str):
    """SQLite keeps what it is given; nothing of it is stumbled over."""
    tamper(sqlite_full, statement)

    assert [one for one in told(sqlite_full) if text_ in one], told(sqlite_full)


@pytest.mark.parametrize("body", ["[" * 200_000, '{"bike": ' * 50_000, "1" * 5000, '{"bike":"Larch","logs":[{}]}', "é"])
def test_a_body_that_is_hard_to_read_is_a_finding(full: Store, body: str):
    """JSON nested without end, a number of thousands of digits, another form."""
    with full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(
            "DROP TRIGGER ledger_no_update"
            if connection.dialect.name == "sqlite"
            else "ALTER TABLE ledger DISABLE TRIGGER ALL"
        )
        connection.execute(text("UPDATE ledger SET body = :body WHERE number = 2"), {"body": body})

    assert "entry 2 (record) is not in the form that benchlog writes" in told(full)


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE TRIGGER helps AFTER INSERT ON signatures BEGIN DELETE FROM withdrawals; END",
        "CREATE TABLE more (one BIGINT)",
        "CREATE VIEW shown AS SELECT 1",
        "ALTER TABLE records ADD COLUMN more TEXT",
        "DROP INDEX records_by_bike",
    ],
)
def test_a_database_of_another_form_is_told(sqlite_full: Store, statement: str):
    """A table, trigger, column or index that benchlog does not make, or one that is gone."""
    with sqlite_full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(statement)

    assert [trouble.kind for trouble in sqlite_full.verify()] == ["ledger"]


def test_a_guard_that_no_longer_guards_is_told(sqlite_full: Store):
    """Its name alone is not enough."""
    with sqlite_full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("DROP TRIGGER ledger_no_update")
        connection.exec_driver_sql("CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger BEGIN SELECT 1; END")

    assert any(
        "the trigger ledger_no_update of the database is not as benchlog made it" in one for one in told(sqlite_full)
    )


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE OR REPLACE FUNCTION ledger_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$",
        "ALTER TABLE ledger ENABLE ROW LEVEL SECURITY",
        "CREATE RULE quiet AS ON INSERT TO signatures DO INSTEAD NOTHING",
        "ALTER TABLE ledger ALTER COLUMN body TYPE varchar",
        "ALTER TABLE ledger DROP CONSTRAINT ledger_hash_key",
        "ALTER TABLE ledger ENABLE REPLICA TRIGGER ledger_no_change",
    ],
)
def test_a_postgresql_database_of_another_form_is_told(full: Store, statement: str):
    """Its catalogue tells what its triggers call, which rows it hides and what it does instead."""
    if full.engine.dialect.name != "postgresql":
        statement = "CREATE TABLE more (one BIGINT)"
    with full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(statement)

    assert {trouble.kind for trouble in full.verify()} == {"ledger"}


def test_an_index_that_lies_is_told(sqlite_full: Store):
    """SQLite's own look at the file is part of the proof."""
    with sqlite_full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("PRAGMA writable_schema = ON")
        connection.exec_driver_sql(
            "UPDATE sqlite_master SET rootpage = (SELECT rootpage FROM sqlite_master WHERE name = 'logs_by_hash') "
            "WHERE name = 'records_by_bike'"
        )
    path = sqlite_full.where
    sqlite_full.close()

    with open_store(path) as store:
        assert any(one.startswith("the file does not fit together") for one in told(store))


def _linked(path: Path) -> None:
    elsewhere = path.with_suffix(".elsewhere")
    path.rename(elsewhere)
    path.symlink_to(elsewhere)


def _folder_linked(path: Path) -> None:
    elsewhere = path.parent.with_suffix(".elsewhere")
    path.parent.rename(elsewhere)
    path.parent.symlink_to(elsewhere)


def _pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def _folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize(
    ("harm", "text_"),
    [
        (_linked, "a link to another file"),
        (_folder_linked, "its folder is a link to another"),
        (_pipe, "not a file, but a pipe, a device or a folder"),
        (_folder, "not a file, but a pipe, a device or a folder"),
    ],
)
def test_a_kept_log_that_is_no_file_of_its_own_is_told(full: Store, harm: Callable[[Path], None], text_: str):
    """Neither waited for nor followed, and no longer offered for drawing."""
    path = full.log_path(3, "ride2.csv")
    assert path is not None
    harm(path)

    (trouble,) = [one for one in full.verify() if not one.harmless]

    assert (trouble.entry, trouble.kind) == (3, "logs")
    assert trouble.text.endswith(f"cannot be read ({text_})")
    assert full.log_path(3, "ride2.csv") is None


def test_a_copy_named_outside_the_folder_is_not_looked_for(full: Store):
    """What a record says of its copy is a hash, never a path."""
    row = '{"sha256":"../../../../etc/hostname","bytes":1}'
    with full.engine.connect() as connection:
        body = json.loads(connection.execute(text("SELECT body FROM ledger WHERE number = 1")).scalar_one())
    kept = json.dumps(body["logs"][0]["kept"], separators=(",", ":"), sort_keys=True)
    tamper(full, f"UPDATE ledger SET body = replace(body, '{kept}', '{row}') WHERE number = 1")

    assert "entry 1 (record) is not in the form that benchlog writes" in told(full)
    assert not any("hostname (" in one for one in told(full))


def test_a_forged_drawing_is_told_and_not_shown(full: Store):
    """A drawing carries a seal over the copy's hash and its own bytes, with a key of the user's."""
    path = full.log_path(1, "ride0.csv")
    assert path is not None
    drawn = path.with_name(f"{path.stem}.0123456789ab.drawn")
    content = sealed(drawn.name, b"drawing")
    assert content is not None
    drawn.write_bytes(content)
    assert full.verify() == []
    assert unsealed(drawn) == b"drawing"

    drawn.write_bytes(content[:-1] + b"!")
    assert unsealed(drawn) is None
    assert [(trouble.file, trouble.kind) for trouble in full.verify()] == [(drawn, "left over")]

    other = full.log_path(2, "ride1.csv")
    assert other is not None
    moved = other.with_name(f"{other.stem}.0123456789ab.drawn")
    moved.write_bytes(content)
    assert unsealed(moved) is None


@pytest.mark.parametrize(
    "statement", ["UPDATE records SET recorded_at = X'00'", "UPDATE records SET passed = 'x', made_at = 'x'"]
)
def test_a_forged_row_is_no_traceback_in_a_list(sqlite_full: Store, statement: str):
    """What looks at the store names the command that finds out."""
    tamper(sqlite_full, statement)

    with pytest.raises(BenchlogError, match=r"a row of the store is not in the form .* run benchlog records verify"):
        sqlite_full.rows()
    with pytest.raises(BenchlogError, match=r"a row of the store is not in the form .* run benchlog records verify"):
        list(csv_lines(sqlite_full))


def test_the_last_hash_stands_where_records_are_kept(sqlite_full: Store):
    """In the table for a spreadsheet and in what is shown of a record; each record's own hash proves too."""
    _, last_hash = sqlite_full.head()
    rows = list(csv.DictReader(io.StringIO("".join(csv_lines(sqlite_full)))))

    assert {row["last_hash"] for row in rows} == {last_hash}
    assert {row["hash"] for row in rows} == {sqlite_full.record(number).hash for number in (1, 2, 3)}
    assert record_text(sqlite_full.record(1), last_hash).endswith(f"  last hash {last_hash}\n")
    for told_hash in (last_hash, rows[0]["hash"]):
        assert sqlite_full.verify(told_hash) == []


def test_random_edits_are_found(sqlite_full: Store, tmp_path: Path):
    """Every one with the last hash; without it all but a chain made anew or cut off, everything made to match."""
    sqlite_full.close()
    trial = Trial(tmp_path / "data", tmp_path / "edited")
    for seed in range(60):
        done, alone, with_hash = trial.one(seed)

        assert with_hash, f"{seed}: {done}"
        assert bool(alone) == (done not in NEEDS_LAST_HASH), f"{seed}: {done}: {alone}"
