"""Small files that would exhaust a machine are refused in a moment, each with its bound; honest ones are read."""

import gzip
import io
import os
import shutil
import sys
import time
from collections import namedtuple
from pathlib import Path

import polars as pl
import pytest
from backports import zstd
from store_cases import small_plan, small_result

from benchlog.core.errors import BadLog, BadLogger, BadPlan
from benchlog.core.marks import mark_notes
from benchlog.core.toml_files import kind_of
from benchlog.core.toml_text import MOST_PARTS, tables_of
from benchlog.core.trace import Mark
from benchlog.log.log import Log
from benchlog.log.readers.source import Source
from benchlog.logger.model import logger_from_mapping
from benchlog.plan.model import load_plan, plan_from_mapping
from benchlog.process.probe import end
from benchlog.store import open_store

sys.path.insert(0, str(Path(__file__).parent / "hostile"))

from bombs import LOG, PLAN, parquet_bomb, parquet_lie, parquet_texts, zstd_frames


@pytest.fixture(scope="module")
def million_s() -> float:
    """CPU time, s, of a million plain steps on this machine as busy as it is: what bounds of work are counted in."""
    took = []
    for _ in range(3):
        begun = time.process_time()
        for _ in range(1_000_000):
            pass
        took.append(time.process_time() - begun)
    return max(took)


def log_of(folder: Path, content: str | bytes, name: str = "a.csv") -> Log:
    """A log of these bytes, opened."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return Log.open(path)


@pytest.mark.parametrize(
    "text",
    [
        ".".join("a" * 16_000) + " = 1\n",
        "[" + ".".join("a" * 16_000) + "]\n",
        " . ".join(['"a"'] * 16_000) + " = 1\n",
        "x = {" + ".".join(["'a'"] * 16_000) + " = 1}\n",
        'notes = """\n"""\n' + ".".join("a" * 16_000) + " = 1\n",
    ],
)
def test_a_key_of_thousands_of_parts_is_refused_before_it_is_parsed(tmp_path: Path, million_s: float, text: str):
    """The parser keeps each key's beginnings, so such a key takes the square of its parts."""
    path = tmp_path / "plan.toml"
    path.write_text(PLAN + text, encoding="utf-8")

    begun = time.process_time()
    with pytest.raises(BadPlan, match=f"a key has more than {MOST_PARTS} parts between its dots"):
        load_plan(path)
    assert time.process_time() - begun < 25 * million_s


def test_dots_in_texts_numbers_and_comments_are_no_keys():
    """What a person writes is not counted."""
    dots = ".".join("a" * 40)
    text = f'notes = "{dots}"\n# {dots}\nx = [{", ".join(["1.5"] * 40)}]\ny = """\n{dots} = 1\n"""\n'

    assert set(tables_of(text)) == {"notes", "x", "y"}


@pytest.mark.parametrize("text", ["\n" * 63_000, "\n" * 999_000, (" " * 900 + "[\n") * 1000, "[" * 900_000])
def test_telling_plans_from_logs_takes_no_square_of_the_lines(million_s: float, text: str):
    """Line by line: 63 kB of newlines took 20 s."""
    begun = time.process_time()
    assert kind_of(text) is None
    assert time.process_time() - begun < 25 * million_s


def test_only_the_first_faults_are_told(tmp_path: Path):
    """60,000 unknown keys are one file to throw away; what each was meant to be takes a while to find out."""
    path = tmp_path / "plan.toml"
    path.write_text(PLAN + "".join(f"k{n} = 1\n" for n in range(60_000)), encoding="utf-8")

    with pytest.raises(BadPlan, match="unknown key") as refused:
        load_plan(path)
    assert len(refused.value.faults) == 51
    assert refused.value.faults[-1] == "and 59950 more faults"


@pytest.mark.parametrize("value", [1e308, -1e21, 1e-300, 10**400])
def test_a_number_that_no_bike_has_is_refused(value: float):
    """Worked with, it would run over or divide by nothing; 0 and a counter of 64 bits are numbers that files have."""
    battery = {"chemistry": "agm", "capacity_ah": value}
    with pytest.raises(BadPlan, match=r"battery.capacity_ah: must be"):
        plan_from_mapping({"install": {"bike": "Larch"}, "battery": battery})
    channel = {"column": "a", "role": "battery_v", "offset": value}
    with pytest.raises(BadLogger, match=r"channel\[1\].offset: must be"):
        logger_from_mapping({"channel": [channel]})
    assert logger_from_mapping(
        {"time": {"column": "t", "unit": "us", "wraps_at": 2.0**64}, "channel": [{**channel, "offset": 0}]}
    )


@pytest.mark.parametrize("value", ["1e308", "-1e300", "9.9e37"])
def test_a_reading_beyond_all_readings_is_unreadable(tmp_path: Path, value: str):
    """It is left out and told like any cell that is no number, and never worked with."""
    rows = "".join(f"{n},12.7\n" for n in range(300))
    with log_of(tmp_path, f"time_s,battery_v\n{rows}300,{value}\n301,12.7\n") as log:
        assert log.rows == 301
        assert any("1 row with an unreadable number was" in note.text for note in log.notes)


@pytest.mark.parametrize(
    ("times", "text"),
    [
        ([f"{n}e-300" for n in range(50)], "its samples lie 1e-300 s apart"),
        ([f"{n}e12" for n in range(50)], "its samples lie 1e\\+12 s apart"),
        ([*map(str, range(50)), "1e300"], "over 1e\\+300 s"),
    ],
)
def test_times_that_no_logger_has_are_refused(tmp_path: Path, times: list[str], text: str):
    """Steps below a nanosecond, or a span of more than a thousand years."""
    with pytest.raises(BadLog, match=text):
        log_of(tmp_path, "time_s,battery_v\n" + "".join(f"{time},12.7\n" for time in times))


def test_thousands_of_marks_that_settle_something_are_refused(tmp_path: Path, million_s: float):
    """What is worked out of marks takes their square; free texts are no such marks, in whatever number."""
    rows = [f"{n},12.7,key {('on', 'off')[n % 2]}\n" for n in range(2_001)]
    with pytest.raises(BadLog, match="it has 2001 marks such as key on or slot 2 off, at most 2000 are understood"):
        log_of(tmp_path, "time_s,battery_v,mark\n" + "".join(rows))
    with log_of(tmp_path, "time_s,battery_v,mark\n" + "".join(f"{n},12.7,k{n}\n" for n in range(30_000))) as log:
        begun = time.process_time()
        assert mark_notes(log.marks, ()) == []
        assert time.process_time() - begun < 50 * million_s


def test_a_mark_of_thousands_of_digits_is_free_text():
    """No slot has such a number, and Python refuses to read it."""
    assert mark_notes([Mark(0.0, f"slot {'9' * 5000} on"), Mark(1.0, f"slot_{'9' * 5000}_on")], (1,)) == []


def test_a_log_of_thousands_of_columns_is_refused(tmp_path: Path):
    """Looking for what each was meant to be would take minutes."""
    with pytest.raises(BadLog, match="it has 1002 columns, at most 1000 are read"):
        log_of(tmp_path, "time_s,battery_v" + ",batery_w" * 1000 + "\n0,12.7" + ",1" * 1000 + "\n1,12.7\n")


def test_a_header_of_brackets_takes_no_square(tmp_path: Path, million_s: float):
    """Where a unit begins is looked for in the first letters alone."""
    begun = time.process_time()
    with log_of(tmp_path, f"time_s,battery_v,{'[' * 60_000}\n" + "".join(f"{n},12.7,1\n" for n in range(9))):
        assert time.process_time() - begun < 50 * million_s


@pytest.mark.parametrize("unpacked", [200 << 20, 2 << 30])
def test_zstd_unpacks_to_a_bound_in_small_steps(tmp_path: Path, unpacked: int):
    """Four bytes may stand for 128 kB; neither memory nor disk holds more of them than a log of that size has."""
    path = tmp_path / "a.csv.zst"
    path.write_bytes(zstd_frames(unpacked))
    source = Source(path)
    largest = 0
    with pytest.raises(BadLog, match="it unpacks to more than 128 MB, which no log of its size does"):  # noqa: PT012
        while piece := source.read(1 << 30):
            largest = max(largest, len(piece))
    assert largest < 256 << 20
    source.close()


def test_gzip_unpacks_to_a_bound_and_in_small_steps(tmp_path: Path):
    """The same for gzip, also where every step holds something back, and over several members."""
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(LOG.encode()) + gzip.compress(b"9.9,12.7\n" * 9_000_000) * 4)
    source = Source(path)
    with pytest.raises(BadLog, match="it unpacks to more than 128 MB"):  # noqa: PT012
        while source.read(1 << 20):
            pass
    source.close()
    honest = LOG.encode() * 20_000
    for name, packed in (
        ("b.gz", gzip.compress(honest[:999]) + gzip.compress(honest[999:])),
        ("b.zst", zstd.compress(honest[:999]) + zstd.compress(honest[999:])),
    ):
        (tmp_path / name).write_bytes(packed)
        source = Source(tmp_path / name)
        got = b""
        while piece := source.read(1 << 20):
            got += piece
        assert got == honest
        source.close()


def test_the_bound_can_be_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Whoever knows that a log is sound names what it may take."""
    path = tmp_path / "a.csv.zst"
    path.write_bytes(zstd.compress(LOG.encode() + b"0,12.7\n" * 400_000))
    monkeypatch.setenv("BENCHLOG_MAX_UNPACKED_MB", "1")
    with pytest.raises(BadLog, match="it unpacks to more than 1 MB"):
        Log.open(path)
    monkeypatch.setenv("BENCHLOG_MAX_UNPACKED_MB", "3")
    with pytest.raises(BadLog, match="rows whose time does not increase"):
        Log.open(path)


def test_the_disk_keeps_some_room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Unpacking stops before the disk is full, since others write there too."""
    path = tmp_path / "a.csv.gz"
    path.write_bytes(gzip.compress(LOG.encode() + b"0,12.7\n" * 14_000_000))
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage(1 << 30, 1 << 30, 1 << 20))

    with pytest.raises(BadLog, match=r"there is no room to unpack it in .* \(hardly any is left\)"):
        Log.open(path)


def test_a_table_that_says_too_many_rows_is_refused(tmp_path: Path):
    """A hundred million rows of one value take 200 kB."""
    with pytest.raises(BadLog, match="it unpacks to more than 128 MB"):
        log_of(tmp_path, parquet_bomb(100_000_000), "a.parquet")


def test_a_table_whose_pages_ask_for_gigabytes_is_refused(tmp_path: Path):
    """The process that tries it has memory for a table of that size, and no more."""
    with pytest.raises(BadLog, match="damaged inside and cannot be read"):
        log_of(tmp_path, parquet_lie(), "a.parquet")
    end()


def test_a_long_text_said_once_and_meant_often_stays_short(tmp_path: Path):
    """What is made of a table's cells is bounded, a mark's letters and a number's."""
    with log_of(tmp_path, parquet_texts(3_000), "a.parquet") as log:
        assert {len(mark.text) for mark in log.marks} == {1_000}
    out = io.BytesIO()
    pl.DataFrame({"time_s": range(300), "battery_v": ["12.7"] * 299 + ["9" * 100_000]}).write_parquet(out)
    with log_of(tmp_path, out.getvalue(), "b.parquet") as log:
        assert log.rows == 299


def test_a_file_name_that_is_no_text_is_saved_as_it_can_be_shown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Bytes that are no UTF-8 become a sign in the record, as in the checks."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    log = tmp_path / os.fsdecode(b"\xff\x1b.csv")
    log.write_text(LOG, encoding="utf-8")
    with open_store() as store:
        record = store.save(small_result(log="\ufffd?.csv"), plan=small_plan(), logs=[log])
        assert [one.name for one in record.logs] == ["\ufffd?.csv"]
        assert store.verify() == []
        assert store.log_path(record.number, "\ufffd?.csv") is not None
