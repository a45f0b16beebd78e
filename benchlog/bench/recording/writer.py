"""The file that grows: whole lines only, safe on the disk once a second, readable whatever happens."""

import contextlib
import os
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from benchlog.bench.recording.cells import one_line
from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.interrupts import later

SAFE_EVERY_S = 1.0
_TAIL = 1 << 16


class LogWriter:
    """A CSV file that is written to its end.

    Attributes:
        path: the file.
        size: bytes written, all of them whole lines.
        lines: of samples, written by this writer.
    """

    def __init__(self, path: Path, *, append: bool = False) -> None:
        self.path, self.lines, self.size, self._fd = path, 0, 0, -1
        self._dirty = threading.Event()
        self._stop = threading.Event()
        self._why_failed: OSError | None = None
        # putting bytes on the disk may take a second on a slow card, and the stream does not wait
        self._safety = threading.Thread(target=self._keep_safe, name="benchlog-safe", daemon=True)
        try:
            with later():
                self._fd = _opened(path, append)
                self.size = _without_half_line(self._fd) if append else 0
                self._safety.start()
        except KeyboardInterrupt:
            if self._fd >= 0:
                self.close()  # nobody else has it yet
            raise
        self.goes_on = self.size > 0

    @property
    def failed(self) -> bool:
        """Nothing more can be written."""
        return self._why_failed is not None

    def write(self, data: bytes, lines: int = 0) -> None:
        """Add whole lines.

        Raises:
            BenchlogError: the disk is full, or cannot be written to; what was written before stays.
        """
        if self._why_failed is not None:
            raise self._trouble(self._why_failed)
        left = memoryview(data)
        try:
            while len(left):
                left = left[os.write(self._fd, left) :]
        except OSError as why:
            with contextlib.suppress(OSError):
                os.ftruncate(self._fd, self.size)
            self._why_failed = why
            raise self._trouble(why) from None
        self.size += len(data)
        self.lines += lines
        self._dirty.set()

    def note(self, text: str) -> None:
        """Add a comment line that readers of the log hand on as a note."""
        self.write(f"# note: {one_line(text)}\n".encode())

    def close(self) -> None:
        """Put everything on the disk. A file that nothing was written to is taken away again."""
        if self._stop.is_set():
            return
        self._stop.set()
        self._dirty.set()
        self._safety.join()
        with contextlib.suppress(OSError):
            os.fsync(self._fd)
        os.close(self._fd)
        if not self.size:
            with contextlib.suppress(OSError):
                self.path.unlink()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: type[BaseException] | BaseException | TracebackType | None) -> None:
        self.close()

    def _keep_safe(self) -> None:
        while not self._stop.is_set():
            self._dirty.wait()
            if self._stop.wait(SAFE_EVERY_S / 2):
                return
            self._dirty.clear()
            try:
                os.fsync(self._fd)
            except OSError as why:
                self._why_failed = self._why_failed or why
                return

    def _trouble(self, why: OSError) -> BenchlogError:
        reason = reason_of(why)
        saved = f"{self.lines} lines are saved and can be used" if self.lines else "no line is saved"
        return BenchlogError(
            f"{self.path}: the recording can no longer be written ({reason}); {saved}; "
            "make room or name another place, and record again"
        )


def head_of(path: Path) -> bytes:
    """The beginning of a file that is resumed."""
    with path.open("rb") as file:
        return file.read(_TAIL)


def tail_of(path: Path) -> bytes:
    """The end of a file that is resumed; ``age_of`` says how long ago it was last written."""
    with path.open("rb") as file:
        file.seek(max(path.stat().st_size - _TAIL, 0))
        return file.read(_TAIL)


def age_of(path: Path) -> float:
    """Seconds since a file was written to."""
    return max(time.time() - path.stat().st_mtime, 0.0)


def _opened(path: Path, append: bool) -> int:
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    flags |= os.O_APPEND if append else os.O_EXCL
    try:
        return os.open(path, flags, 0o666)
    except FileExistsError:
        raise BenchlogError(
            f"{path}: this file already exists and is not overwritten; name another with --out, or move it away"
        ) from None
    except IsADirectoryError:
        raise BenchlogError(f"{path}: this is a folder; name a file in it, such as {path / 'log.csv'}") from None
    except OSError as why:
        reason = reason_of(why)
        raise BenchlogError(
            f"{path}: the recording cannot be written there ({reason}); name a folder that exists and that you may "
            "write to"
        ) from None


def _without_half_line(fd: int) -> int:
    """Take half a line at the end away; the size that is left."""
    size = os.lseek(fd, 0, os.SEEK_END)
    at = max(size - _TAIL, 0)
    os.lseek(fd, at, os.SEEK_SET)
    tail = os.read(fd, _TAIL)
    whole = at + tail.rfind(b"\n") + 1
    if whole < size and (b"\n" in tail or at == 0):
        os.ftruncate(fd, whole)
        size = whole
    os.lseek(fd, 0, os.SEEK_END)
    return size
