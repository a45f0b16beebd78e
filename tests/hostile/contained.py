"""Run a command in a child with bounds on its memory and time, and tell what it took."""

import contextlib
import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

#: What no child of the trial may have, bytes of memory in use and seconds.
MOST_BYTES, MOST_S = 2 << 30, 60.0
_LOOK_S = 0.05
TOP = Path(__file__).parent.parent.parent


@dataclass(frozen=True, slots=True)
class Ended:
    """How a child ended.

    Attributes:
        status: exit status; negative where a signal ended it.
        said: what it wrote, standard output and standard error together.
        seconds, cpu_s, megabytes: what it took: by the clock, of the processors, of memory at most.
        stopped: it was ended by the trial, over memory or time.
    """

    status: int
    said: bytes
    seconds: float
    cpu_s: float
    megabytes: float
    stopped: bool

    @property
    def answer(self) -> str:
        """The last line that says something, or how it ended."""
        if self.stopped:
            return "ENDED BY THE TRIAL"
        lines = [line for line in self.said.decode("utf-8", "replace").splitlines() if line.strip()]
        traceback = "TRACEBACK " if b"Traceback (most recent" in self.said else ""
        return f"{traceback}{self.status}: {lines[-1].strip()[:150] if lines else '(nothing)'}"


def contained(command: Sequence[str | os.PathLike[str]], folder: Path, more: Mapping[str, str] | None = None) -> Ended:
    """Run a command to its end, or end it.

    Args:
        command: program and words. folder: that it runs in, and keeps its data in. more: environment.
    """
    environment = {**os.environ, "PYTHONPATH": str(TOP), "BENCHLOG_DATA": str(folder / "data"), **(more or {})}
    started = time.monotonic()
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=said,
            start_new_session=True,
            preexec_fn=_bounded,  # noqa: PLW1509 it takes no lock
        )
        over = threading.Event()
        watch = threading.Thread(target=_watch, args=(child.pid, started, over), daemon=True)
        watch.start()
        _, code, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(code)
        seconds = time.monotonic() - started
        said.seek(0)
        cpu_s = usage.ru_utime + usage.ru_stime
        # a child counts what its parent had as it began as well, so the trial itself stays small
        return Ended(child.returncode, said.read(1 << 20), seconds, cpu_s, usage.ru_maxrss / 1024, over.is_set())


def benchlog(*words: str | os.PathLike[str]) -> list[str | os.PathLike[str]]:
    """The command line of benchlog."""
    return [sys.executable, "-m", "benchlog", *words]


def _bounded() -> None:
    # addresses, not memory: polars takes many gigabytes of those and uses few
    resource.setrlimit(resource.RLIMIT_AS, (16 << 30, 16 << 30))
    resource.setrlimit(resource.RLIMIT_FSIZE, (3 << 30, 3 << 30))
    resource.setrlimit(resource.RLIMIT_CPU, (int(2 * MOST_S), int(2 * MOST_S)))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _watch(pid: int, started: float, over: threading.Event) -> None:
    """End the child's own group once it takes too much."""
    page = os.sysconf("SC_PAGE_SIZE")
    while True:
        try:
            pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
        except (OSError, IndexError):
            return
        if pages * page > MOST_BYTES or time.monotonic() - started > MOST_S:
            over.set()
            with contextlib.suppress(ProcessLookupError):
                os.killpg(pid, signal.SIGKILL)
            return
        time.sleep(_LOOK_S)
