"""Settings as a caller gives them: a file's path, its content, or what is made of either."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVar

from benchlog.core.errors import BenchlogError

Made = TypeVar("Made")


def made_of(
    given: object, what: str, made: type[Made], content: Callable[[Mapping[str, object]], Made],
    load: Callable[[str | Path], Made],
) -> Made:  # fmt: skip
    """What is made of it.

    Args:
        what: "plan" or "logger". made: what needs no making. content, load: make it of a mapping, and of a file.

    Raises:
        BenchlogError: it cannot be used, or is none of these.
    """
    if isinstance(given, made):
        return given
    if isinstance(given, Mapping):
        return content(given)
    if not isinstance(given, (str, Path)):
        raise BenchlogError(f"{given!r} is not a {what}; give the path of a {what} file, or its content as a mapping")
    return load(given)
