"""Keys pressed on a page, on their way to the guided test that runs: lines of a small file beside its state.

A file and no socket: it works alike on every system, nobody listens, and what nobody takes is gone with the test.
"""

import json
import os
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from benchlog.bench.live import LiveState, LiveStep, live_folder

PressWord = Literal["enter", "skip", "again", "pause", "yes", "no"]
PRESS_WORDS: tuple[str, ...] = get_args(PressWord)
#: A press that was on its way for longer is not taken: the tester has moved on, s.
OLD_S = 10.0
#: A file longer than this is no one's fingers, bytes.
MOST_BYTES = 1 << 16


@dataclass(frozen=True, slots=True)
class Press:
    """One key, and the step and question that it was pressed at."""

    word: PressWord
    step: str
    ask: str


def seen_at(step: LiveStep | None) -> str:
    """What a page shows of a step, so that a press at another one is not taken."""
    return "" if step is None else f"{step.number} {step.id}"


def press(state: LiveState, word: str, step: str, ask: str) -> bool:
    """Send a key to a running test; False where it is none that a page may press, or no test runs there.

    Args:
        state: of the test. step, ask: what the page showed as it was pressed.
    """
    if word not in PRESS_WORDS or state.step is None or not state.pid:
        return False
    path = _path(state.pid)
    if path.exists() and path.stat().st_size > MOST_BYTES:
        return False
    line = json.dumps({"word": word, "step": step, "ask": ask, "at": time.time()}) + "\n"
    handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        os.write(handle, line.encode())
    finally:
        os.close(handle)
    return True


class PagePresses:
    """Takes the presses for this process's test."""

    def __init__(self) -> None:
        """What an earlier process of the same number left does not count."""
        self._path, self._read = _path(os.getpid()), 0
        self._path.unlink(missing_ok=True)

    def taken(self, step: LiveStep | None) -> list[PressWord]:
        """The keys since the last call that were pressed at what is shown now."""
        try:
            with self._path.open("rb") as file:
                file.seek(self._read)
                came = file.read(MOST_BYTES)
        except OSError:
            return []
        whole = came[: came.rfind(b"\n") + 1]
        self._read += len(whole)
        found = [_understood(line) for line in whole.splitlines()]
        ask = "" if step is None else step.ask
        return [one.word for one in found if one is not None and one.step == seen_at(step) and one.ask == ask]

    def close(self) -> None:
        """Leave nothing behind."""
        self._path.unlink(missing_ok=True)


def _path(pid: int) -> Path:
    return live_folder() / f"{pid}.keys"


def _understood(line: bytes) -> Press | None:
    try:
        plain = json.loads(line)
        word, step, ask, at_s = plain["word"], plain["step"], plain["ask"], float(plain["at"])
    except (ValueError, TypeError, KeyError):
        return None
    if word not in PRESS_WORDS or abs(time.time() - at_s) > OLD_S:
        return None
    return Press(word, str(step), str(ask))
