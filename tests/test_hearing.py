"""The line speed of a port is found by whether its lines make sense."""

import time

import pytest
from test_listening import AVR, _impatient, avr_line, summed

from benchlog.bench.listening import hearing
from benchlog.bench.listening.hearing import hear, sensible
from benchlog.bench.listening.known import recognise, reference_loggers

__all__ = ["_impatient"]


class WrongSpeed:
    """A port whose bits come out right at one speed alone, as on a real line."""

    def __init__(self, right: int) -> None:
        self._right, self._speed, self._n = right, 0, 0
        self.opened = 0

    @property
    def baudrate(self) -> int:
        """As set."""
        return self._speed

    @baudrate.setter
    def baudrate(self, speed: int) -> None:
        if speed == 57600:
            raise ValueError("this port cannot do that")
        self._speed = speed

    def reset_input_buffer(self) -> None:
        """Nothing is kept."""

    def close(self) -> None:
        """Nothing is open."""

    def read(self) -> bytes:
        """Lines, or what they look like at another speed."""
        time.sleep(0.02)
        self._n += 5
        lines = "".join(f"{avr_line(self._n + k)}\n" for k in range(5))
        if self._n % 100 == 0:
            lines = f"{summed(AVR)}\n{lines}"
        if self._speed == self._right:
            return lines.encode()
        return bytes((byte * 7 + 129) % 256 for byte in lines.encode())


@pytest.mark.parametrize("right", [115200, 250000, 9600])
def test_line_speed_is_found(monkeypatch: pytest.MonkeyPatch, right: int):
    """The speed at which lines make sense is found on the open port; one that the port cannot do is passed over."""
    port = WrongSpeed(right)

    def open_port(_: str, speed: int) -> WrongSpeed:
        port.baudrate = speed
        port.opened += 1
        return port

    monkeypatch.setattr(hearing, "open_port", open_port)
    monkeypatch.setattr(hearing, "read_some", WrongSpeed.read)
    heard = hear("/dev/any", (115200, 250000, 57600, 9600))

    assert (heard.baud, port.opened) == (right, 1)
    found = recognise(heard, reference_loggers())
    assert found.logger is not None
    assert found.rate_hz == pytest.approx(250)


def test_one_line_of_chance_is_no_form():
    """A single column, or lines of which most do not agree, make no sense; a few lines in agreement do."""
    assert sensible(b"rest\n1\n2\n3\n4\n5\n") is None
    assert sensible(b"rest\n1,2\nx\ny\nz,z,z\nw\n") is None
    assert sensible(b"rest\n1,2\n2,3\n3,4\n4,5\n") is not None
