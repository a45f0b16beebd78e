"""How a sample becomes a line: CSV, name=value pairs or JSON, each with or without a checksum.

The checksum stands behind a ``*`` at the line's end: two hex digits are the 8-bit XOR of all characters before
the ``*`` (as in NMEA 0183; a leading ``$`` is left out of it), four are CRC-16/CCITT-FALSE of those characters.
"""

import binascii
import json
from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import Literal

import numpy as np

from benchlog.standin.logger import LoggerSpec, to_logger_toml
from benchlog.standin.streaming import Window
from benchlog.standin.writing import decimals_of

Kind = Literal["csv", "pairs", "json"]
Guard = Literal["none", "xor", "crc"]


@dataclass(frozen=True, slots=True)
class LineForm:
    """How lines are written.

    Attributes:
        kind: the columns stand in a header line, in each line's names, or in each object's keys.
        guard: the checksum at the end of each line, the header included.
        time_unit: s (six decimals) or us (a whole counter).
        start: the counter at the first sample, µs; only for us.
        wraps_at: where the counter starts again at 0, µs; only for us.
    """

    kind: Kind = "csv"
    guard: Guard = "none"
    time_unit: Literal["s", "us"] = "s"
    start: int = 0
    wraps_at: int | None = None

    @property
    def time_column(self) -> str:
        """Name of the time column."""
        return "time_s" if self.time_unit == "s" else "t_us"


def checksum_of(text: bytes, guard: Guard) -> str:
    """The digits behind the ``*``; "" for none."""
    if guard == "xor":
        return f"{reduce(xor, text.removeprefix(b'$'), 0):02X}"
    return f"{binascii.crc_hqx(text, 0xFFFF):04X}" if guard == "crc" else ""


def header_of(form: LineForm, spec: LoggerSpec) -> bytes:
    """The line that names the columns, with its end; nothing where every line names them itself."""
    return _ended([",".join((form.time_column, *spec.roles))], form.guard) if form.kind == "csv" else b""


def lines_of(window: Window, form: LineForm, spec: LoggerSpec) -> bytes:
    """A window's samples, a line each: values in the logger's own units, over range as ``OL``."""
    columns = [_times(window, form)]
    for channel in spec.channels:
        value = window.values[channel.role] / channel.factor * (-1.0 if channel.positive == "charge" else 1.0)
        decimals = decimals_of(channel)
        pattern = f"%.{decimals}f"
        # + 0.0 makes a rounded -0.0 plain
        texts = [pattern % one for one in (np.round(value, decimals) + 0.0).tolist()]
        for row in np.nonzero(window.over.get(channel.role, np.zeros(0)))[0]:
            texts[row] = '"OL"' if form.kind == "json" else "OL"
        columns.append(texts)
    names = (form.time_column, *spec.roles)
    if form.kind == "csv":
        pattern = ",".join(["%s"] * len(names))
    elif form.kind == "pairs":
        pattern = ",".join(f"{name}=%s" for name in names)
    else:
        pattern = "{" + ",".join(f"{json.dumps(name)}:%s" for name in names) + "}"
    return _ended([pattern % row for row in zip(*columns, strict=True)], form.guard)


def logger_toml_of(form: LineForm, spec: LoggerSpec) -> str:
    """The logger file for lines of this form."""
    return to_logger_toml(spec, None, (form.time_column, form.time_unit), form.wraps_at)


def _times(window: Window, form: LineForm) -> list[str]:
    if form.time_unit == "s":
        return [f"{one:.6f}" for one in window.time_s.tolist()]
    ticks = np.round(window.time_s * 1e6).astype(np.int64) + form.start
    return [str(one) for one in (ticks % form.wraps_at if form.wraps_at else ticks).tolist()]


def _ended(lines: list[str], guard: Guard) -> bytes:
    if guard != "none":
        lines = [f"{line}*{checksum_of(line.encode('ascii'), guard)}" for line in lines]
    return "".join(f"{line}\n" for line in lines).encode("ascii")
