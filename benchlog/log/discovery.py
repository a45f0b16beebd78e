"""Which logs are meant by what was named, and how many processes they are worth."""

import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchlog.core import remote
from benchlog.core.errors import BenchlogError
from benchlog.core.toml_files import is_readings

#: Endings of files in a folder that are taken for logs; each may be followed by one of ``PACKED``.
ENDINGS = (".csv", ".tsv", ".txt", ".log", ".dat", ".asc", ".parquet")
PACKED = (".gz", ".zst")

# about what a log costs however short, what its bytes cost, and what it costs to start the processes, s
_A_LOG_S, _A_BYTE_S, _START_S = 0.03, 1e-8, 0.5
_FEWEST_SHARED = 4  # a long log alone keeps two cores busy


def every_log(logs: Sequence[Any], before: object = None) -> list[Any]:
    """The logs one by one; for a folder those that lie in it, in the order of their names.

    A folder without a log in it stays as it is, and so does what is no path.

    Args:
        logs: as named.
        before: not taken from a folder, since it may lie there among the others.
    """
    found: list[Any] = []
    for log in logs:
        inside = logs_in(Path(log), before) if isinstance(log, (str, Path)) else []
        found += inside or [log]
    return found


def logs_in(folder: Path, but: object = None) -> list[Path]:
    """The logs and meter readings in a folder, not in those in it; none where it is no folder or may not be read."""
    url = remote.url_of(folder)
    if url is not None:
        return [path for path in remote.listed(url, deep=False) if is_log(path.name)]
    if not folder.is_dir():
        return []
    try:
        inside = sorted(path for path in folder.iterdir() if is_evidence(path) and path.is_file())
        if isinstance(but, (str, Path)) and Path(but).is_file():
            inside = [path for path in inside if not path.samefile(but)]
    except OSError:
        return []
    return inside


def is_log(name: str) -> bool:
    """Whether a file's name is that of a log: no hidden file, and no logger file or plan."""
    lower = name.lower()
    for packed in PACKED:
        lower = lower.removesuffix(packed)
    return not name.startswith(".") and lower.endswith(ENDINGS)


def is_evidence(path: Path) -> bool:
    """Whether a file is a log by its name, or holds meter readings."""
    return is_log(path.name) or (not path.name.startswith(".") and is_readings(path))


def processes_for(logs: Sequence[Any]) -> int:
    """How many processes these logs are worth: 1 where starting more would cost what they save."""
    count = min(cores(), len(logs) // 2)
    if len(logs) < _FEWEST_SHARED or count < 2:
        return 1
    taken_s = 0.0
    for log in logs:
        size = size_of(log)
        if size is None and remote.url_of(log) is None:
            return 1
        taken_s += _A_LOG_S + (size or 0) * _A_BYTE_S
    return count if taken_s * (1 - 1 / count) > 2 * _START_S else 1


def reachable(logs: Sequence[Any]) -> Iterator[Any]:
    """The logs as another computer may reach them: whole paths, and URLs as they are.

    Raises:
        BenchlogError: one is no file.
    """
    for log in logs:
        if remote.url_of(log) is not None:
            yield log
        elif size_of(log) is not None:
            yield Path(log).absolute()
        else:
            named = log if isinstance(log, (str, Path)) else "a frame"
            raise BenchlogError(
                f"{named}: with --on every log must be a file in a folder or bucket that all workers reach"
            )


def size_of(log: object) -> int | None:
    """Bytes of a file that another process can open too; None for anything else, and for what lies in a bucket."""
    if not isinstance(log, (str, Path)) or remote.url_of(log) is not None:
        return None
    path = Path(log).absolute()
    if path.parts[1:2] in (("dev",), ("proc",)) or not path.is_file():
        return None
    return path.stat().st_size


def cores() -> int:
    """How many processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
