"""``ports --listen``: a logger is found by its lines, named, timed, and held against a plan."""

import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from functools import reduce
from pathlib import Path

import numpy as np
import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo
from serial_wire import Wire
from typer.testing import CliRunner

from benchlog.bench.listening import hearing
from benchlog.bench.listening.every import listen_to
from benchlog.bench.listening.hearing import hear
from benchlog.bench.listening.known import Recognised, recognise, reference_loggers
from benchlog.bench.listening.words import heard_lines
from benchlog.cli import app
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


def test_without_a_port_all_local_ones_are_listened_to(speak: Callable[..., str], monkeypatch: pytest.MonkeyPatch):
    """The command takes the ports that the system lists, says what is plugged in there, and who speaks."""
    usb = ListPortInfo(speak(avr_line, summed(AVR)))
    usb.vid, usb.manufacturer, usb.product, usb.serial_number = 0x1A86, "Larch works", "Serial bridge", None
    gone = ListPortInfo("/dev/not-there")
    monkeypatch.setattr(list_ports, "comports", lambda include_links: [gone, usb])  # noqa: ARG005 its one argument
    done = CliRunner().invoke(app, ["ports", "--listen", "--baud", "115200"])

    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[0] == f"{usb.device}  (USB: Larch works Serial bridge): AVR logger, two 16-bit monitors"
    assert lines[-1].startswith("/dev/not-there  (a port of the computer itself, or unknown): there is no such port")


def test_named_port_that_cannot_be_opened_ends_in_failure(tmp_path: Path):
    """A port that was asked for and is not there says why, and the exit status is 2."""
    done = CliRunner().invoke(app, ["ports", str(tmp_path / "none"), "--listen"])

    assert done.exit_code == 2
    assert done.stdout.startswith(f"{tmp_path}/none: there is no such port")
