"""Logs that lie in a bucket: listed where they lie, and fetched to a temporary file by whoever reads them.

Any URL that fsspec knows will do: ``s3://``, ``az://``, ``gs://``, ``memory://`` …; how the bucket is entered stands in
the environment or the files that its library looks at.
"""

import hashlib
import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePath
from typing import Any

from benchlog.core.errors import BadLog, BenchlogError
from benchlog.core.printable import unsecret

# two letters at least, as one is a drive; one slash, as where a URL was made a path before
_URL = re.compile(r"^([a-z][a-z0-9+]+):/+(?=[^/])", re.I)
_BESIDE = ".logger.toml"
_BLOCK_BYTES = 4 << 20
#: How the addresses of buckets begin, as a rule.
BUCKETS = ("s3", "s3a", "az", "abfs", "abfss", "gs", "gcs")
#: And those of databases, which may hold a password.
_DATABASES = re.compile(r"postgres|sqlite|mysql|mariadb|oracle|mssql", re.I)


def url_of(named: object) -> str | None:
    """The URL that a name stands for; None for a path."""
    if not isinstance(named, (str, PurePath)):
        return None
    text = named if isinstance(named, str) else named.as_posix()
    found = _URL.match(text)
    return None if found is None or _DATABASES.match(text) else f"{found[1].lower()}://{text[found.end() :]}"


def shown(named: object) -> str:
    """A path or URL as the user wrote it."""
    return unsecret(url_of(named) or str(named))


def exists(named: str) -> bool:
    """Whether this process reaches a path or URL."""
    url = url_of(named)
    if url is None:
        return os.path.exists(named)
    system, path = _system(url)
    with _said(url):
        return bool(system.exists(path))


def listed(url: str, *, deep: bool) -> list[Path]:
    """What lies in a folder of a bucket, by name; ``deep``: and below it. Empty where there is no such folder.

    Raises:
        BenchlogError: the bucket is not reached.
    """
    system, path = _system(url)
    with _said(url):
        system.invalidate_cache()
        found = system.find(path, maxdepth=None if deep else 1) if system.exists(path) else []
        found = [] if found == [path] else found  # a file
    scheme = url.partition("://")[0]
    return [Path(f"{scheme}://{one.partition('://')[2] or one}") for one in sorted(found)]


def fetch(named: Path, to: Path) -> bool:
    """Copy a file of a bucket to this computer; False where there is none.

    Raises:
        BadLog: it cannot be read.
    """
    url, system, path = _place(named)
    with _said(url):
        there = bool(system.isfile(path))
        if there:
            system.get_file(path, str(to))
    return there


def put(local: Path, named: Path) -> None:
    """Copy a file of this computer to a bucket, where it is whole or not there.

    Raises:
        BadLog: the bucket does not take it.
    """
    url, system, path = _place(named)
    with _said(url, "written"):
        system.put_file(str(local), path)


def hashed(named: Path) -> tuple[str, int] | None:
    """SHA-256 and bytes of a file of a bucket, read where it lies; None where there is none.

    Raises:
        BadLog: the bucket is not reached.
    """
    url, system, path = _place(named)
    found, size = hashlib.sha256(), 0
    with _said(url):
        if not system.isfile(path):
            return None
        with system.open(path, "rb") as file:
            while block := file.read(_BLOCK_BYTES):
                found.update(block)
                size += len(block)
    return found.hexdigest(), size


@contextmanager
def fetched(named: Path) -> Iterator[Path]:
    """A log as a file of this computer, its logger file beside it; a path is what it is, a URL is copied for a while.

    Raises:
        BadLog: it is not there or cannot be read.
    """
    url = url_of(named)
    if url is None:
        yield named
        return
    system, path = _system(url)
    with tempfile.TemporaryDirectory(prefix="benchlog-") as folder:
        local = Path(folder) / PurePath(path).name
        if not fetch(named, local):
            raise BadLog(unsecret(url), "there is no such file in the bucket; check the name")
        with _said(url):
            changed = system.modified(path)
            beside = [one for stem in _stems(path) if system.isfile(one := f"{stem}{_BESIDE}")]
            if beside:
                system.get_file(beside[0], str(local.with_name(PurePath(beside[0]).name)))
        os.utime(local, (changed.timestamp(), changed.timestamp()))
        yield local


def _stems(path: str) -> Iterator[str]:
    """As for a log's logger file: without one ending after the other."""
    folder, slash, name = path.rpartition("/")
    while name:
        yield f"{folder}{slash}{name}"
        name = name.rpartition(".")[0]


def _place(named: Path) -> tuple[str, Any, str]:
    """A file's URL, the bucket it lies in and its path there."""
    url = url_of(named) or str(named)
    return url, *_system(url)


def _system(url: str) -> tuple[Any, str]:
    try:
        import fsspec

        system, path = fsspec.core.url_to_fs(url)
    except ImportError as lacking:
        raise BenchlogError(
            f"{unsecret(url)}: what reads such a bucket is not installed ({lacking.name or lacking}); "
            'run: pip install "benchlog[bucket]", or the fsspec library of this bucket'
        ) from None
    except ValueError as problem:
        raise BenchlogError(
            f"{unsecret(url)}: this is no address of a bucket ({unsecret(str(problem))}); write it as s3://BUCKET/FOLDER"
        ) from None
    return system, path


@contextmanager
def _said(url: str, done: str = "read") -> Iterator[None]:
    """Turn what a bucket's library says into one sentence."""
    try:
        yield
    except BenchlogError:
        raise
    except Exception as problem:  # each library has errors of its own
        first = next(iter(str(problem).splitlines()), "") or type(problem).__name__
        raise BadLog(
            unsecret(url), f"the bucket cannot be {done} ({unsecret(first)}); check its name, its address and your key"
        ) from None
