"""A command that reads a Parquet table is watched by a process of its own.

Some damage inside a table makes polars end the whole process, which nothing within it can catch. So where a table is
named on the command line, the work is done by a child, and the process that the user started waits for it and says what
happened. The child is made before any library is loaded: that takes some milliseconds, and no thread is lost.
"""

import os
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from benchlog.core.errors import DAMAGED_INSIDE

_MAGIC = b"PAR1"
#: What a program that gives up on itself, or steps outside its memory, is ended by.
_BROKEN = ("SIGABRT", "SIGSEGV", "SIGBUS", "SIGILL", "SIGFPE", "SIGTRAP")
_FORWARDED = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP")
_PR_SET_PDEATHSIG = 1  # prctl(2)


def watch(words: Sequence[str]) -> None:
    """Go on in a child where the words name a Parquet table; there this returns, in the parent it exits.

    Does nothing outside Linux, where a process that has loaded the system's libraries may not go on after a fork, nor
    where polars has its threads already: there, a table that ends the program ends it without a word of ours.
    """
    if sys.platform != "linux" or "polars" in sys.modules:
        return
    tables = [table for word in words for table in _tables(Path(word))]
    if not tables:
        return
    awaited = {getattr(signal, name) for name in (*_FORWARDED, "SIGCHLD")}
    before = signal.pthread_sigmask(signal.SIG_BLOCK, awaited)
    sys.stdout.flush()
    sys.stderr.flush()
    child = os.fork()
    if child:
        _exit_as(_ended(child, awaited), tables)
    # a group of its own: a key press reaches the parent alone, who hands it on once
    os.setpgid(0, 0)
    import ctypes

    with suppress(OSError, AttributeError):  # whoever kills the parent means the work
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _tables(path: Path) -> list[Path]:
    """The Parquet tables that a word of the command line stands for."""
    try:
        inside = sorted(path.glob("*.parquet")) if path.is_dir() else [path]
        return [table for table in inside if table.is_file() and _begins(table) == _MAGIC]
    except (OSError, ValueError):  # the command itself will say what is wrong with it
        return []


def _begins(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(len(_MAGIC))


def _ended(child: int, awaited: set[signal.Signals]) -> int:
    """Wait for the child, hand on what this process is sent; its status, or minus the number of what ended it."""
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        sent = signal.sigwait(awaited)
        if sent == signal.SIGTSTP:
            os.kill(child, signal.SIGSTOP)
            os.kill(os.getpid(), signal.SIGSTOP)
            os.kill(child, signal.SIGCONT)  # this process has been let go on
        elif sent != signal.SIGCHLD:
            os.kill(child, sent)


def _exit_as(status: int, tables: Sequence[Path]) -> None:
    """Exit as the child did; say what ended it where it could not."""
    if status >= 0:
        os._exit(status)
    if -status in {getattr(signal, name) for name in _BROKEN}:
        named = ", ".join(table.name for table in tables[:3]) + (" …" if len(tables) > 3 else "")
        which = "the Parquet file" if len(tables) == 1 else "one of these Parquet files"
        sys.stderr.write(f"benchlog: {named}: {which} {DAMAGED_INSIDE}\n")
        sys.stderr.flush()
        os._exit(2)
    with suppress(OSError):  # that of SIGKILL cannot be set, nor need it be
        signal.signal(-status, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_SETMASK, ())
    os.kill(os.getpid(), -status)
    os._exit(128 - status)  # not reached where the signal ends this process too
