"""Samples read through the finer index are those that the whole block gives, whatever stands in the log.

Each run draws the same logs; ``BENCHLOG_EXAMPLES=2000`` draws that many others.
"""

import gzip
import os
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchlog import blocks
from benchlog.errors import BadLog
from benchlog.log import Log
from benchlog.logger import Channel, Logger, LogTime
from benchlog.readers import raw
from benchlog.readers.parts import Parts
from benchlog.trace import Trace

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


agrees = Parts.agrees


def same(one: Trace, other: Trace) -> bool:
    """Equal to the last bit."""
    return (
        one.time_s.tobytes() == other.time_s.tobytes()
        and {role: x.tobytes() for role, x in one.values.items()}
        == {role: x.tobytes() for role, x in other.values.items()}
        and {role: flags.tobytes() for role, flags in one.over.items()}
        == {role: flags.tobytes() for role, flags in other.over.items() if flags.any()}
    )


def windows_of(log: Log, seed: int, count: int = 40) -> list[tuple[float, float]]:
    """Short stretches, some of which begin and end on samples."""
    draw = np.random.default_rng(seed)
    begins = draw.uniform(log.start_s - 1, log.end_s + 1, count)
    begins[::2] = np.round(begins[::2] * 4) / 4
    ends = begins + draw.choice([0.0, 0.25, 1.0, 3.3, 9.0], count)
    return [(float(a), float(b)) for a, b in zip(begins, ends, strict=True)]


@settings(
    max_examples=MORE or 150,
    derandomize=not MORE,
    database=None,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(form=FORMS, seed=st.integers(0, 1 << 20))
def test_a_window_is_a_slice_of_its_blocks(tmp_path: Path, monkeypatch: Any, form: Form, seed: int):
    """Whatever clock, separator, line end, comment, quote, mark, bad row or odd time: not a bit differs."""
    monkeypatch.setattr(raw, "_PARTS", form.parts)
    monkeypatch.setattr(blocks, "_PASSED_BYTES", 3000)
    monkeypatch.setattr(Parts, "agrees", lambda self, *given: agrees(self, *given) or pytest.fail("read otherwise"))
    data = form.eol.encode().join(lines_of(form, seed)) + (b"" if form.cut else form.eol.encode())
    path = tmp_path / "log"
    path.write_bytes(gzip.compress(data, 1) if form.packed else data)
    try:
        log = Log.open(path, logger_of(form), block_bytes=form.block_bytes)
    except BadLog:
        return  # more than 1 % of the rows are bad
    with log:
        whole = log.trace(log.start_s, log.end_s)  # of whole blocks: no part of one serves
        for from_s, to_s in windows_of(log, seed):
            assert same(log.trace(from_s, to_s), whole.between(from_s, to_s)), (from_s, to_s)
