"""Files of settings written and loaded, and the faults that loading them names."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchlog.core.errors import BadFile

Loading = Callable[[str | bytes], Any]


def written_and_loaded(path: Path, load: Callable[[Path], Any]) -> Loading:
    """Writes a content to the file, and loads it from there."""

    def write_and_load(content: str | bytes) -> Any:
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return load(path)

    return write_and_load


def faults_of(load: Loading, content: str | bytes) -> list[str]:
    """Every fault that loading the content names."""
    with pytest.raises(BadFile, match="cannot be used") as caught:
        load(content)
    return list(caught.value.faults)
