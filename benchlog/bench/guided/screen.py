"""What the tester sees: one plain screen that can be read from a step away, or plain lines where there is no screen."""

import os
import shutil
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal, TextIO

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.view import View
from benchlog.core.plain import plain
from benchlog.core.printable import printable
from benchlog.process.output import drawn_on

_WIDTH, _HEIGHT = 76, 24
_NARROWEST, _WIDEST = 20, 100
_NEWS = 3
_CLEAR, _HOME, _REST = "\x1b[2J", "\x1b[H", "\x1b[J"
_KEYS = ("[Enter] done", "[s] skip", "[a] again", "[q] stop")
_WALK_KEY = "[w] fuse walk"
_BRIDGE_KEYS = {"offered": ("[b] shunt bridged",), "on": ("[b] bridge is off",)}
_APART = "   "

Paint = Literal["plain", "bold", "caution"]
_PAINTS: dict[Paint, str] = {"plain": "", "bold": "\x1b[1m", "caution": "\x1b[1;33m"}


@dataclass(frozen=True, slots=True)
class ScreenLine:
    """One line of the page, and how it stands out."""

    text: str
    paint: Paint = "plain"


def values_line(last: Mapping[str, float]) -> str:
    """The newest values in words; role -> value, canonical unit, NaN where none."""
    return _APART.join(_values(last)) or "no values yet"


def _values(last: Mapping[str, float]) -> list[str]:
    parts = []
    if (volts := last.get("battery_v")) is not None:
        parts.append(f"Battery {_shown(volts, 'V', 2)}")
    if (amps := last.get("battery_a")) is not None:
        way = "" if not amps < -0.05 else " (charging)"
        parts.append(f"{_shown(abs(amps) if way else amps, 'A', 2)}{way}")
    if (drain := last.get("drain_a")) is not None and drain == drain:
        parts.append(f"Drain {drain * 1000:.2f} mA")
    for role, name in (("key_v", "Key"), ("trigger_v", "Trigger"), ("feed_v", "Feed")):
        if (volts := last.get(role)) is not None:
            state = "?" if volts != volts else "live" if volts > UP_ABOVE_V else "dead"
            parts.append(f"{name} {state}" + (f" {volts:.1f} V" if state != "?" and role == "feed_v" else ""))
    return parts


def _shown(value: float, unit: str, digits: int) -> str:
    return f"{value:.{digits}f} {unit}" if value == value else f"beyond range ({unit})"


def page(
    view: View, last: Mapping[str, float], news: tuple[str, ...], *, width: int = _WIDTH, height: int = _HEIGHT
) -> list[str]:
    """The lines of the screen, without colours: caution first, then what to do; the oldest news go where it is full."""
    return [line.text for line in _page(view, last, news, width, height)]


def _page(view: View, last: Mapping[str, float], news: tuple[str, ...], width: int, height: int) -> list[ScreenLine]:
    step = view.step
    rule = ScreenLine("─" * width)
    title = f"STEP {step.number} of {step.of}{_APART}{step.title.upper()}"
    top = [*_wrapped(title, width, paint="bold"), rule]
    if step.caution:
        top += [ScreenLine(""), *_wrapped(f"CAUTION  {step.caution}", width, paint="caution")]
    order = "Read the caution. Press Enter when you have." if view.read_first else step.say
    top += [ScreenLine(""), *_wrapped(f">> {order}", width, "  ", "     ", "bold")]
    if not view.read_first:
        top += _wrapped(f"Waiting for: {step.waiting_for}", width, "     ")
    if view.by_itself:
        top += _wrapped("The stand-in does this step itself.", width, "     ")
    if view.silent_s:
        values = _wrapped(f"No line from the logger for {view.silent_s:.0f} s.", width, "  ", paint="bold")
    else:
        values = _joined(_values(last) or ["no values yet"], width, "  ")
    if view.bridge == "on":
        values = [*_wrapped("The shunt is bridged: no current is measured.", width, "  ", paint="bold"), *values]
    known = (*_KEYS, *_BRIDGE_KEYS.get(view.bridge, ()), *([_WALK_KEY] if view.can_walk else []))
    keys = [rule, *_joined(known, width)]
    told = [_wrapped(text, width, "  · ", "    ") for text in news]
    return _fitted(top, values, told, keys, height)


def _fitted(
    top: list[ScreenLine], values: list[ScreenLine], told: list[list[ScreenLine]], keys: list[ScreenLine], height: int
) -> list[ScreenLine]:
    """All of it where there is room; else without the oldest news, then without empty lines, then without its end."""
    gap = [ScreenLine("")]
    while True:
        news = [line for lines in told for line in lines]
        whole = [*top, *gap, *values, *(gap if news else []), *news, *gap, *keys]
        if len(whole) <= height or not told:
            break
        told = told[1:]
    if len(whole) > height:
        whole = [line for line in whole if line.text]
    return whole[:height]


def _wrapped(text: str, width: int, first: str = "", rest: str = "", paint: Paint = "plain") -> list[ScreenLine]:
    # a name in the plan must not steer the terminal
    plain = printable(text, "?")
    lines = textwrap.wrap(plain, width, initial_indent=first, subsequent_indent=rest or " " * len(first))
    return [ScreenLine(line, paint) for line in lines or [""]]


def _joined(parts: Iterable[str], width: int, indent: str = "") -> list[ScreenLine]:
    """Parts beside one another as far as they fit; none is torn apart."""
    lines: list[str] = []
    for part in parts:
        if lines and len(lines[-1]) + len(_APART) + len(part) <= width:
            lines[-1] += _APART + part
        else:
            lines.append((indent + part)[:width])
    return [ScreenLine(line) for line in lines]


def _told(text: str) -> str:
    return "\n".join(line.text for line in _wrapped(text, _WIDTH, "  · ", "    "))


def _said(text: str) -> str:
    return "\n".join(line.text for line in _wrapped(text, _WIDTH, "  "))


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
        self._write, self._shown = write, ""

    def show(self, view: View, last: Mapping[str, float]) -> None:
        """Say the step where it is new."""
        step = view.step
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

    def show(self, view: View, last: Mapping[str, float]) -> None:
        """Draw the page where it has changed."""
        size = shutil.get_terminal_size((80, 24))
        width = max(min(size.columns - 2, _WIDEST), _NARROWEST)
        lines = _page(view, last, self._news, width, max(size.lines, 1))
        if lines == self._drawn and size == self._size:
            return
        # what a terminal makes of old lines as it is made narrower is anybody's guess
        head = "" if size == self._size else _CLEAR
        self._drawn, self._size = lines, size
        self._out.write(head + _HOME + "\n".join(f"{_painted(line)}\x1b[K" for line in lines) + _REST)
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
