"""Files written whole or not at all, and their names as text."""

import contextlib
import errno
import io
import os
import re
import stat
import time
from collections.abc import Iterable
from pathlib import Path

from benchlog.core.errors import BenchlogError, CannotWrite, reason_of
from benchlog.core.interrupts import later
from benchlog.core.printable import printable

#: What Windows says where another program has a file open (ERROR_ACCESS_DENIED, ERROR_SHARING_VIOLATION; from memory).
_HELD = (5, 32)
#: What names a device there (from memory), in small and capital letters.
_DEVICE = re.compile(r"con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³]", re.I)
_HELD_S = 2.0


def write_whole(target: Path, text: str | Iterable[str], what: str) -> None:
    """Write ``text`` to ``target`` as UTF-8: the old file stays whole until the new one is complete.

    A device, a pipe or a link (``/dev/stdout``) is written to as it is, never replaced.

    Args:
        target: the file.
        text: what goes into it, whole or in pieces.
        what: the thing that is written, for the message ("the report").

    Raises:
        CannotWrite: the folder is missing or cannot be written to, or the disk is full.
        BenchlogError: ``target`` is a folder.
    """
    _refuse_folder(target, what)
    pieces = (text,) if isinstance(text, str) else text
    try:
        if _is_special(target):
            with target.open("wb") as file:
                file.writelines(piece.encode("utf-8", "replace") for piece in pieces)
        else:
            _write_aside(target, pieces)
    except OSError as problem:
        raise _unwritable(target, what, problem) from problem


def _write_aside(target: Path, pieces: Iterable[str]) -> None:
    """Write beside the file and take its place at the end; a Ctrl-C meanwhile leaves the old file, and nothing new."""
    part = _part(target)
    with later() as stop:
        try:
            with part.open("xb") as file:
                for piece in pieces:
                    if stop():
                        return
                    file.write(piece.encode("utf-8", "replace"))
            replace(part, target)
        finally:
            with contextlib.suppress(OSError):  # gone already where all went well
                part.unlink()


def replace(part: Path, target: Path) -> None:
    """Take a file's place, as ``os.replace``; where another program holds that open, a moment later.

    Raises:
        OSError: it cannot be done, or not within 2 s.
    """
    until = time.monotonic() + _HELD_S
    while True:
        try:
            os.replace(part, target)
        except OSError as problem:
            if getattr(problem, "winerror", None) not in _HELD or time.monotonic() > until:
                raise
            time.sleep(0.05)
        else:
            return


def shown_name(path: Path) -> str:
    """A file's name as text that any report can hold, whatever bytes it is made of."""
    name = os.fsencode(path.name).decode("utf-8", "replace")
    return printable(name, "?")


def refuse_unwritable(target: Path, what: str, inputs: Iterable[Path] = ()) -> None:
    """Find out before long work whether ``target`` can be written, by making an empty file beside it for a moment.

    Args:
        target: the file that will be written.
        what: the thing that will be written, for the message.
        inputs: files that must not be overwritten.

    Raises:
        CannotWrite: as ``write_whole``.
        BenchlogError: ``target`` is a folder, or one of ``inputs``.
    """
    _refuse_folder(target, what)
    for path in inputs:
        with contextlib.suppress(OSError):
            if target.samefile(path):
                raise BenchlogError(f"{target}: {what} would replace this file, which is read; name another for {what}")
    if _is_special(target):
        return
    part = _part(target)
    try:
        with later():
            part.open("x").close()
            part.unlink()
    except OSError as problem:
        raise _unwritable(target, what, problem) from problem


def _refuse_folder(target: Path, what: str) -> None:
    if target.is_dir():
        raise BenchlogError(f"{target}: this is a folder, a file name is needed for {what}; add one")


def is_read_once(source: Path) -> bool:
    """Whether it is a pipe or a device: what has come out of it is gone, and it may keep its reader waiting."""
    return source.exists() and not source.is_file() and not source.is_dir()


def open_own(path: Path) -> io.BufferedReader:
    """Open a file for reading that is a file of its own: no link, nothing that could keep its reader waiting.

    Raises:
        OSError: there is none, it is something else, or its folder is a link.
    """
    if path.parent.is_symlink():
        raise OSError(errno.ELOOP, "its folder is a link to another")
    # where the system knows neither, links and pipes lie in no folder of kept logs
    flags = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
    try:
        handle = os.open(path, os.O_RDONLY | flags)
    except OSError as problem:
        if problem.errno == errno.ELOOP:
            raise OSError(errno.ELOOP, "a link to another file") from None
        raise
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(errno.EINVAL, "not a file, but a pipe, a device or a folder")
    return open(handle, "rb")


def is_own(path: Path) -> bool:
    """Whether ``open_own`` would take it for a file of its own."""
    try:
        return stat.S_ISREG(path.lstat().st_mode) and not path.parent.is_symlink()
    except OSError:
        return False


def unreserved(name: str) -> str:
    """A file's name that Windows takes too: some are devices there, whatever follows their first dot."""
    return f"_{name}" if _DEVICE.fullmatch(name.partition(".")[0].rstrip(" ")) else name


def _is_special(target: Path) -> bool:
    return target.is_symlink() or (target.exists() and not target.is_file())


def _part(target: Path) -> Path:
    # the name of a file may have 255 bytes, and a letter up to four
    return target.with_name(f".{target.name[:40]}.{os.urandom(4).hex()}.part")


def _unwritable(target: Path, what: str, problem: OSError) -> CannotWrite:
    return CannotWrite(str(target), what, reason_of(problem))
