"""Searches for a fault's place in the store: kept with their record, shown, exported and proven unaltered."""

import json
import shutil
from pathlib import Path

import pytest
from store_cases import save_small
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.find.answers import write_answers
from benchlog.find.as_json import kept
from benchlog.find.beliefs import Knowledge
from benchlog.find.hunt import Hunt, Reply
from benchlog.plan.model import load_plan
from benchlog.store import Store, open_store
from benchlog.store.engine import writing
from benchlog.store.ledger import append
from benchlog.store.listing import record_json, record_text

pytest_plugins = ("store_fixtures",)
SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"
FOUND = {
    "place": "contact",
    "kind": "open",
    "belief": 0.985,
    "also": ["relay socket"],
    "mend": "…",
    "check_again": "feed_drop",
}
SESSION = {"found": FOUND, "answers": [{"test": "drain", "skipped": True}, {"test": "feed fuse intact", "seen": "yes"}]}


def test_a_search_is_kept_with_its_record(store: Store, tmp_path: Path):
    """It is read back as it was kept, stands in the record's text and JSON, and the store proves itself."""
    number = save_small(store, tmp_path, keep_logs=False)
    store.keep_search(number, SESSION, "a new relay")
    record = store.record(number)
    (search,) = record.searches
    told = record_text(record, store.head()[1])

    assert (search.place, search.kind, search.also, search.mended) == (
        "contact",
        "open",
        ("relay socket",),
        "a new relay",
    )
    assert list(search.answers) == SESSION["answers"]
    assert "found: contact, open (or relay socket), 98.5 % sure after 1 test; mended: a new relay" in told
    assert json.loads(record_json(record))["searches"][0]["answers"] == SESSION["answers"]
    assert store.verify() == []


def test_the_correcting_record_says_what_was_found(store: Store, tmp_path: Path):
    """The sheet of the passed check that corrects the failed one tells what was found and mended for it."""
    failed = save_small(store, tmp_path, keep_logs=False)
    store.keep_search(failed, SESSION, "a new relay")
    passed = store.record(save_small(store, tmp_path, keep_logs=False, corrects=failed))

    assert passed.searches == ()
    assert [search.record for search in passed.corrected_searches] == [failed]
    assert f"found by the search of record {failed}: contact, open" in record_text(passed, "")


def test_a_search_of_another_form_of_its_record_is_found(store: Store, tmp_path: Path):
    """A search that names another hash than the record has is a trouble of the ledger."""
    number = save_small(store, tmp_path, keep_logs=False)
    body = {"bike": "Larch", "record": number, "record_hash": "1" * 64, "mended": "", **SESSION}
    with writing(store.engine, store.where) as connection:
        append(connection, [("search", body)])

    assert [trouble.text for trouble in store.verify()] == [
        f"entry {number + 1}: a search is kept with record {number} in another form than it has now"
    ]


def test_find_keeps_what_it_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """``--keep`` puts the ended search and what was mended onto the record of the same log."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    log = Path(shutil.copy(SAMPLES / "fault_slow_drop_out.csv", tmp_path))
    shutil.copy(SAMPLES / "fault_slow_drop_out.logger.toml", tmp_path)
    hunt = Hunt(Knowledge(load_plan(PLAN)))
    hunt.replies = [Reply("voltage 85 to battery -, key on", 0.01), Reply("another relay is in time", 1.0)]
    hunt.replies += [Reply("trigger wire alone lets the relay go in time", 0.0)]
    write_answers(log.with_name(f"{log.name}.answers.toml"), hunt.replies, hunt.knowledge.questions)
    saved = CliRunner().invoke(app, ["check", str(log), "--plan", str(PLAN), "--save"])
    words = ["find", str(log), "--plan", str(PLAN), "--keep", "1", "--mended", "a new relay"]
    done = CliRunner().invoke(app, words)
    with open_store(None) as store:
        record = store.record(1)

    assert saved.exit_code == 1
    assert (done.exit_code, done.stderr) == (0, "")
    assert "Kept with record 1 (entry 2)" in done.stdout
    assert [(search.place, search.mended) for search in record.searches] == [("coil", "a new relay")]
    assert len(kept(hunt)["answers"]) == len(record.searches[0].answers)
