"""How long a check takes beside only reading the same file, how much memory it needs, and how light ``--help`` is.

    python tests/benchmarks/check_speed.py [--rows N] [--rounds N] [--turns N ...] [--text] [--keep FOLDER]

12 hours at 1 kHz are ``--rows 43200000``. The key turns so many times an hour: seldom, and often. A check of the sample
logs tells what does not grow with a log. Ratios are of whole processes run in turn, so that both carry their start-up
and meet the same machine; beside them stand those of the work alone, timed inside the processes after their imports.
Nothing here is asserted.
"""

import argparse
import itertools
import os
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from benchlog.standin import Script

READING = """
import sys, time
import polars as pl
path, began = sys.argv[1], time.perf_counter()
scan = pl.scan_parquet if path.endswith(".parquet") else pl.scan_csv
scan(path).select(pl.all().sum()).collect(engine="streaming")
print(time.perf_counter() - began)
"""
CHECKING = """
import sys, time
import polars as pl
import benchlog.log.log, benchlog.examine, benchlog.verdict.causes, benchlog.verdict.checks, benchlog.run
began = time.perf_counter()
benchlog.run.check(sys.argv[1], plan=sys.argv[2])
print(time.perf_counter() - began)
"""
SAMPLES = Path(__file__).parents[2] / "sample_data"
#: Of the key in an hour of the log.
SELDOM, OFTEN = 2, 60
#: The smallest program whose help typer and rich print: importing both, and what they load to draw it.
BARE_HELP = "import sys, typer; sys.argv[1:] = ['--help']; typer.run(lambda: None)"
COMMAND = [sys.executable, "-c", "from benchlog.__main__ import main; main()"]


@dataclass(frozen=True)
class Run:
    """One process: wall time, CPU time, peak memory, and what it printed."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    out: str


def run(command: list[str]) -> Run:
    """Run a process to its end, in silence; its byte code is kept between runs, as that of an installed program is."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    began = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=env) as process:
        out = process.stdout.read() if process.stdout else ""
        _, _, usage = os.wait4(process.pid, 0)
    return Run(time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1000, out)


def make_log(folder: Path, rows: int, *, packed: bool = True, turns: int = SELDOM) -> tuple[Path, Path, Path]:
    """A log of the acceptance test and a long key-off, five columns at 1 kHz, as CSV and (``packed``) Parquet; a plan.

    The simulated stretch is 400 s long; what follows repeats its key-off end, so any length is made quickly.
    ``turns`` of the key come in each hour of it: on for ten seconds, then off.
    """
    import numpy as np
    import polars as pl

    from benchlog.standin import SimulatedInstall, acceptance_script, fast_logger, key_cycles, simulate

    spec = fast_logger(1000).only("battery_v", "battery_a", "trigger_v", "feed_v")

    def simulated(script: "Script") -> pl.DataFrame:
        found = simulate(SimulatedInstall(), script, spec, np.random.default_rng(5))
        plan.write_text(found.plan_toml, encoding="utf-8")
        return pl.from_pandas(found.frame.drop(columns=["mark"]))

    csv, parquet, plan = folder / "log.csv", folder / "log.parquet", folder / "plan.toml"
    frame = simulated(acceptance_script(settle_s=320, marks=False))
    calm = frame.tail(100_000)
    cycle = [calm]
    if turns:
        once = simulated(key_cycles(1, rest_s=5, on_s=10, settle_s=min(320, 7200 / turns - 15)))
        left = 7_200_000 // turns - once.height
        cycle = [once, *[calm] * (left // calm.height), calm.head(left % calm.height)]
    done, parts = 0, []
    with csv.open("wb") as file:
        for part in itertools.chain([frame], itertools.cycle(cycle)):
            if done >= rows:
                break
            part = part.head(rows - done).with_columns(time_s=(pl.int_range(pl.len()) + done) / 1000)
            part.write_csv(file, include_header=done == 0)
            parts.append(part.lazy())
            done += part.height
    if packed:
        pl.concat(parts).sink_parquet(parquet, row_group_size=1 << 20, maintain_order=True)
    return csv, parquet, plan


@dataclass(frozen=True)
class Beside:
    """Medians of a check and of only reading, whole processes; ratios are medians of those of each pair.

    Attributes:
        inside, reading_inside_s, checking_inside_s: the same after the imports; None where that was not timed.
    """

    name: str
    check_s: float
    read_s: float
    ratio: float
    cpu_ratio: float
    peak_mb: float
    base_mb: float
    inside: float | None = None
    reading_inside_s: float | None = None
    checking_inside_s: float | None = None

    def __str__(self) -> str:
        text = (
            f"{self.name}: {self.check_s:.2f} s against {self.read_s:.2f} s; ratio {self.ratio:.2f} "
            f"(CPU {self.cpu_ratio:.2f}), peak {self.peak_mb:.0f} MB against {self.base_mb:.0f} MB"
        )
        if self.inside is not None:
            text += (
                f"; without start-up {self.checking_inside_s:.2f} s against {self.reading_inside_s:.2f} s, "
                f"ratio {self.inside:.2f}"
            )
        return text


def beside(name: str, reading: list[str], checking: list[str], rounds: int, inside: list[str] | None = None) -> Beside:
    """Time commands in turn, and print one line."""
    runs = [(run(reading), run(checking), run(inside) if inside else None) for _ in range(rounds)]
    pairs = [(float(a.out), float(c.out)) for a, _, c in runs if c is not None]
    middle = statistics.median
    found = Beside(
        name,
        check_s=middle(b.wall_s for _, b, _ in runs),
        read_s=middle(a.wall_s for a, _, _ in runs),
        ratio=middle(b.wall_s / a.wall_s for a, b, _ in runs),
        cpu_ratio=middle(b.cpu_s / a.cpu_s for a, b, _ in runs),
        peak_mb=max(b.peak_mb for _, b, _ in runs),
        base_mb=max(a.peak_mb for a, _, _ in runs),
        inside=middle(c / a for a, c in pairs) if pairs else None,
        reading_inside_s=middle(a for a, _ in pairs) if pairs else None,
        checking_inside_s=middle(c for _, c in pairs) if pairs else None,
    )
    print(found, flush=True)
    return found


def light_help(rounds: int) -> Beside:
    """How light ``--help`` is."""
    bare = [sys.executable, "-c", BARE_HELP]
    return beside("benchlog --help beside the smallest typer program's", bare, [*COMMAND, "--help"], max(rounds, 7))


def samples(rounds: int) -> Run:
    """The check of the sample logs that the README shows; the middle one of the rounds by wall time."""
    logs = [str(SAMPLES / name) for name in ("acceptance.csv", "overnight.csv")]
    before = ["--before", str(SAMPLES / "before.csv"), "--plan", str(SAMPLES / "larch.plan.toml")]
    runs = [run([*COMMAND, "check", *logs, *before]) for _ in range(max(rounds, 7))]
    middle = sorted(runs, key=lambda one: one.wall_s)[len(runs) // 2]
    print(f"check of the sample logs: {middle.wall_s:.2f} s, CPU {middle.cpu_s:.2f} s, peak {middle.peak_mb:.0f} MB")
    return middle


def of_rows(
    rows: int, rounds: int, *, packed: bool = True, turns: int = SELDOM, keep: Path | None = None
) -> dict[str, Beside]:
    """Ending of the log -> how its check stands beside reading it."""
    found = {}
    with tempfile.TemporaryDirectory() as temporary:
        folder = keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        # in a process of its own: the system counts a parent's memory at the start to its children's peak
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as maker:
            csv, parquet, plan = maker.submit(make_log, folder, rows, packed=packed, turns=turns).result()
        text_mb = csv.stat().st_size / 1e6
        print(f"{rows:,} rows, five columns, {turns} turns of the key an hour: {text_mb:.0f} MB of text", flush=True)
        for log in (csv, parquet) if packed else (csv,):
            reading = [sys.executable, "-c", READING, str(log)]
            inside = [sys.executable, "-c", CHECKING, str(log), str(plan)]
            checking = [*COMMAND, "check", str(log), "--plan", str(plan), "--json", "-"]
            kind = log.suffix[1:]
            found[kind] = beside(f"check of {kind} beside reading it", reading, checking, rounds, inside)
    return found


def main() -> None:
    """Print all lines."""
    parser = argparse.ArgumentParser(description="time and memory of a check beside only reading the log")
    parser.add_argument("--rows", type=int, default=10_800_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--turns", type=int, nargs="+", default=[SELDOM, OFTEN], help="of the key an hour")
    parser.add_argument("--text", action="store_true", help="no Parquet")
    parser.add_argument("--keep", type=Path, help="make the log here and keep it")
    given = parser.parse_args()
    light_help(given.rounds)
    samples(given.rounds)
    for turns in given.turns:
        of_rows(given.rows, given.rounds, packed=not given.text, turns=turns, keep=given.keep)


if __name__ == "__main__":
    main()
