"""Every kind of tampering is found, and the entry or file concerned is named."""

import os
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text
from store_cases import save_small, small_log, small_plan, small_result

from benchlog.core.errors import BenchlogError
from benchlog.store import Store
from benchlog.store.engine import writing
from benchlog.store.entry import hash_of
from benchlog.store.ledger import append
from benchlog.store.logs_kept import kept_path
from benchlog.store.mending import mend

pytest_plugins = ("store_fixtures",)


@pytest.fixture
def full(store: Store, tmp_path: Path) -> Store:
    """Four records with different logs, a signature of the second, and a change: entries 1 to 6."""
    for n in range(4):
        log = small_log(tmp_path, f"ride{n}.csv", f"time_s,battery_v\n0,12.{n}\n1,12.5\n2,12.6\n")
        store.save(small_result(resting_v=(12.7, 12.71, 12.72, 12.73)[n], log=log.name), plan=small_plan(), logs=[log])
    store.sign(2, "bench two", "seen")
    save_small(store, tmp_path, "Rowan", keep_logs=False)
    return store


def tamper(store: Store, *statements: str) -> None:
    """Change the database past its guards, as its owner could: they are taken away and put back."""
    sqlite = store.engine.dialect.name == "sqlite"
    with store.engine.connect() as connection, connection.begin():
        guards: list[str] = []
        if sqlite:
            found = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
            guards = [str(row.sql) for row in found]
            for row in found:
                connection.exec_driver_sql(f"DROP TRIGGER {row.name}")
        else:
            connection.exec_driver_sql("ALTER TABLE ledger DISABLE TRIGGER ALL")
        for statement in statements:
            connection.exec_driver_sql(statement)
        for guard in guards:
            connection.exec_driver_sql(guard)
        if not sqlite:
            connection.exec_driver_sql("ALTER TABLE ledger ENABLE TRIGGER ALL")


def told(store: Store) -> list[str]:
    """The troubles' texts."""
    return [trouble.text for trouble in store.verify()]


def test_a_store_as_it_was_saved_has_no_trouble(full: Store):
    """Nothing is told of a whole store, so that what is told counts."""
    assert full.verify() == []
    assert full.head()[0] == 6


def test_an_edited_body_is_found(full: Store):
    """A verdict written over: the entry is named, and the list that no longer fits it."""
    tamper(full, "UPDATE ledger SET body = replace(body, '12.72', '12.99') WHERE number = 3")

    troubles = full.verify()

    assert [trouble.entry for trouble in troubles if trouble.kind == "ledger"] == [3]
    assert told(full)[0] == "entry 3 (record) was altered: its hash does not fit its text"
    assert any("the list of measured, entry 3, resting_voltage: value is 12.72" in one for one in told(full))


@pytest.mark.parametrize(
    ("column", "value"),
    [("made_at", "2020-01-01T00:00:00.000000Z"), ("kind", "change"), ("previous", "0" * 64), ("hash", "1" * 64)],
)
def test_every_part_of_an_entry_is_held_by_its_hash(full: Store, column: str, value: str):
    """Kind, date, hash before and hash: none can be edited alone."""
    tamper(full, f"UPDATE ledger SET {column} = '{value}' WHERE number = 3")

    assert any("entry 3" in one for one in told(full))
    assert {trouble.entry for trouble in full.verify() if trouble.kind == "ledger"} & {3}


def test_an_edit_with_a_hash_to_match_is_found_by_the_next_entry(full: Store):
    """Who edits and hashes anew breaks the chain."""
    with full.engine.connect() as connection:
        row = connection.execute(text("SELECT * FROM ledger WHERE number = 3")).one()
    body = row.body.replace("12.72", "12.99")
    fresh = hash_of(3, row.kind, row.made_at, row.previous, body)
    tamper(full, f"UPDATE ledger SET body = replace(body, '12.72', '12.99'), hash = '{fresh}' WHERE number = 3")

    assert "entry 4 names another hash for entry 3: one of the two was altered or replaced" in told(full)


def test_the_bike_beside_the_body_is_held(full: Store):
    """A record cannot be moved to another bike."""
    tamper(full, "UPDATE ledger SET bike = 'Rowan' WHERE number = 1")

    assert told(full) == ["entry 1 stands under Rowan but is of Larch"]


@pytest.mark.parametrize(
    ("numbers", "text_"),
    [
        ("1", "entry 1 is missing from the ledger"),
        ("3", "entry 3 is missing from the ledger"),
        ("3, 4", "entries 3 to 4 are missing from the ledger"),
        ("6", "entry 6 is missing from the end of the ledger"),
        ("5, 6", "entries 5 to 6 are missing from the end of the ledger"),
        ("1, 2, 3, 4, 5, 6", "entries 1 to 6 are missing from the end of the ledger"),
    ],
)
def test_a_removed_entry_is_found(full: Store, numbers: str, text_: str):
    """Also the last, and also all of them."""
    tamper(full, f"DELETE FROM ledger WHERE number IN ({numbers})")

    assert text_ in told(full)


def test_a_hole_closed_by_numbering_anew_is_found(full: Store):
    """The number is under the hash."""
    tamper(
        full,
        "DELETE FROM ledger WHERE number = 3",
        *(f"UPDATE ledger SET number = {n - 1} WHERE number = {n}" for n in (4, 5, 6)),
    )

    assert {trouble.entry for trouble in full.verify() if trouble.kind == "ledger"} >= {3, 4, 5}


def test_swapped_entries_are_found(full: Store):
    """Two records that change places."""
    tamper(
        full,
        "UPDATE ledger SET number = 99 WHERE number = 1",
        "UPDATE ledger SET number = 1 WHERE number = 3",
        "UPDATE ledger SET number = 3 WHERE number = 99",
    )

    assert {trouble.entry for trouble in full.verify() if trouble.kind == "ledger"} >= {1, 3}


def test_an_entry_added_past_benchlog_is_found(full: Store):
    """Even with a hash that fits: the head does not know it."""
    with full.engine.connect() as connection:
        last = connection.execute(text("SELECT * FROM ledger WHERE number = 6")).one()
    fresh = hash_of(7, last.kind, last.made_at, last.hash, last.body)
    tamper(
        full,
        "INSERT INTO ledger "
        f"SELECT 7, kind, bike, made_at, body, '{last.hash}', '{fresh}' FROM ledger WHERE number = 6",
    )

    assert any(one.startswith("the last entry is 7, but 6 was noted as the last") for one in told(full))


def test_a_ledger_made_anew_is_found_by_a_hash_noted_elsewhere(full: Store):
    """Within the database alone nothing could show it, so the head is printed for the owner to keep."""
    _, noted = full.head()
    assert full.verify(noted) == []

    tamper(full, "DELETE FROM ledger", f"UPDATE head SET number = 0, hash = '{'0' * 64}'")
    tamper(full, *(f"DELETE FROM {name}" for name in ("records", "logs", "measured", "signatures", "changes")))

    assert [trouble for trouble in full.verify() if not trouble.harmless] == []
    assert any("the ledger was made anew" in trouble.text for trouble in full.verify(noted))


def test_a_signature_of_another_text_is_found(full: Store):
    """A record replaced after it was signed, with the chain hashed anew up to the end, shows at its signature."""
    rows: list[str] = []
    with full.engine.connect() as connection:
        entries = connection.execute(text("SELECT * FROM ledger ORDER BY number")).all()
    previous = "0" * 64
    for row in entries:
        body = row.body.replace("12.71", "12.99")
        fresh = hash_of(row.number, row.kind, row.made_at, previous, body)
        rows.append(
            f"UPDATE ledger SET body = replace(body, '12.71', '12.99'), previous = '{previous}', hash = '{fresh}' "
            f"WHERE number = {row.number}"
        )
        previous = fresh
    tamper(full, *rows, f"UPDATE head SET hash = '{previous}'", "UPDATE measured SET value = 12.99 WHERE value = 12.71")

    assert [one for one in told(full) if "signed" in one] == [
        "entry 5: bench two signed record 2 in another form than it has now"
    ]


def test_a_change_taken_back_twice_is_found(full: Store):
    """Benchlog itself refuses; an entry made past it is named, with the one before it."""
    change = full.note_change("Larch", date(2025, 3, 1), "new battery")
    _, its_hash = full.head()
    full.take_back(change.number)
    body = {"bike": "Larch", "change": change.number, "change_hash": its_hash}
    with writing(full.engine, full.where) as connection:
        append(connection, [("withdrawal", body)])

    assert told(full) == ["entry 9 takes change 7 back, as entry 8 did before"]


@pytest.mark.parametrize("change", [2, 7, 99])
def test_taking_back_another_text_is_found(full: Store, change: int):
    """The hash must be that of the change: not of a record's number, not of other words, not of nothing."""
    full.note_change("Larch", date(2025, 3, 1), "new battery")
    with writing(full.engine, full.where) as connection:
        append(connection, [("withdrawal", {"bike": "Larch", "change": change, "change_hash": "1" * 64})])

    assert told(full) == [f"entry 8 takes change {change} back in another form than it has now"]


def test_a_body_that_is_no_record_is_found(full: Store):
    """Rubbish in the ledger is a trouble, not a crash."""
    tamper(
        full, "UPDATE ledger SET body = 'rubbish' WHERE number = 2", "UPDATE ledger SET body = '[]' WHERE number = 5"
    )

    assert "entry 2 (record) is not in the form that benchlog writes" in told(full)
    assert "entry 5 (signature) is not in the form that benchlog writes" in told(full)


@pytest.mark.parametrize(
    ("statement", "text_"),
    [
        ("UPDATE records SET verdict = 'pass' WHERE number = 2", "the list of records, entry 2: verdict is 'pass'"),
        (
            "UPDATE measured SET value = 13 WHERE record = 2",
            "the list of measured, entry 2, resting_voltage: value is 13.0",
        ),
        ("DELETE FROM measured WHERE record = 4", "the list of measured, entry 4, resting_voltage: a row is missing"),
        ("DELETE FROM signatures", "the list of signatures, entry 5: a row is missing"),
        ("INSERT INTO signatures VALUES (4, 4, 'nobody')", "the list of signatures, entry 4: a row was added"),
        (
            "INSERT INTO changes VALUES (77, 'Larch', '2025-01-01', 'x')",
            "the list of changes, entry 77: a row was added",
        ),
        ("INSERT INTO withdrawals VALUES (78, 77)", "the list of withdrawals, entry 78: a row was added"),
        ("UPDATE logs SET sha256 = 'x' WHERE record = 1", "the list of logs, entry 1, 0: sha256 is 'x'"),
    ],
)
def test_an_edited_list_is_found_and_made_anew(full: Store, statement: str, text_: str):
    """What is worked out from the ledger is compared with it row by row, and can be mended."""
    tamper(full, statement)
    troubles = full.verify()

    assert [trouble.kind for trouble in troubles] == ["lists"]
    assert text_ in troubles[0].text
    assert mend(full, troubles) == []
    assert full.verify() == []


def test_lists_of_a_broken_ledger_are_not_made_anew(full: Store):
    """A tampered entry must not find its way into the lists."""
    tamper(full, "UPDATE ledger SET body = replace(body, '12.72', '12.99') WHERE number = 3")
    troubles = full.verify()

    assert mend(full, troubles) == troubles
    assert full.readings("Larch")[2].value == 12.72


@pytest.mark.parametrize("statement", ["DROP TRIGGER ledger_no_update", "ALTER TABLE ledger DISABLE TRIGGER ALL"])
def test_guards_that_were_taken_away_are_told(full: Store, statement: str):
    """Someone prepared a change."""
    if full.engine.dialect.name == "postgresql":
        statement = statement.replace("ledger_no_update", "ledger_no_change ON ledger")
    elif statement.startswith("ALTER"):
        statement = "DROP TRIGGER ledger_no_delete"
    with full.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql(statement)

    assert any(one.startswith("what guards the ledger against changes was taken away") for one in told(full))


@pytest.mark.parametrize(
    ("harm", "text_"),
    [
        (lambda path: path.unlink(), "is not there"),
        (lambda path: path.write_bytes(path.read_bytes()[:-1]), "was altered or damaged"),
        (lambda path: path.write_bytes(path.read_bytes()[:-1] + b"x"), "was altered or damaged"),
    ],
)
def test_a_kept_log_that_is_gone_or_altered_is_found(full: Store, harm: Callable[[Path], object], text_: str):
    """Record, log and file are named."""
    path = full.log_path(3, "ride2.csv")
    assert path is not None
    harm(path)

    (trouble,) = full.verify()

    assert (trouble.entry, trouble.file, trouble.kind) == (3, path, "logs")
    assert trouble.text.startswith(f"record 3: the kept copy of ride2.csv ({path})")
    assert trouble.text.endswith(text_)
    if not path.exists():
        assert full.log_path(3, "ride2.csv") is None


def test_files_left_over_are_harmless_and_cleaned_once_they_are_old(full: Store):
    """A save that was killed leaves at most files; a young one may belong to a save that goes on."""
    orphan, part = kept_path(full.logs, "ab" * 32), full.logs / ".0123.part"
    orphan.parent.mkdir(exist_ok=True)
    for path in (orphan, part):
        path.write_bytes(b"left")
    troubles = full.verify()

    assert {trouble.file for trouble in troubles} == {orphan, part}
    assert all(trouble.harmless for trouble in troubles)
    assert mend(full, troubles) == troubles
    old = time.time() - 7200
    for path in (orphan, part):
        os.utime(path, (old, old))
    assert mend(full, troubles) == []
    assert not orphan.exists()
    assert not part.exists()
    assert full.log_path(1, "ride0.csv") is not None


def test_a_record_that_was_altered_past_reading_is_told(full: Store):
    """Opening a record whose text no longer is one says what to do."""
    tamper(full, "UPDATE ledger SET body = replace(body, '\"verdict\"', '\"verdikt\"') WHERE number = 2")

    with pytest.raises(BenchlogError, match=r"record 2 cannot be read .* run benchlog records verify"):
        full.record(2)
