"""Readers: which log each one takes, and every form of a log that reads back as the same table."""

import gzip
import os
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchlog.bench.recording.cells import with_mark
from benchlog.core.errors import BadLog
from benchlog.log.log import Log
from benchlog.log.readers import READERS, delimited, reader_of
from benchlog.log.readers.raw import Reader
from benchlog.log.readers.source import Source
from benchlog.logger.model import Channel, Logger, LogTime

HERE = Path(__file__).parent / "samples"
SAMPLES = sorted(path for path in HERE.glob("*/*") if path.is_file() and path.parent.name != "__pycache__")


def _same(log: Log, expected: pl.DataFrame) -> None:
    trace = log.trace(-1e12, 1e12)
    assert np.array_equal(trace.time_s, expected["time_s"].to_numpy())
    for role, column in trace.values.items():
        assert np.array_equal(column, expected[role].fill_null(float("nan")).to_numpy(), equal_nan=True), role


@pytest.fixture(scope="module")
def table() -> pl.DataFrame:
    """What every sample holds."""
    return pl.read_parquet(HERE / "parquet" / "plain.parquet")


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_reader_claims_only_its_own_samples(reader: Reader, sample: Path):
    """A reader accepts its own folder's samples and refuses all others."""
    head = Source(sample).head

    assert reader.claims(head) is (sample.parent.name == reader.name)


@pytest.mark.parametrize("block_bytes", [40, 8 << 20], ids=["tiny blocks", "one block"])
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.name)
def test_every_sample_holds_the_same_table(sample: Path, table: pl.DataFrame, block_bytes: int):
    """Separator, decimal mark, encoding, packing and the size of the blocks change nothing."""
    with Log.open(sample, block_bytes=block_bytes) as log:
        _same(log, table)

        assert [(mark.time_s, mark.text) for mark in log.marks] == [(0.2, "key on"), (0.7, "slot 2 on")]
        assert log.notes == ()
        assert log.reader == sample.parent.name


def test_there_are_samples_of_every_reader():
    """A reader without samples is not tested."""
    assert {sample.parent.name for sample in SAMPLES} == {reader.name for reader in READERS}


def test_two_claims_are_refused(monkeypatch: pytest.MonkeyPatch):
    """A log that two readers would take is taken by none."""
    monkeypatch.setattr("benchlog.log.readers.READERS", (delimited.READER, delimited.READER))

    with pytest.raises(BadLog, match="could be delimited or delimited"):
        reader_of("a.csv", b"time_s,battery_v\n")


# ---- forms that the samples do not have


def _write(folder: Path, content: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _logger(*channels: Channel, time: LogTime | None = None, rate_hz: float | None = None) -> Logger:
    return Logger(name="test", rate_hz=rate_hz, time=time, channel=channels)


AMPS = Channel(column="I_batt", role="battery_a", unit="A")


def test_latin_1_micro_sign_in_a_header_is_found(tmp_path: Path):
    """A header in Latin-1 with µ is the same name as in UTF-8, in either of its two Unicode forms."""
    path = _write(tmp_path, "t;I [\xb5A];note\n0;100;\n1;250;20 \xb0C\n".encode("latin-1"))
    logger = _logger(
        Channel(column="I [\u03bcA]", role="drain_a", unit="uA"),
        Channel(column="note", role="mark", unit="text"),
        time=LogTime(column="t", unit="s"),
    )

    log = Log.open(path, logger)

    assert log.trace(0, 9).values["drain_a"] == pytest.approx([100e-6, 250e-6])
    assert [mark.text for mark in log.marks] == ["20 °C"]


def test_no_header_takes_column_numbers(tmp_path: Path):
    """With column numbers in the logger file no header is needed; one that is there does no harm."""
    logger = _logger(Channel(column=3, role="battery_a", unit="mA"), time=LogTime(column=1, unit="ms"))
    bare = _write(tmp_path, "0,x,10\n100,x,20\n200,x,30\n", "bare.csv")
    headed = _write(tmp_path, "a,b,c\n0,x,10\n100,x,20\n200,x,30\n", "headed.csv")

    for path in (bare, headed):
        trace = Log.open(path, logger).trace(0, 9)
        assert trace.time_s == pytest.approx([0, 0.1, 0.2])
        assert trace.values["battery_a"] == pytest.approx([0.010, 0.020, 0.030])


def test_rate_gives_the_time_where_there_is_no_column(tmp_path: Path):
    """Rows are counted at the logger's rate; a row that is left out still took its time."""
    rows = ["5.0"] * 300
    rows[100] = "5.x0"
    path = _write(tmp_path, "I_batt\n" + "\n".join(rows) + "\n")

    log = Log.open(path, _logger(AMPS, rate_hz=100.0), block_bytes=64)

    trace = log.trace(0, 99)
    assert log.rows == 299
    assert trace.time_s[[0, 99, 100, 298]] == pytest.approx([0.0, 0.99, 1.01, 2.99])


@pytest.mark.parametrize(
    ("unit", "cells", "expected"),
    [
        ("s", ["5", "5.5", "6"], [5, 5.5, 6]),
        ("ms", ["5", "500", "1000"], [0.005, 0.5, 1]),
        ("us", ["5", "500", "1000"], [5e-6, 5e-4, 1e-3]),
        ("epoch_s", ["1700000000.25", "1700000001.25", "1700000003.5"], [0, 1, 3.25]),
        ("epoch_ms", ["1700000000250", "1700000000251", "1700000001250"], [0, 0.001, 1]),
        ("iso8601", ["2025-05-01T12:00:00", "2025-05-01T12:00:00.000250", "2025-05-01T12:00:01.5"], [0, 250e-6, 1.5]),
        ("iso8601", ["2025-05-01 12:00:00Z", "2025-05-01 12:00:00.1Z", "2025-05-01 12:00:01Z"], [0, 0.1, 1]),
        ("iso8601", ["2025-05-01T12:00:00+02:00", "2025-05-01T10:00:01Z", "2025-05-01T06:30:02-0330"], [0, 1, 2]),
        ("iso8601", ["2025-05-01T12:00:00,5", "2025-05-01T12:00:01,5", "2025-05-01T12:00:02,5"], [0, 1, 2]),
    ],
)
@pytest.mark.parametrize("block_bytes", [16, 1 << 20])
def test_time_units(tmp_path: Path, unit: str, cells: list[str], expected: list[float], block_bytes: int):
    """Each unit of time becomes seconds; an absolute clock starts at 0, an elapsed one stays as logged."""
    path = _write(tmp_path, "t;I_batt\n" + "".join(f"{cell};1.5\n" for cell in cells))

    log = Log.open(
        path, _logger(AMPS, time=LogTime.model_validate({"column": "t", "unit": unit})), block_bytes=block_bytes
    )

    assert log.trace(-1, 99).time_s == pytest.approx(expected, abs=1e-12)
    assert (log.epoch_s is None) == (unit in ("s", "ms", "us"))


def test_iso_time_keeps_every_microsecond(tmp_path: Path):
    """Dates are subtracted as whole microseconds: no step is lost in 1e9 s of offset, and the epoch is kept."""
    begin = datetime(2025, 5, 1, 12, tzinfo=UTC)
    rows = "".join(f"{(begin + timedelta(microseconds=n)).isoformat()},1\n" for n in range(1000))

    log = Log.open(
        _write(tmp_path, "t,I_batt\n" + rows), _logger(AMPS, time=LogTime(column="t", unit="iso8601")), block_bytes=500
    )

    assert np.array_equal(log.trace(0, 1).time_s, np.arange(1000) / 1e6)
    assert log.epoch_s == begin.timestamp()


def test_battery_data_format_turns_the_sign(tmp_path: Path):
    """In the open Battery Data Format positive current charges; here it is negative then."""
    path = _write(tmp_path, "Test Time / s,Voltage / V,Current / A\n0,12.6,-5\n1,12.7,3\n")

    trace = Log.open(path).trace(0, 9)

    assert trace.values["battery_a"] == pytest.approx([5, -3])
    assert trace.values["battery_v"] == pytest.approx([12.6, 12.7])


def test_scale_offset_shunt_and_sign(tmp_path: Path):
    """A shunt's voltage becomes a current: (column * scale + offset) mV over mΩ, sign turned."""
    path = _write(tmp_path, "time_s,U\n0,10\n1,-4\n")
    channel = Channel(column="U", role="battery_a", unit="mV", shunt_mohm=0.5, scale=2.0, offset=1.0, positive="charge")

    trace = Log.open(path, _logger(channel)).trace(0, 9)

    # (10*2 + 1) mV / 0.5 mΩ = 42 A, charging
    assert trace.values["battery_a"] == pytest.approx([-42.0, 14.0])


@pytest.mark.parametrize("block_bytes", [30, 1 << 20])
def test_over_range_texts(tmp_path: Path, block_bytes: int):
    """A cell that means over range is NaN and flagged, as a word or a number written either way."""
    channel = Channel(column="I_batt", role="battery_a", unit="A", over_range=("OL", "32767"))
    other = Channel(column="U", role="battery_v", unit="V")
    path = _write(tmp_path, "time_s,I_batt,U\n0,1,12\n1,OL,12\n2,32767,32767\n3,32767.0,\n4,2,12\n")

    trace = Log.open(path, _logger(channel, other), block_bytes=block_bytes).trace(0, 9)

    assert trace.over["battery_a"].tolist() == [False, True, True, True, False]
    assert np.isnan(trace.values["battery_a"]).tolist() == [False, True, True, True, False]
    assert "battery_v" not in trace.over
    assert trace.values["battery_v"][2] == 32767


def test_unmapped_column_is_ignored(tmp_path: Path):
    """A column that the logger file does not name may hold anything; that it was not used is told."""
    path = _write(tmp_path, "time_s,note,I_batt\n" + "".join(f"{n},any thing {n},1\n" for n in range(50)))

    log = Log.open(path, _logger(AMPS))

    assert log.roles == {"battery_a"}
    assert log.rows == 50
    assert [note.text for note in log.notes] == ["column not used: note"]


def test_sparse_channel_is_missing_not_bad(tmp_path: Path):
    """A slow channel with a value every tenth row is NaN between, and no row is left out."""
    rows = "".join(f"{n},12.5,{20 + n / 10 if n % 10 == 0 else ''}\n" for n in range(100))

    log = Log.open(_write(tmp_path, "time_s,battery_v,battery_c\n" + rows))

    assert log.notes == ()
    assert np.isnan(log.trace(0, 99).values["battery_c"]).sum() == 90
    assert np.nanmax(log.overview.bands["battery_c"].max) == 29.0


def test_mark_may_be_left_off_at_the_end_of_a_line(tmp_path: Path):
    """Lines without the trailing mark are whole rows."""
    rows = "".join(f"{n},12.5{',key on' if n == 4 else ''}\n" for n in range(9))

    log = Log.open(_write(tmp_path, "time_s,battery_v,mark\n" + rows))

    assert log.rows == 9
    assert [(mark.time_s, mark.text) for mark in log.marks] == [(4.0, "key on")]


def test_marks_of_one_cell_are_read_each(tmp_path: Path):
    """A recording writes what falls on a sample that has a mark already behind it: both are marks."""
    row = with_mark(b"1,12.5,cap off", ",", 2, "shunt bridged").decode()

    log = Log.open(_write(tmp_path, f"time_s,battery_v,mark\n0,12.5,\n{row}\n2,12.5,;\n3,12.5,\n"))

    assert [(mark.time_s, mark.text) for mark in log.marks] == [(1.0, "cap off"), (1.0, "shunt bridged")]


@pytest.mark.parametrize(
    ("row", "at_s"),
    [
        ("50,??,shunt bridged", 51.0),
        ("49,12.5,shunt bridged", 51.0),
        ("20,12.5,shunt bridged", 51.0),
        ("?,12.5,shunt bridged", 51.0),
    ],
    ids=["unreadable", "twice", "backward", "no time"],
)
@pytest.mark.parametrize("block_bytes", [200, 1 << 20])
def test_mark_of_a_row_that_is_left_out_is_kept(tmp_path: Path, row: str, at_s: float, block_bytes: int):
    """What the tester noted in a bad row stands at the next good one."""
    rows = [f"{n},12.5," for n in range(300)]
    rows[50] = row

    log = Log.open(_write(tmp_path, "time_s,battery_v,mark\n" + "\n".join(rows) + "\n"), block_bytes=block_bytes)

    assert log.rows == 299
    assert [(mark.time_s, mark.text) for mark in log.marks] == [(at_s, "shunt bridged")]


def test_marks_of_the_last_rows_are_kept_too(tmp_path: Path):
    """Where no good row follows, the last one has it; a row that came twice notes it once, and a number is none."""
    rows = [f"{n},12.5," for n in range(300)]
    rows += ["299,12.5,cap off", "300,12.5,key on", "300,12.5,key on", "301,??,7", "302,??,key off"]
    del rows[299]

    log = Log.open(_write(tmp_path, "time_s,battery_v,mark\n" + "\n".join(rows) + "\n"))

    assert [(mark.time_s, mark.text) for mark in log.marks] == [
        (299.0, "cap off"),
        (300.0, "key on"),
        (300.0, "key off"),
    ]


def test_header_may_be_a_comment(tmp_path: Path):
    """Names behind a # are taken where no plain line has them."""
    log = Log.open(_write(tmp_path, "# my log\n#time_s,battery_v\n0,12.5\n1,12.6\n"))

    assert log.trace(0, 9).values["battery_v"] == pytest.approx([12.5, 12.6])


def test_mark_column_needs_no_logger_entry(tmp_path: Path):
    """A column headed mark holds the marks also where the logger file is silent about it."""
    log = Log.open(_write(tmp_path, "time_s,I_batt,mark\n0,1,\n1,1,key on\n"), _logger(AMPS))

    assert [mark.text for mark in log.marks] == ["key on"]


def test_quoted_mark_may_hold_the_separator(tmp_path: Path):
    """A quoted cell is one cell, whatever is in it."""
    path = _write(tmp_path, 'time_s,battery_v,mark\n0,12.5,\n1,12.5,"lamp, left"\n2,12.5,\n')

    assert [mark.text for mark in Log.open(path).marks] == ["lamp, left"]


def test_empty_cells_at_line_ends_do_no_harm(tmp_path: Path):
    """Lines with separators to spare are read as if they had none."""
    path = _write(tmp_path, "time_s,battery_v\n0,12.5,,\n1,12.6,,\n,,,\n")

    log = Log.open(path)

    assert log.trace(0, 9).values["battery_v"] == pytest.approx([12.5, 12.6])
    assert log.notes == ()


def test_stray_quote_spoils_one_row_only(tmp_path: Path):
    """A quote that is never closed does not swallow the lines below it."""
    rows = [f"{n},12.5" for n in range(200)]
    rows[50] = '50,"12'

    log = Log.open(_write(tmp_path, "time_s,battery_v\n" + "\n".join(rows) + "\n"))

    assert log.rows >= 199


def test_gzip_members_in_a_row(tmp_path: Path):
    """Logs packed in pieces and joined are read to the end."""
    pieces = ["time_s,battery_v\n", "0,12.5\n", "1,12.6\n"]
    packed = b"".join(gzip.compress(piece.encode()) for piece in pieces)
    frames = b"".join(zstandard.compress(piece.encode()) for piece in pieces)

    assert Log.open(_write(tmp_path, packed, "a.csv.gz")).rows == 2
    assert Log.open(_write(tmp_path, frames, "a.csv.zst")).rows == 2


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipe_is_read_like_a_file(tmp_path: Path):
    """A log from a named pipe can be read again in windows, though the pipe cannot."""
    path = tmp_path / "pipe.csv"
    os.mkfifo(path)
    text = "time_s,battery_v\n" + "".join(f"{n},12.5\n" for n in range(500))
    writer = threading.Thread(target=lambda: path.write_text(text))
    writer.start()

    log = Log.open(path, block_bytes=200)
    writer.join()

    assert stat.S_ISFIFO(path.stat().st_mode)
    assert len(log.trace(100, 199)) == 100


def test_parquet_dates_are_times(tmp_path: Path):
    """A column of dates in a table needs no unit."""
    begin = datetime(2025, 5, 1, 12, tzinfo=UTC)
    frame = pl.DataFrame(
        {
            "time_s": [begin + timedelta(milliseconds=n) for n in range(100)],
            "battery_v": [12.5] * 100,
            "other": ["x"] * 100,
        }
    )
    path = tmp_path / "log.parquet"
    frame.write_parquet(path)

    log = Log.open(path, block_bytes=400)

    assert log.trace(0, 9).time_s == pytest.approx(np.arange(100) / 1000)
    assert log.epoch_s == begin.timestamp()


def test_parquet_takes_column_numbers(tmp_path: Path):
    """Numbers count the file's own columns, also those that are not used."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"x": ["a"] * 3, "t": [0, 1, 2], "y": [1.0] * 3, "i": [5, 6, 7]}).write_parquet(path)

    log = Log.open(path, _logger(Channel(column=4, role="battery_a", unit="A"), time=LogTime(column=2)))

    assert log.trace(0, 9).values["battery_a"] == pytest.approx([5, 6, 7])


# ---- a round trip over all forms


def _packed(data: bytes, packing: str) -> bytes:
    if packing == "gz":
        return gzip.compress(data)
    return zstandard.compress(data) if packing == "zst" else data


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    volts=st.lists(
        st.one_of(st.none(), st.floats(-50, 50).map(lambda value: round(value, 4))), min_size=2, max_size=40
    ).filter(lambda cells: any(cell is not None for cell in cells)),
    separator=st.sampled_from([",", ";", "\t", " "]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    eol=st.sampled_from(["\n", "\r\n"]),
    packing=st.sampled_from(["", "gz", "zst"]),
    missing=st.sampled_from(["", "nan", "NaN", "---", "-"]),
    block_bytes=st.sampled_from([7, 100, 1 << 20]),
)
def test_round_trip(
    tmp_path: Path,
    volts: list[float | None],
    separator: str,
    comma: bool,
    encoding: str,
    eol: str,
    packing: str,
    missing: str,
    block_bytes: int,
):
    """What is written in any mixture of forms reads back to the last bit."""
    decimal = "," if comma and separator != "," else "."
    missing = missing or ("nan" if separator == " " else "")
    rows = [["time_s", "battery_v", "mark"]]
    for n, value in enumerate(volts):
        cell = missing if value is None else repr(value).replace(".", decimal)
        rows.append([repr(n / 8).replace(".", decimal), cell, "'µ'" if n == 1 else "-"])
    text = "".join(separator.join(row) + eol for row in rows)
    path = _write(tmp_path, _packed(text.encode(encoding), packing), "log")

    with Log.open(path, block_bytes=block_bytes) as log:
        trace = log.trace(-1, 99)

        assert np.array_equal(trace.time_s, np.arange(len(volts)) / 8)
        expected = [np.nan if value is None else value for value in volts]
        assert np.array_equal(trace.values["battery_v"], expected, equal_nan=True)
        assert [mark.text for mark in log.marks] == ["'µ'"]
