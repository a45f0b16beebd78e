"""A Parquet table that benchlog did not write is read once by another process first: some damage ends whoever reads it.

Nothing within a process can catch that. The other one is started at the first such table and reads those that follow
too; it ends with this one.
"""

import atexit
import json
import os
import subprocess
import sys
import threading
from contextlib import suppress
from typing import Any

_READ = """
import json, os, sys, threading
import polars as pl
idle = threading.Timer(30, os._exit, (0,))  # nobody has asked for a while
idle.daemon = True
idle.start()
for line in sys.stdin:
    idle.cancel()
    asked = json.loads(line)
    try:
        import resource
        # soft: what a page says of its size is made room for, whatever the file's
        resource.setrlimit(resource.RLIMIT_DATA, (asked["data"], resource.RLIM_INFINITY))
    except (ImportError, ValueError, OSError):
        pass  # not on this system
    try:
        scan = pl.scan_parquet(asked["path"], glob=False)
        told = "met again"  # too many rows: the reader refuses them
        if scan.select(pl.len()).collect().item() <= asked["rows"]:
            for _ in scan.collect_batches(chunk_size=200_000):
                pass
            told = "sound"
    except pl.exceptions.PanicException:
        told = "panic"
    except Exception:
        told = "met again"
    print(told, flush=True)
    idle = threading.Timer(30, os._exit, (0,))
    idle.daemon = True
    idle.start()
"""
_lock = threading.Lock()
_running: "subprocess.Popen[str] | None" = None
_told: dict[tuple[int, int, int, int], bool] = {}  # device, number, size, time of change -> whether it was read whole
_MOST_TOLD = 1000
_IDLE = "idle"
# bytes: polars itself has 120 MB; sound tables of random numbers take 4 for one of the file, of constants up to 60
_DATA_BYTES, _DATA_RATIO, _DATA_A_CORE = 640 << 20, 128, 16 << 20


def can_be_read(path: str, most_rows: int) -> bool:
    """Whether a process survives reading a Parquet table from end to end; what it meets short of its end counts not.

    It has memory enough for any table of the file's size, and ends where a few bytes ask for gigabytes.

    Args:
        path: under which another process opens it too.
        most_rows: a table of more is not read, since the reader refuses it.
    """
    if not sys.executable or getattr(sys, "frozen", False):
        return True  # there is no interpreter to try it
    info = os.stat(path)
    file = (info.st_dev, info.st_ino, info.st_size, info.st_mtime_ns)
    with _lock:
        if file not in _told:
            if len(_told) >= _MOST_TOLD:
                _told.clear()
            bound = _DATA_BYTES + _DATA_RATIO * info.st_size + _DATA_A_CORE * (os.cpu_count() or 1)
            _told[file] = _tried(json.dumps({"path": path, "rows": most_rows, "data": bound}))
        return _told[file]


def _tried(question: str) -> bool:
    try:
        answer = _asked(question)
        if answer == _IDLE:
            answer = _asked(question)
    except OSError:
        return True  # no more processes may be had
    except BaseException:
        end()
        raise
    return answer in ("sound\n", "met again\n")


def _asked(question: str) -> str:
    """What the other process says; nothing where it ended, or that it had ended for want of questions."""
    global _running  # noqa: PLW0603 one for the process
    if _running is None:
        _running = _started()
    assert _running.stdin is not None
    assert _running.stdout is not None
    with suppress(BrokenPipeError):  # it has ended: its answer will be none
        _running.stdin.write(f"{question}\n")
        _running.stdin.flush()
    answer = _running.stdout.readline()
    if answer:
        return answer
    status = _running.wait()
    end()
    return _IDLE if status == 0 else ""


def _started() -> "subprocess.Popen[str]":
    # a group of its own: Ctrl-C is for this process, at whose end it ends
    apart: dict[str, Any] = {"process_group": 0}
    if sys.platform == "win32":
        apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    started = subprocess.Popen(
        [sys.executable, "-P", "-c", _READ],  # -P: nothing is imported from the folder the user is in
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        encoding="utf-8",
        errors="surrogateescape",
        env={**os.environ, "PYTHONUTF8": "1"},
        **apart,
    )
    atexit.register(end)
    return started


def end() -> None:
    """End the other process, if there is one."""
    global _running
    running, _running = _running, None
    if running is not None:
        atexit.unregister(end)
        running.kill()
        running.wait()
        for pipe in (running.stdin, running.stdout):
            with suppress(OSError):
                pipe.close()  # type: ignore[union-attr] # both were asked for
