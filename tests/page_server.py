"""A store with a few sheets and a running ``benchlog page``, for the tests of the pages."""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import benchlog
from benchlog.store import Store, open_store

ROOT = Path(__file__).parent.parent
SAMPLES = ROOT / "sample_data"
PAGE = "import typer; from benchlog.commands.page import page; typer.run(page)"
NASTY = "<img src=x onerror=alert(1)><script>alert(2)</script><b>bold</b>"


def free_port() -> int:
    """A port that nobody listens on just now."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def fill(store: Store, folder: Path) -> None:
    """Three sheets: a good one and a failed one of the bike "Larch", and one of another bike."""
    plan = SAMPLES / "larch.plan.toml"
    logs, before = [SAMPLES / "acceptance.csv", SAMPLES / "overnight.csv"], SAMPLES / "before.csv"
    good = benchlog.check(list(logs), plan=plan, before=before)
    store.save(good, plan=plan, logs=logs, before=before, recorded_at=datetime(2026, 3, 1, 10, tzinfo=UTC))
    late = SAMPLES / "fault_slow_drop_out.csv"
    store.save(
        benchlog.check(late, plan=plan), plan=plan, logs=[late], recorded_at=datetime(2026, 6, 1, 10, tzinfo=UTC)
    )
    other = folder / "alder.plan.toml"
    other.write_text(plan.read_text(encoding="utf-8").replace('"Larch"', '"Alder"'), encoding="utf-8")
    store.save(benchlog.check(late, plan=other), plan=other, logs=[late])


def fill_nasty(store: Store, folder: Path) -> None:
    """One sheet whose every text tries to be HTML: bike, notes, device, log name, mark, note, signature."""
    plan = folder / "nasty.plan.toml"
    text = (SAMPLES / "larch.plan.toml").read_text(encoding="utf-8")
    text = text.replace('bike = "Larch"', f"bike = '{NASTY}'\nnotes = '{NASTY}'")
    plan.write_text(text.replace('"vaccine cool box"', f"'{NASTY}'"), encoding="utf-8")
    log = folder / "<b>log<b>.csv"
    lines = (SAMPLES / "fault_slow_drop_out.csv").read_text(encoding="utf-8").splitlines()
    # the first sample's mark, and a note that the recorder would have written
    lines[1:2] = [lines[1].rstrip(",") + f',"{NASTY}"' if lines[1].endswith(",") else lines[1], f"# note: {NASTY}"]
    log.write_text("\n".join(lines) + "\n", encoding="utf-8")
    shutil.copy(SAMPLES / "fault_slow_drop_out.logger.toml", folder / "<b>log<b>.logger.toml")
    record = store.save(benchlog.check(log, plan=plan), plan=plan, logs=[log], notes=NASTY)
    store.sign(record.number, NASTY, NASTY)


@dataclass(frozen=True)
class Serving:
    """A running server: its address, its data folder, the lines it printed, and its process."""

    url: str
    data: Path
    said: list[str]
    pid: int


@contextmanager
def serving(data: Path, *options: str) -> Iterator[Serving]:
    """Start ``benchlog page`` on a free port of this machine, and end it with Ctrl-C."""
    port = free_port()
    command = [sys.executable, "-c", PAGE, "--port", str(port), *options]
    process = subprocess.Popen(
        command, cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        env={**os.environ, "BENCHLOG_DATA": str(data), "PYTHONUNBUFFERED": "1", "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert process.stdout is not None
    said: list[str] = []
    listener: threading.Thread | None = None
    try:
        for line in process.stdout:
            said.append(line.rstrip("\n"))
            if line.startswith("Open "):
                break
        assert said, "the server ended before it could be opened"
        found = re.match(r"Open (http://[^/]+)/", said[-1])
        assert found is not None, "\n".join(said)
        listener = threading.Thread(target=lambda: said.extend(line.rstrip("\n") for line in process.stdout or ()))
        listener.start()
        yield Serving(found.group(1), data, said, process.pid)
    finally:
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
        if listener is not None:
            listener.join(10)
        process.stdout.close()


def made_store(data: Path, *, nasty: bool = False) -> Path:
    """A data folder with a filled store in it."""
    data.mkdir(exist_ok=True)
    with open_store(str(data / "records.sqlite")) as store:
        fill(store, data)
        if nasty:
            fill_nasty(store, data)
    return data


def until(check, seconds: float = 30.0):  # type: ignore[no-untyped-def]  # gives whatever the check gives
    """Ask again until the check gives something true; the page's own policy forbids asking inside the page."""
    ends = time.monotonic() + seconds
    while not (found := check()):
        assert time.monotonic() < ends, "it did not come true in time"
        time.sleep(0.05)
    return found


def texts(part: object) -> str:
    """Every text of a page's components, in order."""
    if part is None or isinstance(part, (bool, int, float)):
        return ""
    if isinstance(part, str):
        return part
    if isinstance(part, (list, tuple)):
        return " ".join(filter(None, map(texts, part)))
    return texts(getattr(part, "children", None))
