"""Bytes of a log: plain, compressed or from a pipe; UTF-16 turned to UTF-8. Never all in memory."""

import codecs
import io
import os
import stat
import sys
import tempfile
import threading
import weakref
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from benchlog.core.errors import BadLog, reason_of
from benchlog.core.files import shown_name
from benchlog.log.readers.unpacked import bounded, most_unpacked, no_room

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

HEAD_BYTES = 1 << 16
_CHUNK = 1 << 17  # small, since a compressed byte may stand for thousands
_GZIP, _ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"


class Source:
    """One log's bytes, first in order (``read``), then anywhere among those read (``at``).

    Attributes:
        name: the file's name.
        close: lets the file go.
        head: the first bytes (64 KiB at most) after decompression, UTF-16 already turned to UTF-8.

    Raises:
        BadLog: the file cannot be opened, is empty, or its compression is damaged (also from ``read``).
    """

    def __init__(self, path: Path) -> None:
        self.path, self.name = path, shown_name(path)
        self._file = _opened(path)
        self._lock = threading.Lock()
        self._open = [self._file]
        self.close = weakref.finalize(self, _close, self._open)  # also when the last user drops it
        try:
            self._start()
        except BaseException:
            self.close()
            raise

    def _start(self) -> None:
        info = os.fstat(self._file.fileno())
        self.size = info.st_size
        with self._reading():
            lead = self._file.read(_CHUNK)
        if not lead:
            raise BadLog(self.name, "the file is empty; record a log first")
        self._spool: BinaryIO | None = None
        self._pending = b""
        chunks = _rest(self._file, lead)
        # only a plain file of a known byte order can be read again where it lies
        again = not stat.S_ISREG(info.st_mode)
        if lead.startswith((_GZIP, _ZSTD)):
            again = True
            chunks = bounded(self.name, _unpacked(self.name, lead, self._file), most_unpacked(self.size))
        first = next(chunks, b"")
        if not first:
            raise BadLog(self.name, "the compressed file holds nothing; record a log first")
        if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            again = True
            chunks = _recoded(self.name, first, chunks)
            first = next(chunks, b"")
        elif b"\r" in first[:HEAD_BYTES] and b"\n" not in first[:HEAD_BYTES] and not _binary(first):
            again = True
            chunks = (chunk.replace(b"\r", b"\n") for chunk in _before(first, chunks))
            first = next(chunks)
        if again:
            self._spool = tempfile.TemporaryFile()  # noqa: SIM115 closed by close
            self._open.append(self._spool)
        self._chunks = chunks
        self._pending = first
        if self._spool is not None:
            self._keep(first)
        while len(self._pending) < HEAD_BYTES and (more := self._next()):
            self._pending += more
        self.head = self._pending[:HEAD_BYTES]

    def recast(self, change: Callable[[Iterator[bytes]], Iterator[bytes]]) -> None:
        """Let all bytes go through ``change``, from the first on; before any was read."""
        chunks = change(_before(self._pending, self._chunks))
        self._spool = tempfile.TemporaryFile()  # noqa: SIM115 closed by close
        self._open.append(self._spool)
        self._chunks, self._pending = chunks, b""
        while len(self._pending) < HEAD_BYTES and (more := self._next()):
            self._pending += more
        self.head = self._pending[:HEAD_BYTES]

    def _next(self) -> bytes:
        with self._reading():
            chunk = next(self._chunks, b"")
        if self._spool is not None:
            self._keep(chunk)
        return chunk

    def _keep(self, chunk: bytes) -> None:
        assert self._spool is not None
        try:
            self._spool.write(chunk)
            self._spool.flush()
        except OSError as why:
            raise no_room(self.name, reason_of(why)) from None

    @contextmanager
    def _reading(self) -> Iterator[None]:
        try:
            yield
        except OSError as why:
            raise BadLog(
                self.name, f"reading it stopped ({reason_of(why)}); copy it to this computer's own disk and check again"
            ) from None

    def skip_to(self, start: int) -> None:
        """Let the next ``read`` begin at ``start``; before the first read, or where the bytes lie ``in_place``."""
        if self.in_place and self._file.seekable():
            self._pending = b""
            self._file.seek(start)
        else:
            self.read(start)

    def read(self, size: int) -> bytes:
        """The next ``size`` bytes; fewer at the end."""
        data, self._pending = self._pending[:size], self._pending[size:]
        if self._spool is None:
            with self._reading():
                return data + self._file.read(size - len(data)) if len(data) < size else data
        parts, got = [data], len(data)
        while got < size and (chunk := self._next()):
            parts.append(chunk[: size - got])
            self._pending = chunk[size - got :]
            got += len(parts[-1])
        return b"".join(parts)

    @property
    def in_place(self) -> bool:
        """Whether the bytes lie in the file as they are, so that ``at`` may be asked for any of them at any time."""
        return self._spool is None

    def at(self, start: int, size: int) -> bytes:
        """Bytes that ``read`` has passed already; where they lie ``in_place``, any bytes."""
        file = self._file if self._spool is None else self._spool
        with self._reading():
            if hasattr(os, "pread"):  # needs no lock, so threads read side by side
                data = os.pread(file.fileno(), size, start)
            else:
                with self._lock:
                    file.seek(start)
                    data = file.read(size)
        if len(data) < size:
            raise BadLog(
                self.name, "it became shorter while it was read; wait until nothing writes to it, then check again"
            )
        return data

    def taken(self) -> int:
        """Bytes of the file itself used so far."""
        return self._file.tell() if self._file.seekable() else 0

    def whole(self) -> str:
        """A path under which all bytes, decompressed, can be opened for as long as this source is open."""
        if self._spool is not None:
            while self._next():
                pass
        held = Path(f"/proc/self/fd/{(self._spool or self._file).fileno()}")
        if held.exists():  # outlives a file that is renamed or deleted
            return str(held)
        if self._spool is not None:
            raise BadLog(self.name, "a compressed table cannot be read here; unpack it first")
        return str(self.path)


def _close(files: list[BinaryIO]) -> None:
    for file in files:
        file.close()


def _opened(path: Path) -> BinaryIO:
    try:
        return path.open("rb")
    except FileNotFoundError:
        raise BadLog(str(path), "there is no such file; check the name and the folder") from None
    except IsADirectoryError:
        raise BadLog(str(path), "this is a folder; name one log file in it") from None
    except PermissionError:
        if path.is_dir():  # what some systems say of a folder
            raise BadLog(str(path), "this is a folder; name one log file in it") from None
        raise BadLog(str(path), "reading this file is not permitted; change its permissions or copy it") from None
    except OSError as why:
        raise BadLog(str(path), f"the file cannot be opened ({reason_of(why)}); check its name and its drive") from None


def _binary(lead: bytes) -> bool:
    return b"\0" in lead or lead.startswith(b"PAR1")


def _rest(file: BinaryIO, lead: bytes) -> Iterator[bytes]:
    while lead:
        yield lead
        lead = file.read(_CHUNK)


def _before(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest


class _FromStart(io.RawIOBase):
    """A stream from its beginning, though its first bytes have been read already and cannot be read again."""

    def __init__(self, lead: bytes, file: BinaryIO) -> None:
        self._lead, self._file = memoryview(lead), file

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "WriteableBuffer") -> int:
        view = memoryview(buffer)
        held = self._lead[: len(view)] or self._file.read(len(view))
        self._lead = self._lead[len(held) :]
        view[: len(held)] = held
        return len(held)


def _unpacked(name: str, lead: bytes, file: BinaryIO) -> Iterator[bytes]:
    """Decompress member after member; a last one without its end is an error."""
    from gzip import BadGzipFile, GzipFile

    if sys.version_info >= (3, 14):
        from compression.zstd import ZstdError, ZstdFile
    else:
        from backports.zstd import ZstdError, ZstdFile

    packed = _FromStart(lead, file)
    plain = GzipFile(fileobj=packed, mode="rb") if lead.startswith(_GZIP) else ZstdFile(packed)
    while True:
        try:
            chunk = plain.read(_CHUNK)
        except EOFError:
            raise _damaged(name, "it ends too early") from None
        except (BadGzipFile, zlib.error, ZstdError) as why:
            raise _damaged(name, why) from None
        if not chunk:
            return
        yield chunk


def _damaged(name: str, why: object) -> BadLog:
    return BadLog(name, f"the compressed file is damaged or cut short ({why}); copy it again from the logger")


def _recoded(name: str, first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    decoder = codecs.getincrementaldecoder("utf-16")()
    for chunk in _before(first, rest):
        try:
            text = decoder.decode(chunk)
        except UnicodeDecodeError as why:
            raise BadLog(
                name, f"its text (UTF-16) is damaged ({why.reason}); copy it again from the logger, or save it as UTF-8"
            ) from None
        if "\r" in text and "\n" not in text:
            text = text.replace("\r", "\n")
        if text:
            yield text.encode("utf-8", "replace")
