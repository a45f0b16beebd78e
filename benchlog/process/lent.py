"""joblib's side of it: any crew that takes functions and gives futures does what ``joblib.Parallel`` hands out."""

from collections.abc import Callable, Generator
from concurrent.futures import Future
from contextlib import suppress
from typing import Any, Protocol

from benchlog.core.errors import BenchlogError
from benchlog.process.batches import Batches, Pace
from benchlog.process.loaded import Parallel, ParallelBackendBase, delayed
from benchlog.process.orders import Answer, do_each


class Crew(Protocol):
    """Processes that work for this one.

    Attributes:
        count: how many logs they work on at a time.
        deaths: what a future raises where its process was ended, or the crew was stopped.
    """

    count: int
    deaths: tuple[type[BaseException], ...]

    def submit(self, task: Callable[[], Any]) -> "Future[Any]":
        """Have it done."""

    def suspects(self, future: "Future[Any]") -> bool:
        """Whether what it stands for may have ended its process."""

    def stop(self) -> None:
        """Whatever they are doing, they need not finish it; what is submitted later is done all the same."""

    def end(self) -> None:
        """Let them go; none is left running."""


class _Lent(ParallelBackendBase):  # type: ignore[misc]  # joblib has no types
    """A crew as a backend of joblib's."""

    supports_retrieve_callback = True

    def __init__(self, crew: Crew, batches: Batches, pace: Pace) -> None:
        super().__init__()
        self._crew, self._batches, self._pace = crew, batches, pace

    def effective_n_jobs(self, n_jobs: int) -> int:
        """Joblib would do the work itself for one."""
        del n_jobs
        return max(self._crew.count, 2)

    def submit(self, func: Callable[[], Any], callback: Callable[["Future[Any]"], None] | None = None) -> None:
        """Hand one on; joblib hears from the callback, and given the future it would hold the answers for long."""
        future = self._crew.submit(func)
        self._batches.handed(future)
        future.add_done_callback(self._learn)  # before joblib's, which asks for the next batch
        if callback is not None:
            future.add_done_callback(callback)

    def _learn(self, future: "Future[Any]") -> None:
        if not future.cancelled() and future.exception() is None:
            for answers in future.result():
                self._pace.learn(answers)

    def retrieve_result_callback(self, out: "Future[Any]") -> Any:
        """What came of it."""
        return out.result()

    def abort_everything(self, ensure_ready: bool = True) -> None:
        """One has failed, or the caller goes."""
        del ensure_ready
        self._crew.stop()


def streamed(crew: Crew, batches: Batches, pace: Pace) -> Generator[Answer, None, None]:
    """The answers of a crew that holds the work, in the order of the jobs, each as soon as those before are there.

    Args:
        batches: the jobs. pace: learns of each answer.
    """
    order = Parallel(
        n_jobs=crew.count,
        backend=_Lent(crew, batches, pace),
        return_as="generator",
        batch_size=1,  # of our batches
        pre_dispatch=2 * max(crew.count, 2),
        max_nbytes=None,
    )
    given = order(delayed(do_each)(batch) for batch in batches)
    ended = False
    try:
        for answers in given:
            batches.fetched()
            yield from answers
        ended = True
    finally:
        if not ended:
            # joblib warns of a generator that is closed early; one whose crew is gone ends by itself
            crew.stop()
            with suppress(*crew.deaths, BenchlogError):
                for _ in given:
                    pass
