"""The workers of a Dask scheduler: they read the logs themselves, from a folder or bucket that all of them reach."""

import pickle
import re
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from typing import TYPE_CHECKING, Any

from benchlog.core.errors import BenchlogError
from benchlog.core.remote import exists

if TYPE_CHECKING:
    from distributed import Client

_CONNECT_S = 10
_ADDRESS = re.compile(r"(tcp|tls)://[^\s/]+:\d+")
_PREFIX, _PLUGIN = "benchlog-", "benchlog-first-death"


class ClusterGone(BenchlogError):
    """The scheduler is not there any more, or has no worker."""


class _Dropped(Exception):
    """Nobody waits for it any more."""


class Workers:
    """A crew of a scheduler's workers."""

    def __init__(self, address: str, work: Callable[[Any], Any], sees: Sequence[str] = ()) -> None:
        """Reach the scheduler and see that its workers can do the work.

        Args:
            address: ``tcp://HOST:NUMBER``. work: as for ``side_by_side``.
            sees: paths and URLs that every worker must reach.

        Raises:
            BenchlogError: the scheduler is not reached or has no worker; a worker has another benchlog, or does not
                see a path.
        """
        self._address = address
        self._client = _reached(address)
        from distributed.client import ClosedClientError
        from distributed.scheduler import KilledWorker

        # a scheduler that is gone has nothing left to leave; a client that has given it up says so in its own way
        self._nothing_left = (CancelledError, OSError, TimeoutError, ClosedClientError)
        self.deaths: tuple[type[BaseException], ...] = (KilledWorker, _Dropped)
        try:
            self._refuse_unfit(sees)
            self._client.register_plugin(_first_death_tells(), name=_PLUGIN)
            self.count = max(sum(self._client.ncores().values()), 1)
            # sent once to each worker; made again where the worker that held it dies, as what is scattered is not
            self._work = self._client.submit(bytes, pickle.dumps(work), pure=False)
        except BaseException:
            self._client.close()
            raise
        self._do = _by_value()
        self._futures: set[Any] = set()
        self._dropped: set[str] = set()

    def submit(self, task: Callable[[], Any]) -> "Future[Any]":
        """Have it done by whichever worker is free."""
        from uuid import uuid4

        given: Future[Any] = Future()
        name = f"{_PREFIX}{uuid4().hex}"
        asked = self._client.submit(self._do, pickle.dumps(task), self._work, key=name, pure=False)
        self._futures.add(asked)
        asked.add_done_callback(lambda done: self._take(done, given))
        return given

    def _take(self, done: Any, given: "Future[Any]") -> None:
        self._futures.discard(done)
        try:
            given.set_result(done.result())
        except CancelledError:
            given.set_exception(_Dropped() if done.key in self._dropped else self._gone())
            self._dropped.discard(done.key)
        except Exception as problem:
            given.set_exception(problem)

    def _gone(self) -> ClusterGone:
        return ClusterGone(
            f"{self._address}: the scheduler is gone; what was answered until then is kept. Start it and its workers "
            "again, then run the same command again"
        )

    def suspects(self, future: "Future[Any]") -> bool:
        """The scheduler names what a worker had when it died."""
        return isinstance(future.exception(), self.deaths[0])

    def stop(self) -> None:
        """Have them leave what they have not begun."""
        left = list(self._futures)
        self._dropped |= {future.key for future in left}
        with suppress(*self._nothing_left):
            self._client.cancel(left, force=True)

    def end(self) -> None:
        """Go; the workers stay for others."""
        self.stop()
        self._client.close()

    def _refuse_unfit(self, sees: Sequence[str]) -> None:
        ours = _version()
        try:
            self._client.wait_for_workers(1, timeout=_CONNECT_S)
        except TimeoutError:
            raise ClusterGone(
                f"{self._address}: this scheduler has no worker; start one with: dask worker {self._address} "
                "--nthreads 1"
            ) from None
        told: dict[str, Any] = self._client.run(_told, list(sees), on_error="return")
        other = {worker: one[0] if isinstance(one, tuple) else "none" for worker, one in told.items()}
        other = {worker: version for worker, version in other.items() if version != ours}
        if other:
            named = ", ".join(f"{worker} has {version}" for worker, version in sorted(other.items()))
            raise BenchlogError(
                f"{self._address}: this is benchlog {ours}, its worker {named}; install the same version there"
            )
        blind = sorted(f"{worker} does not see {one[1]}" for worker, one in told.items() if one[1])
        if blind:
            raise BenchlogError(
                f"{self._address}: its worker {', '.join(blind)}; put the logs where all workers reach them by the "
                "same name, or in a bucket"
            )


def _reached(address: str) -> "Client":
    if not _ADDRESS.fullmatch(address):
        raise BenchlogError(f"--on {address}: this is no scheduler's address; it looks like tcp://HOST:8786")
    try:
        from distributed import Client
    except ImportError:
        raise BenchlogError(
            '--on: what speaks to a scheduler is not installed; run: pip install "benchlog[cluster]"'
        ) from None
    try:
        return Client(address, timeout=_CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError):
        raise ClusterGone(
            f"{address}: no scheduler answers there; start one with: dask scheduler, and give the address it prints"
        ) from None


def _version() -> str:
    return str(sys.modules["benchlog"].__version__)


def _first_death_tells() -> Any:
    """What has a scheduler tell at a worker's first death which of our tasks it had, instead of trying them elsewhere.

    A scheduler gives a task to four workers, by default, before it suspects it, and they may all die of it.
    """
    from distributed.diagnostics.plugin import SchedulerPlugin

    class FirstDeathTells(SchedulerPlugin):  # within the function, so that it is sent by value: no benchlog is there
        idempotent = True

        def update_graph(self, scheduler: Any, *, tasks: Any, **_: Any) -> None:
            for key in tasks:
                if str(key).startswith("benchlog-"):
                    scheduler.tasks[key].suspicious = scheduler.allowed_failures

    return FirstDeathTells()


# ---- on the workers


def _by_value() -> Callable[[bytes, bytes], Any]:
    """What a worker does with a task.

    A scheduler unpacks the functions and arguments of all tasks. Of ours it gets bytes and a function that is sent by
    value: then it needs no benchlog, and does not unpack what only a worker uses.
    """

    def done_there(task: bytes, work: bytes) -> Any:
        from benchlog.process.orders import do_packed

        return do_packed(task, work)

    return done_there


def _told(paths: Sequence[str]) -> tuple[str, str]:
    """The version here, and the first path that is not seen."""
    return _version(), next((path for path in paths if not exists(path)), "")
