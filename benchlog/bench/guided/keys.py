"""One key at a time from the terminal, without waiting for it.

By ``termios`` and ``msvcrt`` themselves, not by prompt_toolkit: its raw mode makes Ctrl-C a key like any other, which
nobody reads while the program computes; here it stays a signal. prompt_toolkit would save the 40 lines below that read,
for 0.12 s of CPU to load it (``termios``, ``tty`` and ``select``: 0.01 s) and 10 MB to install.
"""

import re
import sys
from collections.abc import Callable
from contextlib import suppress
from types import TracebackType
from typing import Literal, get_args

from benchlog.bench.guided.view import Digit, Key

Pressed = Key | Literal["quit"]

#: What is typed -> what it asks for.
KEYS: dict[str, Pressed] = {
    "\r": "enter",
    "\n": "enter",
    " ": "enter",
    "s": "skip",
    "a": "again",
    "w": "walk",
    "b": "bridge",
    "p": "pause",
    "l": "list",
    "c": "caution",
    "y": "yes",
    "n": "no",
    **{digit: digit for digit in get_args(Digit)},
    "q": "quit",
    "\x03": "quit",
}

#: What a terminal sends for a key without a letter, such as an arrow (ECMA-48): ends in letters that mean nothing here.
_UNLETTERED = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|O[@-~])")
_HALF = re.compile(r"\x1b(?:\[[0-?]*[ -/]*|O)?$")
#: Windows sends one of these before the letter that stands for such a key.
_BEFORE_UNLETTERED = ("\x00", "\xe0")


class Keyboard:
    """The terminal's keys while it is open; none where standard input is no terminal."""

    def __init__(self) -> None:
        """Not listening yet."""
        self._restore: Callable[[], None] | None = None
        self._read: Callable[[], str] = str
        self._half = ""
        self.works = False

    def __enter__(self) -> "Keyboard":
        """Listen: keys come singly and are not shown."""
        if not sys.stdin or not sys.stdin.isatty():
            return self
        if sys.platform == "win32":
            self._on_windows()
        else:
            self._on_posix()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave the terminal as it was."""
        if self._restore is not None:
            self._restore()
            self._restore = None

    def pressed(self) -> list[Pressed]:
        """The keys since the last call; unknown ones are ignored."""
        text = _UNLETTERED.sub("", self._half + self._read())
        # the rest of such a key may come a moment later
        half = _HALF.search(text)
        self._half = half[0] if half else ""
        return [KEYS[char] for char in text.removesuffix(self._half).lower() if char in KEYS]

    def _on_posix(self) -> None:
        import os
        import select

        try:
            import termios
            import tty
        except ImportError:
            return
        handle = sys.stdin.fileno()
        try:
            before = termios.tcgetattr(handle)
            tty.setcbreak(handle)
        except termios.error:
            return  # a terminal that cannot be set gives no keys

        def read() -> str:
            text = b""
            with suppress(OSError):
                while select.select([handle], [], [], 0)[0]:
                    more = os.read(handle, 64)
                    if not more:
                        break
                    text += more
            return text.decode("utf-8", "ignore")

        self._read, self.works = read, True
        self._restore = lambda: termios.tcsetattr(handle, termios.TCSADRAIN, before)

    def _on_windows(self) -> None:
        import importlib

        console = importlib.import_module("msvcrt")  # known to type checkers on Windows alone

        def read() -> str:
            text = ""
            while console.kbhit():
                char = console.getwch()
                if char in _BEFORE_UNLETTERED:
                    console.getwch()
                else:
                    text += char
            return text

        self._read, self.works = read, True
