"""How long a check takes beside only reading the same file, how much memory it needs, and how light ``--help`` is.

    python tests/benchmarks/check_speed.py [--rows N] [--rounds N] [--keep FOLDER]

Ratios are of whole processes run in turn, so that both carry their start-up and meet the same machine; the time that
the reading alone takes inside its process stands beside them. Nothing here is asserted.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

READING = """
import sys, time
import polars as pl
path, began = sys.argv[1], time.perf_counter()
scan = pl.scan_parquet if path.endswith(".parquet") else pl.scan_csv
scan(path).select(pl.all().sum()).collect(engine="streaming")
print(time.perf_counter() - began)
"""
BARE_IMPORT = "import typer, rich"


@dataclass(frozen=True)
class Run:
    """One process: wall time, CPU time, peak memory, and what it printed."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    out: str


def run(command: list[str]) -> Run:
    """Run a process to its end, in silence."""
    began = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        out = process.stdout.read() if process.stdout else ""
        _, _, usage = os.wait4(process.pid, 0)
    return Run(time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1000, out)


def make_log(folder: Path, rows: int) -> tuple[Path, Path, Path]:
    """A log of the acceptance test followed by a long key-off, five columns at 1 kHz; as CSV and Parquet, and a plan.

    The simulated stretch is 400 s long; what follows repeats its key-off end, so any length is made quickly.
    """
    import numpy as np
    import polars as pl

    from benchlog.standin import Install, acceptance_script, fast_logger, simulate

    spec = fast_logger(1000).only("battery_v", "battery_a", "trigger_v", "feed_v")
    sim = simulate(Install(), acceptance_script(settle_s=320, marks=False), spec, np.random.default_rng(5))
    frame = pl.from_pandas(sim.frame.drop(columns=["mark"]))
    calm = frame.tail(100_000)
    csv, parquet, plan = folder / "log.csv", folder / "log.parquet", folder / "plan.toml"
    done, part, parts = 0, frame, []
    with csv.open("wb") as file:
        while done < rows:
            part = part.head(rows - done)
            part = part.with_columns(time_s=(pl.int_range(pl.len()) + done) / 1000)
            part.write_csv(file, include_header=done == 0)
            parts.append(part)
            done += part.height
            part = calm
    pl.concat(parts).write_parquet(parquet, row_group_size=1 << 20)
    plan.write_text(sim.plan_toml, encoding="utf-8")
    return csv, parquet, plan


def beside(name: str, reading: list[str], checking: list[str], rounds: int) -> None:
    """Time two commands in turn and print one line."""
    pairs = [(run(reading), run(checking)) for _ in range(rounds)]
    read = statistics.median(pair[0].wall_s for pair in pairs)
    check = statistics.median(pair[1].wall_s for pair in pairs)
    ratio = statistics.median(b.wall_s / a.wall_s for a, b in pairs)
    inside = [float(a.out) for a, _ in pairs if a.out.strip()]
    only = f", the reading alone {statistics.median(inside):.2f} s" if inside else ""
    cpu = statistics.median(b.cpu_s / a.cpu_s for a, b in pairs)
    peak = max(b.peak_mb for _, b in pairs)
    base = max(a.peak_mb for a, _ in pairs)
    print(
        f"{name}: {check:.2f} s against {read:.2f} s{only}; ratio {ratio:.2f} (CPU {cpu:.2f}), "
        f"peak {peak:.0f} MB against {base:.0f} MB"
    )


def main() -> None:
    """Print all lines."""
    parser = argparse.ArgumentParser(description="time and memory of a check beside only reading the log")
    parser.add_argument("--rows", type=int, default=10_800_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--keep", type=Path, help="make the log here and keep it")
    given = parser.parse_args()
    command = [sys.executable, "-c", "from benchlog.cli import main; main()"]
    bare = [sys.executable, "-c", BARE_IMPORT]
    beside("benchlog --help beside importing typer and rich", bare, [*command, "--help"], max(given.rounds, 7))
    with tempfile.TemporaryDirectory() as temporary:
        folder = given.keep or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        csv, parquet, plan = make_log(folder, given.rows)
        print(f"{given.rows:,} rows, five columns: {csv.stat().st_size / 1e6:.0f} MB of text")
        for log in (csv, parquet):
            reading = [sys.executable, "-c", READING, str(log)]
            checking = [*command, "check", str(log), "--plan", str(plan), "--json", "-"]
            beside(f"check of {log.suffix[1:]} beside reading it", reading, checking, given.rounds)


if __name__ == "__main__":
    main()
