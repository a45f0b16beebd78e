"""How much may come out of a packed log, and whether the disk has room for it."""

import os
import shutil
import tempfile
from collections.abc import Iterator

from benchlog.core.errors import BadLog

_LOOK_EACH = 64 << 20  # unpacked bytes after which the disk is looked at again
_LEAVE = 256 << 20  # bytes of it that are left to others
#: The environment's name for what a packed log may unpack to, MB.
UNPACKED_NAME = "BENCHLOG_MAX_UNPACKED_MB"
# logs of text pack to a tenth, those of a logger that stands still to a hundredth
_ALWAYS, _RATIO = 128 << 20, 128


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


def no_room(name: str, why: str) -> BadLog:
    """The message for a log that the disk cannot hold unpacked."""
    return BadLog(
        name,
        f"there is no room to unpack it in {tempfile.gettempdir()} ({why}); "
        "make room there, or unpack it elsewhere and name the unpacked log",
    )


def bounded(name: str, chunks: Iterator[bytes], most: int) -> Iterator[bytes]:
    """The same, while they stay below the bound and leave the disk some room."""
    total, looked = 0, 0
    for chunk in chunks:
        total += len(chunk)
        if total > most:
            raise too_large(name, most)
        if total - looked > _LOOK_EACH:
            looked = total
            if shutil.disk_usage(tempfile.gettempdir()).free < _LEAVE:
                raise no_room(name, "hardly any is left")
        yield chunk
