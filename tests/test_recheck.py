"""Every kept log judged again: what changed is told with its reason, and nothing is overwritten."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from store_cases import save_small
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.plan.model import load_plan
from benchlog.store import Store, open_store, rechecking
from benchlog.store.importing import import_logs
from benchlog.store.rechecking import recheck_records
from benchlog.verdict.result import Check, Result

pytest_plugins = ("store_fixtures",)

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN = SAMPLES / "larch.plan.toml"


def kept(store: Store, folder: Path) -> None:
    """Two records of logs that are kept: one good, one of a relay that lets go late."""
    found = [folder / name for name in ("acceptance.csv", "fault_slow_drop_out.csv")]
    for log in found:
        shutil.copy(SAMPLES / log.name, log)
        shutil.copy(SAMPLES / f"{log.stem}.logger.toml", log.with_name(f"{log.stem}.logger.toml"))
    assert [one.outcome for one in import_logs(store, found, plan=load_plan(PLAN))] == ["saved", "saved"]


@pytest.fixture
def stricter(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Another benchlog, which fails every relay whose pull-in it sees."""

    def set_in() -> None:
        from benchlog.verdict import checks

        real = checks.judge

        def judge(*args: object) -> tuple[Check, ...]:
            return tuple(
                one.model_copy(update={"verdict": "fail", "because": "this benchlog trusts no relay"})
                if one.id == "relay_pull_in"
                else one
                for one in real(*args)  # type: ignore[arg-type]
            )

        monkeypatch.setattr(checks, "judge", judge)

    return set_in


def test_same_program_changes_no_verdict(store: Store, tmp_path: Path):
    """One after another and on two processes."""
    kept(store, tmp_path)

    for processes in (1, 2):
        told = list(recheck_records(store, processes=processes))
        assert [(one.number, one.outcome, one.changes, one.done, one.of) for one in told] == [
            (1, "same", (), 1, 2),
            (2, "same", (), 2, 2),
        ]
    assert len(store.rows()) == 2


def test_other_rule_is_told_with_its_reason(store: Store, tmp_path: Path, stricter: Callable[[], None]):
    """Which check, from what to what, and why; without ``save`` the store is as it was."""
    kept(store, tmp_path)
    head = store.head()
    stricter()
    told = list(recheck_records(store, processes=1))

    assert [one.outcome for one in told] == ["changed", "changed"]
    (change,) = (change for change in told[0].changes if change.check == "relay_pull_in")
    assert (change.then, change.now) == ("pass", "fail")
    assert change.because == "this benchlog trusts no relay"
    assert change.because_then == next(
        check.because for check in store.record(1).result.checks if check.id == "relay_pull_in"
    )
    assert store.head() == head


def test_saved_the_old_records_are_corrected(store: Store, tmp_path: Path, stricter: Callable[[], None]):
    """New records stand beside the old, with the same logs; done again, nothing is left to do."""
    kept(store, tmp_path)
    before = store.record(1)
    stricter()
    told = list(recheck_records(store, save=True, processes=1))
    again = list(recheck_records(store, save=True, processes=1))
    record = store.record(3)

    assert [one.saved_as for one in told] == [3, 4]
    assert record.corrects == 1
    assert record.logs == before.logs
    assert (record.recorded_at, record.notes, record.plan) == (before.recorded_at, before.notes, before.plan)
    assert next(one.verdict for one in record.result.checks if one.id == "relay_pull_in") == "fail"
    assert store.record(1).result == before.result
    assert [(one.number, one.outcome) for one in again] == [(3, "same"), (4, "same")]
    assert store.verify() == []


def test_what_is_not_kept_or_damaged_is_told(store: Store, tmp_path: Path):
    """A record with hashes alone, and one whose copy another program wrote over; the rest goes on."""
    kept(store, tmp_path)
    save_small(store, tmp_path, keep_logs=False)
    (path,) = (store.log_path(2, log.name) for log in store.record(2).logs)
    assert path is not None
    path.write_bytes(b"PAR1 words PAR1")
    told = list(recheck_records(store, processes=1))

    assert [(one.number, one.outcome) for one in told] == [(1, "same"), (2, "bad"), (3, "not kept")]
    assert "damaged or cut short" in told[1].text


def test_removed_check_is_a_change_too():
    """A check that is new, and one that is no more."""
    one = Check(id="a", title="A", verdict="pass", unit="V", because="it was")
    then = Result.model_construct(verdict="pass", checks=(one,))
    now = Result.model_construct(verdict="pass", checks=(one.model_copy(update={"id": "b", "because": "it is"}),))

    assert [(c.check, c.then, c.now) for c in rechecking.changed_verdicts(then, now)] == [
        ("b", "", "pass"),
        ("a", "pass", ""),
    ]


# ---- the command


def said(*words: str | Path) -> tuple[int, str, str]:
    """Status, output and errors of ``benchlog records``."""
    done = CliRunner().invoke(app, ["records", *map(str, words)])
    return done.exit_code, done.stdout, done.stderr


def test_sample_seasons_store_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The store that comes with the sample data says so in one line."""
    monkeypatch.delenv("BENCHLOG_LOGS", raising=False)
    shutil.copytree(SAMPLES / "season", tmp_path / "season")
    status, out, err = said("recheck", "--store", tmp_path / "season" / "records.sqlite")

    assert (status, err) == (0, "")
    assert "records judged again: no verdict changed" in out


def test_table_and_events_of_what_changed(store: Store, store_url: str, tmp_path: Path, stricter: Callable[[], None]):
    """Status 1; a line a verdict with the reason below it, and the same as JSON lines."""
    kept(store, tmp_path)
    stricter()
    status, out, err = said("recheck", "--store", store_url)
    events = [json.loads(line) for line in said("recheck", "--store", store_url, "--json", "--save")[1].splitlines()]

    assert (status, err) == (1, "")
    assert out.splitlines()[0] == "Record 1, Larch"
    assert "  Relay pull-in: pass → fail\n    this benchlog trusts no relay\n" in out
    assert out.splitlines()[-1] == "2 of 2 records judged differently"
    assert [event["event"] for event in events] == ["record", "record", "end"]
    assert [event["saved_as"] for event in events[:2]] == [3, 4]
    assert {change["check"] for change in events[0]["changes"]} >= {"relay_pull_in"}
    assert events[2] == {"event": "end", "same": 0, "changed": 2, "not_kept": 0, "bad": 0}


def test_backup_is_a_store_of_its_own(store: Store, store_url: str, tmp_path: Path):
    """Made while the store is in use, on both engines: verified, listed and judged again without the first."""
    kept(store, tmp_path)
    store.sign(1, "A. Tester")
    copy = tmp_path / "copy" / "spring.sqlite"
    copy.parent.mkdir()
    status, out, err = said("backup", copy, "--store", store_url)
    save_small(store, tmp_path)
    with open_store(copy, create=False) as other:
        assert other.verify() == []
        assert other.head()[0] == 3
        assert other.record(1) == store.record(1)
        assert {one.outcome for one in recheck_records(other)} == {"same"}

    assert (status, out, err) == (0, f"Backed up: 3 entries and 2 kept logs in {copy}\n", "")
    assert sorted(path.name for path in copy.parent.iterdir()) == ["spring.sqlite", "spring.sqlite.logs"]
    assert said("verify", "--store", copy)[0] == 0
    assert said("backup", copy, "--store", store_url) == (
        2,
        "",
        f"benchlog: {copy}: this already exists, and a backup overwrites nothing; name a new file for it\n",
    )


def test_backup_tells_of_copies_that_are_gone(store: Store, store_url: str, tmp_path: Path):
    """It holds what is there; ``records verify`` names what is not, in the store and in the copy."""
    kept(store, tmp_path)
    (path,) = (store.log_path(2, log.name) for log in store.record(2).logs)
    assert path is not None
    path.unlink()
    status, out, _ = said("backup", tmp_path / "copy.sqlite", "--store", store_url)

    assert status == 0
    assert "1 kept logs in" in out
    assert "1 more are listed but missing; benchlog records verify names them" in out
    assert said("verify", "--store", tmp_path / "copy.sqlite")[0] == 2
