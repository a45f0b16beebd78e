"""Serial ports: what there is, and opening one."""

import contextlib
import errno
import os
import select
from dataclasses import dataclass
from typing import Any

from benchlog.errors import BenchlogError

#: Longest wait in one read: how late a stop is seen.
READ_S = 0.05
#: A device gives a few kilobytes at once, however much was asked for.
_MOST_READS = 16
_CHUNK = 1 << 16


@dataclass(frozen=True, slots=True)
class PortInfo:
    """A serial port.

    Attributes:
        name: what ``benchlog record`` takes.
        what: what is plugged in, in plain words.
        usb: it is a USB device; the others are often built in and have nothing on them.
    """

    name: str
    what: str
    usb: bool


def ports_there() -> list[PortInfo]:
    """The ports of this computer, those with a USB device first."""
    from serial.tools import list_ports  # type: ignore[import-untyped] # pyserial has no types

    found = [
        PortInfo(port.device, _words(port), port.vid is not None) for port in list_ports.comports(include_links=False)
    ]
    return sorted(found, key=lambda port: (not port.usb, port.name))


def _words(port: Any) -> str:
    if port.vid is None:
        known = port.description if port.description not in (None, "", "n/a", port.device) else ""
        return known or "a port of the computer itself, or unknown"
    name = " ".join(dict.fromkeys(text for text in (port.manufacturer, port.product) if text)) or "a USB device"
    number = f", serial number {port.serial_number}" if port.serial_number else ""
    return f"USB: {name}{number}"


def open_port(port: str, baud: int) -> Any:
    """Open a device or a pyserial URL for reading, for this program alone where the system can.

    Raises:
        BenchlogError: it cannot be opened; says why and what ports there are.
    """
    import serial  # type: ignore[import-untyped] # pyserial has no types

    try:
        opened = serial.serial_for_url(port, do_not_open=True, baudrate=baud, timeout=READ_S)
        with contextlib.suppress(ValueError, AttributeError):
            opened.exclusive = True
        if port.lower().startswith(("socket:", "rfc2217:")):
            # pyserial throws away what has come by then: of a network's logger that is its header and first lines
            opened.reset_input_buffer = lambda: None
        opened.open()
    except (serial.SerialException, OSError) as why:
        raise BenchlogError(f"{port}: {_why_not(port, why)}") from None
    except (ValueError, KeyError, ImportError) as why:
        raise BenchlogError(
            f"{port}: this is no port that is known ({why}); name a device, or a URL such as socket://HOST:NUMBER"
        ) from None
    return opened


def read_some(opened: Any) -> bytes:
    """What is there, waiting ``READ_S`` for it where nothing is.

    Raises:
        OSError: the device is gone; other errors are possible, as drivers go.
    """
    fd = getattr(opened, "fd", None)
    if fd is None or os.name != "posix":
        return bytes(opened.read(_CHUNK))
    # half the work of pyserial's own read, which gathers a size that is asked for
    if not select.select([fd], [], [], READ_S)[0]:
        return b""
    parts: list[bytes] = []
    for _ in range(_MOST_READS):
        try:
            data = os.read(fd, _CHUNK)
        except BlockingIOError:
            break
        except OSError:
            if parts:  # what came before it is kept; the next read tells of it
                break
            raise
        if not data:
            if not parts:
                raise OSError(errno.EIO, "the device is gone")
            break
        parts.append(data)
    return b"".join(parts)


def _why_not(port: str, why: OSError) -> str:
    number = why.errno
    text = str(why)
    if number in (errno.EAGAIN, errno.EACCES, errno.EBUSY) and ("lock" in text or number == errno.EBUSY):
        return "another program has this port open; stop it, or name another port"
    if number in (errno.EACCES, errno.EPERM):
        return "opening this port is not permitted; on Linux add yourself to its group (often dialout) and log in again"
    if "://" in port:
        return f"the connection cannot be made ({_plain(text)}); check the address, and that the logger is switched on"
    if os.path.isdir(port) or os.path.isfile(port) or number == errno.ENOTTY or "ioctl" in text.lower():
        what = "a folder" if os.path.isdir(port) else "a file" if os.path.isfile(port) else "a device of another kind"
        return f"this is {what}, no serial port; {listed()}"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFound" in text:
        return f"there is no such port; {listed()}"
    return f"this port cannot be opened ({_plain(text)}); {listed()}"


def _plain(text: str) -> str:
    """A library's message without the port's name, which the reader knows."""
    return text.rpartition("] ")[2].rpartition(": ")[2].strip("'\" )(").lower() or text


def listed() -> str:
    """The ports there are, as half a sentence."""
    there = ports_there()
    if not there:
        return "this computer has no serial port now: plug the logger in, then try benchlog ports"
    return "there are " + ", ".join(f"{port.name} ({port.what})" for port in there)
