"""Import of a folder of logs: all cores, resumable, and one bad log stops nothing."""

import os
import shutil
from pathlib import Path

import pytest
from store_cases import small_log, small_plan

from benchlog.core.errors import BenchlogError
from benchlog.logger.model import logger_from_mapping
from benchlog.store import Store
from benchlog.store.importing import import_logs, logs_under

pytest_plugins = ("store_fixtures",)


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    """Six files: three logs that differ, a copy of the first, a log that is none, a picture; and a pipe."""
    folder = tmp_path / "tree"
    for n in range(3):
        lines = "".join(f"{k},12.7{n},0.0003\n" for k in range(400))
        small_log(folder / f"bike{n}", f"log{n}.csv", "time_s,battery_v,battery_a\n" + lines)
    shutil.copy(folder / "bike0" / "log0.csv", folder / "copy.csv")
    small_log(folder / "bike1", "words.csv", "these are\nwords only\n")
    small_log(folder, "picture.png", "x")
    small_log(folder, ".hidden.csv", "x")
    os.mkfifo(folder / "pipe.csv")
    small_log(folder / "bike1", "log1.logger.toml", '[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\n')
    return folder


def outcomes(store: Store, folder: Path, processes: int = 1, **more: object) -> list[tuple[str, str]]:
    """Name and outcome of each log."""
    told = import_logs(store, logs_under(folder), plan=small_plan(), processes=processes, **more)  # type: ignore[arg-type]
    return [(one.path.name, one.outcome) for one in told]


EVERY = [
    ("copy.csv", "saved"),
    ("log0.csv", "known"),
    ("log1.csv", "saved"),
    ("words.csv", "bad"),
    ("log2.csv", "saved"),
]


def test_every_log_in_the_tree_is_saved_once(store: Store, tree: Path):
    """A copy of a log is the same log; what is no log is told and passed over."""
    told = list(import_logs(store, logs_under(tree), plan=small_plan(), processes=1))

    assert [(one.path.name, one.outcome) for one in told] == EVERY
    assert [(one.done, one.of) for one in told] == [(n, 5) for n in range(1, 6)]
    (bad,) = (one for one in told if one.outcome == "bad")
    assert "words.csv" in bad.text
    assert [one.number for one in told if one.outcome == "saved"] == [1, 2, 3]
    assert len(store.rows()) == 3
    assert store.verify() == []
    assert store.recheck(2).checks == store.record(2).result.checks


def test_processes_side_by_side_give_the_same(store: Store, tree: Path):
    """The order of the records is that of the files, whoever is done first."""
    assert outcomes(store, tree, processes=2) == EVERY
    assert [row.number for row in store.rows()] == [3, 2, 1]
    assert [store.record(n).logs[0].name for n in (1, 2, 3)] == ["copy.csv", "log1.csv", "log2.csv"]


def test_an_import_that_was_stopped_goes_on(store: Store, tree: Path):
    """What is in the store is passed over; only the rest is read."""
    half = import_logs(store, logs_under(tree), plan=small_plan(), processes=1)
    assert [next(half).outcome, next(half).outcome] == ["saved", "known"]
    half.close()  # type: ignore[attr-defined]  # as Ctrl-C does

    assert outcomes(store, tree) == [
        *(("copy.csv", "known"), ("log0.csv", "known"), ("log1.csv", "saved")),
        *(("words.csv", "bad"), ("log2.csv", "saved")),
    ]
    assert {outcome for _, outcome in outcomes(store, tree)} == {"known", "bad"}
    assert len(store.rows()) == 3


def test_what_is_known_is_not_checked_again(store: Store, tree: Path, monkeypatch: pytest.MonkeyPatch):
    """A second run reads the logs for their hashes alone, so that it takes seconds."""
    outcomes(store, tree)
    monkeypatch.setattr("benchlog.run.check", lambda *_, **__: pytest.fail("a known log was checked again"))

    assert [outcome for name, outcome in outcomes(store, tree / "bike2")] == ["known"]


def test_another_plan_or_logger_is_another_question(store: Store, tree: Path):
    """The same log judged otherwise is a new record."""
    (log,) = logs_under(tree / "bike2")
    channels = {"channel": [{"column": "battery_v", "role": "battery_v", "gain_error_pct": 0.1, "offset_error": 0.01}]}
    logger = logger_from_mapping(channels)

    first = [one.outcome for one in import_logs(store, [log], plan=small_plan())]
    rowan = [one.outcome for one in import_logs(store, [log], plan=small_plan("Rowan"))]
    sure = [one.outcome for one in import_logs(store, [log], plan=small_plan(), logger=logger)]
    again = [one.outcome for one in import_logs(store, [log], plan=small_plan(), logger=logger)]

    assert (first, rowan, sure, again) == (["saved"], ["saved"], ["saved"], ["known"])


def test_hashes_alone_can_be_imported(store: Store, tree: Path):
    """No copy is laid down."""
    outcomes(store, tree, keep_logs=False)

    assert len(store.rows()) == 3
    assert not list(store.logs.rglob("*.parquet"))


def test_the_stores_own_copies_are_no_logs_to_import(store: Store, tree: Path):
    """Importing the folder that the store lies in does not import the store."""
    store.logs = tree / "logs"
    outcomes(store, tree)

    assert len(list(store.logs.rglob("*.parquet"))) == 3
    assert len(logs_under(tree, but=store.logs)) == 5


def test_a_folder_without_logs_is_told(tmp_path: Path):
    """A mistyped folder, and one that holds nothing of use."""
    with pytest.raises(BenchlogError, match="there is no such folder; name one that holds logs"):
        logs_under(tmp_path / "nowhere")
    with pytest.raises(BenchlogError, match=r"there is no log in it; a log ends in \.csv"):
        logs_under(tmp_path)
