"""A log on disk: windows of it, what is left out, and every reason to refuse it."""

import gzip
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pytest
import zstandard
from conftest import without_override

from benchlog.core.errors import BadLog
from benchlog.log.log import Log
from benchlog.logger.model import Channel, Logger, LogTime


def _write(folder: Path, content: str | bytes, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _rows(count: int, start: int = 0) -> list[str]:
    """Lines of time_s (10 ms apart), battery_v, battery_a."""
    return [f"{n / 100:.2f},{12.5 - n % 7 / 100:.2f},{n % 11 / 10:.1f}" for n in range(start, start + count)]


def _text(rows: list[str]) -> str:
    return "time_s,battery_v,battery_a\n" + "".join(row + "\n" for row in rows)


def _counter(unit: str = "us", wraps_at: float | None = None) -> Logger:
    time = LogTime.model_validate({"column": "t", "unit": unit, "wraps_at": wraps_at})
    return Logger(name="test", time=time, channel=(Channel(column="I", role="battery_a", unit="A"),))


# ---- windows


@pytest.mark.parametrize("block_bytes", [1, 37, 1000, 1 << 20])
@pytest.mark.parametrize("name", ["log.csv", "log.csv.gz", "log.parquet"])
def test_window_is_a_slice_of_the_whole(tmp_path: Path, name: str, block_bytes: int):
    """Any window equals the rows of the table with its times, ends included, for any size of block."""
    text = _text(_rows(500))
    whole = pd.read_csv(_write(tmp_path, text, "whole.csv"))
    path = tmp_path / name
    if name.endswith("parquet"):
        pl.from_dict({column: whole[column].to_numpy() for column in whole}).write_parquet(path)
    else:
        path.write_bytes(gzip.compress(text.encode(), mtime=0) if name.endswith("gz") else text.encode())

    with Log.open(path, block_bytes=block_bytes) as log:
        for from_s, to_s in [(-1, 99), (0.5, 0.5), (1.23, 3.21), (4.985, 9), (2.001, 2.009), (7, 8), (3, 1)]:
            inside = whole[(whole["time_s"] >= from_s) & (whole["time_s"] <= to_s)].reset_index(drop=True)
            pd.testing.assert_frame_equal(log.window(from_s, to_s), inside)


def test_traces_join_to_the_trace(tmp_path: Path):
    """The pieces of a stretch, in order, are the stretch."""
    with Log.open(_write(tmp_path, _text(_rows(500))), block_bytes=300) as log:
        parts = list(log.traces(1.0, 4.0, ["battery_a"]))
        whole = log.trace(1.0, 4.0)

        assert len(parts) > 5
        assert np.array_equal(np.concatenate([part.time_s for part in parts]), whole.time_s)
        joined = np.concatenate([part.values["battery_a"] for part in parts])
        assert np.array_equal(joined, whole.values["battery_a"])
        assert set(parts[0].values) == {"battery_a"}


def test_over_flags_are_kept_across_blocks(tmp_path: Path):
    """Samples over range in one block only are flagged at their place in a longer trace."""
    rows = _rows(300)
    rows[200] = "2.00,12.5,OL"
    channel = Channel(column="battery_a", role="battery_a", unit="A", over_range=("OL",))

    with Log.open(_write(tmp_path, _text(rows)), Logger(name="x", channel=(channel,)), block_bytes=400) as log:
        trace = log.trace(0, 9)

        assert np.flatnonzero(trace.over["battery_a"]).tolist() == [200]
        assert log.overview.bands["battery_a"].over.sum() == 1
        assert log.trace(0, 1).over == {}


def test_unknown_role_is_a_key_error(tmp_path: Path):
    """Asking for a role that the log does not have is the caller's mistake."""
    log = Log.open(_write(tmp_path, _text(_rows(9))))

    with pytest.raises(KeyError, match="feed_v"):
        log.trace(0, 1, ["feed_v"])


def test_facts_of_a_log(tmp_path: Path):
    """Length, times, roles and rate are known once it is open."""
    log = Log.open(_write(tmp_path, _text(_rows(500))), block_bytes=100)

    assert (log.name, log.rows, log.start_s, log.end_s) == ("log.csv", 500, 0.0, 4.99)
    assert log.step_s == pytest.approx(0.01)
    assert log.roles == {"battery_v", "battery_a"}
    assert (log.stated, log.reader, log.epoch_s, log.notes) == (False, "delimited", None, ())


def test_progress_ends_at_the_whole_file(tmp_path: Path):
    """Progress rises, in bytes of the file, to its size."""
    path = _write(tmp_path, _text(_rows(500)))
    seen: list[tuple[int, int]] = []

    Log.open(path, block_bytes=1000, progress=lambda done, total: seen.append((done, total)))

    assert len(seen) > 5
    assert seen == sorted(seen)
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)


def test_overview_sums_equal_the_whole(tmp_path: Path):
    """Mean, extremes and charge of the overview are those of all samples."""
    rows = _rows(2000)
    whole = pd.read_csv(_write(tmp_path, _text(rows)))

    log = Log.open(tmp_path / "log.csv", block_bytes=777, max_buckets=64)

    band, counts = log.overview.bands["battery_a"], log.overview.rows
    assert len(log.overview) <= 64
    assert (band.mean * counts).sum() / counts.sum() == pytest.approx(whole["battery_a"].mean())
    assert (band.min.min(), band.max.max()) == (whole["battery_a"].min(), whole["battery_a"].max())
    assert band.area.sum() == pytest.approx(np.trapezoid(whole["battery_a"], whole["time_s"]))


def test_file_that_grows_or_goes_keeps_its_windows(tmp_path: Path):
    """Windows show what was there when the log was opened, whatever becomes of the file's name."""
    path = _write(tmp_path, _text(_rows(500)))
    log = Log.open(path, block_bytes=200)
    before = log.window(0, 99)

    with path.open("a") as file:
        file.write("".join(row + "\n" for row in _rows(100, 500)))
    path.rename(tmp_path / "moved.csv")

    pd.testing.assert_frame_equal(log.window(0, 99), before)


@pytest.mark.parametrize("library", ["pandas", "polars"])
def test_frame_is_a_log(library: str):
    """A table in memory serves as a log, its columns named by role."""
    columns = {"time_s": [0.0, 0.5, 1.0], "battery_a [mA]": [1, 2, 3], "mark": [None, "key on", ""]}
    frame = pd.DataFrame(columns) if library == "pandas" else pl.DataFrame(columns)

    log = Log.from_frame(frame)

    assert (log.name, log.path, log.reader, log.rows) == ("frame", None, "frame", 3)
    assert log.trace(0, 1).values["battery_a"] == pytest.approx([0.001, 0.002, 0.003])
    assert [(mark.time_s, mark.text) for mark in log.marks] == [(0.5, "key on")]


def test_frame_of_dates_and_gaps():
    """Dates become seconds; missing values of any pandas kind are NaN."""
    times = pd.date_range("2025-05-01 12:00", periods=3, freq="250ms", tz="Europe/Berlin")
    frame = pd.DataFrame({"time_s": times, "battery_v": pd.array([12.5, None, 12.7], dtype="Float64")})

    log = Log.from_frame(frame)

    assert log.trace(0, 1).time_s == pytest.approx([0, 0.25, 0.5])
    assert np.isnan(log.trace(0, 1).values["battery_v"]).tolist() == [False, True, False]
    assert log.epoch_s == pd.Timestamp("2025-05-01 10:00Z").timestamp()


def test_import_is_light():
    """Importing the log does not import polars or pandas."""
    code = "import sys, benchlog.log.log; print(sorted({'polars', 'pandas'} & set(sys.modules)))"

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "[]"


# ---- time


@pytest.mark.parametrize("block_bytes", [20, 1 << 20])
def test_counter_that_wraps(tmp_path: Path, block_bytes: int):
    """With wraps_at the time goes on rising, also from block to block, and windows agree."""
    ticks = [(n * 1000 + 60_000) % 65_536 for n in range(400)]
    path = _write(tmp_path, "t,I\n" + "".join(f"{tick},{n}\n" for n, tick in enumerate(ticks)))

    log = Log.open(path, _counter("us", 65_536), block_bytes=block_bytes)

    assert log.trace(0, 9).time_s == pytest.approx(0.06 + np.arange(400) / 1000)
    window = log.trace(0.2005, 0.3005)
    assert window.values["battery_a"] == pytest.approx(np.arange(141, 241))


def test_late_row_at_a_wrap_is_left_out(tmp_path: Path):
    """A row from before the wrap that arrives after it does not wrap the counter once more."""
    ticks = [(n * 100) % 65_536 for n in range(1000)]
    ticks.insert(657, 65_530)
    path = _write(tmp_path, "t,I\n" + "".join(f"{tick},1\n" for tick in ticks))

    log = Log.open(path, _counter("us", 65_536))

    assert log.rows == 1000
    assert log.end_s == pytest.approx(0.0999)
    assert "1 row whose time does not increase" in log.notes[0].text


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_wrap_without_wraps_at_says_what_to_set(tmp_path: Path, bits: int):
    """A fall of the time that looks like a wrap is refused with the number to write."""
    ticks = [(n * 1000 + (1 << bits) - 30_000) % (1 << bits) for n in range(60)]
    path = _write(tmp_path, "t,I\n" + "".join(f"{tick},1\n" for tick in ticks))

    with pytest.raises(BadLog, match=rf"counter that wraps: set wraps_at = {1 << bits} in \[time\]"):
        Log.open(path, _counter())


@pytest.mark.parametrize("block_bytes", [25, 1 << 20])
def test_backward_and_repeated_times_are_left_out(tmp_path: Path, block_bytes: int):
    """A row whose time does not increase is left out and told with its line."""
    rows = _rows(400)
    rows.insert(101, "1.00,12.5,0.1")
    rows.insert(301, "1.50,12.5,0.1")

    log = Log.open(_write(tmp_path, _text(rows)), block_bytes=block_bytes)

    assert log.rows == 400
    assert (np.diff(log.trace(0, 9).time_s) > 0).all()
    note = log.notes[0]
    assert (note.log, note.line, note.text) == ("log.csv", 103, "2 rows whose time does not increase were left out")
    assert len(log.window(2, 3)) == 101


def test_one_wild_time_does_not_take_the_rest(tmp_path: Path):
    """A single time far ahead of its neighbours is itself left out, not all that follow."""
    rows = _rows(400)
    rows[200] = "99999.00,12.5,0.1"

    log = Log.open(_write(tmp_path, _text(rows)))

    assert (log.rows, log.end_s) == (399, 3.99)


def test_joined_logs_are_refused(tmp_path: Path):
    """A log that starts over in the middle is several logs."""
    with pytest.raises(BadLog, match=r"100 of 300 rows .*the first is line 202, found '0 s after 1\.99 s'.*joined"):
        Log.open(_write(tmp_path, _text(_rows(200) + _rows(100))))


# ---- rows that are left out


@pytest.mark.parametrize("block_bytes", [30, 1 << 20])
@pytest.mark.parametrize(
    ("row", "text"),
    [
        ("1.00,12.x,0.1", "1 row with an unreadable number was left out"),
        ("1.00,12.5", "1 row with too few fields was left out"),
        ("1.00,12.5,0.1,7", "1 row with too many fields was left out"),
        (",12.5,0.1", "1 row without a time was left out"),
        ("x,12.5,0.1", "1 row with an unreadable number was left out"),
        ("1.00,12.5,inf", "1 row with an unreadable number was left out"),
    ],
)
def test_bad_row_is_left_out_and_told(tmp_path: Path, row: str, text: str, block_bytes: int):
    """A few bad rows are left out; the note names the kind, how many, and the first line."""
    rows = _rows(200)
    rows[100] = row

    log = Log.open(_write(tmp_path, _text(rows)), block_bytes=block_bytes)

    assert [(note.line, note.text) for note in log.notes] == [(102, text)]
    assert log.rows == 199
    assert len(log.trace(0.95, 1.05)) == 10


@pytest.mark.parametrize("at", [100, 200])
def test_zero_bytes_of_a_power_loss_are_an_empty_line(tmp_path: Path, at: int):
    """A stretch of zero bytes, amid the rows or at the end, takes no row with it."""
    rows = _rows(200)
    rows.insert(at, "\0" * 60)

    log = Log.open(_write(tmp_path, _text(rows)))

    assert (log.rows, log.notes) == (200, ())


def test_line_numbers_count_preamble_comments_and_empty_lines(tmp_path: Path):
    """The line told is the one an editor shows."""
    rows = _rows(300)
    rows[150] = "1.50,bad,0.1"
    rows.insert(20, "# a comment")
    rows.insert(10, "")
    text = "a logger\n\n" + _text(rows)

    for block_bytes in (33, 1 << 20):
        log = Log.open(_write(tmp_path, text), block_bytes=block_bytes)
        assert log.notes[0].line == text.split("\n").index("1.50,bad,0.1") + 1


def test_one_per_cent_is_still_taken(tmp_path: Path):
    """Exactly 1 % of bad rows is left out, one row more refuses the log."""
    rows = _rows(400)
    for n in range(4):
        rows[n * 50 + 3] = f"{n},x,1"
    taken = Log.open(_write(tmp_path, _text(rows)))
    rows[399] = "3.99,y,1"

    assert taken.notes[0].text == "4 rows with unreadable numbers were left out"
    with pytest.raises(
        BadLog,
        match=r"5 of 400 rows cannot be used, more than 1 %: 5 rows with unreadable .*; the first is line 5, found 'x'",
    ):
        Log.open(_write(tmp_path, _text(rows)))


@pytest.mark.parametrize(
    ("end", "kept"),
    [
        ("1.00,12.5", False),
        ("1.00,12.50,", False),
        ("1.00,12.50,0", False),
        ("1.00,12.50,0.", False),
        ("1.00,12.50,0.1", True),
        ("1.", False),
    ],
)
def test_cut_last_line(tmp_path: Path, end: str, kept: bool):
    """A last line without its end is left out if fields or decimals are missing, and never refuses the log."""
    log = Log.open(_write(tmp_path, _text(_rows(20)) + end))

    assert log.rows == 20 + kept
    assert [note.text for note in log.notes] == ([] if kept else ["the last line is cut short and was left out"])
    assert len(log.trace(0, 99)) == log.rows


# ---- refusals


def _refused(path: Path, match: str, logger: Logger | None = None) -> None:
    with pytest.raises(BadLog, match=match) as caught:
        Log.open(path, logger)
    assert path.name in str(caught.value)


@pytest.mark.parametrize(
    ("content", "match"),
    [
        ("", "the file is empty"),
        ("time_s,battery_v\n", "a header line but no sample below it"),
        ("time_s,battery_v\n1,12.5\n", "only one sample"),
        ("time_s,battery_v\n,\n,\n", "a header line but no sample|no row of numbers"),
        ("time_s,battery_v\n0,\n1,nan\n", "no number in any of its 2 rows"),
        ("hello\nworld\n", "no column is known|no line of numbers"),
        ("a,b\n1,2\n3,4\n", "no column is known: its headers are 'a', 'b'; run benchlog logger"),
        ("1,2\n3,4\n", "no column is known: it has no header line"),
        ("battery_v,battery_a\n12.5,1\n12.5,2\n", "nothing gives the time"),
        ("time_s,mark\n0,a\n1,b\n", "no column is known|no column holds a voltage"),
        ("time_s,battery_v,battery_v\n0,1,2\n1,2,3\n", "battery_v is already in column"),
        ("time_s,battery_v [kV]\n0,1\n1,2\n", "header line cannot be used"),
        (bytes(range(256)) * 40, "neither text nor any other known log"),
        (b"PAR1 not really", "Parquet file is damaged or cut short"),
        (gzip.compress(b"time_s,battery_v\n0,1\n1,2\n", mtime=0)[:-9], "compressed file is damaged or cut short"),
        (gzip.compress(_text(_rows(500)).encode())[:900] + b"xxxx" * 90, "compressed file is damaged or cut short"),
        (zstandard.compress(_text(_rows(500)).encode())[:-5], "compressed file is damaged or cut short"),
        (b"\x28\xb5\x2f\xfdjunk junk junk", "compressed file is damaged or cut short"),
        (gzip.compress(b"", mtime=0), "compressed file holds nothing"),
        (b"time_s,battery_v\n" + b"1" * 3_000_000, "over a million characters|cut short|no sample"),
    ],
)
def test_unusable_file_is_refused(tmp_path: Path, content: str | bytes, match: str):
    """Each unusable file ends in one message that says what is wrong."""
    _refused(_write(tmp_path, content), match)


def test_what_cannot_be_opened_is_refused(tmp_path: Path):
    """A missing file and a folder are named as such."""
    _refused(tmp_path / "none.csv", "there is no such file")
    _refused(tmp_path, "this is a folder")


def test_file_that_may_not_be_read_is_refused(tmp_path: Path):
    """A file without permission to read it is named as such."""
    path = _write(tmp_path, _text(_rows(9)))
    path.chmod(0)
    opening = f"from pathlib import Path; from benchlog.log.log import Log; Log.open(Path({str(path)!r}))"

    done = subprocess.run(
        [sys.executable, "-c", opening], capture_output=True, text=True, check=False, preexec_fn=without_override
    )

    assert done.returncode == 1
    assert f"{path}: reading this file is not permitted" in done.stderr.splitlines()[-1]


def test_permission_message(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """What the system says of permissions becomes plain words, whoever runs this."""
    path = _write(tmp_path, "x")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)

    _refused(path, "reading this file is not permitted")


def test_truncated_parquet_is_refused(tmp_path: Path):
    """A table that was cut short is not read in part."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": range(99), "battery_v": [12.5] * 99}).write_parquet(path)
    path.write_bytes(path.read_bytes()[:-40])

    _refused(path, "damaged or cut short")


def test_missing_columns_are_all_named(tmp_path: Path):
    """All columns that the logger names and the log lacks are listed, with those it has."""
    logger = Logger(
        name="test",
        time=LogTime(column="t"),
        channel=(
            Channel(column="I", role="battery_a", unit="A"),
            Channel(column="U", role="battery_v", unit="V"),
            Channel(column=9, role="feed_v", unit="V"),
        ),
    )

    _refused(
        _write(tmp_path, "t,I,V\n0,1,2\n1,2,3\n"),
        r"lacks: 'U', column 9 \(the log has 3\); the log has 't', 'I', 'V'",
        logger,
    )
    _refused(_write(tmp_path, "0,1,2\n1,2,3\n"), r"lacks: 't', 'I', 'U', column 9 .*no header", logger)


def test_two_columns_with_one_header_are_refused(tmp_path: Path):
    """A header that stands twice does not say which column is meant."""
    _refused(_write(tmp_path, "t,I,I\n0,1,2\n1,2,3\n"), "columns 2 and 3 are both headed 'I'", _counter("s"))


def test_two_channels_of_one_role_are_refused(tmp_path: Path):
    """A role has one column."""
    logger = Logger(
        name="test",
        time=LogTime(column="t"),
        channel=tuple(Channel(column=name, role="battery_a", unit="A") for name in ("I", "J")),
    )

    _refused(_write(tmp_path, "t,I,J\n0,1,2\n1,2,3\n"), "'I' and 'J' are both battery_a", logger)
