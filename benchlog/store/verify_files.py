"""The kept logs: each a file of its own, with the bytes that its record names; and what else lies among them."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from benchlog.core import remote
from benchlog.core.errors import reason_of
from benchlog.core.files import open_own
from benchlog.store.kept_far import is_far
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
        who = f"record {record}: the kept copy of {name} ({remote.shown(path)})"
        try:
            found = remote.hashed(path) if is_far(path) else _hashed(path)
        except OSError as problem:
            yield Trouble(f"{who} cannot be read ({reason_of(problem)})", "logs", record, path)
        else:
            if found is None:
                yield Trouble(f"{who} is not there", "logs", record, path)
            elif found != (sha256, size):
                yield Trouble(f"{who} was altered or damaged", "logs", record, path)
    for path in left_over(folder, kept):
        yield Trouble(
            f"{remote.shown(path)} belongs to no record: what was left of a save that did not end",
            "left over",
            file=path,
        )
    for path in sorted(folder.glob("[0-9a-f][0-9a-f]/*.drawn")):
        if not is_sealed(path):
            told = f"{path} was drawn elsewhere, or altered since: it is not shown, and drawn anew from the log"
            yield Trouble(told, "left over", file=path)


def _hashed(path: Path) -> tuple[str, int] | None:
    try:
        with open_own(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest(), file.tell()
    except FileNotFoundError:
        return None


def left_over(folder: Path, kept: Iterable[str]) -> list[Path]:
    """Files in the folder of kept logs that no record names."""
    named = {kept_path(folder, sha256) for sha256 in kept}
    if is_far(folder):
        lying = remote.listed(remote.shown(folder), deep=True)
        return [path for path in lying if path.suffix == ".parquet" and path not in named]
    found = [*folder.glob(".*.part"), *folder.glob("[0-9a-f][0-9a-f]/*.parquet")]
    return sorted(path for path in found if path not in named)
