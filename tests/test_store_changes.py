"""A change that was noted wrongly is taken back: it counts no more, stays on file, and can be noted again."""

import json
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import text
from store_cases import save_small

from benchlog.core.errors import BenchlogError
from benchlog.store import Change, Store, open_store
from benchlog.store.exporting import json_lines

pytest_plugins = ("store_fixtures",)

FITTED = date(2025, 3, 1)
TAKER = """
import sys
from benchlog.core.errors import BenchlogError
from benchlog.store import open_store
with open_store(sys.argv[1]) as store:
    print("open", flush=True)
    sys.stdin.readline()
    for number in range(1, int(sys.argv[2]) + 1):
        try:
            store.take_back(number)
            print("mine", number)
        except BenchlogError as problem:
            print(problem)
"""


def test_a_change_taken_back_counts_no_more(store: Store):
    """It is given back, gone from the list, and those beside it stay."""
    store.note_change("Larch", FITTED, "new battery")
    store.note_change("Larch", FITTED, "heated grips")
    store.note_change("Rowan", FITTED, "new battery")

    gone = store.take_back(1, "Larch")

    assert gone == Change(FITTED, "new battery", 1)
    assert store.changes("Larch") == [Change(FITTED, "heated grips", 2)]
    assert store.changes("Rowan") == [Change(FITTED, "new battery", 3)]


def test_it_stays_on_file_in_a_whole_ledger(store: Store):
    """The entry is as it was; a new one names it and its hash, and the chain holds both."""
    store.note_change("Larch", FITTED, "new battery")
    _, noted = store.head()

    store.take_back(1)
    first, second = json.loads("".join(json_lines(store, "Larch")))["entries"]

    assert (first["kind"], first["hash"], first["body"]["what"]) == ("change", noted, "new battery")
    assert (second["kind"], second["bike"], second["previous"]) == ("withdrawal", "Larch", noted)
    assert second["body"] == {"bike": "Larch", "change": 1, "change_hash": noted}
    assert store.verify(noted) == []


def test_it_can_be_noted_again(store: Store):
    """The same words for the same day are a new change with a number of its own, which can be taken back too."""
    store.note_change("Larch", FITTED, "new battery")
    store.take_back(1)

    again = store.note_change("Larch", FITTED, "new battery")

    assert store.changes("Larch") == [again]
    assert again.number == 3
    assert store.take_back(3) == again
    assert store.changes("Larch") == []


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (9, "there is no change 9; benchlog season BIKE shows the changes of a bike with their numbers"),
        (0, "there is no change 0;"),
        (-1, "there is no change -1;"),
        (2**70, "there is no change 1180591620717411303424;"),
        (1, "entry 1 is a record, not a change;"),
        (4, "entry 4 is a withdrawal, not a change;"),
        (3, "change 3 was taken back already, by entry 4;"),
        (2, "change 2 is of Rowan, not of Larch; name the bike that it is of"),
    ],
)
def test_what_cannot_be_taken_back_is_said(store: Store, tmp_path: Path, number: int, words: str):
    """One message that names the entry and where the numbers are to be had; nothing is written."""
    save_small(store, tmp_path)
    store.note_change("Rowan", FITTED, "new battery")
    store.note_change("Larch", FITTED, "new battery")
    store.take_back(3)

    with pytest.raises(BenchlogError, match=words):
        store.take_back(number, "Larch")

    assert store.head()[0] == 4
    assert store.verify() == []


def test_two_processes_take_each_change_back_once(store_url: str):
    """Whoever comes second is told that it is done; the ledger holds one entry for each."""
    many = 60
    with open_store(store_url) as store:
        for n in range(many):
            store.note_change("Larch", FITTED, f"part {n}")
    takers = [
        subprocess.Popen(
            [sys.executable, "-c", TAKER, store_url, str(many)],
            cwd=Path(__file__).parent.parent,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    try:
        assert [one.stdout and one.stdout.readline() for one in takers] == ["open\n"] * 2
        for one in takers:
            assert one.stdin is not None
            one.stdin.write("go\n")
            one.stdin.flush()
        told = [one.communicate(timeout=100)[0].splitlines() for one in takers]
    finally:
        for one in takers:
            one.kill()
    taken = sorted(int(line.split()[1]) for lines in told for line in lines if line.startswith("mine"))
    refused = [line for lines in told for line in lines if "was taken back already" in line]

    assert taken == list(range(1, many + 1))
    assert len(refused) == many
    with open_store(store_url) as store:
        assert store.head()[0] == 2 * many
        assert store.changes("Larch") == []
        assert store.verify() == []


def test_a_store_of_the_second_form_takes_back(store_url: str):
    """On both engines: what was noted before the store was brought up is there, and can be taken back."""
    with open_store(store_url) as older:
        older.note_change("Larch", FITTED, "new battery")
        older.note_change("Larch", FITTED, "heated grips")
        _, noted = older.head()
        with older.engine.connect() as connection, connection.begin():
            connection.execute(text("DROP TABLE withdrawals"))
            connection.execute(text("DROP TABLE searches"))
            connection.execute(text("DELETE FROM schema_version WHERE number > 2"))

    with open_store(store_url) as store:
        before = [change.what for change in store.changes("Larch")]
        store.take_back(1)
        after = [change.what for change in store.changes("Larch")]
        troubles = store.verify(noted)

    assert (before, after, troubles) == (["new battery", "heated grips"], ["heated grips"], [])
