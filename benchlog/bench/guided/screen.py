"""What the tester sees: one plain screen that can be read from a step away, or plain lines where there is no screen."""

import os
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TextIO

from benchlog.bench.guided.paging import WIDTH, Paint, ScreenLine, page_lines, parts_of, values_line, wrapped
from benchlog.bench.guided.view import View
from benchlog.core.printable import plain
from benchlog.process.output import drawn_on

_NARROWEST, _WIDEST = 20, 100
_BELL = "\a"
_NEWS = 3
_CLEAR, _HOME, _REST = "\x1b[2J", "\x1b[H", "\x1b[J"
_PAINTS: dict[Paint, str] = {"plain": "", "bold": "\x1b[1m", "caution": "\x1b[1;33m"}


def _told(text: str) -> str:
    return "\n".join(line.text for line in wrapped(text, WIDTH, "  · ", "    "))


def _said(text: str) -> str:
    return "\n".join(line.text for line in wrapped(text, WIDTH, "  "))


@contextmanager
def screen_for(out: TextIO) -> "Iterator[PlainScreen | LiveScreen]":
    """A page that is redrawn on a terminal, plain lines elsewhere."""
    redrawn = out.isatty() and os.environ.get("TERM", "") != "dumb"
    screen = LiveScreen(out) if redrawn else PlainScreen(lambda text: print(text, file=out, flush=True))
    try:
        yield screen
    finally:
        screen.close()


class PlainScreen:
    """Each step once, and what came of it; for a pipe, a file, or a screen that cannot be redrawn."""

    def __init__(self, write: Callable[[str], object]) -> None:
        """Lines go to ``write``."""
        self._write, self._shown, self._asked = write, "", ""

    def turned(self) -> bool:
        """A caution stands there whole."""
        return False

    def show(self, view: View, last: Mapping[str, float]) -> None:
        """Say the step where it is new."""
        step = view.step
        if step.ask and step.ask != self._asked:
            self._write(_said(f"{step.ask[:1].upper()}{step.ask[1:]} [y] yes, [n] no"))
        self._asked = step.ask
        now = f"{step.number} {step.id} {view.read_first} {step.say}"
        if now == self._shown:
            return
        new = not self._shown.startswith(f"{step.number} {step.id} ")
        self._shown = now
        if new:
            self._write(f"\nStep {step.number} of {step.of}: {step.title}")
            if step.caution:
                self._write(_said(f"CAUTION  {step.caution}"))
        if view.read_first:
            self._write("  Read the caution; Enter when you have.")
            return
        self._write(_said(step.say))
        if new and view.by_itself:
            self._write("  (the stand-in does this step itself)")
        if new:
            self._write(f"  {values_line(last)}")

    def tell(self, text: str) -> None:
        """Say one sentence."""
        self._write(_told(text))

    def close(self) -> None:
        """Nothing to clean up."""


class LiveScreen:
    """One page, redrawn in place.

    Not by rich.live: that moves up by as many lines as it drew, which are more once the terminal has been made
    narrower, and on the terminal's other screen the last page would be gone at the end. What to leave out of a page
    that is too long has to be said here anyway, so it would save ten lines.
    """

    def __init__(self, out: TextIO) -> None:
        """The page goes to this terminal."""
        self._out = drawn_on(out)
        self._news: tuple[str, ...] = ()
        self._drawn: list[ScreenLine] = []
        self._size = (0, 0)
        self._part, self._parts = 0, 1
        self._rung: tuple[str, str, str] | None = None

    def show(self, view: View, last: Mapping[str, float]) -> None:
        """Draw the page where it has changed."""
        size = shutil.get_terminal_size((80, 24))
        width, height = max(min(size.columns - 2, _WIDEST), _NARROWEST), max(size.lines, 1)
        self._ring(view)
        self._parts = parts_of(view, width, height)
        self._part = min(self._part, self._parts - 1)
        lines = page_lines(view, last, self._news, width, height, self._part)
        if lines == self._drawn and size == self._size:
            return
        # what a terminal makes of old lines as it is made narrower is anybody's guess
        head = "" if size == self._size else _CLEAR
        self._drawn, self._size = lines, size
        self._out.write(head + _HOME + "\n".join(f"{_painted(line)}\x1b[K" for line in lines) + _REST)
        self._out.flush()

    def turned(self) -> bool:
        """Show the next part of a caution that is longer than the screen; False where there is none."""
        more = self._part < self._parts - 1
        self._part += more
        return more

    def _ring(self, view: View) -> None:
        """Hands and eyes are on the bike: the bell tells that a step is done, or that something is asked."""
        now = (view.step.id, view.step.ask, view.step.hint)
        if self._rung is not None and now[0] != self._rung[0]:
            self._part = 0
        rings = self._rung is not None and now != self._rung and (now[0] != self._rung[0] or now[1] or now[2])
        self._rung = now
        if rings and not view.by_itself:
            self._out.write(_BELL)
            self._out.flush()

    def tell(self, text: str) -> None:
        """Put a sentence under the values; the last few stay."""
        self._news = (*self._news, text)[-_NEWS:]

    def close(self) -> None:
        """Leave the page and continue below it."""
        self._out.write("\n")
        self._out.flush()


def _painted(line: ScreenLine) -> str:
    text = plain(line.text)
    return f"{_PAINTS[line.paint]}{text}\x1b[0m" if line.paint != "plain" else text
