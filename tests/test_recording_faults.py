"""What goes wrong around a recording: killed, pulled, garbled, full, taken twice. What was saved stays readable."""

import re
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from conftest import Samples, without_override
from serial.urlhandler import protocol_socket
from serial_wire import PATIENCE_S, Wire, wait_until
from test_recording import HEADER, begun, joined, lines, notes_of, recorded, rows_of, taken

import benchlog
from benchlog.bench.recording import Capture
from benchlog.bench.recording.port import open_port
from benchlog.bench.recording.story import Refusing, Story
from benchlog.core.errors import BenchlogError
from benchlog.log.log import Log
from benchlog.logger.model import load_logger

RECORD = "import typer; from benchlog.commands.recording import record; typer.run(record)"


pytestmark = pytest.mark.usefixtures("own_data_folder")


def start(port: str, out: Path, *more: str, before: Callable[[], None] | None = None) -> "subprocess.Popen[str]":
    """Start ``benchlog record`` as a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", RECORD, port, "--out", str(out), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=before,  # noqa: PLW1509 it calls the system alone, no lock is taken
    )


def ended(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """Status and what was printed, once the process has ended."""
    try:
        out, err = process.communicate(timeout=PATIENCE_S)
    finally:
        process.kill()
    return process.returncode, out, err


def lines_in(out: Path) -> int:
    """Line ends in a file that may not be there yet."""
    return out.read_bytes().count(b"\n") if out.exists() else 0


def steady(wire: Wire, sent: list[float], stop: threading.Event) -> None:
    """A hundred lines ten times a second, with the time at which each hundred went."""
    wire.send(HEADER)
    while not stop.wait(0.1):
        wire.send(*lines(100 * len(sent), 100))
        sent.append(time.monotonic())


def test_killed_recording_loses_no_more_than_a_second(wire: Wire, tmp_path: Path):
    """After ``kill -9`` the file holds every line that came more than a second before, and reads as a log."""
    out, sent, stop = tmp_path / "log.csv", list[float](), threading.Event()
    process = start(str(wire.port), out)
    wire.wait_for_reader()
    sender = threading.Thread(target=steady, args=(wire, sent, stop))
    sender.start()
    try:
        wait_until(lambda: len(sent) >= 20)
        process.send_signal(signal.SIGKILL)
        killed_at = time.monotonic()
    finally:
        stop.set()
        sender.join(PATIENCE_S)
        ended(process)

    with Log.open(out) as log:
        assert log.rows >= 100 * sum(at < killed_at - 1 for at in sent)
        assert log.rows >= 900
        assert log.trace(-1, 1e9).time_s == pytest.approx(0.001 * np.arange(log.rows))


def test_pulled_cable_is_waited_for(wire: Wire, tmp_path: Path):
    """When the cable comes back the recording goes on; half a line is dropped, and the gap is told in the file."""
    out = tmp_path / "log.csv"
    with begun(wire, out, lines(0, 20)) as capture:
        wire.send_bytes(b"0.020,12.")
        wire.settle()
        taken(capture, lambda: True)
        wire.pull()
        batches = taken(capture, lambda: capture.lost_s is not None and capture.lost_s > 0.5)
        wire.plug()
        batches += taken(capture, lambda: bool(capture.counts.gaps))
        time.sleep(0.15)
        # the first line lacks its beginning
        wire.send_bytes(b"00,12.5,0.1\n")
        wire.send(HEADER, *lines(700, 20))
        batches += taken(capture, lambda: capture.counts.kept >= 40)

    told = " ".join(text for batch in batches for text in batch.told)
    assert "the connection was lost" in told
    gap = capture.counts.gaps[0]
    assert 0.5 < gap.length_s < 3
    assert gap.last_time_s == pytest.approx(0.019)
    found = re.search(
        r"no connection to the logger from \d\d:\d\d:\d\d to \d\d:\d\d:\d\d, (.*) s; the last sample .* 0\.019 s",
        "\n".join(notes_of(out)),
    )
    assert found
    assert float(found[1]) == pytest.approx(gap.length_s, abs=0.06)
    assert capture.counts.refused["cut"] == 2
    with Log.open(out) as log:
        assert log.trace(0, 10).time_s == pytest.approx(0.001 * np.r_[0:20, 700:720])


def test_logger_that_restarts_goes_on_increasing(wire: Wire, tmp_path: Path):
    """A logger that lost power counts from 0 again; in the file its time goes on by what the computer's clock says."""
    out = tmp_path / "log.csv"
    with begun(wire, out, lines(5000, 20)) as capture:
        last_at = time.monotonic()
        wire.pull()
        taken(capture, lambda: capture.lost_s is not None and capture.lost_s > 0.3)
        wire.plug()
        taken(capture, lambda: bool(capture.counts.gaps))
        time.sleep(0.15)
        wire.send(HEADER, *lines(0, 20))
        batches = taken(capture, lambda: capture.counts.kept == 40)
        passed_s = time.monotonic() - last_at

    with Log.open(out) as log:
        time_s = log.trace(0, 1e9).time_s
    assert len(time_s) == 40
    assert np.all(np.diff(time_s) > 0)
    assert time_s[20] - time_s[19] == pytest.approx(passed_s, abs=0.3)
    assert time_s[20:].tolist() == pytest.approx(joined(batches))
    assert any("the logger's clock fell back" in text for text in notes_of(out))


def test_leap_ahead_is_taken_out(wire: Wire, tmp_path: Path):
    """A clock that leaps a day ahead leaves no day in the file."""
    out = tmp_path / "log.csv"
    capture, _ = recorded(wire, out, [HEADER, *lines(0, 50), *lines(50, 50, start_s=86_400.0)], 100)

    with Log.open(out) as log:
        assert log.rows == 100
        assert log.end_s < 1
        # what the stream says happened at 86,400.05 s stands there in the file
        assert 86_400.05 + capture.moved_s == pytest.approx(log.trace(-1, 1e9).time_s[50], abs=0.002)
    assert any("the logger's clock leapt ahead by 86400.001 s" in text for text in notes_of(out))


def test_computers_clock_that_is_set_back_moves_no_sample(wire: Wire, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Times that the computer gives come from a clock that nobody sets: a correction by the network leaves no trace."""
    out = tmp_path / "log.csv"
    with Capture(str(wire.port), out) as capture:
        wire.wait_for_reader()
        wire.send("battery_v,battery_a", *["12.5,0.1"] * 20)
        taken(capture, lambda: capture.counts.kept == 20)
        real = time.time
        monkeypatch.setattr(time, "time", lambda: real() - 3600)
        wire.send(*["12.5,0.1"] * 20)
        taken(capture, lambda: capture.counts.kept == 40)

    with Log.open(out) as log:
        time_s = log.trace(-1, 1e9).time_s
    assert len(time_s) == 40
    assert np.all(np.diff(time_s) >= 0)
    assert 0 <= time_s[0] <= time_s[-1] < PATIENCE_S
    assert [text for text in notes_of(out) if "clock fell back" in text or "leapt" in text] == []


def test_server_that_comes_back_is_joined_again(tmp_path: Path):
    """A logger on the network is treated like one on a cable: closed and opened again, the recording goes on."""
    out = tmp_path / "log.csv"
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = server.getsockname()[1]
        with Capture(f"socket://127.0.0.1:{number}", out) as capture:
            first, _ = server.accept()
            first.sendall("\n".join([HEADER, *lines(0, 20), ""]).encode())
            taken(capture, lambda: capture.counts.kept == 20)
            first.close()
            taken(capture, lambda: capture.lost_s is not None or bool(capture.counts.gaps))
            server.settimeout(PATIENCE_S)
            second, _ = server.accept()
            with second:
                second.sendall("\n".join([HEADER, *lines(2000, 20), ""]).encode())
                taken(capture, lambda: capture.counts.kept == 40)

    assert len(capture.counts.gaps) == 1
    assert len(rows_of(out)) == 41


def test_what_a_server_sends_at_once_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Lines that are there before the port is quite open are read: a logger may send its header but once."""
    usual = protocol_socket.Serial._reconfigure_port

    def slowly(port: protocol_socket.Serial) -> None:
        time.sleep(0.2)  # between connecting and pyserial's emptying of its buffers
        usual(port)

    monkeypatch.setattr(protocol_socket.Serial, "_reconfigure_port", slowly)
    with socket.create_server(("127.0.0.1", 0)) as server, ThreadPoolExecutor(1) as pool:

        def send() -> socket.socket:
            there, _ = server.accept()
            there.sendall("\n".join([HEADER, *lines(0, 20), ""]).encode())
            return there

        sent = pool.submit(send)
        port = f"socket://127.0.0.1:{server.getsockname()[1]}"
        with Capture(port, tmp_path / "log.csv") as capture, sent.result(PATIENCE_S):
            taken(capture, lambda: capture.counts.kept == 20)


def test_rubbish_is_counted_and_harms_nothing(wire: Wire, tmp_path: Path):
    """Odd bytes, half lines and joined lines among good ones are refused; every good line is kept once and in order."""
    out = tmp_path / "log.csv"
    rng = np.random.default_rng(4)
    sent: list[str | bytes] = [HEADER]
    for n, line in enumerate(lines(0, 200)):
        sent.append(line)
        if n % 10 == 3:
            sent.append(b"\x00\xfe" + rng.bytes(30).replace(b"\n", b"").replace(b"\r", b""))
        if n % 20 == 7:
            sent += [line[:-5], line + line]
    with Capture(str(wire.port), out) as capture:
        wire.wait_for_reader()
        wire.send(*sent)
        taken(capture, lambda: capture.counts.kept == 200)

    assert capture.counts.refused_in_all == 40
    assert [row[0] for row in rows_of(out)[1:]] == [f"{n / 1000:.3f}" for n in range(200)]
    assert notes_of(out)[-1].startswith("40 lines refused: ")


def small_files() -> None:
    """For a child: no file may be larger than 20 kB, as on a disk that is full."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))


def test_full_disk_keeps_what_was_saved(wire: Wire, tmp_path: Path):
    """A disk that takes no more ends the recording with a plain message; the file ends with a whole line and reads."""
    out = tmp_path / "log.csv"
    process = start(str(wire.port), out, before=small_files)
    wire.wait_for_reader()
    wire.send(HEADER, *lines(0, 5000))
    status, _, err = ended(process)

    assert status == 2
    message = err.strip().splitlines()[-1]
    assert re.match(r"benchlog: .*log\.csv: the recording can no longer be written \(file too large\); ", message)
    assert "Traceback" not in err
    assert out.read_bytes().endswith(b"\n")
    kept = len(rows_of(out)) - 1
    assert (f"; {kept} lines are saved and can be used; " if kept else "; no line is saved; ") in message


def test_full_disk_in_the_middle(wire: Wire, tmp_path: Path):
    """What was written before the disk was full can be checked."""
    out = tmp_path / "log.csv"
    process = start(str(wire.port), out, before=small_files)
    wire.wait_for_reader()
    wire.send(HEADER, *lines(0, 400))
    wait_until(lambda: lines_in(out) >= 400)
    wire.send(*lines(400, 5000))
    status, _, _ = ended(process)

    assert status == 2
    with Log.open(out) as log:
        assert log.rows >= 400
        assert np.diff(log.trace(0, 10).time_s) == pytest.approx(0.001)


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopped_by_hand_or_system_it_ends_well(wire: Wire, tmp_path: Path, number: signal.Signals):
    """Ctrl-C and a polite end write the last lines, print what was kept, and exit 0."""
    out = tmp_path / "log.csv"
    process = start(str(wire.port), out)
    wire.wait_for_reader()
    wire.send(HEADER, *lines(0, 300), "0.3,oops,0")
    wait_until(lambda: lines_in(out) >= 300)
    time.sleep(0.2)
    process.send_signal(number)
    status, printed, err = ended(process)

    assert status == 0
    assert printed == f"{out}: 300 lines kept\n1 line refused: 1 with an unreadable number\n"
    assert "Traceback" not in err
    assert len(rows_of(out)) == 301


def test_seconds_and_silence(wire: Wire, tmp_path: Path):
    """A recording in which nothing came ends with what to look at, and leaves no empty file."""
    out = tmp_path / "log.csv"
    status, printed, _ = ended(start(str(wire.port), out, "--seconds", "0.5"))

    assert status == 0
    assert "nothing was recorded" in printed
    assert "is the baud rate (--baud) right?" in printed
    assert not out.exists()


def test_second_recorder_on_a_port_is_refused(wire: Wire, tmp_path: Path):
    """A port that is being recorded is not opened a second time: the two would share its lines between them."""
    with Capture(str(wire.port), tmp_path / "a.csv"):
        status, _, err = ended(start(str(wire.port), tmp_path / "b.csv"))

    assert status == 2
    assert err == f"benchlog: {wire.port}: another program has this port open; stop it, or name another port\n"
    assert not (tmp_path / "b.csv").exists()


def test_port_that_is_not_there_is_told(tmp_path: Path):
    """A port that does not exist ends in one message that says which ports there are; nothing is written."""
    status, _, err = ended(start(str(tmp_path / "nothing"), tmp_path / "log.csv"))

    assert status == 2
    assert err.startswith(f"benchlog: {tmp_path / 'nothing'}: there is no such port; ")
    assert len(err.strip().splitlines()) == 1
    assert not (tmp_path / "log.csv").exists()


@pytest.mark.parametrize(
    ("port", "text"),
    [
        ("socket://127.0.0.1:9", "the connection cannot be made"),
        ("nonsense://x", "this port is not known"),
        ("socket://nowhere", "this address is incomplete"),
    ],
)
def test_address_that_leads_nowhere_is_told(port: str, text: str, tmp_path: Path):
    """A URL that cannot be opened is one plain message."""
    with pytest.raises(BenchlogError, match=text), Capture(port, tmp_path / "log.csv"):
        pass


def test_file_that_is_there_is_never_written_over(wire: Wire, tmp_path: Path):
    """An existing file is refused and stays as it was."""
    out = tmp_path / "log.csv"
    out.write_text("precious\n")
    status, _, err = ended(start(str(wire.port), out))

    assert status == 2
    assert "log.csv: this file already exists and is not overwritten; name another with --out, or move it away" in err
    assert out.read_text() == "precious\n"


def test_folder_that_cannot_be_written_to_is_told(wire: Wire, tmp_path: Path):
    """A folder that is missing, or may not be written to, ends in one message."""
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)

    for out, why in ((tmp_path / "none" / "log.csv", "no such file"), (locked / "log.csv", "permission denied")):
        status, _, err = ended(start(str(wire.port), out, before=without_override))

        assert status == 2
        assert f"log.csv: the recording cannot be written there ({why}" in err


def test_growing_log_is_checked_as_it_is(wire: Wire, tmp_path: Path, samples: Samples):
    """While a recording goes on its file is checked like any other, and at its end like the log it was made from."""
    out = tmp_path / "log.csv"
    beside = samples.log.with_name(samples.log.name.removesuffix(".csv") + ".logger.toml")
    stream = samples.log.read_bytes()
    rows = stream.count(b"\n") - 1
    with Capture(str(wire.port), out, logger=load_logger(beside)) as capture:
        wire.wait_for_reader()
        wire.send_bytes(stream)
        taken(capture, lambda: capture.counts.kept > rows / 3)
        halfway = benchlog.check([out], plan=samples.plan)
        taken(capture, lambda: capture.counts.kept == rows)

    assert halfway.verdict in ("pass", "fail", "not proven")
    result, wanted = (benchlog.check([path], plan=samples.plan) for path in (out, samples.log))
    assert [(check.id, check.verdict, check.measured) for check in result.checks] == [
        (check.id, check.verdict, check.measured) for check in wanted.checks
    ]


def test_ports_are_listed_or_what_to_do():
    """``benchlog ports`` prints the ports, or what to do where there is none."""
    script = "import typer; from benchlog.commands.recording import ports; typer.run(ports)"
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )

    assert done.returncode == 0
    assert done.stdout.strip()
    assert done.stderr == ""


def test_stream_of_which_no_line_can_be_used_is_told_once():
    """Two seconds of refused lines are told with their reason and what to do; a good line begins the watch anew."""
    story, watch = Story(), Refusing()
    told = []
    for tenth in range(60):
        kept = 1 if tenth < 5 else 2 if tenth == 40 else 1
        watch.watch(tenth / 10, kept, Counter(unreadable=10 * tenth), story)
        told += [(tenth, text) for text in story.told()]

    assert len(told) == 1
    assert told[0][0] == 20
    assert "with an unreadable number" in told[0][1]
    assert "over_range" in told[0][1]


@pytest.mark.parametrize(("port", "what"), [("folder", "a folder"), ("file", "a file"), ("/dev/null", "a device of")])
def test_what_is_no_serial_port_is_told_as_what_it_is(tmp_path: Path, port: str, what: str):
    """A folder, a file or another device given as the port is named as such, without a library's words."""
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").touch()
    where = port if port.startswith("/") else str(tmp_path / port)

    with pytest.raises(BenchlogError, match=rf"this is {what}.*, not a serial port; "):
        open_port(where, 115200)
