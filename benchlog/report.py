"""A result for people: as text for a terminal and as one HTML page that needs nothing else."""

import contextlib
import os
import secrets
from pathlib import Path

from benchlog.errors import BenchlogError
from benchlog.report_html import render_html
from benchlog.report_text import render_text
from benchlog.result import Result

__all__ = ["render_html", "render_text", "write_html"]


def write_html(result: Result, path: str | os.PathLike[str]) -> None:
    """Write the page to ``path``: the old file stays whole until the new one is complete.

    Raises:
        BenchlogError: the folder is missing or cannot be written to, or ``path`` is a folder.
    """
    target = Path(path)
    page = render_html(result).encode("utf-8")
    if target.is_dir():
        raise BenchlogError(f"{target}: this is a folder, a file name is needed; name the report, as in report.html")
    part = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(page)
        os.replace(part, target)
    except OSError as problem:
        with contextlib.suppress(OSError):
            part.unlink()
        why = problem.strerror or str(problem)
        raise BenchlogError(
            f"{target}: the report cannot be written ({why.lower()}); "
            f"name a folder that exists and that you may write to"
        ) from problem
