"""Kept copies that lie in a bucket: put there whole under their hash, and fetched by whoever reads them."""

import hashlib
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from benchlog.core import remote
from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.files import replace
from benchlog.core.places import data_folder

#: Fetched copies that stay on this computer, for the pages: those used longest ago go first.
_MOST_FETCHED = 20


def is_far(folder: Path) -> bool:
    """Whether the folder of kept logs is in a bucket."""
    return remote.url_of(folder) is not None


def whole(folder: Path) -> Path:
    """The folder as other processes name it too."""
    return folder if is_far(folder) else folder.absolute()


@contextmanager
def parts_of(folder: Path) -> Iterator[Path]:
    """Where a copy is written before it has its name: in the folder itself, or for a bucket here for a while."""
    if is_far(folder):
        with TemporaryDirectory(prefix="benchlog-") as here:
            yield Path(here)
    else:
        folder.mkdir(parents=True, exist_ok=True)
        yield folder


@contextmanager
def at_hand(path: Path) -> Iterator[Path | None]:
    """A kept copy as a file of this computer, None where it is not there; one in a bucket is fetched for a while.

    It lies as in a folder of kept logs, where its hash tells that benchlog wrote it.

    Raises:
        BadLog: the bucket does not give it.
    """
    if not is_far(path):
        yield path if path.is_file() else None
        return
    with TemporaryDirectory(prefix="benchlog-") as here:
        local = Path(here) / path.parent.name / path.name
        local.parent.mkdir()
        yield local if remote.fetch(path, local) else None


def fetched(path: Path) -> Path | None:
    """A copy that lies in a bucket as a file that stays here, as the pages need it; None where it is not there.

    Raises:
        BenchlogError: the bucket does not answer, what it gives is no longer what was kept, or it cannot be laid down.
    """
    place = data_folder() / "fetched"
    local = place / path.parent.name / path.name
    if local.is_file():
        with suppress(OSError):
            os.utime(local)
        return local
    part = place / f".{secrets.token_hex(8)}.part"
    try:
        local.parent.mkdir(parents=True, exist_ok=True)
        if not remote.fetch(path, part):
            return None
        with part.open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != path.stem:
                raise BenchlogError(
                    f"{remote.shown(path)}: this copy of a log was altered or damaged; run benchlog records verify"
                )
        replace(part, local)
    except OSError as problem:
        raise BenchlogError(
            f"{place}: a copy fetched from the bucket cannot be laid down here "
            f"({reason_of(problem)}); make room there, or set BENCHLOG_DATA to another folder"
        ) from problem
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    _let_go(place)
    return local


def _let_go(place: Path) -> None:
    with suppress(OSError):  # another process may let the same go
        lying = sorted(place.glob("*/*.parquet"), key=lambda path: path.stat().st_mtime, reverse=True)
        for old in lying[_MOST_FETCHED:]:
            old.unlink()
            for drawn in old.parent.glob(f"{old.stem}*"):
                drawn.unlink()
