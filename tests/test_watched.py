"""A table that ends the process which reads it is told, as is whatever else ends the work; and signals get through."""

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest
from conftest import Samples
from page_server import until
from test_cli import command

from benchlog.commands.watched import watch
from benchlog.core.errors import BadLog
from dashboards.apart import refuse_deadly

#: 300 rows of which three bytes within a page were changed: polars 2.1 asks for 2 ** 61 bytes and ends the process.
DEADLY = Path(__file__).parent / "damaged" / "ends_polars.parquet"


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A sound Parquet table."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": [0.0, 1.0, 2.0], "battery_v": [12.6, 12.6, 12.5]}).write_parquet(path)
    return path


def working(work: str, *words: str | Path, first: str = "") -> "subprocess.Popen[str]":
    """A process that is watched if the words ask for it, and then does some work."""
    script = (
        f"{first}import os, signal, sys, time\nfrom benchlog.commands.watched import watch\nwatch(sys.argv[1:])\n{work}"
    )
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )


def test_table_that_ends_polars_is_told(samples: Samples, tmp_path: Path):
    """Whether polars raises or ends the process: one message with the file's name, status 2."""
    log = tmp_path / "garage log é.parquet"
    shutil.copy(DEADLY, log)

    done = subprocess.run(
        command("check", log, "--plan", samples.plan), capture_output=True, text=True, check=False, timeout=60
    )

    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.splitlines()[-1].startswith("benchlog: garage log é.parquet: the Parquet file is damaged")
    assert done.stderr.count("benchlog: ") == 1


def test_dropped_table_does_not_end_the_pages(table: Path):
    """The pages let another process read it first, and go on; a sound table and plain text are taken."""
    refuse_deadly(table, "log.parquet")
    refuse_deadly(Path(__file__), "log.csv")

    with pytest.raises(BadLog, match=r"^ride\.parquet: the Parquet file is damaged inside"):
        refuse_deadly(DEADLY, "ride.parquet")


@pytest.mark.parametrize(("work", "status"), [("sys.exit(3)", 3), ("pass", 0), ("os.abort()", 2)])
def test_status_is_that_of_the_work(table: Path, work: str, status: int):
    """What the work exits with is what the user's shell sees; where it ended itself, 2 and a word."""
    process = working(work, table)
    _, said = process.communicate(timeout=30)

    assert process.returncode == status
    assert said == (
        "benchlog: log.parquet: the Parquet file is damaged inside, so that the reader gave up; copy it again, or save "
        "the log as CSV\n"
        if status == 2
        else ""
    )


def test_of_several_tables_one_is_blamed(table: Path):
    """Nobody knows which of them it was: a folder's are named, and that it is one of them."""
    shutil.copy(table, table.with_name("other.parquet"))
    process = working("os.abort()", table.parent)
    _, said = process.communicate(timeout=30)

    assert said.startswith("benchlog: log.parquet, other.parquet: one of these Parquet files is damaged inside")


def test_killed_work_looks_killed(table: Path):
    """A work that the system ended, as for want of memory, ends the watching process in the same way."""
    process = working("os.kill(os.getpid(), signal.SIGKILL)", table)
    process.communicate(timeout=30)

    assert process.returncode == -signal.SIGKILL


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("to_group", [False, True], ids=["alone", "group"])
def test_signal_gets_through_once(table: Path, sent: signal.Signals, to_group: bool):
    """Ctrl-C, which the terminal sends to all in the group, and ``kill`` reach the work once."""
    script = (
        "import os, sys\nif os.fork() == 0: os.setpgid(0, 0)"  # so that the test itself is not in the group
        "\nelse: sys.exit(os.waitstatus_to_exitcode(os.wait()[1]))\n"
        if to_group
        else ""
    )
    work = (
        f"got = []\nsignal.signal({int(sent)}, lambda *_: got.append(1))\n"
        "print(os.getppid(), flush=True)\nend = time.monotonic() + 1\n"
        "while time.monotonic() < end: time.sleep(0.05)\nsys.exit(40 + len(got))"
    )
    with working(work, table, first=script) as process:
        watching = int(process.stdout.readline())
        if to_group:
            os.killpg(watching, sent)
        else:
            os.kill(watching, sent)
        process.wait(30)

    assert process.returncode == 41


def test_killing_the_watching_process_ends_the_work(table: Path):
    """Nothing goes on behind the back of whoever killed the command."""
    with working("print(os.getpid(), flush=True)\ntime.sleep(60)", table) as process:
        work = int(process.stdout.readline()) if process.stdout else 0
        process.kill()
        gone = until(lambda: not Path(f"/proc/{work}").exists() or _state(work) == "Z", 10)

    assert gone


def test_stopped_work_goes_on(table: Path):
    """Ctrl-Z stops the work with the command, ``fg`` lets both go on."""
    with working("print(os.getpid(), flush=True)\ntime.sleep(0.5)\nsys.exit(5)", table) as process:
        work = int(process.stdout.readline()) if process.stdout else 0
        process.send_signal(signal.SIGTSTP)
        stopped = until(lambda: _state(work) == "T" and _state(process.pid) == "T", 10)
        time.sleep(0.1)
        process.send_signal(signal.SIGCONT)
        process.wait(30)

    assert stopped
    assert process.returncode == 5


def test_without_a_table_nothing_is_watched(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Text, a folder of text, an option and a file that is not there make no process."""
    text = tmp_path / "log.csv"
    text.write_text("time_s,battery_v\n0,12\n1,12\n", encoding="utf-8")
    monkeypatch.setattr("benchlog.commands.watched.sys.modules", {})
    monkeypatch.setattr("os.fork", lambda: pytest.fail("a process was made"))

    watch([str(text), str(tmp_path), "--plan", "no such file", "x" * 5000, "\0"])


def _state(pid: int) -> str:
    """The system's letter for how a process stands."""
    return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()[0]
