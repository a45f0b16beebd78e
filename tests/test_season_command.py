"""``benchlog season`` on the sample season: the right words about each part, and one message for wrong input."""

import json
import shutil
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from benchlog.commands.season import season
from benchlog.store import open_store

ROOT = Path(__file__).parent.parent
APP = typer.Typer()
APP.command()(season)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the sample season."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    return Path(shutil.copy(ROOT / "sample_data" / "season" / "records.sqlite", tmp_path / "records.sqlite"))


def run(*words: object) -> tuple[int, str, str]:
    """Exit status, standard output with each run of blanks as one, standard error."""
    done = CliRunner().invoke(APP, [str(word) for word in words])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done.exit_code, " ".join(done.stdout.split()), done.stderr


def test_sample_season_has_40_records_and_the_truth(store):
    """Forty records of one bike, and the ledger is whole."""
    with open_store(str(store)) as opened:
        bikes, troubles = opened.bikes(), opened.verify()

    assert [(row.bike, row.records) for row in bikes] == [("Larch", 40)]
    assert troubles == []
    assert json.loads((ROOT / "sample_data/season/truth.json").read_text())["new_battery"] == "2025-09-20"


def test_in_summer_it_says_when(store):
    """1 July: the old battery ages, and the cranking limit would be crossed in late summer."""
    status, text, _ = run("Larch", "--store", store, "--today", "2025-07-01")

    assert status == 0
    assert text.startswith("Season: Larch, 1 July 2025")
    assert "◐ Cranking minimum: test under load: it falls 2.2 V a year (1.9 to 2.5)" in text
    assert "crossed between July 2025 and August 2025 at 20 °C, earlier in the cold." in text
    assert "◐ Source resistance: test under load: it rises 20 mΩ a year (17 to 23)" in text
    assert "off-state drain and charging voltage: fine: within their limits, no trend proven." in text
    assert "now 0.654 ± 0.023 mA (read on" in text
    assert "Something changed" not in text


def test_before_the_new_battery_it_says_replace(store):
    """15 September: below the cranking limit and falling."""
    status, text, _ = run("Larch", "--store", store, "--today", "2025-09-15")

    assert status == 0
    assert "▲ replace soon" in text
    assert "How: tighten and clean the posts and check once more; if it stays, fit a new battery" in text
    assert "9.303 ± 0.011 V, the limit is at least 9.6 V: already crossed; it falls 2.2 V a year (2.0 to 2.4)" in text
    assert "◐ Source resistance: test under load: it rises 21 mΩ a year (19 to 22)" in text
    assert "can stand 95 to 310 days" in text


def test_new_battery_is_found(store):
    """31 December: the change is found between the right records, and judged from there."""
    status, text, _ = run("Larch", "--store", store, "--today", "2025-12-31")

    assert status == 0
    for said in (
        "● fine so far",
        "Something changed between 16 and 25 September 2025, as with a new battery (",
        "note it with --changed",
        "trend since 25 September 2025: no trend proven",
        "before, 5 January 2025 to 16 September 2025: rises 20 mΩ a year (19 to 22)",
        "● Standing: can stand until 27 June 2026: half charge is reached after 180 to 310 days",
        "95 to 100 %: 12.87 V at rest, AGM battery; tables for it differ by ± 0.10 V",
    ):
        assert said in text


def test_new_battery_is_noted(store):
    """Noted once, it stays noted, and nothing is found beside it."""
    first, text, _ = run("Larch", "--store", store, "--today", "2025-12-31", "--changed", "2025-09-20",
                         "--what", "new battery")  # fmt: skip
    second, later, _ = run("Larch", "--store", store, "--today", "2025-12-31")

    assert (first, second) == (0, 0)
    assert "20 September 2025: new battery" in text
    assert "Something changed" not in text
    assert "trend since 20 September 2025: no trend proven" in text
    assert later == text


def test_change_is_taken_back_by_its_number(store):
    """The list names the number; taken back, the season is what it was before, and that is said on standard error."""
    words = ("Larch", "--store", store, "--today", "2025-12-31")
    _, before, _ = run(*words)
    _, noted, _ = run(*words, "--changed", "2025-09-20", "--what", "new battery")
    status, after, told = run(*words, "--take-back", "41")

    assert "change 41, 20 September 2025: new battery" in noted
    assert (status, after) == (0, before)
    assert told == "note: change 41 (2025-09-20: new battery) is taken back and no longer counts\n"
    assert run(*words)[1] == before


def test_change_that_is_not_there_is_one_message(store):
    """Exit status 2, nothing on standard output, nothing written; so also the second time."""
    words = ("Larch", "--store", store, "--today", "2025-12-31", "--take-back")
    run("Larch", "--store", store, "--changed", "2025-09-20", "--what", "new battery")
    never = run(*words, "77")
    run(*words, "41")
    again = run(*words, "41")

    assert (never[:2], again[:2]) == ((2, ""), (2, ""))
    assert never[2].startswith("benchlog: there is no change 77; benchlog season BIKE shows")
    assert again[2].startswith("benchlog: change 41 was taken back already, by entry 42;")
    with open_store(str(store)) as opened:
        assert opened.head()[0] == 42


def test_change_of_a_later_day_is_listed(store):
    """A slip in the year cannot hide: it is told with its number, and does not count."""
    words = ("Larch", "--store", store, "--today", "2025-12-31")
    status, text, _ = run(*words, "--changed", "2052-09-20", "--what", "new battery")

    assert status == 0
    assert "change 41, 20 September 2052: new battery, which does not count yet" in text
    assert "Something changed between 16 and 25 September 2025" in text


def test_json_alone_on_standard_output(store, tmp_path):
    """``--json -`` leaves nothing else there; a report is written and named on standard error."""
    done = CliRunner().invoke(APP, ["Larch", "--store", str(store), "--today", "2025-12-31", "--json", "-",
                                    "--report", str(tmp_path / "larch.html")])  # fmt: skip

    assert json.loads(done.stdout)["advice"][0]["words"] == "fine so far"
    assert done.stderr.startswith("Report: ")
    assert "<h1>Larch</h1>" in (tmp_path / "larch.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("words", [(), ("--all",)])
def test_all_bikes_at_a_glance(store, words):
    """Without a bike, or with --all, each bike has its line."""
    status, text, _ = run(*words, "--store", store, "--today", "2025-09-15")

    assert status == 0
    assert text.startswith("▲ Larch: replace soon Cranking minimum: 9.303")
    assert "1 more to do" in text


def test_plain_log_is_added(store, samples, tmp_path):
    """A resting log adds its rest voltage; where its clock tells no day, that is said."""
    log = Path(shutil.copy(samples.slow, tmp_path / "rest.csv"))
    shutil.copy(samples.slow.with_name("slow.logger.toml"), tmp_path / "rest.logger.toml")
    status, text, told = run("Larch", log, "--store", store)
    alone, only, _ = run("Rowan", "--log", log, "--plan", samples.plan, "--store", store)

    assert (status, alone) == (0, 0)
    assert "note: rest.csv: its clock does not give the date, so the file's was used" in told
    assert "90 to 100 %: 12.85 V at rest" in text
    assert "Season: Rowan" in only


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("Larhc",), 'there is no record of "Larhc"; the bikes there are: Larch; did you mean "Larch"?'),
        (("Larch", "--changed", "2025-13-01", "--what", "battery"), '--changed: "2025-13-01" is not a date'),
        (("Larch", "--changed", "2025-09-20"), "--changed needs --what"),
        (("Larch", "--what", "battery"), "--what needs --changed DATE"),
        (("Larch", "--take-back", "1"), "entry 1 is a record, not a change"),
        (("--take-back", "0"), "name the bike"),
        (("Larch", "--take-back", "41", "--changed", "2025-09-20", "--what", "battery"), "are two steps"),
        (("--changed", "2025-09-20", "--what", "battery"), "name the bike"),
        (("Larch", "--all"), "--all shows every bike"),
        (("Larch", "nowhere.csv"), "nowhere.csv"),
        (("Larch", "--today", "soon"), '--today: "soon" is not a date'),
    ],
)
def test_wrong_input_is_one_message(store, words, message):
    """Exit status 2, one message on standard error that says what to do, nothing noted."""
    status, text, told = run(*words, "--store", store)

    assert (status, text) == (2, "")
    assert told.startswith("benchlog: ")
    assert message in told
    with open_store(str(store)) as opened:
        assert opened.changes("Larch") == []


def test_empty_store_is_said(tmp_path, monkeypatch):
    """Without any record there is nothing to show, and the message says how to make one."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    for words in (("Larch",), ()):
        status, _, told = run(*words, "--store", tmp_path / "none.sqlite")

        assert status == 2
        assert "benchlog check LOG --plan PLAN --save" in told


def test_looking_makes_no_store(tmp_path, monkeypatch):
    """A mistyped store is said, not made."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    status, _, told = run("Larch", "--store", tmp_path / "recrods.sqlite")

    assert status == 2
    assert "there is no store here yet" in told
    assert list(tmp_path.iterdir()) == []


def test_the_sample_is_read_in_its_place(monkeypatch, tmp_path):
    """The command of the README leaves the sample file as it is, with nothing beside it, and it is small."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path))
    folder = ROOT / "sample_data" / "season"
    before = [(path.name, path.read_bytes()) for path in sorted(folder.iterdir())]
    status, text, _ = run("Larch", "--store", folder / "records.sqlite", "--today", "2025-12-31")

    assert status == 0
    assert "new battery" in text
    assert [(path.name, path.read_bytes()) for path in sorted(folder.iterdir())] == before
    assert (folder / "records.sqlite").stat().st_size < 400_000
