"""Every message of the bench: recording, the guided test, the stand-in, and what running recordings leave."""

# ruff: noqa: E501 a message is searched for in one piece

import errno
import json
import os
import pty
import socket
import tempfile
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from messages import FOLDER, Entry, command, done, fails, while_it
from messages import test_every_message_is_heard as test_every_message_is_heard
from messages import test_message_reads_like_this as test_message_reads_like_this
from serial.tools.list_ports_common import ListPortInfo
from serial_wire import Wire

from benchlog.bench.by_hand.filled import filled_sheet
from benchlog.bench.guided import resume
from benchlog.bench.guided.memory import Memory
from benchlog.bench.live import LiveState, write_live
from benchlog.bench.recording import Capture
from benchlog.bench.recording.port import open_port
from benchlog.bench.recording.writer import LogWriter
from benchlog.logger.model import load_logger
from benchlog.plan.model import load_plan
from benchlog.process.pool import side_by_side
from benchlog.standin import SimulatedInstall
from benchlog.standin.hands import ask
from benchlog.standin.lines import LineForm
from benchlog.standin.logger import live_logger
from benchlog.standin.serving import Standin
from benchlog.standin.streaming import LiveBike

PLAN = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
BY_NAME = '[time]\ncolumn = "t"\n[[channel]]\ncolumn = "I"\nrole = "battery_a"\n'
LARCH = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"
NOW = datetime(2026, 11, 30, tzinfo=UTC)
NOBODY = "socket://127.0.0.1:1"  # nothing listens there
ONE_PORT = "name one of these: /dev/ttyACM0 (USB: Larch works Shunt logger, serial number 7)"


def a_plan(folder: Path) -> Path:
    """A plan that can be used."""
    path = folder / "plan.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def a_logger(folder: Path, name: str = "mine.toml", text: str = BY_NAME) -> Path:
    """A logger file that names its columns."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def recording(port: str, text: str) -> Entry:
    """``benchlog record`` from this port, on a computer with one port."""
    return with_ports(command(lambda f: ["record", port.replace(FOLDER, str(f)), "--out", f / "a.csv"], text), usb())


def usb(device: str = "/dev/ttyACM0", *, named: bool = True) -> ListPortInfo:
    """A logger on a USB cable."""
    port = ListPortInfo(device)
    port.vid = 0x1209
    if named:
        port.manufacturer, port.product, port.serial_number = "Larch works", "Shunt logger", "7"
    return port


def with_ports(entry: Entry, *ports: ListPortInfo) -> Entry:
    """The same on a computer with these ports."""

    def bring(folder: Path) -> list[str] | None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("serial.tools.list_ports.comports", lambda *_, **__: list(ports))
            return entry.bring(folder)

    return Entry(bring, entry.text)


def saying(error: OSError) -> Callable[..., None]:
    """A function that fails with just this."""

    def fail(*_: object, **__: object) -> None:
        raise error

    return fail


def opened_while(patched: str, error: OSError, port: str) -> Callable[[Path], object]:
    """A port that is opened while the system fails."""

    def run(_: Path) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(patched, saying(error))
            open_port(port, 115200)

    return run


def recorded(folder: Path, lines: list[str], *, logger: str = "", old: str = "") -> None:
    """Record these lines for a moment; ``old`` is what a stopped recording left."""
    out = folder / "a.csv"
    if old:
        out.write_text(old, encoding="utf-8")
    given = load_logger(a_logger(folder, text=logger)) if logger else None
    with (
        closing(Wire(folder)) as wire,
        Capture(str(wire.port), out, logger=given, append=bool(old), seconds=0.6) as capture,
    ):
        wire.wait_for_reader()
        wire.send(*lines)
        for _ in capture.batches():
            pass


def recorded_twice(folder: Path) -> None:
    """A second recorder on one port."""
    with (
        closing(Wire(folder)) as wire,
        Capture(str(wire.port), folder / "a.csv"),
        Capture(str(wire.port), folder / "b.csv"),
    ):
        pass


def disk_full(folder: Path) -> None:
    """A disk that fills up after nine lines."""
    with closing(Wire(folder)) as wire, Capture(str(wire.port), folder / "a.csv") as capture:
        wire.wait_for_reader()
        wire.send("time_s,battery_v", *(f"{n},12.5" for n in range(9)))
        for _ in capture.batches():
            if capture.counts.kept == 9:
                break
        wire.send("9,12.5", "10,12.5")
        wire.settle()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(os, "write", fails(errno.ENOSPC))
            for _ in capture.batches():
                pass


def disk_full_already(folder: Path) -> None:
    """A disk that has no room for a header line."""
    with LogWriter(folder / "a.csv") as writer, pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "write", fails(errno.ENOSPC))
        writer.write(b"time_s,battery_v\n")


def not_this_logger(folder: Path) -> list[str | Path]:
    """A recording that is begun where another logger's file lies."""
    a_logger(folder, "a.logger.toml", BY_NAME.replace('"I"', '"J"'))
    return ["record", NOBODY, "--out", folder / "a.csv", "--logger", a_logger(folder)]


def acceptance(folder: Path, *more: str | Path) -> list[str | Path]:
    """``benchlog acceptance`` with a plan, where nothing is opened yet."""
    return ["acceptance", NOBODY, "--plan", a_plan(folder), *more]


def stopped(folder: Path, bike: str = "Larch", state: str = "") -> list[str | Path]:
    """A stopped test that is gone on with by its log's name."""
    resume.save(folder / "a.csv", bike, Memory())
    if state:
        resume.state_path(folder / "a.csv").write_text(state, encoding="utf-8")
    return acceptance(folder, "--resume", "--out", folder / "a.csv")


def stopped_here(folder: Path, state: str = "") -> list[str | Path]:
    """The newest one in the folder; with ``state`` its file is spoilt."""
    if state:
        resume.state_path(folder / "a.csv").write_text(state, encoding="utf-8")
    return acceptance(folder, "--resume")


def there(path: Path) -> Path:
    """A file that is there already."""
    path.touch()
    return path


def a_folder(path: Path) -> Path:
    """A folder that is there already."""
    path.mkdir()
    return path


def bike(*done_before: str, then_s: float = 0.0) -> LiveBike:
    """A simulated bike to which this was done, ``then_s`` ago."""
    live = LiveBike(SimulatedInstall(), live_logger(50), np.random.default_rng(1))
    for what in done_before:
        live.samples(50)
        live.act(what)
    live.samples(int(then_s * 50))
    return live


def asked(live: LiveBike, what: str) -> Callable[[Path], object]:
    """Something that another program asks of a running stand-in."""

    def run(folder: Path) -> None:
        over = threading.Event()
        with Standin(live, LineForm(), plan_toml=PLAN, folder=folder / "standin") as running:
            thread = threading.Thread(target=lambda: list(running.run(over.is_set)))
            thread.start()
            try:
                ask(running.folder / "hands", what)
            finally:
                over.set()
                thread.join()

    return run


def answering(answer: bytes) -> Callable[[Path], object]:
    """Something asked of a program that answers in its own way; with nothing, not at all."""

    def run(folder: Path) -> None:
        with socket.socket(socket.AF_UNIX) as listening, pytest.MonkeyPatch.context() as patch:
            patch.setattr("benchlog.standin.hands.ANSWER_WITHIN_S", 5.0 if answer else 0.05)
            listening.bind(str(folder / "hands"))
            listening.listen()

            def reply() -> None:
                link, _ = listening.accept()
                with link:
                    if answer:
                        link.sendall(answer)
                    link.recv(100)
                    link.recv(100)  # until the other end is gone

            thread = threading.Thread(target=reply)
            thread.start()
            try:
                ask(folder / "hands", "key on")
            finally:
                thread.join()

    return run


def standin_made(folder: Path) -> None:
    """A stand-in on a system that has no pseudo-terminal left."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tempfile, "tempdir", str(folder))
        patch.setattr(pty, "openpty", fails(errno.ENOSPC))
        Standin(bike(), LineForm(), plan_toml=PLAN)


def no_live_folder(folder: Path) -> None:
    """A running recording whose state has no place."""
    (folder / "data").touch()
    write_live(LiveState(log="a.csv", port="p", started_at=0.0, updated_at=0.0))


def killed(_: Path) -> None:
    """Work that the system ends in every process but this one."""
    job = f"__import__('os').getpid() != {os.getpid()} and __import__('os')._exit(9) or __import__('time').sleep(0.02)"
    list(side_by_side(eval, [job] * 500, 2))


ANEW = "start a new test without --resume"
STEPS = f"{FOLDER}/a.steps.json"

PROVOKED: dict[str, Entry] = {
    # ---- the port
    "no such port": recording("/dev/nothing", f"/dev/nothing: there is no such port; {ONE_PORT}"),
    "no such port, and none at all": with_ports(
        command(
            lambda f: ["record", "COM3", "--out", f / "a.csv"],
            "COM3: there is no such port; this computer has no serial port at the moment: plug the logger in, then try benchlog ports",
        )
    ),
    "no such port, others unknown": with_ports(
        command(
            lambda f: ["record", "COM3", "--out", f / "a.csv"],
            "COM3: there is no such port; name one of these: COM1 (a port of the computer itself, or unknown)",
        ),
        ListPortInfo("COM1"),
    ),
    "no such port, and one without a name": with_ports(
        command(
            lambda f: ["record", "COM3", "--out", f / "a.csv"],
            "COM3: there is no such port; name one of these: COM4 (a USB device)",
        ),
        usb("COM4", named=False),
    ),
    "folder as the port": recording(FOLDER, f"{FOLDER}: this is a folder, not a serial port; {ONE_PORT}"),
    "file as the port": with_ports(
        command(
            lambda f: ["record", a_plan(f), "--out", f / "a.csv"],
            f"{FOLDER}/plan.toml: this is a file, not a serial port; {ONE_PORT}",
        ),
        usb(),
    ),
    "other device as the port": recording(
        "/dev/null", f"/dev/null: this is a device of another kind, not a serial port; {ONE_PORT}"
    ),
    "file within a file": with_ports(
        command(
            lambda f: ["record", a_plan(f) / "x", "--out", f / "a.csv"],
            f"{FOLDER}/plan.toml/x: this port cannot be opened (not a directory); {ONE_PORT}",
        ),
        usb(),
    ),
    "port in use": done(
        recorded_twice, f"{FOLDER}/port: another program has this port open; stop it, or name another port"
    ),
    "port in use, on Windows": done(
        # as pyserial words it there, from memory
        opened_while(
            "serial.Serial.open",
            OSError("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)"),
            "COM3",
        ),
        "COM3: another program has this port open; stop it, or name another port",
    ),
    "port not permitted": done(
        opened_while("os.open", PermissionError(errno.EACCES, "Permission denied"), "/dev/ttyACM0"),
        "/dev/ttyACM0: opening this port is not permitted; on Linux, join the group that it belongs to, often with "
        "sudo usermod -aG dialout $USER, then log in again",
    ),
    "nobody listens": recording(
        NOBODY,
        f"{NOBODY}: the connection cannot be made (connection refused); check the address, and that the logger is "
        "switched on",
    ),
    "nobody answers": done(
        opened_while("socket.create_connection", TimeoutError("timed out"), "socket://192.168.1.20:4000"),
        "socket://192.168.1.20:4000: the connection cannot be made (nobody answered in time); check the address, and "
        "that the logger is switched on",
    ),
    "nothing found by a pattern": with_ports(
        command(
            lambda f: ["record", "hwgrep://shunt", "--out", f / "a.csv"],
            "hwgrep://shunt: the connection cannot be made; check the address, and that the logger is switched on",
        )
    ),
    "half an address": recording(
        "socket://larch",
        "socket://larch: this address is incomplete; it needs the logger's host and its network port, 0 to 65535, such as socket://192.168.1.20:4000",
    ),
    "unknown kind of port": recording(
        "usb://larch",
        "usb://larch: this port is not known; name a device, as benchlog ports lists them, or a network address "
        "such as socket://192.168.1.20:4000",
    ),
    # ---- the file that is written
    "recording over a file": command(
        lambda f: ["record", NOBODY, "--out", there(f / "a.csv")],
        f"{FOLDER}/a.csv: this file already exists and is not overwritten; name another with --out, or move it away",
    ),
    "recording into nowhere": command(
        lambda f: ["record", NOBODY, "--out", f / "b" / "a.csv"],
        f"{FOLDER}/b/a.csv: the recording cannot be written there (no such file or directory); name a folder that "
        "exists and that you may write to",
    ),
    "going on in a folder": done(
        lambda f: Capture(NOBODY, f, append=True).__enter__(),
        f"{FOLDER}: this is a folder; name a file in it, such as {FOLDER}/log.csv",
    ),
    "disk that fills up": done(
        disk_full,
        f"{FOLDER}/a.csv: the recording can no longer be written (no space left on device); 9 lines are saved and "
        "can be used; make room or name another place, and record again",
    ),
    "disk that is full": done(
        disk_full_already,
        f"{FOLDER}/a.csv: the recording can no longer be written (no space left on device); no line is saved; make "
        "room or name another place, and record again",
    ),
    "another logger's file": command(
        not_this_logger,
        f"{FOLDER}/a.logger.toml: another logger file already lies beside the recording; move it away, or name it with "
        "--logger",
    ),
    # ---- what the logger sends
    "no header": done(
        lambda f: recorded(f, ["0,1", "1,1", "2,1"], logger=BY_NAME),
        f"{FOLDER}/port: no header line arrived, and the logger file names columns that only a header can identify; switch the logger off and on within 10 s of starting to record, or give `column` in the logger file as a number, "
        "1 for the first",
    ),
    "other columns": done(
        lambda f: recorded(f, ["t,U", "0,12", "1,12"], logger=BY_NAME),
        f"{FOLDER}/port: the logger file names columns that the log lacks: 'I'; the log has 't', 'U'; correct `column` in "
        "the logger file, or the header line",
    ),
    "unit of another role": done(
        lambda f: recorded(f, ["time_s,battery_v [A]", "0,12", "1,12"]),
        f'{FOLDER}/port: the logger\'s header line cannot be used: column "battery_v [A]": A does not suit battery_v, '
        "which needs uV, mV, V; correct it in the logger, or say what the columns mean in a logger file (--logger)",
    ),
    "other columns than before": done(
        lambda f: recorded(f, ["time_s,battery_v", "0,12", "1,12"], old="time_s,feed_v,mark\n0,12,\n"),
        f"{FOLDER}/a.csv: the columns of this recording differ from those the logger sends now (time_s,battery_v,mark); continue with the logger and the logger file that it was started with, or start over in another file",
    ),
    # ---- the guided test, before it begins
    "no log from before": command(
        lambda f: acceptance(f, "--before", f / "old.csv"),
        f"{FOLDER}/old.csv: no such log; name the log recorded before the install, or leave --before out",
    ),
    "test over a log": command(
        lambda f: acceptance(f, "--out", there(f / "a.csv")),
        f"{FOLDER}/a.csv: already exists and is not overwritten; name another file for the log of this test with --out; "
        "to resume a stopped test, add --resume",
    ),
    "test over a report": command(
        lambda f: acceptance(f, "--out", f / "a.csv", "--report", there(f / "a.html")),
        f"{FOLDER}/a.html: already exists and is not overwritten; name another file for the report with --report",
    ),
    "report into nowhere": command(
        lambda f: acceptance(f, "--out", f / "a.csv", "--report", f / "b" / "a.html"),
        f"{FOLDER}/b/a.html: its folder does not exist; name a file for the report in one that exists, with --report",
    ),
    "retest of no check": command(
        lambda f: acceptance(f, "--only", "feed_drp"),
        "--only feed_drp: this plan has no such check; it has off_state_drain, added_drain, settle_time, "
        "feed_off_voltage, relay_pull_in, relay_drop_out, relay_chatter, battery_sag, feed_drop, ground_lift, "
        "resting_voltage, source_resistance, crank_minimum, feed_in_crank, charging_voltage, charging_balance",
    ),
    "retest of a fuse": command(
        lambda f: acceptance(f, "--only", "feed_fuse"),
        "--only feed_fuse: this check compares the plan with itself, so no step shows it; correct the plan, or the "
        "fuse, and see benchlog plan",
    ),
    "no stopped test": command(
        lambda f: acceptance(f, "--resume", "--out", f / "a.csv"),
        f"{STEPS}: no such file, so there is no stopped test with the log a.csv; name the log of the stopped test with "
        f"--out, or {ANEW}",
    ),
    "no stopped test here": command(
        stopped_here,
        f"{FOLDER}: there is no stopped test here; name the log of the stopped test with --out, or go to its folder",
    ),
    "stopped test, another bike": command(
        lambda f: stopped(f, "Alder"),
        f'{FOLDER}/a.csv: the stopped test is for the bike "Alder", the plan for "Larch"; name the plan that it was started with',
    ),
    "stopped test, spoilt": command(
        lambda f: stopped(f, state="{"), f"{STEPS}: the state of the test cannot be read (it is damaged); {ANEW}"
    ),
    "newest stopped test, spoilt": command(
        lambda f: stopped_here(f, "{}"), f"{STEPS}: the state of the test cannot be read (it is damaged); {ANEW}"
    ),
    "stopped test, not readable": done(
        lambda f: while_it(Path, "read_text", errno.EACCES, lambda _: resume.load(f / "a.csv"))(f),
        f"{STEPS}: the state of the test cannot be read (permission denied); {ANEW}",
    ),
    "stopped test, another version": command(
        lambda f: stopped(f, state=json.dumps({"version": 99})),
        f"{STEPS}: this file does not hold the state of a guided test, or another version of benchlog wrote it; {ANEW}",
    ),
    "state that has no place": done(
        lambda f: resume.save(f / "b" / "a.csv", "Larch", Memory()),
        f"{FOLDER}/b/a.steps.json: the state of the test cannot be written (no such file or directory); name a folder "
        "that exists, has room, and that you can write to",
    ),
    # ---- the stand-in
    "unknown fault": command(
        lambda _: ["standin", "--fault", "gremlins"],
        "fault: 'gremlins' is not known; use one of trigger_always_live, …, clips_swapped",
    ),
    "unknown behaviour": command(
        lambda _: ["standin", "--behaviour", "flashers", "--behaviour", "gremlins"],
        "behaviour: 'gremlins' is not known; use one of kill_switch, …, no_suppression; benchlog standin --help says "
        "what each does",
    ),
    "unknown words": done(
        asked(bike(), "kick it"),
        'stand-in: "kick it" was not done: "kick it" is not understood; known are key on, key off, slot N on, slot N off, '
        "all on, all off, fuse N out, fuse N in, crank, running, engine off, zero, zero end, shunt bridged, shunt free",
    ),
    "no such speed": done(
        asked(bike(), "speed fast"),
        'stand-in: "speed fast" was not done: the speed must be a number from 0.01 to 10000, got "fast"; speed 20 runs '
        "20 simulated seconds in a second",
    ),
    "no such slot": done(
        asked(bike(), "slot 9 on"),
        'stand-in: "slot 9 on" was not done: there is no slot 9 on this bike; its slots are: 1, 2, 3, 4',
    ),
    "cranking with the key off": done(
        asked(bike(), "crank"), 'stand-in: "crank" was not done: the key is off; turn it on before you crank'
    ),
    "cranking twice": done(
        asked(bike("key on", "crank"), "crank"),
        'stand-in: "crank" was not done: the starter turns already; wait until the engine runs',
    ),
    "cranking a running engine": done(
        asked(bike("key on", "crank", then_s=20.0), "crank"),
        'stand-in: "crank" was not done: the engine runs already; type engine off to stop it first',
    ),
    "stand-in that has ended": done(
        lambda f: ask(f / "hands", "key on"),
        f"{FOLDER}/hands: no stand-in answers there (no such file or directory); start benchlog standin, and name the "
        "port that it prints",
    ),
    "stand-in that hangs": done(
        answering(b""),
        f"{FOLDER}/hands: no stand-in answers there (no answer in time); start benchlog standin, and name the port that "
        "it prints",
    ),
    "stand-in that is none": done(
        answering(b"well\n"),
        'stand-in: "key on" got a meaningless answer: "well"; restart benchlog standin',
    ),
    "stand-in without a port": done(
        standin_made,
        f"stand-in: its port cannot be made in {FOLDER} (no space left on device); make sure that there is room and that you can write there, or name "
        "another folder in TMPDIR",
    ),
    # ---- the test with a hand meter
    "neither port nor hand meter": command(
        lambda f: ["acceptance", "--plan", a_plan(f)],
        "no PORT was given: name one (benchlog ports lists them), or give --by-hand for a hand meter",
    ),
    "a port and a hand meter": command(
        lambda f: ["acceptance", "/dev/ttyACM0", "--by-hand", "--plan", a_plan(f)],
        "PORT: not for a hand meter; leave it out, or leave out --by-hand",
    ),
    "a hand meter without a file": command(
        lambda f: ["acceptance", "--by-hand", "--plan", a_plan(f)],
        "--by-hand keeps the readings in a file; name it with --out READINGS.toml",
    ),
    "a sheet without a limit": command(
        lambda f: ["plan", a_plan(f), "--sheet", f / "sheet.html"],
        "this plan has no limit that a hand meter can measure against; add [limits], [feed] or circuits",
    ),
    "a sheet in the place of its plan": command(
        lambda f: ["plan", a_plan(f), "--sheet", f / "plan.toml"],
        "…the measuring sheet…",
    ),
    "a sheet without a figure": done(
        lambda _: filled_sheet(load_plan(LARCH), {}, {}, NOW),
        "the sheet: the meter readings cannot be used\n  no reading is filled in; type at least one, as the meter shows it",
    ),
    "a sheet filled in wrongly": done(
        lambda _: filled_sheet(
            load_plan(LARCH),
            {(0, "value"): "x", (1, "waited"): "1", (2, "value"): "1", (2, "waited"): "y", (2, "lowest"): "z"},
            {"voltage": "good", "battery_c": "cold"},
            NOW,
        ),
        "the sheet: the meter readings cannot be used\n"
        '  battery, °C: needs a number, such as 18, got "cold"\n'
        '  Battery at rest: needs a figure as the meter shows it, such as 12.63, or OL; got "x"\n'
        "  Fuse block, key off: needs a figure as the meter shows it, such as 12.63, or OL; it is empty\n"
        '  Drain, waited: needs a number, such as 10, got "y"\n'
        '  Drain, lowest: needs a figure as the meter shows it, got "z"\n'
        '  DC voltage: needs per cent and digits, such as 0.5 % + 2, got "good"',
    ),
    # ---- what goes on beside
    "no place for the live state": done(
        no_live_folder,
        f"{FOLDER}/data/live: the folder cannot be created (not a directory); make sure that there is room and that you can write there, or name another "
        "data folder in BENCHLOG_DATA",
    ),
    "a process that is killed": done(
        killed,
        "the work was stopped: one of its processes was ended, perhaps because memory ran out; give fewer logs at once",
    ),
}


# ---- no message without an entry

#: Files whose raised texts are all brought up here.
FILES = {
    f"benchlog/{name}.py": True
    for name in (
        *(f"bench/recording/{part}" for part in ("beside", "capture", "port", "resuming", "writer")),
        *("log/readers/lines/meaning", "bench/guided/leading", "bench/guided/resume", "bench/live", "process/pool"),
        *("bench/by_hand/filled", "bench/by_hand/sheet", "commands/by_hand", "bench/guided/retest"),
        *(
            "standin/behaving",
            "standin/faults",
            "standin/hands",
            "standin/pace",
            "standin/serving",
            "standin/streaming",
        ),
    )
}
#: Texts that no entry can bring up, or that are no messages, and why.
NOT_HEARD = {
    "the device is gone": "caught where the port is read; the recording tells that the connection was lost",
    "a list is needed, got ": "as the next one",
    "a table is needed, got ": "caught where the state of a test is read, and told as another benchlog's file",
}
