"""The port that a stand-in prints as it starts."""

import re
import time
from pathlib import Path

_WITHIN_S = 60.0


def named_port(told: Path) -> str:
    """The port, once the file that the stand-in's output goes to names it."""
    until = time.monotonic() + _WITHIN_S
    while time.monotonic() < until:
        if found := re.search(r"^\s*port\s+(\S+)$", told.read_text(encoding="utf-8"), re.MULTILINE):
            return found[1]
        time.sleep(0.05)
    raise RuntimeError("the stand-in named no port")
