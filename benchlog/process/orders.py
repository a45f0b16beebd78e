"""What one process asks of another: a job, and an answer that tells how it went, how long it took and who did it."""

import os
import pickle
import socket
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from benchlog.core.errors import BenchlogError


class Outcome(Enum):
    """How a job ended."""

    DONE = "done"
    REFUSED = "refused"  # the input was to blame
    FAILED = "failed"  # a fault of the program
    KILLED = "killed"  # the processes that tried it were ended


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one job.

    Attributes:
        value: what the work gave; of a refusal what ``refusal_of`` makes the error from.
        took_s: time that it took, s. who: the process that did it.
    """

    outcome: Outcome
    value: Any
    took_s: float = 0.0
    who: str = ""


class _Held(threading.local):
    """The work that jobs are done with: a worker of a cluster may serve several callers, each in a thread."""

    work: Callable[[Any], Any] | None = None
    packed: bytes = b""  # what it was unpacked from


_held = _Held()
_who = f"{socket.gethostname()}:{os.getpid()}"


def hold(work: Callable[[Any], Any]) -> None:
    """Keep the work, which is sent once, for the jobs that follow."""
    _held.work = work


def do_packed(task: bytes, work: bytes) -> Any:
    """Call what is packed here, with that work held: unpacked once, as it is sent once."""
    if _held.packed is not work and _held.packed != work:
        _held.packed = b""
        hold(pickle.loads(work))
        _held.packed = work
    return pickle.loads(task)()


def do_each(jobs: Sequence[object]) -> list[Answer]:
    """Do jobs with the work that is held; nothing is raised."""
    return [_done(job) for job in jobs]


def _done(job: object) -> Answer:
    assert _held.work is not None
    began = time.perf_counter()
    try:
        outcome, value = Outcome.DONE, _held.work(job)
    except BenchlogError as problem:
        # pickle would make it anew from its text alone, which is not what these are made from
        outcome, value = Outcome.REFUSED, (type(problem), problem.args, problem.__dict__)
    except Exception as problem:  # done again, and shown, by whoever asked
        outcome, value = Outcome.FAILED, repr(problem)
    return Answer(outcome, value, time.perf_counter() - began, _who)


def refusal_of(answer: Answer) -> BenchlogError:
    """The error that another process met."""
    kind, args, facts = answer.value
    error: BenchlogError = kind.__new__(kind, *args)
    error.__dict__.update(facts)
    return error
