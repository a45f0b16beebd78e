"""The same log saved twice, and a day that is only the file's, are told as they happen."""

from pathlib import Path

import pytest
from store_cases import save_small
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.store import Store, open_store

SAMPLES = Path(__file__).parent.parent / "sample_data"


@pytest.fixture
def store(tmp_path: Path):
    """An empty store."""
    with open_store(f"sqlite:///{tmp_path}/store.db") as opened:
        yield opened


def test_a_log_that_is_saved_again_is_told(store: Store, tmp_path: Path):
    """The newest other record that holds the same file is named, with what to do; the first save says nothing."""
    first, second, third = (save_small(store, tmp_path) for _ in range(3))

    assert store.remarks(store.record(first)) == []
    assert store.remarks(store.record(second)) == [
        "ride.csv is in record 1 already, and both count in the season; if it replaces that, save it again as its "
        "correction (--corrects 1)"
    ]
    assert f"is in record {second} already" in store.remarks(store.record(third))[0]


def test_a_correction_repeats_nothing(store: Store, tmp_path: Path):
    """The record that is corrected counts no more, so its log is not there twice."""
    first = save_small(store, tmp_path)
    second = save_small(store, tmp_path, corrects=first)

    assert store.remarks(store.record(second)) == []


def test_the_files_date_as_the_day_of_recording_is_told(store: Store, tmp_path: Path):
    """Where neither clock nor user gives the day, it is the file's, which copying may change."""
    number = save_small(store, tmp_path, recorded_at=None)

    assert store.remarks(store.record(number)) == [
        "the day of the recording is the file's own date, since the log's clock does not give one; copying a file may "
        "change it"
    ]


def test_check_says_it_before_what_it_saved(tmp_path: Path):
    """On the terminal the remarks stand before the record's number; the hash stays the last line."""
    words = ["check", str(SAMPLES / "overnight.csv"), "--plan", str(SAMPLES / "larch.plan.toml"), "--save"]
    words += ["--hashes-only", "--store", f"sqlite:///{tmp_path}/store.db"]
    CliRunner().invoke(app, words)

    said = CliRunner().invoke(app, words).stdout.splitlines()

    assert said[-4].startswith("Note: overnight.csv is in record 1 already")
    assert said[-3].startswith("Note: the day of the recording is the file's own date")
    assert said[-2].startswith("Saved as record 2 in ")
    assert said[-1].startswith("Last hash, ")
