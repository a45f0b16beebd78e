"""The live line: how the recording goes and the newest values in words, redrawn on a terminal."""

import shutil
import time
from collections.abc import Mapping
from typing import TextIO

from benchlog.bench.recording.capture import Batch, Capture
from benchlog.bench.recording.counts import refused_words
from benchlog.core.printable import plain
from benchlog.core.roles import ROLE_UNITS, slot_of
from benchlog.process.output import drawn_on

REDRAWN_EVERY_S, PLAIN_EVERY_S = 0.25, 10.0
_WORDS = {
    "battery_v": "battery",
    "battery_a": "current",
    "drain_a": "drain",
    "key_v": "key line",
    "trigger_v": "trigger",
    "feed_v": "feed",
    "ground_v": "ground bus",
    "feed_a": "feed current",
    "battery_c": "temperature",
}


class LiveLine:
    """Says on a stream, standard error as a rule, how a recording goes."""

    def __init__(self, capture: Capture, stream: TextIO) -> None:
        self._capture, self._stream = capture, drawn_on(stream)
        self._drawn = stream.isatty()
        self._last_at = time.monotonic() if not self._drawn else float("-inf")

    def update(self, batch: Batch) -> None:
        """Tell what happened, and redraw the line or, where it cannot be redrawn, add one every 10 s."""
        for text in batch.told:
            self._print(text[:1].upper() + text[1:])
        now = time.monotonic()
        if now - self._last_at < (REDRAWN_EVERY_S if self._drawn else PLAIN_EVERY_S):
            return
        self._last_at = now
        line = self._line()
        if self._drawn:
            width = shutil.get_terminal_size().columns - 1
            self._stream.write(f"\r\x1b[K{plain(line)[:width]}")
        else:
            self._stream.write(plain(line) + "\n")
        self._stream.flush()

    def clear(self) -> None:
        """Take the line away."""
        if self._drawn:
            self._stream.write("\r\x1b[K")
            self._stream.flush()

    def _print(self, text: str) -> None:
        self.clear()
        self._stream.write(plain(text) + "\n")
        self._stream.flush()
        self._last_at = float("-inf") if self._drawn else self._last_at

    def _line(self) -> str:
        capture = self._capture
        lost_s = capture.lost_s
        if lost_s is not None:
            return f"no connection for {lost_s:.0f} s, trying again | {capture.counts.kept:,} lines kept"
        rate_hz = capture.live.rate_hz or 0.0
        rate = f"{rate_hz:.0f}" if rate_hz >= 10 else f"{rate_hz:.2g}"
        refused = capture.counts.refused_in_all
        out = f", {refused:,} refused" if refused else ""
        return f"{rate} lines/s, {capture.counts.kept:,} kept{out} | {values_in_words(capture.live.last)}"


def summary(capture: Capture, out: str) -> str:
    """What a recording brought, for its end."""
    counts = capture.counts
    lines = [f"{out}: {counts.kept:,} {'line' if counts.kept == 1 else 'lines'} kept"]
    if words := refused_words(counts.refused):
        lines.append(words[:1].upper() + words[1:])
    if counts.gaps:
        whole_s = sum(gap.length_s for gap in counts.gaps)
        times = "once" if len(counts.gaps) == 1 else f"{len(counts.gaps)} times"
        lines.append(f"The connection was lost {times}, for {whole_s:.1f} s in all; the file says when")
    if (lost_s := capture.lost_s) is not None:
        lines.append(f"The connection was lost {lost_s:.0f} s before the end and did not come back")
    if not counts.kept:
        lines[0] = f"{out}: nothing was recorded, so there is no file"
        if counts.refused_in_all:
            lines[0] = f"{out}: no line could be used"
        else:
            lines.append("No line arrived: is the logger switched on, and is the baud rate (--baud) right?")
    if counts.refused_in_all > counts.kept:
        lines.append(
            "Most lines were refused: is the baud rate (--baud) right, and the logger file that of this logger?"
        )
    return "\n".join(lines)


def values_in_words(last: Mapping[str, float | None]) -> str:
    """``battery 12.61 V, current 3.20 A, slot 1 3.10 A``; a minus where a current runs the wrong way."""
    return ", ".join(_value(role, value) for role, value in last.items() if value is not None)


def _value(role: str, value: float) -> str:
    slot = slot_of(role)
    name = f"slot {slot}" if slot is not None else _WORDS.get(role, role)
    unit = ROLE_UNITS.get(role, "").replace("degC", "°C")
    if unit != "A":
        return f"{name} {value:.2f} {unit}".rstrip()
    into = role == "battery_a" and value < 0
    amps = abs(value) if into else value
    text = f"{amps * 1000:.2f} mA" if abs(amps) < 0.1 else f"{amps:.2f} A"
    return f"{name} {text}" + (" into the battery" if into else "")
