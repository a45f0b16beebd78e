"""The store: what is saved comes back whole, on SQLite and on PostgreSQL alike."""

import os
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import polars as pl
import pytest
from conftest import Samples
from store_cases import save_small, small_log, small_plan, small_result

import benchlog
from benchlog.core.errors import BenchlogError
from benchlog.log.log import Log
from benchlog.logger.model import load_logger
from benchlog.store import Change, Store, open_store
from benchlog.store.logs_kept import OVER_RANGE, kept_logger, read_log
from benchlog.store.readings import Reading

if TYPE_CHECKING:
    from store_fixtures import Server  # the plugin below loads it

pytest_plugins = ("store_fixtures",)

#: Texts that another program might run, take for markup, or trip over.
NASTY = (
    "Robert'); DROP TABLE ledger; --",
    '"; DELETE FROM records; --',
    "%s %(name)s :number {0} $1 ?",
    "<script>alert(1)</script>",
    "=HYPERLINK(1)",
    "Lärche Ω 鳥 🏍",
    "back\\slash 'single' \"double\"",
)


def test_a_record_comes_back_as_it_was_saved(store: Store, tmp_path: Path):
    """Result, plan, log, notes, temperature and dates are those that were given."""
    result, plan, log = small_result(), small_plan(), small_log(tmp_path)
    at = datetime(2025, 5, 1, 14, 30, tzinfo=timezone(timedelta(hours=2)))

    saved = store.save(result, plan=plan, logs=[log], recorded_at=at, notes="after rain", temperature_c=11.5)
    again = store.record(saved.number)

    assert saved == again
    assert (again.number, again.bike, again.notes, again.temperature_c) == (1, "Larch", "after rain", 11.5)
    assert again.result == result
    assert again.plan == plan
    assert again.recorded_at == datetime(2025, 5, 1, 12, 30, tzinfo=UTC)
    assert again.recorded_from == "given"
    assert again.made_at.tzinfo == UTC
    assert [(one.name, one.before, one.bytes) for one in again.logs] == [("ride.csv", False, log.stat().st_size)]


def test_the_same_body_has_the_same_hash_on_both_engines(store: Store, tmp_path: Path):
    """A record's body is text, so no engine may round, reorder or recode it."""
    save_small(store, tmp_path, notes="Ω 🏍 \u0000 \ud800 1e-7", resting_v=12.600000000000001)

    assert store.verify() == []
    assert store.record(1).result.check("resting_voltage").measured == 12.600000000000001


def test_rows_are_the_last_saved_first_and_light(store: Store, tmp_path: Path):
    """A list gives number, bike, dates, verdict, score, signers and corrections, page by page."""
    for n in range(5):
        save_small(store, tmp_path, bike="Larch" if n % 2 else "Rowan", resting_v=12.5 + n / 10)
    store.sign(2, "bench two")
    save_small(store, tmp_path, corrects=2)

    rows = store.rows()

    assert [row.number for row in rows] == [7, 5, 4, 3, 2, 1]
    assert [row.bike for row in rows] == ["Larch", "Rowan", "Larch", "Rowan", "Larch", "Rowan"]
    assert [row.verdict for row in rows[-2:]] == ["not proven", "fail"]
    assert (rows[-2].signed_by, rows[-2].corrected_by, rows[0].corrects) == (("bench two",), 7, 2)
    assert (rows[-1].passed, rows[-1].planned, rows[-1].percent) == (0, 2, 0.0)
    assert [row.number for row in store.rows("Larch")] == [7, 4, 2]
    assert [row.number for row in store.rows(limit=2, offset=1)] == [5, 4]
    assert store.rows("Nobody's") == []


def test_bikes_name_their_newest_record(store: Store, tmp_path: Path):
    """One row a bike, by name, with the count and the newest verdict."""
    save_small(store, tmp_path, "Rowan")
    save_small(store, tmp_path, "Larch")
    save_small(store, tmp_path, "Larch", resting_v=12.0)

    bikes = store.bikes()

    assert [(row.bike, row.records, row.number, row.verdict) for row in bikes] == [
        ("Larch", 2, 3, "fail"),
        ("Rowan", 1, 1, "not proven"),
    ]


def test_readings_come_in_the_order_of_time_without_corrected_ones(store: Store, tmp_path: Path):
    """A trend sees when a log was recorded, not when it was saved, and each truth once."""
    late, early = datetime(2025, 7, 1, tzinfo=UTC), datetime(2025, 6, 1, tzinfo=UTC)
    save_small(store, tmp_path, resting_v=12.9, recorded_at=late)
    save_small(store, tmp_path, resting_v=12.8, recorded_at=early, temperature_c=9.0)
    save_small(store, tmp_path, resting_v=12.7, recorded_at=late, corrects=1)
    save_small(store, tmp_path, "Rowan")

    readings = store.readings("Larch")

    assert readings == [
        Reading(early, "resting_voltage", 12.8, 0.01, 9.0, 2),
        Reading(late, "resting_voltage", 12.7, 0.01, None, 3),
    ]
    assert store.readings("Larch", "resting_voltage") == readings
    assert store.readings("Larch", "off_state_drain") == []


def test_a_signature_names_the_record_and_its_hash(store: Store, tmp_path: Path):
    """Who, when and what was said; several may sign."""
    number = save_small(store, tmp_path)
    before = datetime.now(UTC)

    store.sign(number, " bench two ", "seen on the bench")
    store.sign(number, "R. Ash")
    signed = store.record(number).signatures

    assert [(one.by, one.notes, one.record, one.number) for one in signed] == [
        ("bench two", "seen on the bench", 1, 2),
        ("R. Ash", "", 1, 3),
    ]
    assert before <= signed[0].at <= datetime.now(UTC)


def test_changes_come_in_the_order_of_dates(store: Store):
    """A new battery is noted by its day, also afterwards."""
    store.note_change("Larch", date(2025, 8, 1), "heated grips")
    store.note_change("Larch", date(2025, 3, 1), "new battery")
    store.note_change("Rowan", date(2025, 1, 1), "other")

    assert store.changes("Larch") == [
        Change(date(2025, 3, 1), "new battery", 2),
        Change(date(2025, 8, 1), "heated grips", 1),
    ]


@pytest.mark.parametrize("text", NASTY)
def test_texts_stay_texts(store: Store, tmp_path: Path, text: str):
    """Names and notes are never run, and come back letter by letter."""
    number = save_small(store, tmp_path, bike=text, notes=text)
    store.sign(number, text, text)
    store.note_change(text, date(2025, 1, 1), text)

    record = store.record(number)

    assert (record.bike, record.notes) == (text, text)
    assert [(one.by, one.notes) for one in record.signatures] == [(text, text)]
    assert [row.bike for row in store.rows(text)] == [text]
    assert [change.what for change in store.changes(text)] == [text]
    assert len(store.readings(text)) == 1
    assert store.verify() == []


@pytest.mark.parametrize("text", ["", "  ", "two\nlines", "bell\x07", "nul\x00"])
def test_a_name_is_one_line(store: Store, tmp_path: Path, text: str):
    """Who signs and what was changed must be readable in a list."""
    number = save_small(store, tmp_path)

    with pytest.raises(BenchlogError, match="must be one line of text"):
        store.sign(number, text)
    with pytest.raises(BenchlogError, match="must be one line of text"):
        store.note_change("Larch", date(2025, 1, 1), text)


@pytest.mark.parametrize("number", [0, -1, 99, 2**70])
def test_a_record_that_is_not_there_is_said_to_be(store: Store, tmp_path: Path, number: int):
    """The message names the newest record and how to list them."""
    save_small(store, tmp_path)

    with pytest.raises(BenchlogError, match=f"there is no record {number}; the newest record is 1"):
        store.record(number)
    with pytest.raises(BenchlogError, match=f"there is no record {number}"):
        store.sign(number, "bench two")
    with pytest.raises(BenchlogError, match=f"there is no record {number}"):
        save_small(store, tmp_path, corrects=number)
    assert [row.number for row in store.rows()] == [1]


def test_an_entry_of_another_kind_is_no_record(store: Store, tmp_path: Path):
    """A signature's number is told from a record's."""
    store.sign(save_small(store, tmp_path), "bench two")

    with pytest.raises(BenchlogError, match="entry 2 is a signature, not a record"):
        store.record(2)


def test_when_a_log_was_recorded_is_taken_from_its_own_clock(store: Store, tmp_path: Path):
    """A time column with dates says when, in any zone; the store keeps UTC."""
    lines = [f"2025-06-01T01:00:{n:02d}+05:30,12.{n}" for n in range(10, 20)]
    own = small_log(tmp_path, "own.csv", "stamp,battery_v\n" + "\n".join(lines) + "\n")
    logger = {"time": {"column": "stamp", "unit": "iso8601"}, "channel": [{"column": "battery_v", "role": "battery_v"}]}

    record = store.save(small_result(log="own.csv"), plan=small_plan(), loggers=logger, logs=[own])

    assert record.recorded_at == datetime(2025, 5, 31, 19, 30, 10, tzinfo=UTC)
    assert record.recorded_from == "log's clock"
    assert store.readings("Larch")[0].at == record.recorded_at


def test_a_clock_that_was_set_back_breaks_no_chain(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Entries are chained and listed by their numbers: one that says it was made before the last is as good."""

    class EarlierBy(datetime):
        """A clock that is a day behind."""

        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:
            return datetime.now(tz) - timedelta(days=1)

    save_small(store, tmp_path)
    monkeypatch.setattr("benchlog.store.ledger.datetime", EarlierBy)
    save_small(store, tmp_path)
    store.sign(2, "bench two")

    first, second = store.record(1), store.record(2)
    assert second.made_at < first.made_at
    assert [row.number for row in store.rows()] == [2, 1]
    assert store.verify() == []


def test_without_a_clock_the_files_time_counts_and_is_said(store: Store, tmp_path: Path):
    """A log of elapsed seconds gives no date, so its file's does."""
    log = small_log(tmp_path)
    os.utime(log, (1_750_000_000, 1_750_000_000))

    record = store.save(small_result(), plan=small_plan(), logs=[log])

    assert (record.recorded_at.timestamp(), record.recorded_from) == (1_750_000_000, "file's time")


def test_kept_logs_give_the_same_result_again(store: Store, samples: Samples):
    """Verdicts and values of the copies are those of the logs themselves, bit by bit."""
    result = benchlog.check([samples.log, samples.slow], plan=samples.plan, before=samples.before)

    record = store.save(result, plan=samples.plan, logs=[samples.log, samples.slow], before=samples.before)
    again = store.recheck(record.number)

    assert again.checks == result.checks
    assert again.key_events == result.key_events
    assert again.causes == result.causes
    assert again.notes == result.notes
    assert again.evidence is not None


def test_the_copy_by_itself_is_a_log(store: Store, samples: Samples):
    """``log_path`` and ``logger_of`` are all that a check needs."""
    result = benchlog.check(samples.log, plan=samples.plan)
    record = store.save(result, plan=samples.plan, logs=[samples.log])

    path, logger = store.log_path(1, samples.log.name), store.logger_of(1, samples.log.name)
    assert path is not None
    again = benchlog.check(path, plan=record.plan, logger=logger)

    assert [check.verdict for check in again.checks] == [check.verdict for check in result.checks]
    with pytest.raises(BenchlogError, match=f'record 1 has no log "other.csv"; it has {samples.log.name}'):
        store.log_path(1, "other.csv")


def test_hashes_only_keeps_no_copy(store: Store, tmp_path: Path):
    """The log's SHA-256 is there, its samples are not."""
    number = save_small(store, tmp_path, keep_logs=False)

    assert store.log_path(number, "ride.csv") is None
    assert len(store.record(number).logs[0].sha256) == 64
    assert list(store.logs.rglob("*.parquet")) == []
    with pytest.raises(BenchlogError, match=r"record 1: no copy of ride\.csv is kept here"):
        store.recheck(number)


def test_the_temperature_is_the_logs_mean(store: Store, tmp_path: Path):
    """A temperature channel answers where none was given."""
    lines = "".join(f"{n / 10},12.75,0.0003,{20 + n / 100}\n" for n in range(2001))
    log = small_log(tmp_path, text="time_s,battery_v,battery_a,battery_c\n" + lines)
    result = benchlog.check(log, plan=small_plan())

    record = store.save(result, plan=small_plan(), logs=[log])

    assert record.temperature_c == pytest.approx(30.0, abs=0.02)
    assert {reading.temperature_c for reading in store.readings("Larch")} <= {record.temperature_c}


def test_a_log_that_grew_since_its_check_is_refused(store: Store, tmp_path: Path):
    """A record never pairs a result with samples that it has not seen."""
    log = small_log(tmp_path)
    result = benchlog.check(log, plan=small_plan())
    with log.open("a", encoding="utf-8") as file:
        file.write("5.0,12.7,0.3\n")

    with pytest.raises(
        BenchlogError, match=r"ride\.csv: this log has changed since it was checked \(50 samples then, 51"
    ):
        store.save(result, plan=small_plan(), logs=[log])
    assert store.rows() == []


def test_over_range_and_marks_outlive_the_copy(tmp_path: Path):
    """Missing samples, samples over range, marks and all digits of the values come back from a copy."""
    log = small_log(
        tmp_path, text='t,I,V,mark\n0,1.5,12.1,key on\n1,OL,12.2,\n2,,12.3,-\n4,0.30000000000000004,12.5,"zero end"\n'
    )
    logger_file = tmp_path / "one.logger.toml"
    logger_file.write_text(
        '[time]\ncolumn = "t"\nunit = "ms"\n'
        '[[channel]]\ncolumn = "I"\nrole = "battery_a"\nunit = "mA"\npositive = "charge"\nover_range = ["OL"]\n'
        "gain_error_pct = 0.5\noffset_error = 0.2\nresolution = 0.1\nlow_side_mohm = 0.75\n"
        '[[channel]]\ncolumn = "V"\nrole = "battery_v"\n',
        encoding="utf-8",
    )
    logger = load_logger(logger_file)

    facts = read_log(log, logger, tmp_path / "kept")
    assert facts.kept is not None
    copy = next((tmp_path / "kept").rglob("*.parquet"))
    with Log.open(log, logger) as first, Log.open(copy, kept_logger(logger)) as second:
        one, two = first.trace(0, 1), second.trace(0, 1)
        marks = first.marks, second.marks
        accuracy = [
            (channel.gain_rel, channel.offset_canonical, channel.resolution_c, channel.low_side_mohm)
            for log_ in (first, second)
            for channel in log_.logger.channel
        ]

    np.testing.assert_array_equal(one.time_s, two.time_s)
    assert facts.rows == len(one) == 4
    assert [mark.text for mark in marks[0]] == ["key on", "zero end"]
    assert marks[0] == marks[1]
    for role in ("battery_a", "battery_v"):
        np.testing.assert_array_equal(one.values[role], two.values[role])
    assert one.over["battery_a"].tolist() == two.over["battery_a"].tolist() == [False, True, False, False]
    assert accuracy[:2] == accuracy[2:]
    assert pl.read_parquet(copy)["battery_a"].to_list()[1] == OVER_RANGE


def test_a_log_that_cannot_be_kept_leaves_nothing(store: Store, tmp_path: Path):
    """Where the copies' folder is a file, one message says so, and no entry and no half copy stays."""
    store.logs.parent.mkdir(parents=True, exist_ok=True)
    store.logs.write_text("in the way", encoding="utf-8")

    with pytest.raises(BenchlogError, match=r"the copy of the log cannot be kept .*--hashes-only"):
        save_small(store, tmp_path)
    assert store.rows() == []


def test_the_default_store_lies_in_the_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Without a name there is one file for everything, its copies beside it."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "mine"))
    monkeypatch.delenv("BENCHLOG_LOGS", raising=False)

    with open_store() as opened:
        save_small(opened, tmp_path)

    assert (tmp_path / "mine" / "records.sqlite").is_file()
    assert len(list((tmp_path / "mine" / "logs").glob("??/*.parquet"))) == 1


def test_a_folder_for_copies_can_be_named(store_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Benches that share a store share a folder as well."""
    monkeypatch.setenv("BENCHLOG_LOGS", str(tmp_path / "shared"))

    with open_store(store_url) as opened:
        save_small(opened, tmp_path)

    assert len(list((tmp_path / "shared").glob("??/*.parquet"))) == 1


def test_two_benches_share_records_and_logs(server: "Server", tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Two benches on one PostgreSQL store and BENCHLOG_LOGS: each lists, opens and verifies what the other saved."""
    monkeypatch.setenv("BENCHLOG_LOGS", str(tmp_path / "shared"))
    url = server.new_store()
    with open_store(url) as first, open_store(url) as second:
        save_small(first, tmp_path / "one", "Larch")
        save_small(second, tmp_path / "two", "Rowan", resting_v=12.5)

        assert [row.bike for row in first.rows()] == [row.bike for row in second.rows()] == ["Rowan", "Larch"]
        assert second.log_path(1, "ride.csv") == first.log_path(1, "ride.csv")
        assert (first.verify(), second.verify()) == ([], [])
    monkeypatch.setenv("BENCHLOG_LOGS", str(tmp_path / "own"))
    with open_store(url) as third:
        assert third.log_path(1, "ride.csv") is None
        assert "is not there" in third.verify()[0].text
