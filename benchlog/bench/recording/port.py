"""Serial ports: what there is, and opening one."""

import contextlib
import errno
import os
import re
import select
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

from benchlog.bench.recording.device import ports_listed
from benchlog.core.errors import BenchlogError

#: Longest wait in one read: how late a stop is seen.
READ_S = 0.05
#: A device gives a few kilobytes at once, however much was asked for.
_MOST_READS = 16
_CHUNK = 1 << 16
_OVER_NETWORK = ("socket:", "rfc2217:")


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
    found = [PortInfo(port.device, _words(port), port.vid is not None) for port in ports_listed()]
    return sorted(found, key=lambda port: (not port.usb, port.name))


def _words(port: Any) -> str:
    if port.vid is None:
        known = port.description if port.description not in (None, "", "n/a", port.device) else ""
        return known or "a port of the computer itself, or unknown"
    name = " ".join(dict.fromkeys(text for text in (port.manufacturer, port.product) if text))
    number = f", serial number {port.serial_number}" if port.serial_number else ""
    return f"USB: {name}{number}" if name else f"a USB device{number}"


def open_port(port: str, baud: int) -> Any:
    """Open a device or a pyserial URL for reading, for this program alone where the system can.

    Raises:
        BenchlogError: it cannot be opened; says why and what ports there are.
    """
    import serial  # type: ignore[import-untyped] # pyserial has no types

    _refuse_half_address(port)
    try:
        opened = serial.serial_for_url(port, do_not_open=True, baudrate=baud, timeout=READ_S)
        with contextlib.suppress(ValueError, AttributeError):
            opened.exclusive = True
        if port.lower().startswith(_OVER_NETWORK):
            # pyserial throws away what has come by then: of a network's logger that is its header and first lines
            opened.reset_input_buffer = lambda: None
        opened.open()
    except (serial.SerialException, OSError) as why:
        raise BenchlogError(f"{port}: {_why_not(port, why)}") from None
    except (ValueError, KeyError, ImportError):
        raise BenchlogError(
            f"{port}: this port is not known; name a device, as benchlog ports lists them, or a network address "
            "such as socket://192.168.1.20:4000"
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


def _refuse_half_address(port: str) -> None:
    """An address without host or number would end somewhere in a library, in words that help nobody."""
    scheme = next((scheme for scheme in _OVER_NETWORK if port.lower().startswith(scheme)), None)
    if scheme is None:
        return
    try:
        parts = urlsplit(port)
        whole = bool(parts.hostname) and parts.port is not None
    except ValueError:
        whole = False
    if not whole:
        raise BenchlogError(
            f"{port}: this address is incomplete; it needs the logger's host and its network port, 0 to 65535, "
            f"such as {scheme}//192.168.1.20:4000"
        )


def _why_not(port: str, why: OSError) -> str:
    number = why.errno
    text = str(why)
    # Windows says that access is denied of a port that is open elsewhere
    in_use = number == errno.EBUSY or "PermissionError(13" in text
    if in_use or (number in (errno.EAGAIN, errno.EACCES) and "lock" in text):
        return "another program has this port open; stop it, or name another port"
    if number in (errno.EACCES, errno.EPERM):
        return (
            "opening this port is not permitted; on Linux, join the group that it belongs to, often with "
            "sudo usermod -aG dialout $USER, then log in again"
        )
    reason = _reason(text)
    if "://" in port:
        return f"the connection cannot be made{reason}; check the address, and that the logger is switched on"
    if os.path.isdir(port) or os.path.isfile(port) or number == errno.ENOTTY or "ioctl" in text.lower():
        what = "a folder" if os.path.isdir(port) else "a file" if os.path.isfile(port) else "a device of another kind"
        return f"this is {what}, not a serial port; {listed()}"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFound" in text:
        return f"there is no such port; {listed()}"
    return f"this port cannot be opened{reason}; {listed()}"


def _reason(text: str) -> str:
    """What the system said, in brackets, out of a library's message; nothing where only the library spoke."""
    found = re.findall(r"\[(?:Errno|WinError) -?\d+\] ([^:\[\]]+)", text)
    if found:
        return f" ({found[-1].strip().lower()})"
    return " (nobody answered in time)" if "timed out" in text else ""


def listed() -> str:
    """The ports there are, as half a sentence."""
    there = ports_there()
    if not there:
        return "this computer has no serial port at the moment: plug the logger in, then try benchlog ports"
    return "name one of these: " + ", ".join(f"{port.name} ({port.what})" for port in there)
