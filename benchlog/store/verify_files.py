"""The kept logs: each a file of its own, with the bytes that its record names; and what else lies among them."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from benchlog.core.errors import reason_of
from benchlog.core.files import open_own
from benchlog.store.logs_kept import kept_path
from benchlog.store.seal import is_sealed
from benchlog.store.trouble import Trouble


def of_logs(folder: Path, kept: Mapping[str, tuple[int, str, int]]) -> Iterator[Trouble]:
    """What differs among the kept logs.

    Args:
        folder: of kept logs. kept: hash of the copy -> record, name of the log, bytes.
    """
    for sha256, (record, name, size) in kept.items():
        path = kept_path(folder, sha256)
        who = f"record {record}: the kept copy of {name} ({path})"
        try:
            with open_own(path) as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
                length = file.tell()
        except FileNotFoundError:
            yield Trouble(f"{who} is not there", "logs", record, path)
        except OSError as problem:
            yield Trouble(f"{who} cannot be read ({reason_of(problem)})", "logs", record, path)
        else:
            if found != sha256 or length != size:
                yield Trouble(f"{who} was altered or damaged", "logs", record, path)
    for path in left_over(folder, kept):
        yield Trouble(f"{path} belongs to no record: what was left of a save that did not end", "left over", file=path)
    for path in sorted(folder.glob("[0-9a-f][0-9a-f]/*.drawn")):
        if not is_sealed(path):
            told = f"{path} was drawn elsewhere, or altered since: it is not shown, and drawn anew from the log"
            yield Trouble(told, "left over", file=path)


def left_over(folder: Path, kept: Iterable[str]) -> list[Path]:
    """Files in the folder of kept logs that no record names."""
    named = {kept_path(folder, sha256) for sha256 in kept}
    found = [*folder.glob(".*.part"), *folder.glob("[0-9a-f][0-9a-f]/*.parquet")]
    return sorted(path for path in found if path not in named)
