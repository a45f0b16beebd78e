"""The USB device behind a port's name: pulled and put back, it may come back under another name."""

import contextlib
from dataclasses import dataclass
from typing import Any

_LOOKS = 3


@dataclass(frozen=True, slots=True)
class Device:
    """What tells one device from another.

    Attributes:
        maker, kind: the numbers that USB gives to makers and their products.
        serial_number: None where the device has none; two alike then cannot be distinguished.
        interface: which of the device's own ports; "" where it has one alone.
    """

    maker: int
    kind: int
    serial_number: str | None
    interface: str


def device_at(port: str) -> Device | None:
    """The USB device that a port's name stands for now; None for other ports, and for URLs."""
    return next((_device(found) for found in ports_listed() if found.device == port), None)


def port_of(device: Device) -> str | None:
    """The name of the one port that the device has now; None where there is none, or several are alike."""
    alike = [str(found.device) for found in ports_listed() if _device(found) == device]
    return alike[0] if len(alike) == 1 else None


def _device(found: Any) -> Device | None:
    if found.vid is None or found.pid is None:
        return None
    _, _, interface = str(found.location or "").partition(":")
    return Device(int(found.vid), int(found.pid), found.serial_number or None, interface)


def ports_listed() -> list[Any]:
    """The ports as pyserial lists them; none where devices come and go as often as it looks."""
    from serial.tools import list_ports  # type: ignore[import-untyped] # pyserial has no types

    for _ in range(_LOOKS):
        # pyserial stumbles in more than one way over a device that is pulled while it is being looked at
        with contextlib.suppress(OSError, TypeError, ValueError):
            return list(list_ports.comports(include_links=False))
    return []
