"""Files of settings written and loaded, and the faults that loading them names."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchlog.core.errors import BadFile

Loading = Callable[[str | bytes], Any]


def loading(name: str, load: Callable[[Path], Any]) -> Any:
    """The fixture ``load`` of a test file: it writes a content to a file of that name, and loads it from there."""

    @pytest.fixture(name="load")
    def written_and_loaded(tmp_path: Path) -> Loading:
        path = tmp_path / name

        def write_and_load(content: str | bytes) -> Any:
            path.write_bytes(content if isinstance(content, bytes) else content.encode())
            return load(path)

        return write_and_load

    return written_and_loaded


def faults_of(load: Loading, content: str | bytes) -> list[str]:
    """Every fault that loading the content names."""
    with pytest.raises(BadFile, match="cannot be used") as caught:
        load(content)
    return list(caught.value.faults)
