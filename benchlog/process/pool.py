"""The same work on many things, shared among processes: answers in order, and nothing is left running.

The caller's process does its share; the others are plain interpreters that speak pickle over pipes. Unlike a forked
process they hold no lock of a thread that is not there, and unlike a spawned one they never run the caller's own script
again, so that a script needs no ``if __name__ == "__main__"``.
"""

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future
from contextlib import suppress
from typing import IO, Any, BinaryIO, TypeVar

from benchlog.core.errors import BenchlogError

Job = TypeVar("Job")
Answer = TypeVar("Answer")

#: Each process holds a log's blocks, about 300 MB at most, so their number is bounded.
MOST_PROCESSES = 8
_HANDED = 2
_PIPE_BYTES = 1 << 19  # an answer fits whole, so that nobody waits to give it
_START = (
    "import sys, pickle; sys.path[:] = pickle.load(sys.stdin.buffer); from benchlog.process.pool import serve; serve()"
)
# the processes share the cores already
_ONE_THREAD = dict.fromkeys(("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1")
_READY, _DONE, _RAISED, _AGAIN, _GONE = "ready", "done", "raised", "again", "gone"


class ProcessEnded(BenchlogError):
    """One of the processes was ended from outside."""


def side_by_side(work: Callable[[Job], Answer], jobs: Sequence[Job], processes: int) -> Generator[Answer, None, None]:
    """Do the work on each, several at a time.

    Close the generator (or go through to its end): only then have all processes ended.

    Args:
        work: a function of a module, or a ``partial`` of one; it, the jobs and the answers must pickle.
        jobs: what it is done on.
        processes: how many, this one counted, ``MOST_PROCESSES`` at most.

    Yields:
        The answers, in the order of the jobs.

    Raises:
        BenchlogError: of the first job, in order, whose work raised one.
        ProcessEnded: one of the processes was ended from outside.
    """
    others = min(processes, MOST_PROCESSES, len(jobs)) - 1
    if not sys.executable or getattr(sys, "frozen", False):
        others = 0
    crew = _Crew(work, jobs)
    try:
        crew.start(others)
        for n, job in enumerate(jobs):
            kind, value = crew.answer(n)
            if kind == _AGAIN:  # a fault of the program: it is met here again, and shown from here
                value = work(job)
            elif kind == _RAISED:
                raise value
            elif kind == _GONE:
                raise ProcessEnded(
                    "the work was stopped: one of its processes was ended, perhaps because memory ran out; "
                    "give fewer logs at once"
                )
            yield value
    finally:
        crew.end()


class _Crew:
    """The caller's process and others; each of those is led by a thread that hands it one job after the other."""

    def __init__(self, work: Callable[[Any], Any], jobs: Sequence[Any]) -> None:
        self._work, self._jobs = work, jobs
        self._answers: list[Future[tuple[str, Any]]] = [Future() for _ in jobs]
        self._waiting = iter(range(len(jobs)))
        self._lock = threading.Lock()
        self._processes: list[subprocess.Popen[bytes]] = []
        self._leaders: list[threading.Thread] = []

    def start(self, others: int) -> None:
        for _ in range(others):
            try:
                process = _started()
            except OSError:  # no more processes are allowed here
                return
            _keep_to_one_core(process.pid, len(self._processes))
            self._processes.append(process)
            leader = threading.Thread(target=self._lead, args=(process,), name="benchlog-many", daemon=True)
            self._leaders.append(leader)
            leader.start()

    def answer(self, n: int) -> tuple[str, Any]:
        """The answer to one job; until it is there, others are done here."""
        while not self._answers[n].done() and (other := self._next()) is not None:
            try:
                own = _DONE, self._work(self._jobs[other])
            except Exception as problem:  # told when its turn comes
                own = _RAISED, problem
            self._answers[other].set_result(own)
        given = self._answers[n].result()
        self._answers[n] = Future()  # whoever asked keeps it, or not
        return given

    def end(self) -> None:
        """Whatever they are doing, they need not finish it."""
        for process in self._processes:
            process.kill()
        for leader in self._leaders:
            leader.join()
        for process in self._processes:
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with suppress(OSError):  # what was still to be written has no reader
                    pipe.close()  # type: ignore[union-attr] # both were asked for

    def _lead(self, process: "subprocess.Popen[bytes]") -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.write(pickle.dumps(sys.path) + pickle.dumps(self._work))
            process.stdin.flush()
            ready = pickle.load(process.stdout) == _READY
        except (OSError, EOFError, ValueError, pickle.UnpicklingError):
            return  # it could not start: the others do the work
        handed: deque[int] = deque()
        while ready:
            # one job more than it works on, so that it never waits for the next
            while len(handed) < _HANDED and (n := self._next()) is not None:
                handed.append(n)
                with suppress(OSError):  # that it is gone is seen as its answer is read
                    process.stdin.write(pickle.dumps(self._jobs[n], pickle.HIGHEST_PROTOCOL))
                    process.stdin.flush()
            if not handed:
                return
            self._answers[handed.popleft()].set_result(_answer_of(process.stdout))

    def _next(self) -> int | None:
        with self._lock:
            return next(self._waiting, None)


def _started() -> "subprocess.Popen[bytes]":
    # a group of its own: Ctrl-C reaches the caller alone, who ends them all
    apart: dict[str, Any] = {"process_group": 0}
    if sys.platform == "win32":
        apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return subprocess.Popen(
        [sys.executable, "-P", "-c", _START],  # -P: nothing is imported from the folder the user is in
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        pipesize=_PIPE_BYTES,
        env={**_ONE_THREAD, **os.environ},
        **apart,
    )


def _keep_to_one_core(pid: int, number: int) -> None:
    """Let the threads of one of the processes hand over to each other on one core, which takes a twentieth less."""
    if not hasattr(os, "sched_setaffinity"):
        return
    allowed = sorted(os.sched_getaffinity(0))
    # counted from another core by each caller, so that two of them do not crowd the same
    core = allowed[(os.getpid() + number) % len(allowed)]
    with suppress(OSError):  # it may be gone already
        os.sched_setaffinity(pid, {core})


def _answer_of(back: IO[bytes]) -> tuple[str, Any]:
    try:
        kind, value = pickle.load(back)
    except (OSError, EOFError, ValueError, pickle.UnpicklingError):
        return _GONE, None
    return kind, _error_of(value) if kind == _RAISED else value


def serve() -> None:
    """Be one of the processes: take work and jobs from standard input, give answers, end with whoever asked."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "wb")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what is printed must not come between the answers
    jobs: BinaryIO = sys.stdin.buffer
    work = pickle.load(jobs)
    waiting: queue.SimpleQueue[Any] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(jobs, waiting), daemon=True).start()
    try:
        _answer(answers, _READY)
        while True:
            _answer(answers, _done(work, waiting.get()))
    except (OSError, KeyboardInterrupt):
        os._exit(1)


def _listen(jobs: BinaryIO, waiting: "queue.SimpleQueue[Any]") -> None:
    """Hear at once when the caller is gone, in the middle of a long job too."""
    try:
        while True:
            waiting.put(pickle.load(jobs))
    except (EOFError, OSError):
        os._exit(0)


def _done(work: Callable[[Any], Any], job: object) -> tuple[str, Any]:
    try:
        return _DONE, work(job)
    except BenchlogError as problem:
        # pickle would make it anew from its text alone, which is not what these are made from
        return _RAISED, (type(problem), problem.args, problem.__dict__)
    except Exception:
        return _AGAIN, None


def _answer(to: BinaryIO, answer: object) -> None:
    pickle.dump(answer, to, pickle.HIGHEST_PROTOCOL)
    to.flush()


def _error_of(told: tuple[type[BenchlogError], tuple[Any, ...], dict[str, Any]]) -> BenchlogError:
    kind, args, facts = told
    error = kind.__new__(kind, *args)
    error.__dict__.update(facts)
    return error
