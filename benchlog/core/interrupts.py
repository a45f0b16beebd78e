"""Ctrl-C at any moment: heard once, and lost in no library."""

import _thread
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

#: A second press within this, s, is the same one: what the first made the program put away is not torn.
_SAME_PRESS_S = 1.0
_LOOK_AFTER_S = 0.1

_pressed_at: float | None = None
_answered = False


def listen(instead: object = signal.default_int_handler) -> None:
    """Hear Ctrl-C; not where whoever started the program has it ignored, as for work in the background.

    Args:
        instead: what hears it so far; where something else does, that goes on.
    """
    if signal.getsignal(signal.SIGINT) is instead:
        signal.signal(signal.SIGINT, _hear)
        sys.unraisablehook = _swallowed


def pressed() -> bool:
    """Whether Ctrl-C was heard: what fails afterwards may have failed because of it."""
    return _pressed_at is not None


def answered() -> None:
    """Whoever catches a Ctrl-C and goes on says so; else it counts as lost, and is pressed again."""
    global _answered  # noqa: PLW0603 one process, one keyboard
    _answered = True


@contextmanager
def later() -> Iterator[Callable[[], bool]]:
    """A stretch within which Ctrl-C waits, for libraries that call us and cannot be stopped within such a call.

    Yields:
        A question whether it was pressed: the stretch should then come to its end. It is stopped after that.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or not callable(before):
        yield lambda: False
        return
    waiting: list[int] = []
    signal.signal(signal.SIGINT, lambda number, _: waiting.append(number))
    try:
        yield lambda: bool(waiting)
    finally:
        signal.signal(signal.SIGINT, before)
        if waiting:
            before(waiting[0], None)


def done() -> None:
    """The work is over: a Ctrl-C that comes while Python takes itself down has nothing more to stop."""
    answered()
    if signal.getsignal(signal.SIGINT) in (_hear, signal.default_int_handler):
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _hear(_number: int, _frame: FrameType | None) -> None:
    global _pressed_at, _answered
    now = time.monotonic()
    if _pressed_at is None or now - _pressed_at > _SAME_PRESS_S:
        _pressed_at, _answered = now, False
        with suppress(RuntimeError):  # no more threads may be had
            _thread.start_new_thread(_look_after_it, ())  # a Thread would wait for locks that may be held here
        raise KeyboardInterrupt


def _look_after_it() -> None:
    """Press again where the work goes on as if nothing was: a library's code in C may drop what is raised within it."""
    global _pressed_at  # noqa: PLW0603 as above
    time.sleep(_LOOK_AFTER_S)
    if not _answered and not _under_way():
        _pressed_at = float("-inf")
        if hasattr(signal, "pthread_kill"):
            signal.pthread_kill(_first_thread(), signal.SIGINT)  # wakes it where it sleeps or waits for a file
        else:
            _thread.interrupt_main()


def _first_thread() -> int:
    return threading.main_thread().ident or 0


def _under_way() -> bool:
    """Whether the first thread is putting things away because of it."""
    there: Any = sys._current_exceptions().get(_first_thread())
    problem = there[1] if isinstance(there, tuple) else there  # as in Python 3.11
    while problem is not None and not isinstance(problem, KeyboardInterrupt):
        problem = problem.__context__
    return problem is not None


def _swallowed(problem: "sys.UnraisableHookArgs") -> None:
    """Python drops what is raised while it clears an object away, and would print a page about it."""
    if problem.exc_type is not KeyboardInterrupt:
        sys.__unraisablehook__(problem)
