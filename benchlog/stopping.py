"""Ctrl-C at any moment: heard once, and lost in no library."""

import _thread
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

#: A second press within this, s, is the same one: what the first made the program put away is not torn.
_SAME_PRESS_S = 1.0
_AGAIN_S = 0.05

_pressed_at: float | None = None


def listen() -> None:
    """Hear Ctrl-C; not where whoever started the program has it ignored, as for work in the background."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _hear)
        sys.unraisablehook = _swallowed


def pressed() -> bool:
    """Whether Ctrl-C was heard: what fails afterwards may have failed because of it."""
    return _pressed_at is not None


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
    if signal.getsignal(signal.SIGINT) in (_hear, signal.default_int_handler):
        signal.signal(signal.SIGINT, signal.SIG_IGN)


def _hear(_number: int, _frame: FrameType | None) -> None:
    global _pressed_at  # noqa: PLW0603 one process, one keyboard
    now = time.monotonic()
    if _pressed_at is None or now - _pressed_at > _SAME_PRESS_S:
        _pressed_at = now
        raise KeyboardInterrupt


def _swallowed(problem: "sys.UnraisableHookArgs") -> None:
    """Python drops what is raised while it clears an object away: press again, as soon as it is past that."""
    if problem.exc_type is not KeyboardInterrupt:
        sys.__unraisablehook__(problem)
        return
    timer = threading.Timer(_AGAIN_S, _press_again)
    timer.daemon = True
    timer.start()


def _press_again() -> None:
    global _pressed_at  # noqa: PLW0603 as above
    _pressed_at = float("-inf")
    _thread.interrupt_main()
