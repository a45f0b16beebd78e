"""Work in the background: a few things at a time, with how far it is; the pages ask until it is done."""

import logging
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from queue import SimpleQueue
from threading import Thread
from typing import Any, Literal

from benchlog.core.errors import BenchlogError

#: Most finished things that are kept; older ones are let go.
MOST_KEPT = 12
#: Said where something broke that is not the user's to mend.
BROKEN = "something went wrong inside benchlog; the terminal where benchlog page runs says more"

#: Said where the user, or the end of the server, stopped it.
STOPPED = "the check was stopped before its end"
_THREADS = 3

State = Literal["waiting", "running", "done", "failed"]
Tell = Callable[[str, int, int], None]
_log = logging.getLogger("benchlog.page")


@dataclass(slots=True)
class Job:
    """One piece of work.

    Attributes:
        id: a random name, safe in an address. what: in words. state: how it stands.
        doing: what it is at; done, of: how far. result: once done. problem: in words, once failed.
        back: where to go when it failed.
    """

    id: str
    what: str
    state: State = "waiting"
    doing: str = ""
    done: int = 0
    of: int = 0
    result: Any = None
    problem: str = ""
    let_go: Callable[[], None] | None = field(default=None, repr=False)
    _end: Callable[[], None] | None = field(default=None, repr=False)
    stopped: bool = False
    back: str = "/"

    def ends_by(self, end: Callable[[], None]) -> None:
        """Say what ends the work at once; done right away where the job was stopped before."""
        self._end = end
        if self.stopped:
            end()

    def stop(self) -> None:
        """End it, if it can be ended; what waits is never begun."""
        self.stopped = True
        if self._end is not None:
            self._end()

    @property
    def share(self) -> float | None:
        """How far it is, 0 to 1; None where that is not known."""
        return min(self.done / self.of, 1.0) if self.of > 0 else None


class Works:
    """All background work of one server; safe to use from several threads."""

    def __init__(self) -> None:
        """Three threads, that a check without end keeps nobody waiting; they end with the program, come what may."""
        self._waiting: SimpleQueue[tuple[Job, Callable[[Job], Any]]] = SimpleQueue()
        for n in range(_THREADS):
            Thread(target=self._serve, name=f"benchlog-page-{n}", daemon=True).start()
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._by_key: dict[Hashable, str] = {}
        self._lock = threading.Lock()

    def start(self, what: str, work: Callable[[Job], Any], key: Hashable | None = None) -> Job:
        """Begin, or join the work of the same ``key`` that is waiting, running or done."""
        with self._lock:
            if key is not None and (same := self._jobs.get(self._by_key.get(key, ""))) and same.state != "failed":
                return same
            job = Job(secrets.token_urlsafe(9), what)
            self._jobs[job.id] = job
            if key is not None:
                self._by_key[key] = job.id
            self._forget_oldest()
        self._waiting.put((job, work))
        return job

    def stop(self, job_id: str) -> None:
        """Stop a job that is waiting or can be ended; nothing where there is none."""
        job = self.get(job_id)
        if job is not None and job.state in ("waiting", "running"):
            job.stop()

    def get(self, job_id: str) -> Job | None:
        """The job with this id."""
        with self._lock:
            return self._jobs.get(job_id)

    def close(self) -> None:
        """Let everything go; what runs is ended, or goes with the program."""
        with self._lock:
            for job in self._jobs.values():
                job.stop()
                if job.let_go is not None:
                    job.let_go()

    def _serve(self) -> None:
        while True:
            self._run(*self._waiting.get())

    def _run(self, job: Job, work: Callable[[Job], Any]) -> None:
        if job.stopped:
            job.problem, job.state = STOPPED, "failed"
            return
        job.state = "running"
        try:
            job.result = work(job)
            job.state = "done"
        except BenchlogError as problem:
            job.problem, job.state = STOPPED if job.stopped else str(problem), "failed"
        except Exception:  # a thread's last frame: the page must hear of it, and the log must say what
            _log.exception("%s failed", job.what)
            job.problem, job.state = BROKEN, "failed"

    def _forget_oldest(self) -> None:
        finished = [job for job in self._jobs.values() if job.state in ("done", "failed")]
        for job in finished[: max(len(finished) - MOST_KEPT, 0)]:
            del self._jobs[job.id]
            if job.let_go is not None:
                job.let_go()
