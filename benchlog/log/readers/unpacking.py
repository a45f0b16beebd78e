"""Compressed and recoded files as plain bytes, within bounds."""

import codecs
import io
import os
import shutil
import sys
import tempfile
import zlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, BinaryIO

from benchlog.core.errors import BadLog

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer


_CHUNK = 1 << 17  # small, since a compressed byte may stand for thousands


_LOOK_EACH = 64 << 20  # unpacked bytes after which the disk is looked at again


_LEAVE = 256 << 20  # bytes of it that are left to others


_GZIP, _ZSTD = b"\x1f\x8b", b"\x28\xb5\x2f\xfd"


#: The environment's name for what a packed log may unpack to, MB.
UNPACKED_NAME = "BENCHLOG_MAX_UNPACKED_MB"


# logs of text pack to a tenth, those of a logger that stands still to a hundredth
_ALWAYS, _RATIO = 128 << 20, 128


def _rest(file: BinaryIO, lead: bytes) -> Iterator[bytes]:
    while lead:
        yield lead
        lead = file.read(_CHUNK)


def _before(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    yield first
    yield from rest


def most_unpacked(packed: int) -> int:
    """Bytes that a log of so many packed bytes may unpack to: what the user says, or far more than any log's ratio."""
    told = os.environ.get(UNPACKED_NAME, "")
    return int(told) << 20 if told.isdecimal() and len(told) < 12 else max(_ALWAYS, _RATIO * packed)


def too_large(name: str, most: int) -> BadLog:
    """The message for a log that unpacks to more."""
    return BadLog(
        name,
        f"it unpacks to more than {most >> 20} MB, which no log of its size does; if it is sound, "
        "name what it may take: benchlog --max-unpacked-mb N, before the command",
    )


def _no_room(name: str, why: str) -> BadLog:
    return BadLog(
        name,
        f"there is no room to unpack it in {tempfile.gettempdir()} ({why}); "
        "make room there, or unpack it elsewhere and name the unpacked log",
    )


def _bounded(name: str, chunks: Iterator[bytes], most: int) -> Iterator[bytes]:
    """The same, while they stay below the bound and leave the disk some room."""
    total, looked = 0, 0
    for chunk in chunks:
        total += len(chunk)
        if total > most:
            raise too_large(name, most)
        if total - looked > _LOOK_EACH:
            looked = total
            if shutil.disk_usage(tempfile.gettempdir()).free < _LEAVE:
                raise _no_room(name, "hardly any is left")
        yield chunk


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
