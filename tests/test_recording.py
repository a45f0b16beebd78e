"""Recordings of streams as they should be: what is written, with which times and marks, and what is told."""

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from serial_wire import PATIENCE_S, Wire

from benchlog.bench.live import LiveState, LiveStep, live_folder, running
from benchlog.bench.recording import Batch, Capture
from benchlog.bench.recording.beside import logger_text
from benchlog.bench.recording.clock import AddedClock, StreamClock
from benchlog.bench.recording.resuming import resumed_from
from benchlog.bench.recording.screen import values_in_words
from benchlog.core.errors import BenchlogError
from benchlog.core.trace import Trace
from benchlog.log.log import Log
from benchlog.log.readers.lines import LineParser
from benchlog.log.readers.lines.checksum import checksum_of
from benchlog.log.readers.raw import Raw
from benchlog.logger.model import Logger, load_logger, logger_from_mapping

HEADER = "time_s,battery_v,battery_a"


pytestmark = pytest.mark.usefixtures("own_data_folder")


def lines(first: int, count: int, step_s: float = 0.001, start_s: float = 0.0) -> list[str]:
    """Samples of a stream with role names."""
    return [
        f"{start_s + n * step_s:.3f},{12.5 + n % 7 / 100:.2f},{n % 5 / 10:.1f}" for n in range(first, first + count)
    ]


def taken(capture: Capture, until: Callable[[], bool], patience_s: float = PATIENCE_S) -> list[Batch]:
    """Batches until something is true."""
    ends = time.monotonic() + patience_s
    batches = []
    for batch in capture.batches():
        batches.append(batch)
        if until():
            break
        assert time.monotonic() < ends, f"it did not happen in time; kept {capture.counts.kept}"
    return batches


def recorded(wire: Wire, out: Path, sent: list[str], expected: int, **settings: object) -> tuple[Capture, list[Batch]]:
    """One whole recording of some lines."""
    with Capture(str(wire.port), out, **settings) as capture:  # type: ignore[arg-type] # as the caller knows them
        wire.wait_for_reader()
        wire.send(*sent)
        batches = taken(capture, lambda: capture.counts.kept >= expected)
    return capture, batches


@contextmanager
def begun(wire: Wire, out: Path, sent: list[str], **settings: object) -> Iterator[Capture]:
    """A recording that goes on, with its header and these lines taken."""
    with Capture(str(wire.port), out, **settings) as capture:  # type: ignore[arg-type] # as the caller knows them
        wire.wait_for_reader()
        wire.send(HEADER, *sent)
        taken(capture, lambda: capture.counts.kept == len(sent))
        yield capture


def joined(batches: list[Batch], role: str | None = None) -> list[float]:
    """A role's samples over all batches, or their times."""
    traces = [batch.trace for batch in batches if len(batch.trace)]
    return [float(x) for trace in traces for x in (trace.time_s if role is None else trace.values[role])]


def notes_of(out: Path) -> list[str]:
    """The note lines in a file."""
    text = out.read_text(encoding="utf-8")
    return [line.removeprefix("# note: ") for line in text.splitlines() if line.startswith("#")]


def rows_of(out: Path) -> list[list[str]]:
    """Header and rows of a file."""
    return [line.split(",") for line in out.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]


def test_stream_is_written_as_it_came(wire: Wire, tmp_path: Path):
    """A CSV stream becomes a CSV file with the same cells and a column for marks; batches hold the same samples."""
    out, sent = tmp_path / "log.csv", lines(0, 500)
    capture, batches = recorded(wire, out, [HEADER, *sent], 500)

    assert out.read_text() == f"{HEADER},mark\n" + "".join(f"{line},\n" for line in sent)
    with Log.open(out) as log:
        assert log.rows == 500
        whole = log.trace(-1, 10)
    assert joined(batches) == whole.time_s.tolist()
    assert joined(batches, "battery_a") == whole.values["battery_a"].tolist()
    assert capture.counts.refused_in_all == 0


def test_named_values_and_checksums_become_a_plain_table(wire: Wire, tmp_path: Path):
    """``name=value`` lines with CRCs are written as a table, a wrong one left out and counted in a note."""
    out = tmp_path / "log.csv"
    sent = [f"time_s={n},battery_v=12.5" for n in range(20)]
    sent = [f"{line}*{checksum_of('crc', line.encode()):04X}" for line in sent]
    sent[7] = sent[7].replace("12.5", "13.5")
    capture, _ = recorded(wire, out, sent, 19)

    assert rows_of(out) == [["time_s", "battery_v", "mark"], *([str(n), "12.5", ""] for n in range(20) if n != 7)]
    assert capture.counts.refused == {"checksum": 1}
    assert notes_of(out) == ["1 line refused: 1 with a wrong checksum"]


def test_mark_stands_at_the_next_sample(wire: Wire, tmp_path: Path):
    """A mark goes to the first sample after it, two marks to two samples, and commas in it do no harm."""
    out = tmp_path / "log.csv"
    with begun(wire, out, lines(0, 5)) as capture:
        capture.mark("key on")
        capture.mark("left, then right")
        wire.send(*lines(5, 5))
        taken(capture, lambda: capture.counts.kept == 10)

    with Log.open(out) as log:
        assert [(mark.time_s, mark.text) for mark in log.marks] == [(0.005, "key on"), (0.006, "left, then right")]


def test_mark_bound_to_a_time_stands_there(wire: Wire, tmp_path: Path):
    """A mark for a time of the stream waits for it, stands at the next free sample, and is late rather than lost."""
    out = tmp_path / "log.csv"
    with begun(wire, out, lines(0, 5)) as capture:
        for text, at_s in (("slot 1 on", 0.0125), ("key on", 0.0125), ("gone by", 0.001), ("never", 9.0)):
            capture.mark_at(text, at_s)
        wire.send(*lines(5, 5))
        taken(capture, lambda: capture.counts.kept == 10)
        wire.send(*lines(10, 10))
        taken(capture, lambda: capture.counts.kept == 20)

    with Log.open(out) as log:
        marks = [(round(mark.time_s, 6), mark.text) for mark in log.marks]
    assert marks == [(0.005, "gone by"), (0.013, "key on"), (0.014, "slot 1 on")]
    assert notes_of(out) == ['the mark "never" came after the last sample']


def test_mark_after_the_last_sample_is_not_lost(wire: Wire, tmp_path: Path):
    """A mark that no sample follows is told in a note."""
    out = tmp_path / "log.csv"
    with begun(wire, out, lines(0, 5)) as capture:
        capture.mark("key off")

    assert notes_of(out) == ['the mark "key off" came after the last sample']


def test_marks_of_the_stream_keep_their_column(wire: Wire, tmp_path: Path):
    """A stream with a mark column of its own gets no second one."""
    out = tmp_path / "log.csv"
    sent = ["time_s,battery_v,mark", "0,12.5,", "1,12.5,key on", "2,12.5,", "3,12.5,"]
    recorded(wire, out, sent, 4)

    assert rows_of(out) == [line.split(",") for line in sent]


def test_stream_without_a_time_gets_the_computers(wire: Wire, tmp_path: Path):
    """Without a time column the computer's clock gives one that rises, and a note says how well it is known."""
    out = tmp_path / "log.csv"
    with Capture(str(wire.port), out) as capture:
        wire.wait_for_reader()
        wire.send("battery_v", "12.5", "12.6", "12.7")
        taken(capture, lambda: capture.counts.kept == 3)
        began = time.monotonic()
        taken(capture, lambda: time.monotonic() > began + 0.5)
        wire.send("12.8")
        batches = taken(capture, lambda: capture.counts.kept == 4)

    rows = rows_of(out)
    assert rows[0] == ["battery_v", "time_s", "mark"]
    assert float(rows[4][1]) - float(rows[3][1]) == pytest.approx(0.55, abs=0.3)
    assert joined(batches) == [float(rows[4][1])]
    assert notes_of(out) == ["the stream has no time: time_s is the computer's clock, ± 0.1 s"]


def test_rate_of_the_logger_file_counts_the_time(wire: Wire, tmp_path: Path):
    """With a rate and no time column each line is one step, a refused one too; the file beside tells the column."""
    out = tmp_path / "log.csv"
    logger = logger_from_mapping(
        {
            "logger": {"rate_hz": 100},
            "channel": [{"column": 1, "role": "battery_v"}, {"column": 2, "role": "battery_a"}],
        }
    )
    with Capture(str(wire.port), out, logger=logger) as capture:
        wire.wait_for_reader()
        wire.send(*(f"12.{n},0.5" for n in range(10, 20)))
        taken(capture, lambda: capture.counts.kept == 10)
        wire.send("12.2,x", "12.3,0.5")
        taken(capture, lambda: capture.counts.kept == 11)

    with Log.open(out, load_logger(tmp_path / "log.logger.toml")) as log:
        assert log.rows == 11
        assert log.end_s == pytest.approx(0.11)


def test_logger_file_is_laid_beside(wire: Wire, tmp_path: Path):
    """The logger file beside the log says the same as the one that was given, so that the log is checked as it is."""
    out = tmp_path / "log.csv"
    logger = logger_from_mapping(
        {
            "logger": {"name": 'the "two-range" logger'},
            "time": {"column": "t_us", "unit": "us", "wraps_at": 4294967296},
            "channel": [
                {"column": "u", "role": "battery_v", "unit": "mV", "scale": 1.5, "gain_error_pct": 0.2},
                {
                    "column": "i",
                    "role": "battery_a",
                    "unit": "mV",
                    "shunt_mohm": 0.75,
                    "positive": "charge",
                    "over_range": ["OL", "32767"],
                },
            ],
        }
    )
    _, batches = recorded(
        wire, out, ["t_us,u,i", "4294966296,8000,3", "4294967000,8000,OL", "704,8000,3"], 3, logger=logger
    )

    assert load_logger(tmp_path / "log.logger.toml") == logger
    assert [row[0] for row in rows_of(out)[1:]] == ["4294966296", "4294967000", "704"]  # as it came
    assert np.diff(joined(batches)) == pytest.approx([704e-6, 1000e-6])
    assert joined(batches, "battery_a")[0] == pytest.approx(-4.0)
    with Log.open(out, logger) as log:
        assert log.trace(0, 1e9).time_s.tolist() == joined(batches)


def test_logger_file_of_another_is_not_written_over(wire: Wire, tmp_path: Path):
    """A logger file that lies there and says something else refuses the recording before anything is written."""
    logger = logger_from_mapping({"channel": [{"column": 1, "role": "battery_v"}]})
    (tmp_path / "log.logger.toml").write_text('[[channel]]\ncolumn = 2\nrole = "battery_v"\n')

    with (
        pytest.raises(BenchlogError, match=r"log\.logger\.toml: another logger file already lies beside the recording"),
        Capture(str(wire.port), tmp_path / "log.csv", logger=logger),
    ):
        pass
    assert not (tmp_path / "log.csv").exists()


def test_logger_file_round_trip():
    """Every key of a logger file survives being written."""
    logger = logger_from_mapping(
        {
            "logger": {"name": "a µA logger"},
            "time": {"column": 1, "unit": "ms"},
            "channel": [
                {"column": 2, "role": "drain_a", "unit": "uA", "offset": -0.5, "offset_error": 1.5, "resolution": 0.1},
                {"column": 3, "role": "battery_a", "low_side_mohm": 0.75},
            ],
        }
    )
    import tomllib

    assert logger_from_mapping(tomllib.loads(logger_text(logger))) == logger


def test_header_that_comes_late_is_told_and_described(wire: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Where nobody knows the columns until the header comes, the file beside numbers them afterwards."""
    monkeypatch.setattr("benchlog.bench.recording.capture.HEADER_WAIT_S", 0.2)
    monkeypatch.setattr("benchlog.bench.recording.capture.FORM_WAIT_S", 0.1)
    out = tmp_path / "log.csv"
    with Capture(str(wire.port), out) as capture:
        wire.wait_for_reader()
        wire.send(*lines(0, 6))
        taken(capture, lambda: capture.counts.kept == 6)
        wire.send(HEADER, *lines(6, 4))
        taken(capture, lambda: capture.counts.kept == 10)

    assert rows_of(out)[0] == ["column_1", "column_2", "column_3", "time_s", "mark"]
    assert "the header line arrived late: the columns are time_s, battery_v, battery_a" in notes_of(out)
    with Log.open(out, load_logger(tmp_path / "log.logger.toml")) as log:
        assert log.trace(0, 1).values["battery_v"].tolist() == [12.5 + n % 7 / 100 for n in range(10)]


def test_state_is_left_for_those_who_look_on(wire: Wire, tmp_path: Path):
    """The live state says how it goes, holds the last minute in few points, and the step that is shown."""
    out = tmp_path / "log.csv"
    step = LiveStep(2, 9, "key_on", "Key on", "Turn the key on.")
    with Capture(str(wire.port), out, bike="Larch") as capture:
        capture.show(step)
        wire.wait_for_reader()
        wire.send(HEADER, *lines(0, 2000, step_s=0.1))
        taken(capture, lambda: capture.counts.kept == 2000)
        seen: list[LiveState] = []
        taken(capture, lambda: bool(seen.append(running()[0]) or seen[-1].kept == 2000))

    state = seen[-1]
    assert (state.bike, state.log, state.step) == ("Larch", str(out), step)
    assert 500 <= len(state.time_s) <= 600
    assert state.time_s[-1] == pytest.approx(199.9)
    assert state.time_s[-1] - state.time_s[0] <= 60
    assert state.last["battery_v"] == pytest.approx(float(lines(1999, 1)[0].split(",")[1]))
    assert len(state.recent["battery_a"]) == len(state.time_s)
    assert json.loads(next(live_folder().glob("*.json")).read_text())["ended"] is True


def test_state_that_cannot_be_left_stops_nothing(wire: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A data folder that cannot be written to does not end a recording."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "file" / "data"))
    capture, _ = recorded(wire, tmp_path / "log.csv", [HEADER, *lines(0, 20)], 20)

    assert capture.counts.kept == 20


def test_stopped_recording_goes_on_in_its_file(wire: Wire, tmp_path: Path):
    """With ``append`` the same file goes on after a note, its times increasing though the logger restarted."""
    out = tmp_path / "log.csv"
    recorded(wire, out, [HEADER, *lines(0, 50)], 50)
    with out.open("ab") as file:
        file.write(b"0.050,12.")  # what a killed recorder may leave
    _, batches = recorded(wire, out, [HEADER, *lines(0, 50)], 50, append=True)

    with Log.open(out) as log:
        assert log.rows == 100
        assert np.all(np.diff(log.trace(0, 1e9).time_s) > 0)
        assert log.trace(0.0495, 1e9).time_s.tolist() == joined(batches)
    assert notes_of(out)[0].startswith("the recording was stopped here and resumed ")


def test_other_stream_does_not_go_on_in_the_file(wire: Wire, tmp_path: Path):
    """A stream with other columns is refused, and the file stays as it was."""
    out = tmp_path / "log.csv"
    out.write_text("time_s,feed_v,mark\n0,12.5,\n")

    with pytest.raises(BenchlogError, match="the columns of this recording differ from those the logger sends now"):
        recorded(wire, out, [HEADER, *lines(0, 5)], 5, append=True)
    assert out.read_text() == "time_s,feed_v,mark\n0,12.5,\n"


def test_what_comes_after_the_refusal_is_not_written_either(wire: Wire, tmp_path: Path):
    """Lines that come between the refusal of a file and the closing leave it as it was."""
    out = tmp_path / "log.csv"
    out.write_text("time_s,feed_v,mark\n0,12.5,\n")

    with Capture(str(wire.port), out, append=True) as capture:
        wire.wait_for_reader()
        wire.send(HEADER, *lines(0, 5))
        with pytest.raises(BenchlogError, match="the columns of this recording differ"):
            taken(capture, lambda: capture.counts.kept == 5)
        wire.send(*lines(5, 20))
        time.sleep(0.3)  # until they are read

    assert out.read_text() == "time_s,feed_v,mark\n0,12.5,\n"


def test_file_without_a_sample_is_gone_on_with_by_the_loggers_own_clock(wire: Wire, tmp_path: Path):
    """A recording that was killed before its first sample has no time to go on from: no sample is moved."""
    out = tmp_path / "log.csv"
    out.write_text(f"{HEADER},mark\n")

    recorded(wire, out, [HEADER, *lines(0, 20, start_s=1000.0)], 20, append=True)

    assert [row[0] for row in rows_of(out)[1:]] == [f"{1000 + n / 1000:.3f}" for n in range(20)]


def test_rows_without_a_time_at_the_ends_of_a_file_are_passed_over(tmp_path: Path):
    """A file that an editor cut rows of is gone on with from its last time, wherever that column stands."""
    parser, header = LineParser(None), b"battery_v,battery_a,time_s,mark\n"
    parser.feed(b"battery_v,battery_a\n" + b"12.5,1\n" * 6)
    assert parser.meaning is not None
    out = tmp_path / "log.csv"
    out.write_bytes(header + b"12.5\n12.5,1.0,0.1,\n12.5,1.0,0.2,\n12.5\n")

    assert resumed_from(out, header, parser.meaning).last == 0.2


def test_seconds_end_a_recording(wire: Wire, tmp_path: Path):
    """A recording ends by itself after the seconds asked for."""
    out = tmp_path / "log.csv"
    with Capture(str(wire.port), out, seconds=0.6) as capture:
        wire.wait_for_reader()
        wire.send(HEADER, *lines(0, 20))
        batches = list(capture.batches())

    assert 5 <= len(batches) <= 9
    assert len(joined(batches)) == 20


def raw(values: list[float], *, whole: bool = False) -> Raw:
    """Rows that hold nothing but their time."""
    time_column = np.array(values, dtype=np.int64 if whole else np.float64)
    return Raw(time_column, None, None, {}, {}, (), len(values), len(values), ())


def clock_of(unit: str, wraps_at: float | None = None) -> StreamClock:
    """A clock for a time column."""
    time_table: dict[str, object] = {"column": "t", "unit": unit}
    if wraps_at is not None:
        time_table["wraps_at"] = wraps_at
    logger: Logger = logger_from_mapping({"time": time_table, "channel": [{"column": "v", "role": "battery_v"}]})
    parser = LineParser(logger)
    parser.feed(b"t,v\n1,2\n2,2\n", last=True)
    assert parser.meaning is not None
    return StreamClock(parser.meaning)


def test_counter_of_32_bits_counts_on():
    """A counter of us that falls from nearly 2^32 to nearly 0 goes on counting in the file, and it is told."""
    clock = clock_of("us")
    clock.take(raw([4294965296, 4294966296]), 10.0, final=False)

    timed = clock.take(raw([0, 1000, 2000, 3000, 4000]), 10.1, final=False)

    assert timed.time.tolist() == [4294967296 + 1000 * n for n in range(5)]
    assert timed.moved is not None
    assert timed.moved.all()
    assert timed.told == ["the logger's 32-bit counter wrapped at 4294.966 s; later times in this file continue"]


def test_counter_that_is_known_to_wrap_is_written_as_it_came():
    """Where the logger file says where the counter wraps, its cells are left alone."""
    clock = clock_of("us", 4294967296)

    timed = clock.take(raw([4294965296, 4294966296, 0, 1000, 2000, 3000, 4000]), 10.0, final=False)

    assert timed.time.tolist() == [4294965296, 4294966296, 0, 1000, 2000, 3000, 4000]
    assert timed.moved is None
    assert timed.told == []


@pytest.mark.parametrize("start", [0.0, 90_000.0])
def test_clock_that_jumps_goes_on_in_the_file(start: float):
    """A logger that starts again, or leaps far ahead, goes on where the computer's clock puts it, which is told."""
    clock = clock_of("s")
    clock.decimals = 3
    clock.take(raw([1000.0, 1000.1, 1000.2]), 50.0, final=False)

    timed = clock.take(raw([start + 0.1 * n for n in range(11)]), 54.0, final=False)

    # the last row came at 54.0 s and the first 1 s before it: 3 s passed since the row at 1000.2 s
    assert timed.time == pytest.approx(1003.2 + 0.1 * np.arange(11))
    assert len(timed.told) == 1
    assert ("fell back" if start == 0 else "leapt ahead") in timed.told[0]
    assert "3.00 s passed by the computer's clock" in timed.told[0]
    assert timed.told[0].endswith("± 0.1 s")


def test_stray_times_are_left_out():
    """One wild time among others, a late row and a time that comes twice are left out, and move nothing."""
    clock = clock_of("s")

    timed = clock.take(raw([1.0, 1.1, 9e9, 1.2, 1.15, 1.3, 1.3, 1.4, 1.5]), 10.0, final=False)

    assert timed.keep is not None
    assert timed.keep.tolist() == [True, True, False, True, False, True, False, True, True]
    assert timed.time.tolist() == [1.0, 1.1, 1.2, 1.3, 1.4, 1.5]
    assert timed.told == []


def test_doubtful_end_of_a_batch_waits():
    """Whether the last row of a batch is a stray or a new time is seen with the rows after it."""
    clock = clock_of("s")

    timed = clock.take(raw([1.0, 1.1, 0.0]), 10.0, final=False)

    assert timed.taken == 2
    again = clock.take(raw([0.0, 1.2, 1.3, 1.4]), 10.1, final=False)
    assert again.keep is not None
    assert again.keep.tolist() == [False, True, True, True]


def test_pause_that_the_computer_saw_is_no_jump():
    """A logger that paused for a minute, by its own clock and the computer's, is left alone."""
    clock = clock_of("s")
    clock.take(raw([1.0, 1.1, 1.2]), 10.0, final=False)

    timed = clock.take(raw([61.0, 61.1, 61.2, 61.3]), 70.0, final=False)

    assert timed.moved is None
    assert timed.told == []


def test_dates_that_jump_are_moved_too():
    """A clock of dates that is set while the logger runs goes on from where it was."""
    clock = clock_of("iso8601")
    clock.take(raw([1_000_000, 1_100_000], whole=True), 10.0, final=False)

    timed = clock.take(raw([10**15 + 100_000 * n for n in range(5)], whole=True), 10.5, final=False)

    assert timed.time.tolist() == pytest.approx([1_200_000 + 100_000 * n for n in range(5)], abs=1000)
    assert timed.time.dtype == np.int64


def test_added_time_follows_the_computer_over_a_gap():
    """Counted times are set by the computer's clock after the connection was lost."""
    clock = AddedClock(100.0)

    first = clock.times(3, 0, 5.0, 5.1)
    clock.interrupted()
    second = clock.times(2, 0, 9.0, 9.1)

    assert first.tolist() == [0, 0.01, 0.02]
    assert second.tolist() == [4.01, 4.02]


def test_values_are_said_in_words():
    """The live line names what it shows, small currents in mA, and says which way the battery's current runs."""
    said = values_in_words({"battery_v": 12.614, "battery_a": -3.2, "drain_a": 0.0006, "slot3_a": 3.1, "u": None})

    assert said == "battery 12.61 V, current 3.20 A into the battery, drain 0.60 mA, slot 3 3.10 A"


def test_a_shunt_that_is_reversed_is_seen_while_it_records():
    """A drain or a load below zero has its minus, so that nobody records for an hour the wrong way round."""
    said = values_in_words({"drain_a": -0.005, "feed_a": -2.0, "slot1_a": -0.05, "ground_v": -0.1})

    assert said == "drain -5.00 mA, feed current -2.00 A, slot 1 -50.00 mA, ground bus -0.10 V"


def test_batches_come_when_nothing_does(wire: Wire, tmp_path: Path):
    """Batches go on while nothing comes, so that whoever leads through a test is never stuck."""
    with Capture(str(wire.port), tmp_path / "log.csv", seconds=0.5) as capture:
        batches = list(capture.batches())

    assert len(batches) >= 4
    assert all(isinstance(batch.trace, Trace) and len(batch.trace) == 0 for batch in batches)
    assert not (tmp_path / "log.csv").exists()


def test_logger_file_with_a_rate_that_its_time_makes_idle_can_go_on(wire: Wire, tmp_path: Path):
    """What was only noted as the logger file was read makes it no other logger's when the recording goes on."""
    given = tmp_path / "mine.logger.toml"
    given.write_text(
        '[logger]\nname = "mine"\nrate_hz = 1000\n[time]\ncolumn = "time_s"\nunit = "s"\n'
        '[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\nunit = "V"\n'
    )
    logger, out = load_logger(given), tmp_path / "log.csv"
    sent = ["time_s,battery_v", *(f"{n / 1000:.3f},12.5" for n in range(20))]
    recorded(wire, out, sent, 20, logger=logger)
    capture, _ = recorded(wire, out, sent, 20, append=True, logger=logger)

    assert capture.counts.kept == 20
