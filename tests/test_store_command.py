"""``benchlog records`` and the saving of a check: what is printed, and the exit status."""

import json
import os
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from store_cases import save_small, small_log, small_plan, small_result
from typer.testing import CliRunner, Result

from benchlog.commands.records import app, save_check
from benchlog.store import Store, open_store

pytest_plugins = ("store_fixtures",)

PLAN = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n[limits]\nresting_min_v = 12.6\n'


def run(url: str, *arguments: str) -> Result:
    """Run the command; the store is named as users of a server do."""
    return CliRunner().invoke(app, list(arguments), env={"BENCHLOG_STORE": url})


@pytest.fixture
def in_zone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A computer five and a half hours east of Greenwich."""
    monkeypatch.setenv("TZ", "XST-5:30")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("in_zone")
def test_the_list_shows_each_record_on_a_line(store: Store, store_url: str, tmp_path: Path):
    """Number, date on this computer's clock, bike, verdict with its shape, score, closest check, signers."""
    save_small(store, tmp_path, recorded_at=datetime(2025, 5, 1, 20, tzinfo=UTC))
    save_small(store, tmp_path, "鳥 Rowan", resting_v=12.5, corrects=1)
    store.sign(2, "bench two")

    done = run(store_url, "list")

    head, newest, oldest = done.stdout.splitlines()
    assert done.exit_code == 0
    assert head.split() == ["No", "Recorded", "Bike", "Verdict", "Score", "Closest", "Signed", "by"]
    assert newest.split() == [
        *("2", "(for", "1)", "2025-05-01", "17:30", "鳥", "Rowan", "▲", "fail", "0/2", "0", "%", "resting_voltage"),
        *("bench", "two"),
    ]
    assert oldest.split()[:6] == ["1", "(see", "2)", "2025-05-02", "01:30", "Larch"]
    assert len(run(store_url, "list", "--limit", "1").stdout.splitlines()) == 2
    assert len(run(store_url, "list", "--bike", "Larch").stdout.splitlines()) == 2


def test_an_empty_store_says_how_to_fill_it(store: Store, store_url: str):
    """A list without records is no failure."""
    done = run(store_url, "list")

    assert (done.exit_code, store.rows()) == (0, [])
    assert "benchlog check LOG --plan PLAN --save" in done.stdout


def test_an_unknown_bike_is_told(store: Store, store_url: str, tmp_path: Path):
    """A slip of the pen names the bikes that there are."""
    save_small(store, tmp_path)

    for command in ("list", "export"):
        done = run(store_url, command, "--bike", "Lurch")

        assert (done.exit_code, done.stdout) == (2, "")
        assert 'there is no record of "Lurch"; the bikes there are: Larch; did you mean "Larch"?' in done.stderr


def test_show_gives_the_result_and_what_is_known_of_the_record(store: Store, store_url: str, tmp_path: Path):
    """The sheet of the check, then dates, log, notes, signature and hash."""
    save_small(store, tmp_path, notes="after\x1b[31m rain", temperature_c=8.04)
    store.sign(1, "bench two", "seen")

    text = run(store_url, "show", "1").stdout
    plain = json.loads(run(store_url, "show", "1", "--json").stdout)

    record = store.record(1)
    assert "Install check: Larch" in text
    for fact in ("8.0 °C", "ride.csv", record.logs[0].sha256, "by bench two (entry 2): seen", record.hash, "as given"):
        assert fact in text
    assert "\x1b" not in text
    assert (plain["number"], plain["hash"], plain["result"]["verdict"]) == (1, record.hash, "not proven")
    assert plain["signatures"][0]["by"] == "bench two"


def test_sign_names_the_signature(store: Store, store_url: str, tmp_path: Path):
    """The line says who and which entry; a record that is not there ends in status 2."""
    save_small(store, tmp_path)

    done = run(store_url, "sign", "1", "--by", "bench two", "--notes", "seen")
    gone = run(store_url, "sign", "7", "--by", "bench two")

    assert (done.exit_code, done.stdout) == (0, "Record 1 is signed by bench two (entry 2)\n")
    assert (gone.exit_code, "there is no record 7" in gone.stderr) == (2, True)
    assert store.record(1).signatures[0].notes == "seen"


def test_import_counts_and_names_what_is_bad(store: Store, store_url: str, tmp_path: Path):
    """Status 0 where every log is in the store, 2 where one is not; the others are saved."""
    plan = tmp_path / "larch.plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    small_log(tmp_path / "logs_to_do", "one.csv")

    good = run(store_url, "import", str(tmp_path / "logs_to_do"), "--plan", str(plan))
    small_log(tmp_path / "logs_to_do", "two.csv", "no\nlog\n")
    bad = run(store_url, "import", str(tmp_path / "logs_to_do"), "--plan", str(plan))

    assert (good.exit_code, good.stdout[:26]) == (0, "1 of 1 logs saved, 0 were ")
    assert bad.exit_code == 2
    assert "two.csv was not imported:" in bad.stderr
    assert bad.stdout == "0 of 2 logs saved, 1 were in the store already, 1 could not be used\n"
    assert len(store.rows()) == 1


def test_export_goes_to_a_file_or_to_standard_output(store: Store, store_url: str, tmp_path: Path):
    """The same bytes either way; standard output holds the export alone."""
    save_small(store, tmp_path, notes="Ω")
    target = tmp_path / "out.csv"

    printed = run(store_url, "export")
    written = run(store_url, "export", str(target))
    whole = run(store_url, "export", "--format", "json")

    assert printed.stdout_bytes == target.read_bytes()
    assert printed.stdout_bytes.count(b"\r\n") == 3
    assert (written.stdout, written.stderr) == ("", f"Exported: {target}\n")
    assert json.loads(whole.stdout)["entries"][0]["body"]["notes"] == "Ω"


def test_verify_tells_what_differs_and_what_to_do(store: Store, store_url: str, tmp_path: Path):
    """Status 0 with the head's hash while all is whole; 2 with the entry or file concerned."""
    save_small(store, tmp_path)
    good = run(store_url, "verify", "--last-hash", store.head()[1])
    other = run(store_url, "verify", "--last-hash", "f" * 64)
    path = store.log_path(1, "ride.csv")
    assert path is not None
    path.unlink()
    gone = run(store_url, "verify")
    with store.engine.connect() as connection, connection.begin():
        connection.exec_driver_sql("DELETE FROM measured")
    run(store_url, "verify", "--mend")

    assert (good.exit_code, store.head()[1] in good.stdout) == (0, True)
    assert (other.exit_code, "no entry has the hash ffff" in other.stdout) == (2, True)
    assert (gone.exit_code, "▲ record 1: the kept copy of ride.csv" in gone.stdout) == (2, True)
    assert "restore the kept logs from a backup" in gone.stderr
    assert len(store.readings("Larch")) == 1


@pytest.mark.usefixtures("in_zone")
def test_a_check_is_saved_with_all_that_was_given(store: Store, store_url: str, tmp_path: Path):
    """What ``check --save`` calls; a time without a zone is on this computer's clock."""
    plan = tmp_path / "larch.plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    log = small_log(tmp_path)

    lines = save_check(
        store_url,
        small_result(),
        plan=plan,
        logs=[log],
        notes="wet",
        temperature_c=4.0,
        recorded_at=datetime(2025, 1, 1, 2),
        hashes_only=True,
    )

    record = store.record(1)
    assert lines.splitlines() == [
        f"Saved as record 1 in {store.where}",
        f"Last hash, to be noted elsewhere: {store.head()[1]}",
    ]
    assert (record.notes, record.temperature_c, record.logs[0].kept) == ("wet", 4.0, None)
    assert record.recorded_at == datetime(2024, 12, 31, 20, 30, tzinfo=UTC)
    assert record.plan.limits.resting_min_v == 12.6


def test_commands_do_not_make_a_store_that_is_not_there(tmp_path: Path):
    """A mistyped store ends in status 2 and leaves no file."""
    for arguments in (["list"], ["show", "1"], ["sign", "1", "--by", "x"], ["export"], ["verify"]):
        done = run(str(tmp_path / "typo.sqlite"), *arguments)

        assert done.exit_code == 2
        assert "there is no store here yet" in done.stderr
    assert os.listdir(tmp_path) == []


def test_the_store_option_wins_over_the_environment(tmp_path: Path):
    """``--store`` names another store for one command."""
    with open_store(str(tmp_path / "a.sqlite")) as store:
        store.save(small_result(), plan=small_plan(), logs=[small_log(tmp_path)])

    done = run(str(tmp_path / "b.sqlite"), "list", "--store", str(tmp_path / "a.sqlite"))

    assert (done.exit_code, len(done.stdout.splitlines())) == (0, 2)
