"""Many short logs on a Dask scheduler's workers: logs a second with one and two of them, and what a log costs.

    python tests/benchmarks/cluster_speed.py [--logs N] [--logger-rows N]

The logs are the sample acceptance log, cut, each with another last row so that no two are the same file. One process,
one worker and two workers judge the same folder in turn, each of one thread (the libraries' threads too). CPU time is
that of all processes that take part, which other programs do not disturb; wall time they do: the load stands beside.
Nothing here is asserted.
"""

import argparse
import os
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]

import psutil  # noqa: E402
from dask_cluster import cluster_of  # noqa: E402

from benchlog.logger.model import load_logger  # noqa: E402
from benchlog.plan.model import load_plan  # noqa: E402
from benchlog.process.pool import side_by_side, workers_at  # noqa: E402
from benchlog.store.importing import _examine_imported, _ImportJob  # noqa: E402

SAMPLES = HERE.parents[1] / "sample_data"


def made(folder: Path, logs: int) -> list[Path]:
    """So many logs."""
    text = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8")
    rows = text.rstrip("\n").splitlines()
    last = rows[-1].rpartition(",")
    found = []
    for n in range(logs):
        path = folder / f"log {n:05}.csv"
        path.write_text(text + f"{last[0]},bench {n}\n", encoding="utf-8")
        found.append(path)
    return found


def cpu_s(pids: list[int]) -> float:
    """CPU time of this process and others, s."""
    return sum(sum(psutil.Process(pid).cpu_times()[:2]) for pid in (os.getpid(), *pids))


def timed(what: str, run: Callable[[], object], logs: int, pids: list[int]) -> tuple[float, float, object]:
    """Run it, print a line; seconds a log by the clock and of CPU, and what came of it."""
    before, began = cpu_s(pids), time.perf_counter()
    found = run()
    wall_s, own_s = time.perf_counter() - began, cpu_s(pids) - before
    peak_mb = psutil.Process().memory_info().rss / 1e6
    print(
        f"{what}: {logs / wall_s:.1f} logs a second, {own_s / logs * 1000:.1f} ms of CPU a log, "
        f"caller {peak_mb:.0f} MB, load {os.getloadavg()[0]:.1f}",
        flush=True,
    )
    return wall_s / logs, own_s / logs, found


def main() -> None:
    """Print the lines."""
    parser = argparse.ArgumentParser(description="many logs on a scheduler's workers")
    parser.add_argument("--logs", type=int, default=300)
    given = parser.parse_args()
    job = _ImportJob(
        load_plan(SAMPLES / "larch.plan.toml"),
        load_logger(SAMPLES / "acceptance.logger.toml"),
        None,
        frozenset(),
        "bench",
    )
    work = partial(_examine_imported, job=job)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        logs = made(folder, given.logs)
        here = partial(lambda: [work(path) for path in logs])
        work(logs[0])
        _, alone_cpu, alone = timed("one process", here, len(logs), [])
        rates = {}
        for workers in (1, 2):
            place = folder / f"cluster{workers}"
            place.mkdir()
            with cluster_of(place, workers) as running:
                pids = [process.pid for process in (running.scheduler, *running.workers)]
                crew = workers_at(running.address, [folder])
                there = partial(lambda crew: list(side_by_side(work, logs, 1, crew=crew)), crew)
                list(side_by_side(work, logs[:8], 1, crew=crew))
                rates[workers], own_cpu, found = timed(f"{workers} worker(s)", there, len(logs), pids)
            print(f"  CPU a log {own_cpu / alone_cpu:.2f} times one process, {_same(found, alone)}", flush=True)
            shutil.rmtree(place)
        print(f"two workers are {rates[1] / rates[2]:.2f} times as fast as one", flush=True)


def _same(found: object, alone: object) -> str:
    return "the same to the last byte" if repr(found) == repr(alone) else "ANOTHER RESULT"


if __name__ == "__main__":
    main()
