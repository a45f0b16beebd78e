"""Modules that a second thread loads while the first one waits for a long log to be read."""

import importlib
import threading
from collections.abc import Callable, Sequence

#: Reading a shorter log takes less time than loading them, bytes.
_LONG = 16 << 20


def load_meanwhile(modules: Sequence[str], log_bytes: int, first: Callable[[], object]) -> None:
    """Have them loaded by another thread; whoever needs one before it is there waits for it as for any import.

    Args:
        log_bytes: of the log that is about to be read; beside a short one nothing is loaded.
        first: what reading begins with, done before, since loading would hold it up.
    """
    if log_bytes > _LONG:
        first()
        threading.Thread(target=_load, args=(tuple(modules),), name="benchlog-modules", daemon=True).start()


def _load(modules: Sequence[str]) -> None:
    for name in modules:
        importlib.import_module(name)
