"""How many jobs go out together: enough that handing them over costs little, few enough that no process waits long."""

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from typing import Any

from benchlog.process.orders import Answer

#: Handing one over costs about 10 ms of CPU on a scheduler, its worker and the caller together.
_BATCH_S = 0.8
_MOST = 16  # jobs, whatever time they take: what is to be tried again where a process ends
_WEIGHT = 0.3  # of the newest batch in the mean time of a job


class Pace:
    """Time that a job takes of late; told by whichever thread receives the answers."""

    def __init__(self) -> None:
        self._job_s: float | None = None
        self._lock = threading.Lock()

    def learn(self, answers: Sequence[Answer]) -> None:
        """A batch is answered."""
        newest_s = sum(answer.took_s for answer in answers) / len(answers)
        with self._lock:
            before_s = newest_s if self._job_s is None else self._job_s
            self._job_s = before_s + _WEIGHT * (newest_s - before_s)

    def jobs_at_once(self, left: int, processes: int) -> int:
        """How many of the jobs left to hand out next; fewer towards the end, so that all processes end together."""
        if self._job_s is None:
            return 1
        fits = int(_BATCH_S / self._job_s) if self._job_s > 0 else _MOST
        return max(1, min(fits, _MOST, left // (2 * processes)))


class Batches:
    """The jobs as they go out, and which of them each future stands for."""

    def __init__(self, jobs: Sequence[object], processes: int, pace: Pace) -> None:
        self._jobs, self._processes, self._pace = jobs, processes, pace
        self._batch_of: list[int] = []  # of each job that was made part of a batch
        self._futures: list[Future[Any] | None] = []  # of each batch that was handed on, in order; None once fetched
        self._fetched = 0

    def __iter__(self) -> Iterator[Sequence[object]]:
        made = 0
        while len(self._batch_of) < len(self._jobs):
            at = len(self._batch_of)
            size = self._pace.jobs_at_once(len(self._jobs) - at, self._processes)
            self._batch_of += [made] * size
            made += 1
            yield self._jobs[at : at + size]

    def handed(self, future: "Future[Any]") -> None:
        """The next batch is under way."""
        self._futures.append(future)

    def fetched(self) -> None:
        """The next batch's answers are fetched, and need not be held."""
        self._futures[self._fetched] = None
        self._fetched += 1

    def future_of(self, job: int) -> "Future[Any] | None":
        """What stands for a job; None where it was not handed on, or is answered."""
        if job >= len(self._batch_of) or self._batch_of[job] >= len(self._futures):
            return None
        return self._futures[self._batch_of[job]]
