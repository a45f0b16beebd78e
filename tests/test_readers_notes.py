"""What a log says of itself: notes between its rows, columns that were not used, times in the wrong unit."""

import os
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from benchlog.core.roles import ROLE_UNITS
from benchlog.log.log import Log
from benchlog.log.readers.comments import Written, notes_in, without_comments
from benchlog.log.readers.hints import time_unit_hint
from benchlog.log.readers.leftover import leftover_notes, meant_header, meant_role
from benchlog.standin import SimulatedInstall, plan_toml_of


def write(folder: Path, content: str | bytes, name: str = "log.csv") -> Path:
    """A file with this content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


# ---- notes

NOTED = (
    "# note: cold morning\ntime_s,battery_v\n"
    + "".join(f"{n},{12 + n % 5 / 10}\n" + (f"# note: after {n}\n" if n % 40 == 39 else "") for n in range(200))
    + "#NOTE:  last words \n# no note\n# note:\n"
)
EXPECTED = [(1, "cold morning"), *((43 + 41 * n, f"after {40 * n + 39}") for n in range(5)), (208, "last words")]


@pytest.mark.parametrize("block_bytes", [9, 300, 1 << 20])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_notes_are_kept_with_their_lines(tmp_path: Path, encoding: str, block_bytes: int):
    """``# note: TEXT`` anywhere becomes a note of the log with its line, and changes no row."""
    path = write(tmp_path, NOTED.encode(encoding))

    with Log.open(path, block_bytes=block_bytes) as log:
        assert [(note.line, note.text) for note in log.notes] == EXPECTED
        assert {note.log for note in log.notes} == {"log.csv"}
        assert np.array_equal(log.trace(0, 999).time_s, np.arange(200.0))
        assert log.trace(0, 999).values["battery_v"] == pytest.approx(12 + np.arange(200) % 5 / 10)


def test_line_numbers_of_faults_count_comments(tmp_path: Path):
    """A bad row between comments is still named by its line in the file, in a block of good rows and comments."""
    rows = [f"{n},12.5" for n in range(300)]
    rows[100:100] = ["# note: one", "# two"]
    rows[250] = "x,12.5"

    log = Log.open(write(tmp_path, "time_s,battery_v\n" + "\n".join(rows) + "\n"))

    assert [(note.line, note.text) for note in log.notes] == [
        (252, "1 row with an unreadable number was left out"),
        (102, "one"),
    ]


def test_line_numbers_of_late_rows_count_comments(tmp_path: Path):
    """The same for a row that is well written but comes too late, and for the samples behind it."""
    rows = [f"{n},{n}.5" for n in range(300)]
    rows[200:200] = ["7,9.5"]
    rows[100:100] = ["# note: one", "# two"]

    log = Log.open(write(tmp_path, "time_s,battery_v\n" + "\n".join(rows) + "\n"))

    assert [(note.line, note.text) for note in log.notes] == [
        (204, "1 row whose time does not increase was left out"),
        (102, "one"),
    ]
    assert log.trace(250, 250).values["battery_v"].tolist() == [250.5]


def test_block_that_looks_packed_is_not_unpacked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Polars unpacks what begins like gzip; a block of a log that does so by chance is read as the text it is."""
    log = Log.open(write(tmp_path, "time_s,battery_v\n0,12.5\n1,12.5\n"))

    def unpack(*_: object, **__: object) -> None:
        raise AssertionError("given to polars as it is")

    monkeypatch.setattr(pl, "read_csv", unpack)
    raw = log._table.parse(b"\x1f\x8b,1\n2,12.5\n")

    assert raw.values["battery_v"].tolist() == [12.5]
    assert [fault.count for fault in raw.faults] == [1]


@pytest.mark.parametrize("unit", ["°C", "℃", "C", "degC"])
def test_degrees_may_be_written_as_people_do(tmp_path: Path, unit: str):
    """The unit of a temperature in a header."""
    log = Log.open(write(tmp_path, f"time_s,battery_c [{unit}]\n0,20\n1,21\n"))

    assert log.trace(0, 1).values["battery_c"].tolist() == [20.0, 21.0]


def test_notes_come_into_the_result(tmp_path: Path):
    """A note that a tester wrote stands in the result of the check."""
    from benchlog import check

    plan = write(tmp_path, plan_toml_of(SimulatedInstall()), "plan.toml")

    result = check(write(tmp_path, NOTED), plan=plan)

    assert EXPECTED[1] in [(note.line, note.text) for note in result.notes]


def test_note_at_the_very_end_is_whole(tmp_path: Path):
    """A last line without its end is no cut sample where it is a comment."""
    log = Log.open(write(tmp_path, "time_s,battery_v\n0,12.5\n1,12.5\n# note: bye"))

    assert [(note.line, note.text) for note in log.notes] == [(4, "bye")]


def test_note_cannot_steer_a_terminal():
    """Control characters are blanked out, and a long text is cut."""
    (_, tame), (_, short) = notes_in([(1, "# note: a\x1b[31mb\x07"), (2, "# note: " + "x" * 999)])

    assert tame == "a [31mb"
    assert (len(short), short[-1]) == (300, "…")


def test_many_notes_are_summed_up():
    """50 notes are kept; the rest is a number, and memory does not grow with it."""
    written = Written()

    for piece in range(100):
        written.add([(n, f"{piece}.{n}") for n in range(10)], line=100 * piece)

    notes = list(written.notes())
    assert len(notes) == 51
    assert notes[0] == (0, "0.0")
    assert notes[49] == (409, "4.9")
    assert notes[50] == (500, "950 more notes follow in the log from here on")


def test_comments_are_cut_out_whole():
    """What is left are the rows, byte for byte, and each comment is known by its line."""
    data = b"#a\n1,2\n# b\n# c\n3,4\n5,#6\n#d"

    kept, comments = without_comments(data)

    assert kept == b"1,2\n3,4\n5,#6\n"
    assert comments == {0: b"#a\n", 2: b"# b\n", 3: b"# c\n", 6: b"#d"}


# ---- columns that were not used


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("batery_v", "battery_v"),
        ("Battery V", "battery_v"),
        ("feed-v", "feed_v"),
        ("Feed.V [mV]", "feed_v"),
        ("slot_3_a", "slot3_a"),
        ("trigerr_v", "trigger_v"),
        ("Time", "time_s"),
        ("elapsed (ms)", "time_s"),
        ("feedv", "feed_v"),
        ("FeedV", "feed_v"),
        ("Battery Voltage", "battery_v"),
        ("battery current", "battery_a"),
        ("BatteryVoltage", "battery_v"),
        ("gnd volts", "ground_v"),
        ("I_batt", "battery_a"),
        ("slot 2 amps", "slot2_a"),
        ("battery_mv", "battery_v"),
        ("battery temp", "battery_c"),
        ("millis", "time_s"),
        ("time_ms", "time_s"),
        ("Events", "mark"),
        ("rpm", None),
        ("Temperature", None),
        ("Voltage", None),
        ("Fuel1", None),
        ("slot13_a", None),
        ("humidity", None),
        ("lap_time", None),
        ("note", None),
    ],
)
def test_misspelt_roles_are_seen(header: str, meant: str | None):
    """A header that is nearly a role is taken for that one; other words are not."""
    assert meant_role(header) == meant


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("battery_mv", "battery_v [mV]"),
        ("Battery_V / mV", "battery_v [mV]"),
        ("feed-v (mV)", "feed_v [mV]"),
        ("drain µA", "drain_a"),  # no word that is known
        ("drain-a [µA]", "drain_a [uA]"),
        ("drain_ma", "drain_a [mA]"),
        ("time_ms", "time_s [ms]"),
        ("t (us)", "time_s [us]"),
        ("battery volts", "battery_v"),
        ("Battery V (mA)", "battery_v"),  # no unit of a voltage
        ("rpm", None),
    ],
)
def test_meant_header_keeps_the_unit(header: str, meant: str | None):
    """A rider who follows the advice for a column in mV or ms does not read it as V or s."""
    assert meant_header(header) == meant


@pytest.mark.parametrize("role", ROLE_UNITS)
def test_every_role_is_itself(role: str):
    """No role is taken for another one."""
    assert meant_role(role) == role


def test_leftovers_are_told_once():
    """Misspelt columns each, all others together; what was used, or has no name, not at all."""
    names = ["time_s", "battery_v", "feed-v", "", "rpm", *(f"x{n}" for n in range(9))]

    notes = list(leftover_notes(names, {0, 1}, {"time_s", "battery_v"}))

    assert notes == [
        "column feed-v was not used; did you mean feed_v?",
        "columns not used: rpm, x0, x1, x2, x3, x4, x5, x6 and 2 more",
    ]


@pytest.mark.parametrize("form", ["csv", "parquet", "frame"])
def test_leftovers_of_every_form(tmp_path: Path, form: str):
    """Text, tables and frames tell the same."""
    frame = pl.DataFrame({"time_s": [0.0, 1.0], "battery_v": [12.0, 12.1], "feed v": [1.0, 2.0]})
    if form == "frame":
        log = Log.from_frame(frame)
    else:
        path = tmp_path / f"log.{form}"
        getattr(frame, f"write_{form}")(path)
        log = Log.open(path)

    assert [note.text for note in log.notes] == ["column feed v was not used; did you mean feed_v?"]


# ---- headers that come again, and units below them


def test_header_that_comes_again_is_no_bad_row(tmp_path: Path):
    """A logger that writes its header again and again loses no sample by it, however often."""
    path = write(
        tmp_path, "time_s,battery_v,mark\n" + "".join(f"{n},12.5,\ntime_s,battery_v,mark\n" for n in range(50))
    )

    log = Log.open(path)

    assert log.rows == 50
    assert [(note.line, note.text) for note in log.notes] == [(3, "50 repeated header lines were skipped")]


@pytest.mark.parametrize("form", ["mV", "[mV]", "(mV)", " mV "])
def test_units_below_the_names_count(tmp_path: Path, form: str):
    """A line of units under the header is read, not passed over: 12,500 mV are 12.5 V, 2 ms are 0.002 s."""
    path = write(tmp_path, f"time_s,battery_v,feed_v,battery_a\nms,{form},V,mA\n0,12500,0.02,300\n2,12600,0.02,300\n")

    trace = Log.open(path).trace(0, 1)

    assert trace.time_s.tolist() == [0.0, 0.002]
    assert trace.values["battery_v"].tolist() == pytest.approx([12.5, 12.6])
    assert trace.values["feed_v"].tolist() == pytest.approx([0.02, 0.02])
    assert trace.values["battery_a"].tolist() == pytest.approx([0.3, 0.3])


@pytest.mark.parametrize("row", ["0,12500,", "0,12500,7,"])
def test_empty_cells_and_named_columns_are_no_decimal_commas(tmp_path: Path, row: str):
    """Whole numbers with empty cells at the line's end are read as they stand."""
    header = "time_s [ms],battery_v [mV]" + ",count" * (row.count(",") - 2)
    path = write(tmp_path, f"{header}\n{row}\n{row.replace('0,', '2,', 1)}\n")

    assert Log.open(path).trace(0, 1).values["battery_v"].tolist() == [12.5, 12.5]


# ---- times in the wrong unit


@pytest.mark.parametrize(
    ("unit", "span_s", "step_s", "hinted"),
    [
        ("s", 600.0, 0.001, False),
        ("s", 3 * 86400.0, 1.0, False),  # three days parked
        ("s", 600e3, 1.0, True),  # ten minutes in ms, read in s
        ("s", 600e6, 1000.0, True),  # ten minutes in us, read in s
        ("ms", 600e3, 1.0, True),  # ten minutes in us, read in ms
        ("us", 600e6, 0.001, False),  # nothing is finer than us
        ("us", 600e-6, 1e-9, True),  # ten minutes in s, read in us
        ("us", 600.0, 1e-5, False),  # 100,000 samples a second
        ("s", 1e-3, 1e-6, False),  # nothing is coarser than s
        ("s", 1e308, 1e308, True),
        ("iso8601", 600e6, 1000.0, False),
    ],
)
def test_only_senseless_times_are_doubted(unit: str, span_s: float, step_s: float, hinted: bool):
    """A log of days or of a million samples a second is doubted, if another unit would make sense of it."""
    assert (time_unit_hint(unit, span_s, step_s) is not None) is hinted


# ---- the end of a stretch


@pytest.mark.parametrize("end_s", [1.0, 9_000.1, 36_000.3, 1e9])
def test_last_sample_of_a_stretch_belongs_to_it(tmp_path: Path, end_s: float):
    """A sample at the very end is given, also hours into a log, where a picosecond is lost in the rounding."""
    path = write(tmp_path, f"time_s,battery_v\n0,12\n{end_s!r},12.5\n{2 * end_s!r},13\n")

    with Log.open(path) as log:
        assert log.trace(0, end_s).values["battery_v"].tolist() == [12.0, 12.5]


def test_zero_bytes_at_the_end_cost_nothing(tmp_path: Path):
    """Megabytes that a recorder laid out and never filled are no endless line."""
    path = write(tmp_path, b"time_s,battery_v\n0,12.5\n1,12.5\n2,1" + b"\0" * 5_000_000)

    log = Log.open(path, block_bytes=1 << 20)

    assert log.rows == 2
    assert [note.text for note in log.notes] == ["the last line is cut short and was left out"]


def test_reading_a_table_leaves_the_environment_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """What keeps polars from reading far ahead is set by the command in its own process, not by reading."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": [0.0, 1.0], "battery_v": [12.0, 12.1]}).write_parquet(path)

    monkeypatch.delenv("POLARS_ROW_GROUP_PREFETCH_SIZE", raising=False)
    Log.open(path)
    without = os.environ.get("POLARS_ROW_GROUP_PREFETCH_SIZE")
    monkeypatch.setenv("POLARS_ROW_GROUP_PREFETCH_SIZE", "7")
    Log.open(path)

    assert without is None
    assert os.environ["POLARS_ROW_GROUP_PREFETCH_SIZE"] == "7"
