"""Files written whole or not at all."""

import contextlib
import os
import secrets
from pathlib import Path

from benchlog.errors import BenchlogError


def write_whole(target: Path, text: str, what: str) -> None:
    """Write ``text`` to ``target`` as UTF-8: the old file stays whole until the new one is complete.

    Args:
        what: the thing that is written, for the message ("the report").

    Raises:
        BenchlogError: the folder is missing or cannot be written to, or ``target`` is a folder.
    """
    if target.is_dir():
        raise BenchlogError(f"{target}: this is a folder, a file name is needed for {what}; add one")
    part = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
        os.replace(part, target)
    except OSError as problem:
        with contextlib.suppress(OSError):
            part.unlink()
        why = (problem.strerror or str(problem)).lower()
        raise BenchlogError(
            f"{target}: {what} cannot be written ({why}); name a folder that exists and that you may write to"
        ) from problem
