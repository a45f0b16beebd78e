"""Ctrl-C in every command, at random moments and whenever a file is opened, named or removed.

Each run is a process of its own, interrupted as a terminal does it: the signal goes to its whole group. The moments
begin as benchlog's own entry is run, some 30 ms after the start: before that Python is still taking itself up, and what
it says to a signal there no program can help.
"""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest
import typer
from page_server import free_port, until
from talking_logger import talking_logger
from test_many import below

from benchlog.cli import app
from benchlog.log.log import Log
from benchlog.store import open_store

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN, LOG, SEASON = SAMPLES / "larch.plan.toml", SAMPLES / "fault_slow_drop_out.csv", SAMPLES / "season/records.sqlite"
#: Of the clock, less the time that other programs had the processor.
ENDS_WITHIN_S = 2.0
PATIENCE_S = 60.0
STOPPED = 130
#: As if a handful of short logs were worth two processes.
SHARED = "from benchlog.log import discovery; discovery.cores, discovery._START_S = lambda: 2, 0.0"
RECHECKED = f"{SHARED}; from benchlog.store import rechecking; rechecking.cores, rechecking._FEWEST = lambda: 2, 2"

PROGRAM = """
import os, signal, sys
up, home, press_at, count = {up}, {home!r}, {press_at}, 0
def touches(event, given):
    if event == "open":
        return given[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
    return event in ("os.rename", "os.remove", "sqlite3.connect")
def hear(event, given):
    global count
    if event in ("open", "os.rename", "os.remove", "sqlite3.connect") and isinstance(given[0], str):
        if touches(event, given) and os.path.abspath(given[0]).startswith(home):
            count += 1
            os.write(up, b".")
            if count == press_at:
                os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(hear)
{first}
from benchlog.__main__ import main
os.write(up, b"U")
main()
"""


@dataclass(frozen=True, slots=True)
class Run:
    """A command line to be stopped.

    Attributes:
        words: FOLDER in them stands for where it runs, PORT for a free port, LOGGER for a logger on the network.
        says: what it prints once it waits for its user; "" where it ends by itself.
        stopped: exit status where it is stopped while it waits.
        first: run before it.
    """

    words: tuple[str | Path, ...]
    says: str = ""
    stopped: int = STOPPED
    first: str = ""

    @property
    def command(self) -> str:
        """Its name: one word, or two where the first is that of a group."""
        group = {name.partition(" ")[0] for name in every_command() if " " in name}
        return " ".join(str(word) for word in self.words[: 2 if self.words[0] in group else 1])


LIVE = ("LOGGER", "--out", "FOLDER/work/log.csv")
CHANGE = ("--changed", "2025-09-20", "--what", "new battery")
RUNS: dict[str, Run] = {
    "check": Run(
        ("check", LOG, "--plan", PLAN, "--report", "FOLDER/work/r.html", "--json", "FOLDER/work/r.json", "--save")
    ),
    "check of many": Run(("check", "FOLDER/logs", "--plan", PLAN, "--save"), first=SHARED),
    "check of a table": Run(("check", "FOLDER/table.parquet", "--plan", PLAN, "--json", "FOLDER/work/r.json")),
    "plan": Run(("plan", PLAN)),
    "demo": Run(("demo",)),
    "schema": Run(("schema", "result")),
    "ports": Run(("ports",)),
    "listening": Run(("ports", "--listen", "LOGGER"), says="Listening on"),
    "record": Run(("record", *LIVE), says="Recording from", stopped=0),
    "acceptance": Run(("acceptance", *LIVE, "--plan", PLAN, "--save"), says="Step 1", stopped=3),
    "standin": Run(("standin",), says="Ctrl-C ends it", stopped=0),
    "season": Run(("season", "Larch", *CHANGE, "--report", "FOLDER/work/s.html", "--json", "FOLDER/work/s.json")),
    "page": Run(("page", "--port", "PORT"), says="Stop with", stopped=0),
    "logger": Run(("logger", "FOLDER/logs/ride 0.csv", "--out", "FOLDER/work/l.toml"), stopped=2),
    "find": Run(("find", "FOLDER/logs/ride 0.csv", "--plan", PLAN), stopped=2),
    "records list": Run(("records", "list")),
    "records show": Run(("records", "show", "7")),
    "records sign": Run(("records", "sign", "7", "--by", "the rider")),
    "records contact": Run(("records", "contact", "R. Fitter, 0555 0123")),
    "records import": Run(("records", "import", "FOLDER/logs", "--plan", PLAN), first=SHARED),
    "records export": Run(("records", "export", "FOLDER/work/x.csv")),
    "records recheck": Run(("records", "recheck", "--save"), first=RECHECKED),
    "records backup": Run(("records", "backup", "FOLDER/work/copy.sqlite")),
    "records verify": Run(("records", "verify", "--mend")),
}


def every_command() -> list[str]:
    """All that the command line knows, as one types it."""
    root = typer.main.get_command(app)
    names = []
    for name, command in root.commands.items():  # type: ignore[attr-defined] # the root is a group
        inner = getattr(command, "commands", None)
        names += [name] if inner is None else [f"{name} {other}" for other in inner]
    return names


def test_every_command_is_stopped_by_a_test():
    """A new command needs a run here."""
    assert {run.command for run in RUNS.values()} == set(every_command())


# ---- what they run on


@pytest.fixture(scope="module")
def logger_url() -> Iterator[str]:
    """A logger on the network, which sends a line every 20 ms."""
    with talking_logger() as url:
        yield url


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What each run finds: a store of 40 records, a handful of logs, a table."""
    folder = tmp_path_factory.mktemp("prepared")
    for name in ("work", "tmp", "data", "logs"):
        (folder / name).mkdir()
    shutil.copy(SEASON, folder / "data" / "records.sqlite")
    lines = LOG.read_text(encoding="utf-8").splitlines(keepends=True)
    for n in range(5):
        (folder / "logs" / f"ride {n}.csv").write_text("".join(lines[: 2000 + 500 * n]), encoding="utf-8")
        shutil.copy(LOG.with_name(f"{LOG.stem}.logger.toml"), folder / "logs" / f"ride {n}.logger.toml")
    import polars as pl

    pl.read_csv(LOG).write_parquet(folder / "table.parquet")
    shutil.copy(LOG.with_name(f"{LOG.stem}.logger.toml"), folder / "table.logger.toml")
    return folder


# ---- a run


class Process:
    """A run in a folder of its own, which Python has begun."""

    def __init__(self, run: Run, prepared: Path, folder: Path, logger_url: str, press_at: int = 0) -> None:
        """Start it. ``press_at``: it presses itself as the file of this number is touched, from 1; 0 for never."""
        shutil.copytree(prepared, folder)
        self.run, self.folder = run, folder
        named = {"FOLDER": str(folder), "PORT": str(free_port()), "LOGGER": logger_url}
        words = [str(word) for word in run.words]
        for short, whole in named.items():
            words = [word.replace(short, whole) for word in words]
        hears, up = os.pipe()
        script = PROGRAM.format(up=up, home=str(folder), press_at=press_at, first=run.first)
        data, temporary = str(folder / "data"), str(folder / "tmp")
        with (folder / "out").open("wb") as out, (folder / "err").open("wb") as err:
            self._process = subprocess.Popen(
                [sys.executable, "-c", script, *words],
                cwd=folder / "work", env={**os.environ, "BENCHLOG_DATA": data, "TMPDIR": temporary}, pass_fds=(up,),
                stdin=subprocess.DEVNULL, stdout=out, stderr=err, start_new_session=True,
            )  # fmt: skip
        os.close(up)
        self._heard = open(hears, "rb", buffering=0)  # noqa: SIM115 closed by ``end``
        while self._heard.read(1) not in (b"U", b""):
            pass
        self._began, self._pressed = time.monotonic(), 0.0
        self._waited_s, self._touched, self._others = 0.0, 0, set[int]()

    @property
    def pid(self) -> int:
        """Of the process that the user started."""
        return self._process.pid

    def over(self) -> bool:
        """Whether it has ended; what the system knows of it stays until ``end``."""
        return os.waitid(os.P_PID, self.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None

    def waits(self) -> bool:
        """Whether it waits for its user."""
        return bool(self.run.says) and self.run.says in self._text("out") + self._text("err")

    def press(self) -> None:
        """Ctrl-C in its terminal."""
        if not self.over():
            self._others |= below(self.pid)
            if not self._pressed:
                os.set_blocking(self._heard.fileno(), False)
                self._touched = (self._heard.read() or b"").count(b".")
                self._pressed, self._waited_s = time.monotonic(), self._without_processor_s()
            os.killpg(self.pid, signal.SIGINT)

    def end(self) -> "Ended":
        """Wait for its end."""
        patience = time.monotonic() + PATIENCE_S
        while not self.over() and time.monotonic() < patience:
            time.sleep(0.005)
        hung = not self.over()
        now = time.monotonic()
        took_s = now - self._pressed - self._without_processor_s() + self._waited_s if self._pressed else 0.0
        self._process.kill()
        status = self._process.wait()
        touched = self._touched if self._pressed else self._heard.read().count(b".")
        self._heard.close()
        assert not hung, f"it did not end: {self._text('err')}"
        # what looks after names and locks of processes hears that they are gone by a pipe that is closed
        until(lambda: not _there(self._others), 5)
        running = _there(self._others)
        return Ended(
            self.folder, status, self._text("out"), self._text("err"), took_s, now - self._began, touched, running
        )

    def _without_processor_s(self) -> float:
        """How long it could have worked but others had the processor."""
        return int(Path(f"/proc/{self.pid}/schedstat").read_text().split()[1]) / 1e9

    def _text(self, name: str) -> str:
        return (self.folder / name).read_text(encoding="utf-8")


def _there(pids: set[int]) -> set[int]:
    return {pid for pid in pids if Path(f"/proc/{pid}").exists()}


@dataclass(frozen=True, slots=True)
class Ended:
    """What came of a run.

    Attributes:
        status: its exit status. took_s: from the first key press on, less the time that others had the processor.
        lasted_s: from benchlog's entry on. touched: how many times a file was opened to be written, named or
            removed before the key press.
        running: processes that it left.
    """

    folder: Path
    status: int
    out: str
    err: str
    took_s: float
    lasted_s: float
    touched: int
    running: set[int]

    def files(self) -> set[str]:
        """What lies where it worked."""
        work = self.folder / "work"
        return {path.relative_to(work).as_posix() for path in work.rglob("*")}


def odd_of(ended: Ended, run: Run, whole: Ended) -> Iterator[str]:
    """All that is not as it should be after a key press, beside a run that was left alone."""
    statuses = {STOPPED, whole.status, run.stopped}
    if ended.status not in statuses:
        yield f"exit status {ended.status}, not one of {statuses}"
    if ended.status == STOPPED and ended.err.splitlines()[-1:] != ["benchlog: stopped"]:
        yield f"it said {ended.err!r}"
    if ended.err.count("benchlog: ") > 1 or any(word in ended.err for word in ("Traceback", "Exception", "panicked")):
        yield f"it said {ended.err!r}"
    if ended.took_s > ENDS_WITHIN_S:
        yield f"it took {ended.took_s:.1f} s"
    if ended.running:
        yield f"it left processes: {ended.running}"
    if not run.says and ended.status == whole.status and ended.files() != whole.files():
        yield f"it was done, and there are {ended.files()}"
    if more := ended.files() - whole.files():
        yield f"it left {more}"
    if left := list((ended.folder / "tmp").iterdir()):
        yield f"it left {left}"
    passing = (".part", "-wal", "-shm", "-journal")
    if parts := [path for path in ended.folder.rglob("*") if path.name.endswith(passing) or path.name.startswith(".")]:
        yield f"it left {parts}"
    for name in ended.files() & whole.files():
        if not is_whole(ended.folder / "work" / name, whole.folder / "work" / name):
            yield f"{name} is not whole"
    with open_store(ended.folder / "data" / "records.sqlite") as store:
        if grave := [trouble for trouble in store.verify() if not trouble.harmless]:
            yield f"the store is broken: {grave}"


def is_whole(path: Path, other: Path) -> bool:
    """Whether a file is complete, as the other one is."""
    if path.suffix == ".sqlite":  # a backup
        with open_store(path, create=False) as store, open_store(other, create=False) as complete:
            return not store.verify() and store.head() == complete.head()
    text = path.read_text(encoding="utf-8")
    if path.name == "log.csv":  # a recording, of whole lines
        with Log.open(path) as log:
            return text.endswith("\n") and log.rows >= 2
    if path.suffix == ".json":
        return isinstance(json.loads(text), dict)
    if path.suffix == ".html":
        return text.rstrip().endswith("</html>")
    return text == other.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", RUNS)
def test_ctrl_c_ends_it_and_leaves_nothing_half(
    long: bool,
    name: str,
    prepared: Path,
    tmp_path_factory: pytest.TempPathFactory,
    logger_url: str,
):
    """At any moment: it ends within 2 s and says so in one line, with status 130 or, where it waits for its user, its
    own; there is no traceback, nothing half-written, no passing file, no process, and the store is sound.

    With ``--long`` at more moments and files.
    """
    more = 3 if long else 1
    run, dice = RUNS[name], random.Random(name)
    folder = tmp_path_factory.mktemp("c")  # short: the path of a stand-in's socket has at most 107 characters
    alone = Process(run, prepared, folder / "alone", logger_url)
    while not alone.over() and not alone.waits():
        time.sleep(0.01)
    if run.says:
        time.sleep(0.3)
        alone.press()
    whole = alone.end()
    # it ended by the key, at work or still beginning, not by a refusal
    assert not run.says or whole.status in (run.stopped, STOPPED), whole

    def pressed_after(number: int, after_s: float) -> Ended:
        process = Process(run, prepared, folder / f"after {number}", logger_url)
        time.sleep(after_s)
        process.press()
        if number % 2:  # a nervous finger
            time.sleep(0.03)
            process.press()
        return process.end()

    def pressed_at(touch: int) -> Ended:
        return Process(run, prepared, folder / f"touch {touch}", logger_url, press_at=touch).end()

    # the first millisecond may be before its first line
    moments = [dice.uniform(0.001, 0.03), *(dice.uniform(0.03, whole.lasted_s) for _ in range(more))]
    touches = dice.sample(range(1, whole.touched + 1), min(whole.touched, more))
    with ThreadPoolExecutor(2) as pool:
        after, at = pool.map(pressed_after, range(len(moments)), moments), pool.map(pressed_at, touches)
        every = {f"{after_s:.3f} s after its entry": ended for after_s, ended in zip(moments, after, strict=True)}
        every |= {f"at file {touch} of {whole.touched}": ended for touch, ended in zip(touches, at, strict=True)}

    assert {
        when: odd for when, ended in {"left alone": whole, **every}.items() if (odd := [*odd_of(ended, run, whole)])
    } == {}
