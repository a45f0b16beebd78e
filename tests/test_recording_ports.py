"""Ports that are no plain device: a USB device that comes back under another name, and a serial server (RFC 2217)."""

import socket
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
import serial
from serial.rfc2217 import PortManager
from serial.tools import list_ports
from serial_wire import PATIENCE_S, Wire
from test_recording import HEADER, lines, notes_of, rows_of, taken

from benchlog.bench.recording import Capture, ports_there
from benchlog.bench.recording.device import device_at, port_of
from benchlog.log.log import Log


@dataclass
class Plugged:
    """A port as pyserial lists it."""

    device: str
    vid: int | None = 0x2E8A
    pid: int | None = 5
    serial_number: str | None = "7"
    location: str | None = "1-2"
    description: str = "n/a"
    manufacturer: str | None = None
    product: str | None = None


pytestmark = pytest.mark.usefixtures("own_data_folder")


@pytest.fixture
def plugged(monkeypatch: pytest.MonkeyPatch) -> list[Plugged]:
    """The ports that the system lists; a test changes them."""
    there: list[Plugged] = []
    monkeypatch.setattr(list_ports, "comports", lambda include_links: list(there))  # noqa: ARG005 its one argument
    return there


@pytest.fixture
def wires(tmp_path: Path) -> Iterator[tuple[Wire, Wire]]:
    """Two cables, each with a port in a folder of its own."""
    folders = [tmp_path / "one", tmp_path / "two"]
    for folder in folders:
        folder.mkdir()
    pair = Wire(folders[0]), Wire(folders[1])
    yield pair
    for wire in pair:
        wire.close()


def test_device_under_another_name_is_followed(wires: tuple[Wire, Wire], plugged: list[Plugged], tmp_path: Path):
    """Put back, a USB logger is read from under its new name; the gap and both names are noted in the file."""
    first, second = wires
    out = tmp_path / "log.csv"
    plugged += [Plugged(str(first.port)), Plugged("/dev/other", pid=6)]
    with Capture(str(first.port), out) as capture:
        first.wait_for_reader()
        first.send(HEADER, *lines(0, 20))
        taken(capture, lambda: capture.counts.kept == 20)
        first.pull()
        taken(capture, lambda: capture.lost_s is not None and capture.lost_s > 0.3)
        plugged[0] = Plugged(str(second.port), location="1-4")  # in another socket of the computer
        second.wait_for_reader()
        batches = taken(capture, lambda: bool(capture.counts.gaps))
        second.send(HEADER, *lines(700, 20))
        taken(capture, lambda: capture.counts.kept == 40)

    words = f"the logger came back as {second.port}; before it was {first.port}"
    assert words in " ".join(text for batch in batches for text in batch.told)
    assert any(words in text for text in notes_of(out))
    assert len(rows_of(out)) == 41


def test_list_of_ports_that_fails_as_devices_go_ends_no_recording(
    wires: tuple[Wire, Wire], plugged: list[Plugged], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """A device that is pulled while ports are listed makes pyserial stumble; the logger is waited for all the same."""
    wire, out, looks = wires[0], tmp_path / "log.csv", [0]
    plugged += [Plugged(str(wire.port))]

    def stumbling(include_links: bool) -> list[Plugged]:  # noqa: ARG001 its one argument
        looks[0] += 1
        if wire.port.exists():
            return list(plugged)
        raise TypeError("int() can't convert non-string with explicit base")  # as pyserial 3.5 does

    monkeypatch.setattr(list_ports, "comports", stumbling)
    with Capture(str(wire.port), out) as capture:
        wire.wait_for_reader()
        wire.send(HEADER, *lines(0, 20))
        taken(capture, lambda: capture.counts.kept == 20)
        wire.pull()
        seen = looks[0]
        taken(capture, lambda: looks[0] > seen + 1)
        wire.plug()
        wire.wait_for_reader()
        taken(capture, lambda: bool(capture.counts.gaps))
        wire.send(HEADER, *lines(700, 20))
        taken(capture, lambda: capture.counts.kept == 40)

    assert len(rows_of(out)) == 41


def test_ports_that_cannot_be_listed_are_none(monkeypatch: pytest.MonkeyPatch):
    """The list of ports is tried again where a device is pulled meanwhile, and is empty where that does not end."""
    there, fails = [Plugged("/dev/a")], [TypeError("a device went"), OSError("another one")]

    def stumbling(include_links: bool) -> list[Plugged]:  # noqa: ARG001 its one argument
        if fails:
            raise fails.pop()
        return there

    monkeypatch.setattr(list_ports, "comports", stumbling)
    assert [port.name for port in ports_there()] == ["/dev/a"]

    fails += [OSError("again")] * 100
    assert ports_there() == []


@pytest.mark.parametrize(
    ("now", "name"),
    [
        ([Plugged("/dev/b")], "/dev/b"),
        ([Plugged("/dev/b", serial_number="8")], None),
        ([Plugged("/dev/b", pid=6)], None),
        ([Plugged("/dev/b", location="1-2:1.2")], None),
        ([Plugged("/dev/b"), Plugged("/dev/c")], None),
        ([Plugged("/dev/b", vid=None)], None),
        ([], None),
    ],
    ids=["it", "another number", "another product", "its other port", "two alike", "no USB device", "nothing"],
)
def test_only_the_same_device_is_followed(plugged: list[Plugged], now: list[Plugged], name: str | None):
    """Another device, or one of two that cannot be told apart, is not taken for the one that went."""
    plugged.append(Plugged("/dev/a"))
    device = device_at("/dev/a")
    plugged[:] = now

    assert device is not None
    assert port_of(device) == name


@pytest.mark.parametrize("port", ["socket://127.0.0.1:7", "loop://", "/dev/ttyS0", "/dev/none"])
def test_other_ports_are_no_devices(plugged: list[Plugged], port: str):
    """A URL, a built-in port and one that is not there are opened again by their name alone."""
    plugged.append(Plugged("/dev/ttyS0", vid=None, pid=None))

    assert device_at(port) is None


# pyserial itself calls deprecated methods of Thread
@pytest.mark.filterwarnings("ignore:set(Daemon|Name):DeprecationWarning")
def test_serial_server_is_recorded(tmp_path: Path):
    """A logger behind a serial server is recorded, bytes of 255 within its lines included (RFC 2217, telnet's IAC)."""
    out = tmp_path / "log.csv"
    with socket.create_server(("127.0.0.1", 0)) as server:
        stop = threading.Event()
        thread = threading.Thread(target=_serve, args=(server, stop))
        thread.start()
        try:
            with Capture(f"rfc2217://127.0.0.1:{server.getsockname()[1]}", out) as capture:
                taken(capture, lambda: capture.counts.kept == 400)
        finally:
            stop.set()
            thread.join(PATIENCE_S)

    with Log.open(out) as log:
        assert log.rows == 400
    assert capture.counts.refused_in_all == 1


def _serve(server: socket.socket, stop: threading.Event) -> None:
    """Speak for a serial port, as a serial server does, and send lines once the recorder has set it up."""
    there, _ = server.accept()
    there.settimeout(0.05)
    lock = threading.Lock()

    class Writing:
        """What the port manager answers through."""

        def write(self, data: bytes) -> None:
            with lock:
                there.sendall(data)

    with there, serial.serial_for_url("loop://") as port:
        manager = PortManager(port, Writing())
        sent = False
        while not stop.is_set():
            try:
                asked = there.recv(4096)
                list(manager.filter(asked))
            except TimeoutError:
                if not sent:  # nothing more is asked: it has been set up
                    text = "\n".join([HEADER, *lines(0, 200), ""]).encode() + b"\xff\xff,1\n"
                    text += "\n".join([*lines(200, 200), ""]).encode()
                    Writing().write(b"".join(manager.escape(text)))
                    sent = True
