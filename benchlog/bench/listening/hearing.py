"""What is said on a port: the line speed is tried until lines make sense, then they are listened to."""

import contextlib
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from benchlog.bench.recording.port import open_port, read_some
from benchlog.log.readers.lines.checksum import kind_of
from benchlog.log.readers.lines.forms import Form, find_form
from benchlog.log.readers.lines.sift import cut, line_ends

#: Tried in this order; the first is what most boards start with, the second what 16 MHz divides by without a rest.
BAUDS = (115200, 250000, 57600, 38400, 19200, 9600, 230400, 460800, 500000, 921600, 1000000)
#: So long nothing comes at all before a port counts as silent: a board that opening resets is silent for a second or
#: two (common practice, no source), and the slowest loggers send a line a second.
SILENT_S = 3.5
#: So long, or so many bytes, at one speed show whether its lines make sense.
SENSE_S, SENSE_BYTES = 2.5, 4096
#: A header that is sent now and then is waited for, and so long a rate is counted over.
HEADER_S, COUNTED_S = 9.0, 2.0
#: So many lines are looked at, and this share of them must agree with the form that they seem to have.
_LOOKED_AT, _AGREE = 60, 0.5


@dataclass(frozen=True, slots=True)
class Heard:
    """What came from a port at the speed at which its lines make sense.

    Attributes:
        data: from about the first whole line on.
        form: of its lines; None where none makes sense at any speed.
        baud: that speed; None where the port has none, or nothing made sense.
        took_s: from the first of ``data`` to the last, by the computer's clock.
    """

    data: bytes
    form: Form | None
    baud: int | None
    took_s: float


def hear(port: str, bauds: Sequence[int] = BAUDS, stop: threading.Event | None = None) -> Heard:
    """Listen to a port.

    Args:
        port: a device, or a pyserial URL, which has no line speed.
        bauds: tried in this order.
        stop: once set, nothing more is waited for.

    Raises:
        BenchlogError: it cannot be opened.
        OSError: it went away.
    """
    over_network = "://" in port
    stop = stop or threading.Event()
    opened = open_port(port, bauds[0])
    try:
        for n, baud in enumerate(bauds[:1] if over_network else bauds):
            if n and not _set_to(opened, baud):
                continue
            heard = _hear_at(opened, None if over_network else baud, stop)
            if heard.form is not None or not heard.data or stop.is_set():
                return heard
        return Heard(heard.data, None, None, heard.took_s)
    finally:
        opened.close()


def _set_to(opened: Any, baud: int) -> bool:
    """Change the speed without opening anew, which would reset many boards; False where the port cannot."""
    try:
        opened.baudrate = baud
    except (ValueError, OSError):
        return False
    with contextlib.suppress(OSError):
        opened.reset_input_buffer()
    return True


def _hear_at(opened: Any, baud: int | None, stop: threading.Event) -> Heard:
    began = time.monotonic()
    data, first_at, last_at = b"", began, began
    form: Form | None = None
    formed_at = began
    while True:
        came = read_some(opened)
        now = time.monotonic()
        if came:
            first_at = first_at if data else now
            data, last_at = data + came, now
        if form is None or not form.headed:
            looked = sensible(data)
            formed_at = now if form is None and looked is not None else formed_at
            form = looked or form
        if stop.is_set() or _is_enough(form, data, now, began, formed_at):
            return Heard(data, form, baud if form is not None else None, last_at - first_at)


def _is_enough(form: Form | None, data: bytes, now: float, began: float, formed_at: float) -> bool:
    if form is None:
        return now - began > (SENSE_S if data else SILENT_S) or len(data) > SENSE_BYTES
    return now - formed_at > (COUNTED_S if form.headed else HEADER_S)


def sensible(data: bytes) -> Form | None:
    """The form of lines most of which agree with it; None for rubbish, as of a wrong line speed."""
    whole, _ = cut(line_ends(data))
    lines = [line for line in whole.split(b"\n") if line.strip()]
    if lines and kind_of(lines[0]) is None:
        del lines[0]  # it may lack its beginning, and only a checksum would tell
    headed = next((n for n, line in enumerate(lines) if b"," in line and line[:1].isalpha()), None)
    looked = lines[-_LOOKED_AT:] if headed is None else [lines[headed], *lines[-_LOOKED_AT:]]
    form = find_form(looked, None, few=len(looked) > 0)
    if form is None or len(form.columns) < 2:
        return None
    samples = [line for line in lines[-_LOOKED_AT:] if not line.startswith(b"#")]
    if form.kind == "csv":
        agree = sum(line.count(form.separator.encode()) == len(form.columns) - 1 for line in samples)
    else:
        agree = sum(line[:1].isalpha() or line[:1] == b"{" for line in samples)
    return form if agree > _AGREE * len(samples) else None
