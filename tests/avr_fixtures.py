"""The AVR logger's real image on a board of the tests' own: built once, run under simavr, and read.

The board is C (``tests/avr_board``): the chips' registers, the bus, the pins and mishaps. What it gave is its truth.
"""

import json
import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

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
    """Board and image."""
    folder = tmp_path_factory.mktemp("avr")
    return Built(build_board(folder), build_image(folder), folder)


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
