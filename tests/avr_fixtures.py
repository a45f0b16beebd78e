"""The AVR logger's real image on a board of the tests' own: built once, run under simavr, and read.

The board is C (``tests/avr_board``): the chips' registers, the bus, the pins and mishaps. What it gave is its truth.
"""

import fcntl
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from benchlog.standin import (
    Action,
    ChannelSpec,
    LoggerSpec,
    Script,
    SimulatedInstall,
    Simulation,
    acceptance_script,
    simulate,
)

ROOT = Path(__file__).parent.parent
FIRMWARE = ROOT / "firmware_notes" / "avr"
LOGGER = FIRMWARE / "avr.logger.toml"
RATE_HZ, PERIOD_US, CYCLES = 250, 4000, 64000
COLUMNS = "t_us,shunt1,bus1,shunt2,bus2,in_battery,in_86,in_87,in_bus,dropped,mark"
CELLS = ["shunt1", "bus1", "shunt2", "bus2", "in1", "in2", "in3", "in4"]


def tool(name: str, package: str) -> str:
    """A program that the tests need; its absence is a failure, never a skip."""
    found = shutil.which(name)
    assert found, f"{name} is missing: apt-get install {package}"
    return found


def build_image(folder: Path, *options: str) -> Path:
    """The image, by the script that a builder uses."""
    tool("avr-gcc", "gcc-avr avr-libc")
    folder.mkdir(exist_ok=True)
    done = subprocess.run(["sh", FIRMWARE / "build", folder, *options], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder / "logger.elf"


def build_board(folder: Path) -> Path:
    """The board, with Debian's simavr."""
    board = folder / "board"
    sources = sorted((ROOT / "tests" / "avr_board").glob("*.c"))
    assert Path("/usr/include/simavr/sim_avr.h").exists(), "simavr is missing: apt-get install libsimavr-dev libelf-dev"
    flags = ["-std=gnu11", "-O2", "-Wall", "-Wextra", "-Werror"]
    done = subprocess.run(
        [tool("gcc", "gcc"), *flags, "-o", board, *sources, "-lsimavr", "-lelf", "-lm"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return board


def names(image: Path) -> str:
    """The image's symbols."""
    return subprocess.run(["avr-nm", image], capture_output=True, text=True, check=True).stdout


@dataclass(frozen=True)
class Built:
    """What is built once: the board, the image, and a folder for more."""

    board: Path
    image: Path
    folder: Path

    def command(self, scene: Path, truth: Path, seconds: float, *more: object, image: Path | None = None) -> list[str]:
        """How the board is started."""
        start = [self.board, image or self.image, "--scene", scene, "--truth", truth, "--seconds", seconds, *more]
        return [str(word) for word in start]


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Board and image, made by the first process of the tests that needs them."""
    base = tmp_path_factory.getbasetemp()
    shared = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "avr_built"
    shared.mkdir(exist_ok=True)
    with (shared / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / "done").exists():
            build_board(shared)
            build_image(shared)
            (shared / "done").touch()
    return Built(shared / "board", shared / "logger.elf", tmp_path_factory.mktemp("avr"))


def write_scene(path: Path, rows: np.ndarray) -> Path:
    """Rows of t_us, shunt 1 (nV), bus 1 (uV), shunt 2, bus 2, then the four pins (mV)."""
    np.savetxt(path, np.asarray(rows), fmt="%d", delimiter=",")
    return path


#: A battery at rest: 12 A on the large shunt would be 9 mV; the small one is at 0.25 mV.
QUIET = [[0, 9_000_000, 12_600_000, 250_000, 12_500_000, 787, 700, 690, 12]]


def random_scene(rng: np.random.Generator, seconds: float, every_us: int = 1000) -> np.ndarray:
    """Voltages anywhere, also beyond every range, that change at each row."""
    rows = int(seconds * 1e6 / every_us)
    low = [-100_000_000, 0, -100_000_000, 0, 0, 0, 0, 0]
    high = [100_000_000, 42_000_000, 100_000_000, 42_000_000, 1200, 1200, 1200, 1200]
    return np.c_[np.arange(rows) * every_us, rng.uniform(low, high, size=(rows, 8)).astype(np.int64)]


@dataclass(frozen=True)
class Ran:
    """What came of a run.

    Attributes:
        lines: as they came over the serial line, the last without its end if it was cut.
        truth: one row a sample that was begun; ``start`` counts resets, ``cycle`` is the processor's.
        figures: what the board printed.
    """

    lines: list[str]
    truth: pl.DataFrame
    figures: dict[str, Any]

    @property
    def notes(self) -> list[str]:
        """Notes in the stream, in order."""
        return [line.removeprefix("# note: ") for line in self.lines if line.startswith("# note: ")]

    @property
    def samples(self) -> list[list[str]]:
        """The cells of each whole sample line; a wrong checksum fails."""
        rows = []
        for line in self.lines:
            if line.startswith("#") or not re.search(r"\*[0-9A-F]{2}$", line):
                continue  # a note, or what a reset or the end cut off
            body, _, told = line.rpartition("*")
            assert f"{reduce(lambda a, b: a ^ b, body.encode()):02X}" == told, line
            if body != COLUMNS:
                rows.append(body.split(","))
        return rows

    def starts(self) -> list[list[list[str]]]:
        """The samples of each start of the logger: its clock begins again."""
        starts: list[list[list[str]]] = [[]]
        for row in self.samples:
            if starts[-1] and int(row[0]) < int(starts[-1][-1][0]) and int(row[0]) < 1_000_000:
                starts.append([])
            starts[-1].append(row)
        return starts


def read_truth(path: Path) -> pl.DataFrame:
    """The board's truth."""
    return pl.read_csv(path, schema_overrides={"cycle": pl.Int64})


def run_board(
    built: Built,
    scene: np.ndarray | Sequence[Sequence[int]],
    seconds: float,
    *more: object,
    happenings: Sequence[tuple[int, str, int]] = (),
    image: Path | None = None,
) -> Ran:
    """Run an image, its serial line written to a file."""
    folder = built.folder
    scene_file = write_scene(folder / "scene.csv", np.asarray(scene))
    happens = folder / "happenings.csv"
    happens.write_text("".join(f"{at},{what},{number}\n" for at, what, number in happenings))
    out, truth = folder / "out.txt", folder / "truth.csv"
    command = built.command(scene_file, truth, seconds, "--out", out, "--happenings", happens, *more, image=image)
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120, check=False)
    assert (done.returncode, done.stderr) == (0, ""), done.stderr
    return Ran(
        out.read_text("latin-1").split("\n"), read_truth(truth), json.loads(done.stdout.strip().rpartition("\n")[2])
    )


def expected(truth: pl.DataFrame, from_us: int = 0) -> list[list[str]]:
    """The first nine cells of each sample of one start: by the cycle at which it began, and by what the chips gave."""
    whole = truth.filter(pl.col("conversions") == 16)
    cycles = whole["cycle"].to_numpy()
    nth = np.rint((cycles - truth["cycle"][0]) / CYCLES).astype(np.int64) + 1
    times = (from_us + nth * PERIOD_US) % (1 << 32)
    texts = whole.select(pl.col(CELLS).cast(pl.String).fill_null("")).rows()
    return [[str(time), *cells] for time, cells in zip(times.tolist(), texts, strict=True)]


def install_scene(sim: Simulation) -> np.ndarray:
    """The voltages that an install puts on the board's inputs, from a simulated log without errors.

    Shunts of 0.75 and 100 mOhm, dividers of 150 over 10 kOhm before three pins, the ground bus straight on the fourth.
    """
    frame = sim.frame
    volts = {role: frame[role].to_numpy() for role in frame.columns if role not in ("time_s", "mark")}
    pins = [volts["battery_v"] / 16, volts["trigger_v"] / 16, volts["feed_v"] / 16, volts["ground_v"]]
    columns = [
        frame["time_s"].to_numpy() * 1e6,
        volts["battery_a"] * 0.75e-3 * 1e9,
        volts["battery_v"] * 1e6,
        volts["battery_a"] * 100e-3 * 1e9,
        volts["feed_v"] * 1e6,
        *(np.clip(np.round(pin * 1e3), 0, None) for pin in pins),
    ]
    return np.round(np.column_stack(columns)).astype(np.int64)


def exact_logger(rate_hz: float = 1000.0) -> LoggerSpec:
    """What the wires carry, without a logger's errors."""
    roles = ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")
    units = ("V", "A", "V", "V", "V")
    return LoggerSpec(rate_hz, tuple(ChannelSpec(role, unit) for role, unit in zip(roles, units, strict=True)))


#: The logger's two buttons are pressed for a zero before the test, as its notes ask.
ZERO_FROM_S, ZERO_TO_S = 1.0, 7.0


def short_acceptance(install: SimulatedInstall | None = None, running_s: float = 8.0) -> Simulation:
    """The acceptance test in a minute: zero, rest, key on, four circuits, crank, running, key off, asleep after 3 s."""
    install = replace(install or SimulatedInstall(), awake=((0.35, 3.0),))
    steps = acceptance_script(
        rest_s=6.0, slot_every_s=2.0, all_on_s=4.0, running_s=running_s, settle_s=20.0, marks=False
    )
    zero = (Action(ZERO_FROM_S - 0.5, "zero", mark=False), Action(ZERO_TO_S + 0.5, "zero end", mark=False))
    shifted = steps.shifted(8.0)
    script = Script(steps.end_s + 8.0, (*zero, *shifted.actions))
    limits = {"settle_max_s": 8, "added_drain_ma": None, "charging_balance_min_a": None}
    return simulate(install, script, exact_logger(), np.random.default_rng(1), limits)


def zero_presses() -> list[tuple[int, str, int]]:
    """The left button pressed and let go twice."""
    presses = [(at, "zero", 0) for at in (ZERO_FROM_S, ZERO_FROM_S + 0.2, ZERO_TO_S, ZERO_TO_S + 0.2)]
    return [(int(at * 1e6), what, number) for at, what, number in presses]


def benchlog(*words: object) -> list[str]:
    """The command line, from this tree."""
    return [sys.executable, "-m", "benchlog", *(str(word) for word in words)]


def record(board: list[str], log: Path, *more: object) -> dict[str, Any]:
    """The board on a pseudo-terminal, and ``benchlog record`` on its other end until everything is on disk."""
    with subprocess.Popen(board, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as board_process:
        assert board_process.stdout is not None
        assert board_process.stdin is not None
        port = next(line.strip() for line in board_process.stdout if line.startswith("/dev/"))
        words = benchlog("record", port, "--out", log, "--baud", 250_000, *more)
        with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as recorder:
            figures = next((line for line in board_process.stdout if line.startswith("{")), "")
            time.sleep(0.5)  # the last of it is in the system's buffer, and read at once
            recorder.send_signal(signal.SIGINT)
            told, problems = recorder.communicate(timeout=30)
            board_process.stdin.close()
        assert board_process.wait(30) == 0
    assert recorder.returncode == 0, problems
    return {**json.loads(figures), "told": told, "port": port}
