"""Modules that a second thread loads while the first one waits for a long log to be read."""

import importlib
import threading
from collections.abc import Sequence


def load_meanwhile(modules: Sequence[str]) -> None:
    """Have them loaded by another thread; whoever needs one before it is there waits for it as for any import."""
    threading.Thread(target=_load, args=(tuple(modules),), name="benchlog-modules", daemon=True).start()


def _load(modules: Sequence[str]) -> None:
    for name in modules:
        importlib.import_module(name)
