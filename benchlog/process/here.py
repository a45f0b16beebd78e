"""The processes of this computer: plain interpreters that loky starts, one thread of each library in each."""

import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Future
from contextlib import contextmanager
from multiprocessing import resource_tracker
from typing import Any

from benchlog.process.loaded import BrokenProcessPool, ProcessPoolExecutor, ShutdownExecutorError
from benchlog.process.orders import hold
from benchlog.process.output import OF_OURS

# the processes share the cores already; set in theirs alone, where the libraries look as they are loaded
_OF_THEIRS = dict.fromkeys(
    ("POLARS_MAX_THREADS", "OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1"
)
_OF_THEIRS |= {"PYTHONSAFEPATH": "1"}  # nothing is imported from the folder the user is in
_OF_THEIRS |= OF_OURS
_IDLE_S = 60.0  # a process that waits longer goes; another is started where there is work again
_LOOK_S = 0.2


class Processes:
    """A crew of this computer's own; the caller's settings of its process stay as they are."""

    deaths: tuple[type[BaseException], ...] = (BrokenProcessPool, ShutdownExecutorError, CancelledError)

    def __init__(self, count: int, work: Callable[[Any], Any]) -> None:
        self.count, self._work = count, work
        self._running: Any = None

    def can_start(self) -> bool:
        """Whether one does start here."""
        try:
            self.submit(os.getpid).result()
        except (BrokenProcessPool, ShutdownExecutorError, OSError):
            self.stop()
            return False
        except BaseException:
            self.stop()
            raise
        return True

    def submit(self, task: Callable[[], Any]) -> "Future[Any]":
        """Have it done by one of them; the first task starts them."""
        if self._running is None and os.name == "posix":
            # Python's own starts it at the first need, and would let Ctrl-C through again right after
            resource_tracker.ensure_running()
        with _ctrl_c_held():
            if self._running is None:
                env = {name: value for name, value in _OF_THEIRS.items() if name not in os.environ}
                self._running = ProcessPoolExecutor(
                    self.count,
                    timeout=_IDLE_S,
                    initializer=_begin,
                    initargs=(os.getpid(), self._work),
                    env=env,
                )
            future: Future[Any] = self._running.submit(task)
            return future

    def suspects(self, future: "Future[Any]") -> bool:
        """Which of those under way it was, nobody knows."""
        return isinstance(future.exception(), BrokenProcessPool)

    def stop(self) -> None:
        """End them, whatever they are doing."""
        running, self._running = self._running, None
        if running is not None:
            running.shutdown(wait=True, kill_workers=True)

    def end(self) -> None:
        """End them."""
        self.stop()


@contextmanager
def _ctrl_c_held() -> Iterator[None]:
    """A process started within is deaf to Ctrl-C from its first moment on: the caller ends it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _begin(caller: int, work: Callable[[Any], Any]) -> None:
    """Be one of them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform != "win32":  # where a process keeps the number of one that is gone
        threading.Thread(target=_end_with, args=(caller,), daemon=True).start()
    hold(work)


def _end_with(caller: int) -> None:
    """End where the caller is gone, in the middle of a long job too."""
    while os.getppid() == caller:
        time.sleep(_LOOK_S)
    os._exit(1)
