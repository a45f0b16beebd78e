"""A check in a process of its own: bounded in memory and time, and ended at once when it is no longer wanted.

It ends with the server too, since its standard input does. What it gives back holds no open file: the logs are drawn
from copies that it made.
"""

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from benchlog.core.errors import BenchlogError
from benchlog.logger.model import Logger
from benchlog.plan.model import Plan
from benchlog.verdict.result import Result

#: Memory that a check may have, bytes, and for each of its logs' bytes; and time, s, with a second for so many bytes.
MOST_BYTES, BYTES_A_BYTE, MOST_S, BYTES_A_S = 1 << 30, 4, 120.0, 500_000

Tell = Callable[[str, int, int], None]
Found = TypeVar("Found", covariant=True)


class Apart(Protocol[Found]):
    """Work for a process of its own."""

    @property
    def most_bytes(self) -> int:
        """Of memory, bytes."""

    @property
    def most_s(self) -> float:
        """Of time, s."""

    def do(self, tell: Tell) -> Found:
        """Do it; ``tell`` is told how far it is."""


@dataclass(frozen=True, slots=True)
class Errand:
    """What is to be checked.

    Attributes:
        logs, before, logger, plan: paths of dropped files; a plan on file as it is.
        keep_in: an empty folder for the copies that are drawn.
        most_bytes, most_s: of memory and time.
    """

    logs: tuple[Path, ...]
    before: Path | None
    logger: Path | None
    plan: Path | Plan
    keep_in: Path
    most_bytes: int
    most_s: float

    def do(self, tell: Tell) -> "Brought":
        """Check it."""
        return _checked(self, tell)


@dataclass(frozen=True, slots=True)
class Brought:
    """What comes back: a result with its evidence, the plan and logger as read, and each log's copy."""

    result: Result
    plan: Plan
    logger: Logger | None
    copies: tuple[Path, ...]


def bounds_of(sizes: int) -> tuple[int, float]:
    """Memory, bytes, and time, s, for logs of so many bytes."""
    return MOST_BYTES + BYTES_A_BYTE * sizes, MOST_S + sizes / BYTES_A_S


def run_apart(errand: Apart[Found], tell: Tell, begun: Callable[[Callable[[], None]], None]) -> Found:
    """Have it done by a process of its own.

    Args:
        tell: told how far it is. begun: takes what ends the process.

    Raises:
        BenchlogError: a file cannot be used, it took more than it may, or it was ended.
    """
    apart: dict[str, Any] = {"process_group": 0} if os.name == "posix" else {}  # Ctrl-C is the server's
    process = subprocess.Popen(
        [sys.executable, "-P", "-c", "from dashboards.apart import serve_one; serve_one()"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        **apart,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    late = threading.Timer(errand.most_s, process.kill)
    late.daemon = True
    begun(process.kill)
    try:
        late.start()
        with suppress(BrokenPipeError):  # it has ended: what it did not say tells
            pickle.dump(errand, process.stdin)
            process.stdin.flush()
        while True:
            try:
                kind, *said = pickle.load(process.stdout)
            except (EOFError, pickle.UnpicklingError):
                raise BenchlogError(_ended(errand, late.finished.is_set())) from None
            if kind == "refused":
                raise BenchlogError(*said)
            if kind == "done":
                found: Found = said[0]
                return found
            tell(*said)
    finally:
        late.cancel()
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            with suppress(OSError):
                pipe.close()


def _ended(errand: Apart[Any], late: bool) -> str:
    if late:
        return (
            f"the check took longer than {errand.most_s:.0f} s, which no log of its size does, and was stopped; "
            "check the files with benchlog check, which has no such bound"
        )
    return (
        f"the check was stopped: it needed more than {errand.most_bytes >> 20} MB of memory, or a file is damaged "
        "inside; check the files with benchlog check, which has no such bound"
    )


def serve_one() -> None:
    """Do one errand: what the process runs."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints is no answer
    errand: Apart[Any] = pickle.load(sys.stdin.buffer)
    threading.Thread(target=_end_with_caller, daemon=True).start()
    with suppress(ImportError, ValueError, OSError):  # not on this system
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (errand.most_bytes, resource.RLIM_INFINITY))

    def say(*what: object) -> None:
        pickle.dump(what, answers)
        answers.flush()

    try:
        say("done", errand.do(lambda *how: say("tell", *how)))
    except BenchlogError as problem:
        say("refused", str(problem))
    except MemoryError:
        say("refused", _ended(errand, False))
    os._exit(0)


def _end_with_caller() -> None:
    sys.stdin.buffer.read(1)
    os._exit(1)


def _checked(errand: Errand, tell: Tell) -> Brought:
    from benchlog.core.toml_files import is_readings
    from benchlog.logger.model import load_logger
    from benchlog.logger.sidecar import logger_for
    from benchlog.plan.model import load_plan
    from benchlog.run import check
    from benchlog.store.logs_kept import kept_path, read_log

    plan = errand.plan if isinstance(errand.plan, Plan) else load_plan(errand.plan)
    logger = load_logger(errand.logger) if errand.logger else None
    told = [0.0]

    def telling(name: str, done: int, of: int) -> None:
        if done - told[0] > of / 100 or done < told[0]:  # a pipe need not carry each block
            told[0] = done
            tell(f"reading {name}", done, of)

    result = check(list(errand.logs), plan=plan, logger=logger, before=errand.before, progress=telling)
    copies = []
    for path in errand.logs:
        if is_readings(path):
            continue
        tell(f"copying {path.name}, to draw it", 0, 0)
        kept = read_log(path, logger_for(path, logger), errand.keep_in).kept
        assert kept is not None  # a folder to keep it in was given
        copies.append(kept_path(errand.keep_in, kept.sha256))
    return Brought(result, plan, logger, tuple(copies))
