"""What the tester sees: one plain screen that can be read from a step away, or plain lines where there is no screen."""

import os
import shutil
import textwrap
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.guided.walk import View

_WIDTH = 76
_NEWS = 3
_CLEAR, _HOME, _REST = "\x1b[2J", "\x1b[H", "\x1b[J"
_BOLD, _YELLOW, _PLAIN = "\x1b[1m", "\x1b[1;33m", "\x1b[0m"
_KEYS = "[Enter] done   [s] leave out   [a] again   [q] stop"


def values_line(last: Mapping[str, float]) -> str:
    """The newest values in words; role -> value, canonical unit, NaN where none."""
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
    return "   ".join(parts) or "no values yet"


def _shown(value: float, unit: str, digits: int) -> str:
    return f"{value:.{digits}f} {unit}" if value == value else f"beyond range ({unit})"


def page(view: View, last: Mapping[str, float], news: tuple[str, ...], *, width: int = _WIDTH) -> list[str]:
    """The lines of the screen, without colours: caution first, then what to do."""
    step = view.step
    lines = [f"STEP {step.number} of {step.of}   {step.title.upper()}", "─" * width]
    if step.caution:
        lines += ["", *_wrapped(f"CAUTION  {step.caution}", width)]
    if view.read_first:
        lines += ["", "  >> Read the caution. Press Enter when you have."]
    else:
        lines += ["", *_wrapped(f">> {step.say}", width, "  ", "     ")]
    if view.by_itself:
        lines += ["", "  The stand-in does this step itself."]
    lines += ["", f"  {values_line(last)}", f"  Waiting for: {step.waiting_for}"]
    if news:
        lines += ["", *(line for told in news for line in _wrapped(told, width, "  · ", "    "))]
    keys = _KEYS + ("   [w] fuse walk" if view.can_walk else "")
    return [*lines, "", "─" * width, keys]


def _wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest or " " * len(first)) or [""]


def opening_words(log: Path, *, by_itself: bool, resumed: bool) -> str:
    """What is said before the first step."""
    lines = [f"{'Going on in' if resumed else 'Recording to'} {log}"]
    if by_itself:
        lines.append("A stand-in is at this port: it does the steps itself, no key is needed.")
    return "\n".join(lines)


def closing_words(port: str, plan: Path, log: Path, *, lost: bool) -> str:
    """What is said after a test that did not come to its end."""
    how = "The logger's stream has ended" if lost else "Stopped"
    return (
        f"\n{how}; what was recorded is kept in {log}.\n"
        f"Go on later:   benchlog acceptance {port} --plan {plan} --out {log} --resume\n"
        f"Or check it:   benchlog check {log} --plan {plan}\n"
        "What the log lacks then is not seen, which is no pass."
    )


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
                self._write("\n".join(_wrapped(f"CAUTION  {step.caution}", _WIDTH, "  ")))
        if view.read_first:
            self._write("  Read the caution; Enter when you have.")
            return
        self._write("\n".join(_wrapped(step.say, _WIDTH, "  ")))
        if view.by_itself:
            self._write("  (the stand-in does this step itself)")
        if new:
            self._write(f"  {values_line(last)}")

    def tell(self, text: str) -> None:
        """Say one sentence."""
        self._write("\n".join(_wrapped(text, _WIDTH, "  · ", "    ")))

    def close(self) -> None:
        """Nothing to leave."""


class LiveScreen:
    """One page, redrawn in place."""

    def __init__(self, out: TextIO) -> None:
        """The page goes to this terminal."""
        self._out = out
        self._news: tuple[str, ...] = ()
        self._drawn: list[str] = []

    def show(self, view: View, last: Mapping[str, float]) -> None:
        """Draw the page where it has changed."""
        width = max(min(shutil.get_terminal_size((80, 24)).columns - 2, 100), 40)
        lines = page(view, last, self._news, width=width)
        if lines == self._drawn:
            return
        head = _CLEAR if not self._drawn else ""
        self._drawn = lines
        self._out.write(head + _HOME + "".join(f"{_painted(line)}\x1b[K\n" for line in lines) + _REST)
        self._out.flush()

    def tell(self, text: str) -> None:
        """Put a sentence under the values; the last few stay."""
        self._news = (*self._news, text)[-_NEWS:]

    def close(self) -> None:
        """Leave the page and go on below it."""
        self._out.write("\n")
        self._out.flush()


def _painted(line: str) -> str:
    if line.startswith("CAUTION"):
        return f"{_YELLOW}{line}{_PLAIN}"
    if line.startswith("STEP") or line.lstrip().startswith(">>"):
        return f"{_BOLD}{line}{_PLAIN}"
    return line
