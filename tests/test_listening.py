"""``ports --listen``: a logger is found by its lines, named, timed, and held against a plan."""

import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from functools import reduce
from pathlib import Path

import numpy as np
import pytest
from serial_wire import Wire

from benchlog.bench.listening import hearing
from benchlog.bench.listening.every import listen_to
from benchlog.bench.listening.hearing import hear, sensible
from benchlog.bench.listening.known import Recognised, recognise, reference_loggers
from benchlog.bench.listening.words import heard_lines
from benchlog.logger.model import Logger, logger_from_mapping

ROOT = Path(__file__).parent.parent
PLAN = ROOT / "sample_data" / "larch.plan.toml"
AVR = "t_us,shunt1,bus1,shunt2,bus2,in_battery,in_86,in_87,in_bus,dropped,mark"
REFERENCE = "t_us,battery_bus,battery_shunt,feed_bus,drain_shunt,trigger_bus,ground_shunt"


@pytest.fixture(autouse=True)
def _impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Waits as short as the senders here allow."""
    for name, value in (("SILENT_S", 0.6), ("SENSE_S", 0.5), ("HEADER_S", 2.0), ("COUNTED_S", 0.4)):
        monkeypatch.setattr(hearing, name, value)


def summed(text: str) -> str:
    """With its XOR checksum."""
    return f"{text}*{reduce(lambda a, b: a ^ b, text.encode()):02X}"


def avr_line(n: int) -> str:
    """The AVR logger's nth sample, 4 ms apart."""
    return summed(f"{4000 * n},-{n % 7},10080,100,10000,2924,2604,2564,44,0,")


def reference_line(n: int) -> str:
    """The MicroPython logger's, 4 ms apart: 12.6 V, 0.3 A."""
    return summed(f"{4000 * n},64512,720,64000,{n % 5},63000,100")


class Speaker:
    """A logger at the far end: lines at an even pace, a header with every tenth bunch, or only once and late."""

    def __init__(self, send: Callable[[bytes], object], line: Callable[[int], str], header: str, late: bool = False):
        self._send, self._line, self._header, self._late = send, line, header, late
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        n = 1
        while not self._stop.wait(0.02):
            lines = [self._line(n + k) for k in range(5)]
            if n // 5 == 50 if self._late else n // 5 % 10 == 0:
                lines.insert(0, self._header)
            n += 5
            try:
                self._send("".join(f"{line}\n" for line in lines).encode("latin-1"))
            except OSError:
                return

    def close(self) -> None:
        """Fall silent."""
        self._stop.set()
        self._thread.join()


@pytest.fixture
def speak(wire: Wire) -> Iterator[Callable[..., str]]:
    """Starts a logger on the cable; gives the port."""
    speakers: list[Speaker] = []

    def begin(line: Callable[[int], str], header: str = "", late: bool = False) -> str:
        def send(data: bytes) -> None:
            wire.send_bytes(data)

        speakers.append(Speaker(send, line, header, late))
        return str(wire.port)

    yield begin
    for speaker in speakers:
        speaker.close()


def found_on(port: str, *more: Logger) -> Recognised:
    """The logger that speaks there."""
    heard = hear(port, (115200,))
    assert heard.form is not None
    return recognise(heard, [*more, *reference_loggers()])


@pytest.mark.parametrize(
    ("header", "line", "name", "battery_v"),
    [
        (AVR, avr_line, "AVR logger, two 16-bit monitors", 12.6),
        (REFERENCE, reference_line, "reference logger, three 20-bit monitors", 12.6),
    ],
)
def test_reference_loggers_are_known_by_their_columns(
    speak: Callable[..., str], header: str, line: Callable[[int], str], name: str, battery_v: float
):
    """Each logger that comes with benchlog is named on a pseudo-terminal, with its rate and its newest values."""
    found = found_on(speak(line, summed(header)))

    assert found.logger is not None
    assert (found.logger.name, found.from_file) == (name, True)
    assert found.rate_hz == pytest.approx(250)
    assert found.last["battery_v"] == pytest.approx(battery_v)
    assert found.refused <= 1
    assert found.kept > 20


def test_header_that_comes_late_is_waited_for(speak: Callable[..., str]):
    """Who starts to listen between two headers waits for the next, and uses the lines before it too."""
    found = found_on(speak(avr_line, summed(AVR), late=True))

    assert found.logger is not None
    assert found.logger.name.startswith("AVR logger")
    assert found.kept > 150


def test_socket_is_listened_to():
    """A logger over TCP is found by the same lines; it has no line speed."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        ends: list[socket.socket] = []

        def serve() -> None:
            ends.append(server.accept()[0])

        accepting = threading.Thread(target=serve)
        accepting.start()

        def send(data: bytes) -> None:
            accepting.join()
            ends[0].sendall(data)

        speaker = Speaker(send, lambda n: f"{n * 0.01:.2f},12.6,0.{n % 9}", "time_s,battery_v,battery_a")
        heard = hear(f"socket://127.0.0.1:{server.getsockname()[1]}")
        speaker.close()
        ends[0].close()
    found = recognise(heard, reference_loggers())

    assert heard.baud is None
    assert (found.from_file, found.rate_hz) == (False, pytest.approx(100))
    assert found.last["battery_v"] == 12.6
    lines = heard_lines(heard, found)
    assert lines[0] == "a logger whose columns are role names"
    assert lines[1] == "  100 samples a second, no checksums"
    assert "its accuracy is not stated" in lines[-1]


def test_columns_that_nobody_knows_are_shown(speak: Callable[..., str]):
    """A logger that no file describes is told as unknown, with its columns and what to do."""
    port = speak(lambda n: f"{n},{n % 3},7", "count,left,right")
    heard = hear(port, (115200,))
    found = recognise(heard, reference_loggers())

    assert found.logger is None
    assert heard_lines(heard, found)[-1] == (
        "  columns: count, left, right; what they mean a logger file has to say (--logger)"
    )


def test_a_given_logger_file_comes_first(speak: Callable[..., str]):
    """A file that the user names is believed before those that come with benchlog, wherever it suits."""
    channel = {"column": "bus1", "role": "feed_v", "unit": "mV"}
    time_us = {"column": "t_us", "unit": "us"}
    own = logger_from_mapping({"logger": {"name": "mine"}, "time": time_us, "channel": [channel]})
    found = found_on(speak(avr_line, summed(AVR)), own)

    assert found.logger is not None
    assert found.logger.name == "mine"


def test_missing_samples_are_told(speak: Callable[..., str]):
    """A stream that leaves samples out is named so by the longest step between its stamps."""
    port = speak(lambda n: avr_line(n if n % 40 < 20 else n + 3), summed(AVR))
    heard = hear(port, (115200,))
    found = recognise(heard, reference_loggers())

    assert found.widest_step == pytest.approx(4, abs=0.01)
    assert "samples missing: the longest step was 4 times the usual one" in heard_lines(heard, found)[1]


def test_rubbish_and_silence_are_no_logger(speak: Callable[..., str], tmp_path: Path):
    """Bytes that make no lines, and a port on which nothing comes, are told apart, and neither is a logger."""
    rng = np.random.default_rng(5)
    port = speak(lambda _: bytes(rng.integers(128, 256, 30, dtype=np.uint8)).decode("latin-1"))
    rubbish = hear(port, (115200, 9600))
    folder = tmp_path / "other"
    folder.mkdir()
    quiet_wire = Wire(folder)
    silence = hear(str(quiet_wire.port), (115200, 9600))
    quiet_wire.close()

    assert (rubbish.form, silence.form) == (None, None)
    assert "no lines that make sense" in heard_lines(rubbish, None)[0]
    assert heard_lines(silence, None) == ["nothing arrives: no logger, or one that is switched off"]


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


def test_ports_that_cannot_be_opened_stop_no_other(speak: Callable[..., str]):
    """Of several ports each is told by itself, in the order asked; one that is not there says why."""
    port = speak(avr_line, summed(AVR))
    first, second = listen_to(["/dev/not-there", port], reference_loggers(), 115200)

    assert (first.heard, first.found) == (None, None)
    assert first.why.startswith("there is no such port")
    assert second.found is not None
    assert second.found.from_file


def test_command_tells_logger_rate_and_prospects(speak: Callable[..., str]):
    """From the command line: the port's logger, how it speaks, and a line a check of the plan; exit status 0."""
    port = speak(avr_line, summed(AVR))
    words = [sys.executable, "-m", "benchlog", "ports", port, "--listen", "--plan", str(PLAN)]
    done = subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)

    assert (done.returncode, done.stderr) == (0, f"Listening on {port} for a few seconds.\n")
    first, speaks, values, *rest = done.stdout.splitlines()
    assert first == f"{port}: AVR logger, two 16-bit monitors"
    assert speaks == "  250 samples a second, 115,200 baud, XOR checksums"
    assert values.startswith("  battery 12.60 V")
    assert rest[0] == "  of the plan of Larch it could prove (k = 2, without noise):"
    assert "    relay drop-out, at most 60 ms: yes, ± 6.5 ms" in rest
