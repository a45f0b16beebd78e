"""A Dask scheduler and workers of one thread each, for the tests and benchmarks of many logs."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from page_server import free_port, until

ROOT = Path(__file__).parent.parent
#: Started as the room's README says: one thread a library, no sampling of stacks and no clock that ticks 50 times a s.
ONE_THREAD = dict.fromkeys(("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
CALM = {"DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "False", "DASK_DISTRIBUTED__ADMIN__TICK__INTERVAL": "1s"}


class Cluster:
    """They run until ``close``."""

    def __init__(self, folder: Path) -> None:
        """Start the scheduler alone; what all of them say goes into files of the folder."""
        self.folder, self.number = folder, free_port()
        self.address = f"tcp://127.0.0.1:{self.number}"
        self.workers: list[subprocess.Popen[bytes]] = []
        self.start_scheduler()

    def start_scheduler(self) -> None:
        """At the same address as before; where it runs no benchlog is installed."""
        lacking = self.folder / "lacking.py"
        lacking.write_text("import sys\nsys.modules['benchlog'] = None\n", encoding="utf-8")
        words = ("--host", "127.0.0.1", "--port", str(self.number), "--no-dashboard", "--preload", str(lacking))
        self.scheduler = self._started("scheduler", *words)

    def answers(self) -> None:
        """Wait until the scheduler listens."""
        until(lambda: "Scheduler at" in self._said("scheduler"), 60)

    def start_worker(self, *more: str, own: str = "") -> None:
        """One more, and wait until the scheduler knows it; ``own``: Python that is run in it first."""
        words = [self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny", "--death-timeout", "60", *more]
        if own:
            preload = self.folder / f"own{len(self.workers)}.py"
            preload.write_text(own, encoding="utf-8")
            words += ["--preload", str(preload)]
        known = self._said("worker").count("Registered to")
        self.workers.append(self._started("worker", *words))
        until(lambda: self._said("worker").count("Registered to") > known, 60)

    @contextmanager
    def with_worker(self, own: str) -> Iterator[None]:
        """One more for a while, which runs this Python first; the scheduler then knows that it is gone."""
        gone = self._said("scheduler").count("Remove worker")
        self.start_worker(own=own)
        yield
        self.kill(self.workers.pop())
        until(lambda: self._said("scheduler").count("Remove worker") > gone, 60)

    def kill(self, process: "subprocess.Popen[bytes]") -> None:
        """As where a machine is switched off."""
        process.send_signal(signal.SIGKILL)
        process.wait()

    def close(self) -> None:
        """End them all."""
        for process in (*self.workers, self.scheduler):
            self.kill(process)

    def _started(self, kind: str, *words: str) -> "subprocess.Popen[bytes]":
        env = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}", **ONE_THREAD, **CALM}
        with (self.folder / kind).open("ab") as said:
            return subprocess.Popen(
                [sys.executable, "-m", "dask", kind, *words], stdout=said, stderr=said, env=env, cwd=self.folder
            )

    def _said(self, kind: str) -> str:
        said = self.folder / kind
        return said.read_text(encoding="utf-8") if said.exists() else ""


@contextmanager
def cluster_of(folder: Path, workers: int = 2) -> Iterator[Cluster]:
    """A scheduler with so many workers."""
    running = Cluster(folder)
    try:
        for _ in range(workers):
            running.start_worker()
        yield running
    finally:
        running.close()
