"""Many logs on a Dask scheduler's workers: how much faster two are than one, what a log costs, the caller's memory.

    python tests/benchmarks/cluster_speed.py [--logs N] [--rounds N]         # about a minute a round of 100 logs
    python tests/benchmarks/cluster_speed.py --many 10000 [--rows N]         # two workers, memory, the same results

The logs are the sample acceptance log, each with another last row so that no two are the same file. In each round the
same logs are judged in turn by a loop in one process, by one worker and by two, all of one thread (the libraries'
threads too), and by two such loops at once: what the machine itself gives for two cores. Whoever's turn it is not is
stopped meanwhile. Figures are medians of the rounds' ratios. CPU time is of all processes that take part, which other
programs disturb less than the time by the clock. Nothing here is asserted.
"""

import argparse
import hashlib
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1])]

import psutil  # noqa: E402
from dask_cluster import Cluster, cluster_of  # noqa: E402

from benchlog.logger.model import load_logger  # noqa: E402
from benchlog.plan.model import load_plan  # noqa: E402
from benchlog.process.pool import side_by_side, workers_at  # noqa: E402
from benchlog.store.importing import _examine_imported, _ImportJob  # noqa: E402

SAMPLES = HERE.parents[1] / "sample_data"
#: Started as the room's README says: no sampling of stacks, and no clock that ticks 50 times a second.
ONE_THREAD = dict.fromkeys(("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
CALM = {"DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False", "DASK_DISTRIBUTED__ADMIN__TICK__INTERVAL": "1s"}
_CONTENTS = 500  # different files of --many; more names than these share them


def made(folder: Path, logs: int, rows: int | None = None) -> list[Path]:
    """So many logs of so many rows."""
    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)[:rows]
    last = lines[-1].rstrip("\n").rpartition(",")
    found = []
    for n in range(logs):
        path = folder / f"log {n:05}.csv"
        if n < _CONTENTS:
            path.write_text("".join(lines) + f"{last[0]},bench {n}\n", encoding="utf-8")
        else:
            path.hardlink_to(found[n % _CONTENTS])
        found.append(path)
    return found


def work() -> Callable[[Path], Any]:
    """What an import has each process do with a log, but for the copy."""
    plan, logger = load_plan(SAMPLES / "larch.plan.toml"), load_logger(SAMPLES / "acceptance.logger.toml")
    return partial(_examine_imported, job=_ImportJob(plan, logger, None, frozenset(), "bench"))


@dataclass(frozen=True)
class Took:
    """Of one log, on average.

    Attributes:
        wall_s, cpu_s: of all processes that take part. parts_s: CPU of the scheduler, the workers and the caller.
        digest: of all answers.
    """

    wall_s: float
    cpu_s: float
    parts_s: tuple[float, ...]
    digest: str


def cpu_s(pid: int) -> float:
    """CPU time of a process, s."""
    return sum(psutil.Process(pid).cpu_times()[:2])


def digest_of(answers: "Iterator[Any] | list[Any]") -> str:
    """Of every answer, to the last byte."""
    found = hashlib.sha256()
    for answer in answers:
        found.update(repr(answer).encode())
    return found.hexdigest()


class Anew:
    """A process that is started anew, not forked from one that has loaded all."""

    def __init__(self, said: Path, words: list[str]) -> None:
        self._said = said
        env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path[:2]), **ONE_THREAD, **CALM}
        with said.open("wb") as file:
            self._process = subprocess.Popen([sys.executable, *words], stdout=file, stderr=file, env=env)
        self.pid = self._process.pid

    def complained(self) -> str:
        """What it wrote until now."""
        return self._said.read_text(encoding="utf-8")

    def kill(self, how: int = signal.SIGKILL) -> None:
        """Send it a signal."""
        self._process.send_signal(how)

    def end(self) -> None:
        """Wait for its end."""
        self._process.wait()


class StartedAnew(Cluster):
    """A cluster of such processes."""

    def _started(self, kind: str, *words: str) -> Any:
        return Anew(self.folder / f"{kind} {len(self.workers)}", ["-m", "dask", kind, *words])


class Loop:
    """A process that judges logs one after another whenever it is asked to."""

    def __init__(self, folder: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, __file__, "--loop", folder],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env={**os.environ, **ONE_THREAD},
        )  # fmt: skip

    def ask(self) -> None:
        """Have it begin."""
        assert self._process.stdin is not None
        self._process.stdin.write("\n")
        self._process.stdin.flush()

    def answer(self) -> tuple[float, str]:
        """CPU time that it took, s, and the digest of its answers."""
        assert self._process.stdout is not None
        cpu, digest = self._process.stdout.readline().split()
        return float(cpu), digest

    def end(self) -> None:
        """Have it go."""
        self._process.communicate()


def loop(folder: Path) -> None:
    """Be such a process."""
    judge, logs = work(), sorted(folder.glob("*.csv"))
    judge(logs[0])
    for _ in sys.stdin:
        before = time.process_time()
        digest = digest_of(judge(log) for log in logs)
        print(time.process_time() - before, digest, flush=True)


def looped(loops: list[Loop], logs: int) -> Took:
    """Each judges all the logs, at the same time."""
    began = time.perf_counter()
    for one in loops:
        one.ask()
    told = [one.answer() for one in loops]
    wall_s, done = time.perf_counter() - began, logs * len(loops)
    return Took(wall_s / done, sum(cpu for cpu, _ in told) / done, (), told[0][1])


@contextmanager
def awake(cluster: Cluster) -> Iterator[None]:
    """Its processes run within, and are stopped again."""
    for process in (cluster.scheduler, *cluster.workers):
        process.kill(signal.SIGCONT)
    yield
    for process in (cluster.scheduler, *cluster.workers):
        process.kill(signal.SIGSTOP)


def on_workers(cluster: Cluster, logs: list[Path], judge: Callable[[Path], Any]) -> Took:
    """The cluster's workers judge them all, from the first log handed over to the last answer."""
    with awake(cluster):
        pids = [cluster.scheduler.pid, *(one.pid for one in cluster.workers), os.getpid()]
        crew = workers_at(cluster.address, [logs[0].parent])(judge)
        before, began = [cpu_s(pid) for pid in pids], time.perf_counter()
        digest = digest_of(side_by_side(judge, logs, 1, crew=lambda _: crew))
        wall_s = time.perf_counter() - began
        took = [(cpu_s(pid) - was) / len(logs) for pid, was in zip(pids, before, strict=True)]
    return Took(wall_s / len(logs), sum(took), (took[0], sum(took[1:-1]), took[-1]), digest)


def compared(logs: int, rounds: int) -> None:
    """Print a line a round and the medians."""
    judge = work()
    with tempfile.TemporaryDirectory() as temporary, ExitStack() as stack:
        folder = Path(temporary) / "logs"
        folder.mkdir()
        paths = made(folder, logs)
        clusters = {}
        for count in (1, 2):
            place = Path(temporary) / f"cluster{count}"
            place.mkdir()
            clusters[count] = stack.enter_context(cluster_of(place, count, StartedAnew))
            on_workers(clusters[count], paths[:10], judge)  # what is loaded late is loaded
        loops = [Loop(folder) for _ in range(2)]
        looped(loops, logs)
        runs: dict[str, Callable[[], Took]] = {
            "loop": lambda: looped(loops[:1], logs),
            "one": lambda: on_workers(clusters[1], paths, judge),
            "two": lambda: on_workers(clusters[2], paths, judge),
            "loops": lambda: looped(loops, logs),
        }
        found = []
        for n in range(rounds):
            found.append({name: runs[name]() for name in (list(runs) if n % 2 == 0 else reversed(runs))})
            tell_round(found[-1])
        for one in loops:
            one.end()
    tell_medians(found)


def tell_round(took: dict[str, Took]) -> None:
    """A line: logs a second and CPU a log of each."""
    parts = (f"{name} {1 / took[name].wall_s:.1f}/s {took[name].cpu_s * 1e3:.0f} ms" for name in sorted(took))
    same = len({one.digest for one in took.values()}) == 1
    told = "the same to the last byte" if same else "ANOTHER RESULT"
    print(f"{', '.join(parts)}; {told}, load {os.getloadavg()[0]:.1f}", flush=True)


def tell_medians(found: list[dict[str, Took]]) -> None:
    """What the rounds have in common."""

    def clock(first: str, second: str) -> float:
        return statistics.median(took[first].wall_s / took[second].wall_s for took in found)

    def cpu(first: str, second: str) -> float:
        return statistics.median(took[first].cpu_s / took[second].cpu_s for took in found)

    faster, most = clock("one", "two"), clock("loop", "loops")
    print(
        f"two workers are {faster:.2f} times as fast as one; two separate loops {most:.2f} times as fast as one loop: "
        f"{faster / most:.2f} of what the machine gives"
    )
    print(f"a log costs one worker {clock('one', 'loop'):.2f} times the loop's time by the clock")
    print(
        f"and of CPU {cpu('one', 'loop'):.2f} times; two workers {cpu('two', 'loop'):.2f} times the loop's, "
        f"{cpu('two', 'loops'):.2f} times that of two loops at once"
    )
    for name in ("one", "two"):
        parts = [statistics.median(took[name].parts_s[at] * 1e3 for took in found) for at in range(3)]
        print(f"{name}: CPU a log of scheduler {parts[0]:.1f}, workers {parts[1]:.1f}, caller {parts[2]:.1f} ms")


def many(logs: int, rows: int | None, each: int) -> None:
    """Judge so many on two workers; a line at each thousand; one log in ``each`` is judged here too and compared."""
    judge, me = work(), psutil.Process()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "logs"
        folder.mkdir()
        paths = made(folder, logs, rows)
        print(f"{logs} logs of {paths[0].stat().st_size / 1e6:.2f} MB", flush=True)
        with cluster_of(Path(temporary), 2, StartedAnew) as running:
            began, found = time.perf_counter(), {}
            crew = workers_at(running.address, [folder])
            for n, answer in enumerate(side_by_side(judge, paths, 1, crew=crew), start=1):
                if (n - 1) % each == 0:
                    found[n - 1] = digest_of([answer])
                if n in (100, 1000, logs) or n % 1000 == 0:
                    rate = n / (time.perf_counter() - began)
                    held = me.memory_info().rss / 1e6
                    print(
                        f"{n}: caller {held:.1f} MB, {rate:.1f} logs a second, load {os.getloadavg()[0]:.1f}",
                        flush=True,
                    )
        other = [n for n, digest in found.items() if digest_of([judge(paths[n])]) != digest]
        told = f"ANOTHER RESULT: logs {other}" if other else "the same to the last byte"
        print(f"{len(found)} of them judged again in one process: {told}")


def main() -> None:
    """Print the lines."""
    parser = argparse.ArgumentParser(description="many logs on a scheduler's workers")
    parser.add_argument("--logs", type=int, default=128, help="in each turn")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--many", type=int, help="so many logs on two workers, once")
    parser.add_argument("--rows", type=int, help="with --many: of each log, instead of all 36,000")
    parser.add_argument("--each", type=int, default=50, help="with --many: one log in so many is judged again here")
    parser.add_argument("--loop", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.loop is not None:
        loop(given.loop)
    elif given.many is not None:
        many(given.many, given.rows, given.each)
    else:
        compared(given.logs, given.rounds)


if __name__ == "__main__":
    main()
