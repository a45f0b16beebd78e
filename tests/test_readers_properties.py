"""Facts that hold for any log, plan and logger file, tried on many drawn ones.

Each run draws the same ones; ``BENCHLOG_EXAMPLES=2000`` draws that many others.
"""

import codecs
import gzip
import io
import os
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
import zstandard
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchlog.core.errors import BenchlogError
from benchlog.core.roles import ROLE_UNITS, SLOTS, UNITS
from benchlog.log.log import Log
from benchlog.logger.model import Channel, Logger, LoggerFile, LogTime, load_logger, logger_from_mapping
from benchlog.plan.model import CHEMISTRIES, Plan, load_plan, plan_from_mapping

MORE = int(os.environ.get("BENCHLOG_EXAMPLES", "0"))


def drawn(examples: int) -> Callable[[Any], Any]:
    """So many examples, the same ones in every run unless more are asked for."""
    return settings(
        max_examples=MORE or examples,
        derandomize=not MORE,
        database=None,
        deadline=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )


# ---- any log that can be written is read back


@dataclass(frozen=True, slots=True)
class Form:
    """How a log is written.

    Attributes:
        separator, comma: between cells; whether numbers have a decimal comma.
        encoding, eol, packing: of the file.
        above: lines before the header. between: comment lines, each before the row with its number.
        header: the columns are named; else the logger file numbers them.
        missing: how a cell without a value is written.
        wraps_at: the time is a counter in ms that starts again there; None for seconds as they are.
        repeats: rows that are written a second time, and rows that come with the time of a row before.
        cut: the last line lacks its end.
    """

    separator: str
    comma: bool
    encoding: str
    eol: str
    packing: str
    above: tuple[str, ...]
    between: tuple[int, ...]
    header: bool
    missing: str
    wraps_at: int | None
    repeat: int | None
    cut: bool
    block_bytes: int


FORMS = st.builds(
    Form,
    separator=st.sampled_from([",", ";", "\t", " "]),
    comma=st.booleans(),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le-bom", "latin-1"]),
    eol=st.sampled_from(["\n", "\r\n"]),
    packing=st.sampled_from(["", "gz", "zst"]),
    above=st.lists(
        st.sampled_from(["Bench record", "# made by hand", "Operator: µ", "", "# note: cold"]), max_size=3
    ).map(tuple),
    between=st.lists(st.integers(0, 99), max_size=3).map(tuple),
    header=st.booleans(),
    missing=st.sampled_from(["", "nan", "NaN", "---", "-"]),
    wraps_at=st.sampled_from([None, None, 1 << 16]),
    repeat=st.one_of(st.none(), st.integers(1, 99)),
    cut=st.booleans(),
    block_bytes=st.sampled_from([300, 1 << 20]),
)
Rows = list[tuple[float | None, ...]]


def table_of(seed: int, rows: int, gaps: float) -> Rows:
    """Voltage and current in thousandths; so many of the cells hold nothing, but the first ones do."""
    draw = np.random.default_rng(seed)
    cells = draw.integers(-50_000, 50_000, (rows, 2)) / 1000
    empty = draw.random((rows, 2)) < gaps
    empty[0] = False
    return [
        tuple(None if gap else float(cell) for cell, gap in zip(*row, strict=True))
        for row in zip(cells, empty, strict=True)
    ]


#: At least 100 rows, so that one bad one is no reason to refuse.
TABLES = st.builds(table_of, st.integers(0, 1 << 20), st.integers(101, 130), st.sampled_from([0.0, 0.1, 0.9]))
STEP_MS = 750


def written(rows: Rows, form: Form) -> tuple[bytes, Logger | None, list[int]]:
    """The log as bytes, its logger file where it needs one, and the lines of the notes."""
    decimal = "," if form.comma and form.separator != "," else "."
    missing = form.missing or ("nan" if form.separator == " " else "")

    def cell(value: float | None) -> str:
        return missing if value is None else f"{value:.3f}".replace(".", decimal)

    lines = [*form.above]
    if form.header:
        lines.append(form.separator.join(["t", "U", "I", "note_µ"]))
    for n, (volts, amps) in enumerate(rows):
        if n in form.between:
            lines.append(f"# note: before {n}")
        time = (n * STEP_MS) % (form.wraps_at or 1 << 62)
        shown = str(time) if form.wraps_at else cell(time / 1000)
        line = form.separator.join([shown, cell(volts), cell(amps), "µ" if n == 1 else "-"])
        lines.append(line)
        if n == form.repeat:
            lines.append(line)
    if form.cut:
        lines.append(f"{len(rows) * STEP_MS % (form.wraps_at or 1 << 62)}{form.separator}1")
    text = form.eol.join(lines) + ("" if form.cut else form.eol)
    noted = [number for number, line in enumerate(lines, start=1) if line.startswith("# note: ")]
    encoded = (
        codecs.BOM_UTF16_LE + text.encode("utf-16-le")
        if form.encoding == "utf-16-le-bom"
        else text.encode(form.encoding)
    )
    columns: list[str | int] = ["t", "U", "I", "note_\u03bc"] if form.header else [1, 2, 3, 4]
    logger = Logger(
        time=LogTime(column=columns[0], unit="ms" if form.wraps_at else "s", wraps_at=form.wraps_at),
        channel=(
            Channel(column=columns[1], role="battery_v"),
            Channel(column=columns[2], role="battery_a", positive="charge"),
            Channel(column=columns[3], role="mark"),
        ),
    )
    return encoded, logger, noted


def packed(data: bytes, packing: str) -> bytes:
    """The same, compressed or not."""
    if packing == "gz":
        return gzip.compress(data)
    return zstandard.compress(data) if packing == "zst" else data


@drawn(60)
@given(rows=TABLES, form=FORMS)
def test_any_written_log_reads_back(tmp_path: Path, rows: Rows, form: Form):
    """Encoding, separator, decimal mark, comments, packing, a wrap, a repeated and a cut row change no sample."""
    data, logger, noted = written(rows, form)
    path = tmp_path / "log"
    path.write_bytes(packed(data, form.packing))

    with Log.open(path, logger, block_bytes=form.block_bytes) as log:
        trace = log.trace(log.start_s, log.end_s)

        assert trace.time_s == pytest.approx(np.arange(len(rows)) * STEP_MS / 1000, abs=1e-9)
        for column, (role, sign) in enumerate((("battery_v", 1.0), ("battery_a", -1.0))):
            expected = [np.nan if row[column] is None else sign * row[column] for row in rows]
            assert np.array_equal(trace.values[role], expected, equal_nan=True), role
        assert [mark.text for mark in log.marks if mark.time_s == STEP_MS / 1000] == ["µ"] * (form.repeat is None or 1)
        assert sorted(note.line for note in log.notes if note.text.startswith(("before", "cold"))) == noted
        told = " ".join(note.text for note in log.notes)
        assert ("does not increase" in told) is (form.repeat is not None and form.repeat < len(rows))
        assert ("is cut short" in told) is form.cut


@drawn(13)
@given(
    rows=TABLES,
    compression=st.sampled_from(["zstd", "snappy", "gzip", "uncompressed"]),
    group=st.sampled_from([10, 64, 1000]),
    kind=st.sampled_from([pl.Float64, pl.Float32, pl.String]),
    packing=st.sampled_from(["", "gz", "zst"]),
    block_bytes=st.sampled_from([400, 1 << 20]),
)
def test_any_parquet_log_reads_back(
    tmp_path: Path,
    rows: Rows,
    compression: Any,
    group: int,
    kind: "type[pl.DataType]",
    packing: str,
    block_bytes: int,
):
    """A table reads back whatever its groups, types and packing."""
    frame = pl.DataFrame(
        {
            "time_s": np.arange(len(rows)) * 0.75,
            "battery_v": pl.Series([row[0] for row in rows], dtype=pl.Float64).cast(kind),
            "battery_a": pl.Series([row[1] for row in rows], dtype=pl.Float64).cast(kind),
        }
    )
    held = io.BytesIO()
    frame.write_parquet(held, compression=compression, row_group_size=group)
    path = tmp_path / "log.parquet"
    path.write_bytes(packed(held.getvalue(), packing))

    with Log.open(path, block_bytes=block_bytes) as log:
        trace = log.trace(log.start_s, log.end_s)

        assert np.array_equal(trace.time_s, np.arange(len(rows)) * 0.75)
        for column, role in enumerate(("battery_v", "battery_a")):
            wide = frame[role].cast(pl.Float64).fill_null(float("nan")).to_numpy()
            assert np.array_equal(trace.values[role], wide, equal_nan=True), column


# ---- any bytes end in a result or one plain message

SCRAPS = (
    *(b"time_s,battery_v\n", b"0,12.5\n", b"1;12,5\n", b"#", b'"', b"\r", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\n"),
    *(b"\x1f\x8b", b"\x28\xb5\x2f\xfd", b"PAR1", b"nan", b"1e400,", b"-inf,", b",", b"# note: x\n", b"x^", b"\x85"),
    *(b"[install]\n", b"bike = 3\n", b"[[channel]]\n", b'role = "mark"\n', b"[time]\n", b"battery_v [mV]\t"),
)
LOOSE = st.one_of(st.binary(max_size=400), st.lists(st.sampled_from(SCRAPS), max_size=60).map(b"".join))


def ends_plainly(read: Callable[[], object]) -> None:
    """Run it: a ``BenchlogError`` is fine if it says something in words of its own; nothing else is."""
    said = "nothing at all, it was read"
    try:
        read()
    except BenchlogError as refused:
        said = str(refused)

    assert len(said) > 20
    assert "Traceback" not in said


def opened(path: Path, block_bytes: int) -> None:
    """Read a log to its end."""
    with Log.open(path, block_bytes=block_bytes) as log:
        log.trace(log.start_s, log.end_s)


@drawn(150)
@given(data=LOOSE, block_bytes=st.sampled_from([7, 1 << 20]))
def test_any_bytes_as_a_log(tmp_path: Path, data: bytes, block_bytes: int):
    """Whatever a log holds, it is read or refused."""
    path = tmp_path / "log.csv"
    path.write_bytes(data)

    ends_plainly(lambda: opened(path, block_bytes))


@drawn(75)
@given(data=LOOSE, read=st.sampled_from([load_plan, load_logger]))
def test_any_bytes_as_a_file_of_settings(tmp_path: Path, data: bytes, read: Callable[[Path], object]):
    """Whatever a plan or logger file holds, it is read or refused."""
    path = tmp_path / "file.toml"
    path.write_bytes(data)

    ends_plainly(lambda: read(path))


SOUND = io.BytesIO()
pl.DataFrame({"time_s": np.arange(300) / 10, "battery_v": 12.0 + np.arange(300) % 7}).write_parquet(
    SOUND, row_group_size=100
)


@drawn(50)
@given(size=st.integers(1, len(SOUND.getvalue()) - 1), tail=st.binary(max_size=12))
def test_any_cut_of_a_parquet_log(tmp_path: Path, size: int, tail: bytes):
    """A table cut short anywhere, with or without rubbish behind the cut, is refused: its contents stand at the end."""
    path = tmp_path / "log.parquet"
    path.write_bytes(SOUND.getvalue()[:size] + tail)

    with pytest.raises(
        BenchlogError, match=r"damaged or cut short|neither text nor|no line of numbers|no column is known"
    ):
        opened(path, 1 << 20)


KEYS = (
    *("install", "bike", "battery", "chemistry", "circuit", "slot", "limits", "charging_min_v", "charging_max_v"),
    *("time", "channel", "role", "unit", "column", "shunt_mohm", "length_ft", "logger"),
)
JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(KEYS), inner, max_size=5)),
    max_leaves=15,
)


@drawn(100)
@given(
    data=st.dictionaries(
        st.sampled_from(["install", "battery", "circuit", "limits", "time", "channel"]), JSON, max_size=4
    ),
    read=st.sampled_from([plan_from_mapping, logger_from_mapping]),
)
def test_any_mapping_as_settings(data: dict[str, Any], read: Callable[[dict[str, Any]], object]):
    """Whatever tables a program hands over, they are taken or refused."""
    ends_plainly(lambda: read(data))


# ---- plan and logger go around unchanged

WORDS = st.text("abcdefgh µ", min_size=1, max_size=9).filter(lambda text: text == text.strip())
ABOVE_0 = st.floats(0.001, 99).map(lambda value: round(value, 3))
WIRES = st.sampled_from(["4 mm2", "0.75 mm2", "12 AWG"])
LENGTHS = st.sampled_from([{}, {"length_m": 1.5}, {"length_ft": 4.0}])


def some(**keys: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """A table with some of these keys."""
    return st.fixed_dictionaries({}, optional=keys)


PLANS = st.fixed_dictionaries(
    {
        "install": st.fixed_dictionaries({"bike": WORDS}, optional={"notes": WORDS}),
        "battery": st.fixed_dictionaries({"chemistry": st.sampled_from(CHEMISTRIES), "capacity_ah": ABOVE_0}),
    },
    optional={
        "relay": some(
            trigger=WORDS, coil_a=ABOVE_0, suppression=st.sampled_from(["none", "diode"]), pull_in_max_ms=ABOVE_0
        ),
        "feed": st.builds(dict.__or__, some(conductor=WIRES, fuse_a=ABOVE_0, drop_max_v=ABOVE_0), LENGTHS),
        "ground": st.builds(dict.__or__, some(conductor=WIRES, lift_max_v=ABOVE_0), LENGTHS),
        "circuit": st.lists(st.integers(1, SLOTS), unique=True, max_size=SLOTS).flatmap(
            lambda slots: st.tuples(
                *(
                    st.fixed_dictionaries(
                        {"slot": st.just(slot), "device": WORDS, "planned_a": ABOVE_0},
                        optional={"tolerance_pct": ABOVE_0, "fuse_a": ABOVE_0, "conductor": WIRES},
                    )
                    for slot in slots
                )
            ).map(list)
        ),
        "limits": some(off_state_drain_ma=ABOVE_0, crank_min_v=ABOVE_0, feed_in_crank=st.sampled_from(["hold", "any"])),
    },
)


@st.composite
def loggers(draw: st.DrawFn) -> dict[str, Any]:
    """A valid logger file."""
    roles = draw(
        st.lists(
            st.sampled_from([role for role in ROLE_UNITS if role != "time_s"]), unique=True, min_size=1, max_size=6
        )
    )
    channels = []
    for role in roles:
        channel: dict[str, Any] = {"column": f"col {role}", "role": role}
        own = ROLE_UNITS[role]
        if own != "text":
            channel["unit"] = draw(
                st.sampled_from([unit for unit, (canonical, _) in UNITS.items() if canonical == own])
            )
            channel |= draw(some(scale=ABOVE_0, offset=ABOVE_0, gain_error_pct=ABOVE_0, resolution=ABOVE_0))
        if own == "A":
            channel |= draw(some(positive=st.sampled_from(["charge", "discharge"]), over_range=st.just(["OL", "-1"])))
        channels.append(channel)
    time = draw(
        st.sampled_from([{"logger": {"name": "x", "rate_hz": 10.0}}, {"time": {"column": 1, "unit": "us"}}, {}])
    )
    return {**time, "channel": channels}


def toml(data: dict[str, Any]) -> str:
    """These tables as a TOML file."""

    def value(of: object) -> str:
        if isinstance(of, list):
            return "[" + ", ".join(map(value, of)) + "]"
        return f'"{of}"' if isinstance(of, str) else repr(of)

    text = ""
    for name, tables in data.items():
        for table in tables if isinstance(tables, list) else [tables]:
            text += f"[[{name}]]\n" if isinstance(tables, list) else f"[{name}]\n"
            text += "".join(f"{key} = {value(of)}\n" for key, of in table.items())
    return text


def given_only(model: Plan | LoggerFile | Logger) -> dict[str, Any]:
    """What a model was given, as plain tables."""
    return model.model_dump(exclude_unset=True, mode="json")


@drawn(40)
@given(data=PLANS)
def test_any_valid_plan_goes_around(tmp_path: Path, data: dict[str, Any]):
    """A plan from tables, its file, and the plan from its own dump are one and the same."""
    path = tmp_path / "plan.toml"
    path.write_text(toml(data), encoding="utf-8")
    data = tomllib.loads(toml(data))  # without empty lists

    plan = plan_from_mapping(data)

    assert load_plan(path) == plan
    assert given_only(plan) == data
    assert plan_from_mapping(given_only(plan)) == plan


@drawn(40)
@given(data=loggers())
def test_any_valid_logger_goes_around(tmp_path: Path, data: dict[str, Any]):
    """The same for a logger file; a unit that is left out is the role's own."""
    path = tmp_path / "mine.logger.toml"
    path.write_text(toml(data), encoding="utf-8")

    logger = logger_from_mapping(data)

    assert load_logger(path) == logger
    again = {"logger": {"name": logger.name}, "channel": logger.model_dump(mode="json")["channel"]}
    if logger.time is not None:
        again["time"] = given_only(logger)["time"]
    if logger.rate_hz is not None:
        again["logger"]["rate_hz"] = logger.rate_hz
    assert logger_from_mapping(again) == logger
    for channel, given_channel in zip(logger.channel, data["channel"], strict=True):
        assert channel.role == given_channel["role"]
        assert channel.unit == given_channel.get("unit", ROLE_UNITS[channel.role])
