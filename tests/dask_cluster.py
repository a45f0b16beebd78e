"""A Dask scheduler and workers of one thread each, for the tests and benchmarks of many logs."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from page_server import free_port, until
from program import ROOT, Started, start

#: What Dask's own commands ``dask scheduler`` and ``dask worker`` run.
COMMANDS = ("distributed.cli.dask_scheduler", "distributed.cli.dask_worker")
#: As where no benchlog is installed.
WITHOUT = "import sys; sys.modules |= {name: None for name in sys.modules if name.partition('.')[0] == 'benchlog'}"


class Cluster:
    """They run until ``close``."""

    def __init__(self, folder: Path) -> None:
        """Start the scheduler alone."""
        self.folder, self.number = folder, free_port()
        self.address = f"tcp://127.0.0.1:{self.number}"
        self.workers: list[Started] = []
        self._gone: list[Started] = []
        self.start_scheduler()

    def start_scheduler(self) -> None:
        """At the same address as before; where it runs there is no benchlog."""
        self.scheduler = self._started("scheduler", "--host", "127.0.0.1", "--port", str(self.number), "--no-dashboard")

    def answers(self) -> None:
        """Wait until the scheduler listens."""
        until(lambda: "Scheduler at" in self.scheduler.complained(), 60)

    def start_worker(self, *more: str, own: str = "") -> None:
        """One more, and wait until the scheduler knows it; ``own``: Python that is run in it first."""
        words = [self.address, "--nthreads", "1", "--no-dashboard", "--no-nanny", "--death-timeout", "60", *more]
        if own:
            preload = self.folder / f"own{len(self.workers)}.py"
            preload.write_text(own, encoding="utf-8")
            words += ["--preload", str(preload)]
        self.workers.append(self._started("worker", *words))
        until(lambda: "Registered to" in self.workers[-1].complained(), 60)

    @contextmanager
    def with_worker(self, own: str) -> Iterator[None]:
        """One more for a while, which runs this Python first; the scheduler then knows that it is gone."""
        gone = self.scheduler.complained().count("Remove worker")
        self.start_worker(own=own)
        yield
        self.kill(self.workers.pop())
        until(lambda: self.scheduler.complained().count("Remove worker") > gone, 60)

    def kill(self, process: Started) -> None:
        """As where a machine is switched off; once is enough."""
        if process not in self._gone:
            self._gone.append(process)
            process.kill()
            process.end()

    def close(self) -> None:
        """End them all."""
        for process in (*self.workers, self.scheduler):
            self.kill(process)

    def _started(self, kind: str, *words: str) -> Started:
        env = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}", "POLARS_MAX_THREADS": "1"}
        first = f"from distributed.cli.dask_{kind} import main; main()"
        if kind == "scheduler":
            first = f"{WITHOUT}; {first}"
        return start(*words, cwd=self.folder, env=env, first=first, more=COMMANDS)


@contextmanager
def cluster_of(folder: Path, workers: int = 2, kind: type[Cluster] = Cluster) -> Iterator[Cluster]:
    """A scheduler with so many workers."""
    running = kind(folder)
    try:
        for _ in range(workers):
            running.start_worker()
        yield running
    finally:
        running.close()
