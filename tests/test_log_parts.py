"""Samples read through the finer index are those that the whole block gives, whatever stands in the log.

Each run draws the same logs; ``BENCHLOG_EXAMPLES=2000`` draws that many others.
"""

import gzip
import os
import tomllib
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import benchlog
from benchlog.core.errors import BadLog
from benchlog.core.trace import Trace
from benchlog.log import blocks
from benchlog.log.log import Log
from benchlog.log.readers import delimited
from benchlog.log.readers import parts as parts_module
from benchlog.log.readers.delimited import DelimitedLog
from benchlog.log.readers.frames import FrameLog
from benchlog.log.readers.parquet import ParquetLog
from benchlog.log.readers.parts import BlockParts
from benchlog.logger.model import Channel, Logger, LogTime
from benchlog.standin import SimulatedInstall, fast_logger, key_cycles, simulate

MORE = int(os.environ.get("BENCHLOG_EXAMPLES", "0"))
ROWS = 450
STEP_MS = 250
WRAPS_AT = 1 << 16
BEGIN = datetime(2025, 5, 1, 12, tzinfo=UTC)
CLOCKS = ("s", "counter", "epoch_ms", "iso8601", "rate")
#: What may stand in the place of a row, or between two.
ODD = (
    *("comment", "note", "empty", "zeros", "header", "few", "many", "unreadable", "over", "over words", "infinite"),
    *("no time", "missing", "quoted", "quoted line end", "one quote", "blanks", "backward", "again", "wild", "late"),
    *("mark", "several marks", "latin-1", "like gzip"),
)


@dataclass(frozen=True, slots=True)
class Form:
    """How a log is written: ``odd`` has what stands before which row; with ``leaps`` the voltage has some."""

    clock: str
    separator: str
    comma: bool
    eol: str
    spare: bool
    packed: bool
    cut: bool
    odd: tuple[tuple[int, str], ...]
    leaps: bool
    block_bytes: int
    parts: int


FORMS = st.builds(
    Form,
    clock=st.sampled_from(CLOCKS),
    separator=st.sampled_from([",", ";", "\t", " "]),
    comma=st.booleans(),
    eol=st.sampled_from(["\n", "\r\n"]),
    spare=st.booleans(),
    packed=st.booleans(),
    cut=st.booleans(),
    odd=st.lists(st.tuples(st.integers(1, ROWS - 1), st.sampled_from(ODD)), max_size=8).map(tuple),
    leaps=st.booleans(),
    block_bytes=st.sampled_from([700, 1500, 4000]),
    parts=st.sampled_from([8, 128]),
)


def time_of(form: Form, n: int) -> str:
    """The time cell of row ``n``."""
    ms = n * STEP_MS
    if form.clock == "counter":
        return str(ms % WRAPS_AT)
    if form.clock == "epoch_ms":
        return str(int(BEGIN.timestamp() * 1000) + ms)
    if form.clock == "iso8601":
        return (BEGIN + timedelta(milliseconds=ms)).strftime("%Y-%m-%dT%H:%M:%S.%f")
    return f"{ms / 1000:.3f}".replace(".", "," if form.comma and form.separator != "," else ".")


def lines_of(form: Form, seed: int) -> list[bytes]:
    """The log's lines."""
    draw = np.random.default_rng(seed)
    values = draw.integers(-1_000, 1_000, (ROWS, 2)) / 1000
    values[:, 0] += 12 * (np.arange(ROWS) // 64 % 2)
    decimal = "," if form.comma and form.separator != "," else "."
    timed = form.clock != "rate"

    def line(n: int, volts: str = "", amps: str = "", mark: str = "-", at: str = "") -> str:
        cells = [
            volts or f"{values[n, 0]:.3f}".replace(".", decimal),
            amps or f"{values[n, 1]:.3f}".replace(".", decimal),
        ]
        cells = [at or time_of(form, n), *cells] if timed else cells
        return form.separator.join([*cells, *(["7"] if form.spare else []), mark])

    header = form.separator.join([*(["t"] if timed else []), "U", "I", *(["other"] if form.spare else []), "mark"])
    written = {
        "comment": lambda _: ["# a comment, with commas"],
        "note": lambda _: ["# note: cold"],
        "empty": lambda _: [""],
        "zeros": lambda _: ["\0" * 40],
        "header": lambda _: [header],
        "few": lambda n: [time_of(form, n)],
        "many": lambda n: [line(n) + form.separator + "1" + form.separator + "2"],
        "unreadable": lambda n: [line(n, volts="12x")],
        "over": lambda n: [line(n, amps="OL")],
        "over words": lambda n: [line(n, amps="über")],
        "infinite": lambda n: [line(n, amps="inf")],
        "no time": lambda n: [line(n, at="nan")],
        "missing": lambda n: [line(n, volts="---")],
        "quoted": lambda n: [line(n, amps=f'"1{decimal}5"', mark='"key on"')],
        "quoted line end": lambda n: [line(n, mark='"key' + form.eol + 'on"')],
        "one quote": lambda n: [line(n, mark='3"lamp')],
        "blanks": lambda n: [" " + line(n) + " "],
        "backward": lambda n: [line(n, at=time_of(form, max(n - 30, 0)))],
        "again": lambda n: [line(n - 1)],
        "wild": lambda n: [line(n, at=time_of(form, n + 100_000))],
        "late": lambda n: [line(n, at=time_of(form, max(n - 70, 0)))],
        "mark": lambda n: [line(n, mark="key_on")],
        "several marks": lambda n: [line(n, mark="key_on;crank")],
        "latin-1": lambda n: [line(n, mark="\udcb5A")],
        "like gzip": lambda n: [line(n, at="x^")],
    }
    lines = [header]
    for n in range(ROWS):
        for place, kind in form.odd:
            if place == n:
                lines += written[kind](n)
        lines.append(line(n))
    end = [] if not form.cut else [time_of(form, ROWS)]
    return [text.encode("utf-8", "surrogateescape") for text in [*lines, *end]]


def logger_of(form: Form) -> Logger:
    """What the columns mean."""
    time = {"s": "s", "counter": "ms", "epoch_ms": "epoch_ms", "iso8601": "iso8601"}.get(form.clock)
    return Logger(
        time=None
        if time is None
        else LogTime.model_validate(
            {"column": "t", "unit": time, "wraps_at": WRAPS_AT if form.clock == "counter" else None}
        ),
        rate_hz=1000 / STEP_MS if time is None else None,
        channel=(
            Channel(column="U", role="battery_v", unit="V" if form.leaps else "mV"),
            Channel(column="I", role="battery_a", positive="charge", over_range=("OL", "über", "9.999")),
            Channel(column="mark", role="mark"),
        ),
    )


agrees = BlockParts.agrees


def same(one: Trace, other: Trace) -> bool:
    """Equal to the last bit."""
    return (
        one.time_s.tobytes() == other.time_s.tobytes()
        and {role: x.tobytes() for role, x in one.values.items()}
        == {role: x.tobytes() for role, x in other.values.items()}
        and {role: flags.tobytes() for role, flags in one.over.items()}
        == {role: flags.tobytes() for role, flags in other.over.items() if flags.any()}
    )


def windows_of(log: Log, form: Form, seed: int, count: int = 40) -> list[tuple[float, float]]:
    """Short stretches: at samples, between them, and where something odd stands."""
    draw = np.random.default_rng(seed)
    begins = draw.uniform(log.start_s - 1, log.end_s + 1, count)
    begins[::2] = np.round(begins[::2] * 4) / 4
    if form.odd:
        odd_s = log.start_s + np.array([place for place, _ in form.odd]) * STEP_MS / 1000
        begins[: count // 2] = draw.choice(odd_s, count // 2) + draw.integers(-4, 5, count // 2) / 4
    ends = begins + draw.choice([0.0, 0.25, 1.0, 3.3, 9.0], count)
    return [(float(a), float(b)) for a, b in zip(begins, ends, strict=True)]


@pytest.fixture
def strict(monkeypatch: pytest.MonkeyPatch) -> None:
    """Little is held as it passes, and a part that gives other samples than its block is told, not put right."""
    monkeypatch.setattr(blocks, "_PASSED_BYTES", 3000)
    monkeypatch.setattr(
        BlockParts, "agrees", lambda self, *given: agrees(self, *given) or pytest.fail("read otherwise")
    )


def opened(folder: Path, form: Form, seed: int) -> Log:
    """The log of this form."""
    data = form.eol.encode().join(lines_of(form, seed)) + (b"" if form.cut else form.eol.encode())
    path = folder / "log"
    path.write_bytes(gzip.compress(data, 1) if form.packed else data)
    return Log.open(path, logger_of(form), block_bytes=form.block_bytes)


@settings(
    max_examples=MORE or 20,
    derandomize=not MORE,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(form=FORMS, seed=st.integers(0, 1 << 20))
@pytest.mark.usefixtures("strict")
def test_a_window_is_a_slice_of_its_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: Form, seed: int):
    """Whatever clock, separator, line end, comment, quote, mark, bad row or odd time: not a bit differs."""
    monkeypatch.setattr(parts_module, "_PARTS", form.parts)
    try:
        log = opened(tmp_path, form, seed)
    except BadLog:
        return  # more than 1 % of the rows are bad
    with log:
        whole = log.trace(log.start_s, log.end_s)  # of whole blocks: no part of one serves
        for from_s, to_s in windows_of(log, form, seed):
            assert same(log.trace(from_s, to_s), whole.between(from_s, to_s)), (from_s, to_s)


PLAIN = Form(
    clock="s",
    separator=",",
    comma=False,
    eol="\n",
    spare=False,
    packed=False,
    cut=False,
    odd=(),
    leaps=False,
    block_bytes=1000,
    parts=8,
)


#: Each kind of row with a clock of its own, and each clock with a row that is no row and one that is out of order.
CLOCKED = [("s", kind) for kind in ("unreadable", "few", "comment", "wild", "late", "backward")]
CLOCKED += [(clock, kind) for clock in ("rate", "counter") for kind in ("unreadable", "backward")]
REST = [(clock, kind) for clock in ("rate", "counter") for kind in ("few", "comment", "wild", "late")]


@pytest.mark.parametrize(("clock", "kind"), [*CLOCKED, *(pytest.param(*row, marks=pytest.mark.long) for row in REST)])
@pytest.mark.usefixtures("strict")
def test_odd_rows_anywhere_in_a_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, clock: str, kind: str):
    """Be it the first row of a part, the last or one between: those after it count and rise as in the block."""
    monkeypatch.setattr(parts_module, "_PARTS", PLAIN.parts)
    read = []
    plain = DelimitedLog.part
    monkeypatch.setattr(DelimitedLog, "part", lambda self, *given: read.append(given) or plain(self, *given))
    for shift in range(7):  # rows in a part
        form = replace(PLAIN, clock=clock, odd=tuple((place + shift, kind) for place in (30, 100, 180)))
        with opened(tmp_path, form, shift) as log:
            whole = log.trace(log.start_s, log.end_s)
            for place, _ in form.odd:
                for begin_s in (log.start_s + np.arange(place - 4, place + 5) * STEP_MS / 1000).tolist():
                    for lasts_s in (0.0, 2.0):
                        log._blocks._read.clear()  # a longer stretch, read before, would serve
                        window = log.trace(begin_s, begin_s + lasts_s)
                        assert same(window, whole.between(begin_s, begin_s + lasts_s)), (begin_s, lasts_s)
    assert len(read) > 50


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The bytes that were parsed, one entry each time."""
    sizes: list[int] = []
    plain = delimited.regular_sheet
    monkeypatch.setattr(delimited, "regular_sheet", lambda data, layout: sizes.append(len(data)) or plain(data, layout))
    return sizes


def test_a_window_reads_little_of_its_block(tmp_path: Path, parsed: list[int]):
    """Of a block of 50 kB, a second's window parses some kB, and nothing when it is asked for again."""
    path = tmp_path / "log.csv"
    path.write_text("time_s,battery_v\n" + "".join(f"{n / 100:.2f},12.5\n" for n in range(50_000)), encoding="utf-8")
    with Log.open(path, block_bytes=50_000) as log:
        parsed.clear()

        first = log.trace(100.0, 101.0)

        assert len(first) == 101
        assert len(parsed) == 1
        assert 1000 < parsed[0] < 3000
        assert same(log.trace(100.2, 100.8), first.between(100.2, 100.8))
        assert len(parsed) == 1


def test_leaps_are_held_as_they_pass(tmp_path: Path, parsed: list[int]):
    """Where a line of the bike is switched, nothing is read again to look at it; elsewhere it is."""
    path = tmp_path / "log.csv"
    rows = [f"{n / 100:.2f},{12.5 if 3000 < n < 5000 else 0.0}\n" for n in range(50_000)]
    path.write_text("time_s,trigger_v\n" + "".join(rows), encoding="utf-8")
    with Log.open(path, block_bytes=20_000) as log:
        parsed.clear()

        around = [log.trace(at_s - 0.5, at_s + 1.0, ["trigger_v"]) for at_s in (30.0, 50.0)]

        assert [len(trace) for trace in around] == [151, 151]
        assert [float(np.ptp(trace.values["trigger_v"])) for trace in around] == [12.5, 12.5]
        assert parsed == []
        assert len(log.trace(100.0, 101.0)) == 101
        assert len(parsed) == 1


def test_what_is_held_has_bounds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """A line that is switched all the time, and windows all over the log, make it hold no more than it may."""
    monkeypatch.setattr(blocks, "_PASSED_BYTES", 50_000)
    monkeypatch.setattr(blocks, "_READ_BYTES", 20_000)
    path = tmp_path / "log.csv"
    rows = [f"{n / 100:.2f},{12.5 if n % 900 < 450 else 0.0}\n" for n in range(50_000)]
    path.write_text("time_s,trigger_v\n" + "".join(rows), encoding="utf-8")
    with Log.open(path, block_bytes=20_000) as log:
        for from_s in range(0, 490, 3):
            log.trace(from_s, from_s + 1.0)

        for held, most in ((log._blocks._passed, 50_000), (log._blocks._read, 20_000)):
            size = sum(stretch.size for stretch in held._held.values())
            assert most / 2 < size <= most
            assert held.room == most - size


@pytest.mark.parametrize("kind", ["parquet", "frame"])
def test_tables_are_read_in_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str):
    """A window of a table is a slice of it, and reads some rows of it alone."""
    count = 20_000
    draw = np.random.default_rng(3)
    time_s = np.arange(count) / 100
    time_s[draw.integers(1, count, 20)] -= 0.5  # rows that do not rise
    frame = pl.DataFrame({"time_s": time_s, "battery_v": draw.normal(12.5, 0.1, count)})
    sizes = []
    owner = ParquetLog if kind == "parquet" else FrameLog
    plain = owner.load
    monkeypatch.setattr(owner, "load", lambda self, piece: sizes.append(piece.size) or plain(self, piece))
    if kind == "parquet":
        frame.write_parquet(tmp_path / "log.parquet", row_group_size=3000)
        log = Log.open(tmp_path / "log.parquet", block_bytes=80_000)
    else:
        log = Log.from_frame(frame, block_bytes=80_000)
    with log:
        whole = log.trace(log.start_s, log.end_s)
        sizes.clear()
        for from_s in draw.uniform(0, 150, 40).tolist():
            assert same(log.trace(from_s, from_s + 0.7), whole.between(from_s, from_s + 0.7))

    assert 0 < max(sizes) < 200


def test_a_file_that_was_written_over_ends_in_no_fault_of_ours(tmp_path: Path):
    """Where the lines of a block no longer lie where they did, the block is read as a whole."""
    path = tmp_path / "log.csv"
    text = "time_s,battery_v\n" + "".join(f"{n / 100:.2f},12.5\n" for n in range(50_000))
    path.write_text(text, encoding="utf-8")
    with Log.open(path, block_bytes=50_000) as log:
        assert len(log.trace(100.0, 101.0)) == 101
        with path.open("r+b") as file:
            file.write(b"1" * len(text))

        log.trace(110.0, 111.0)


def test_turns_of_the_key_are_held_as_they_pass(tmp_path: Path, parsed: list[int]):
    """A check of a log reads hardly more of it again where the key turns often: not one stretch more a turn of it."""
    again = []
    for turns in (1, 8):
        script = key_cycles(turns, rest_s=12, on_s=10, off_s=14, settle_s=200 - 24 * turns)
        made = simulate(SimulatedInstall(), script, fast_logger(200), np.random.default_rng(3))
        path = tmp_path / f"{turns}.csv"
        made.frame.drop(columns=["mark"]).to_csv(path, index=False)
        with Log.open(path, block_bytes=1 << 21) as log:
            log._blocks._held.clear()  # as in a long log
            parsed.clear()

            result = benchlog.check(log, plan=tomllib.loads(made.plan_toml))

        assert len(result.key_events) == 2 * turns
        again.append(len(parsed))

    # some stretches between are looked at, a dozen at most however often the key turns
    assert again[1] <= again[0] + 8
