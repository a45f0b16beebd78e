"""What happens to a check when the computer is unkind: full disks, files that change, odd names, a key press."""

import gzip
import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import polars as pl
import program
import pytest
from conftest import Samples, few, without_override
from test_cli import command

from benchlog.core.errors import BadLog, BenchlogError
from benchlog.core.files import refuse_unwritable, shown_name, write_whole
from benchlog.log.log import Log
from benchlog.plan.model import load_plan
from benchlog.season.from_logs import readings_of_log

SAMPLES = Path(__file__).parent.parent / "sample_data"
ROWS = "time_s,battery_v\n" + "".join(f"{n},{12.5 + n % 3 / 10:.1f}\n" for n in range(20_000))


Done = program.Ran | subprocess.CompletedProcess[bytes]


def run(*words: str | Path, least_file: int | None = None, **environment: str) -> Done:
    """Run benchlog; as an ordinary user with files of at most so many bytes, or anew, as a language asks for it."""
    env = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", **environment}
    if least_file is None and not environment:
        return program.run(*words, env=env)

    def before() -> None:
        without_override()
        if least_file is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (least_file, least_file))

    return subprocess.run(command(*words), env=env, capture_output=True, timeout=120, check=False, preexec_fn=before)


def refused(done: Done) -> str:
    """The one message of a run that was refused."""
    said = done.stderr.decode()

    assert done.returncode == 2, said
    assert said.count("benchlog: ") == 1
    assert "Traceback" not in said
    return said


# ---- where the results go


@pytest.mark.parametrize("option", ["--report", "--json"])
def test_full_disk_leaves_the_old_file(tmp_path: Path, samples: Samples, option: str):
    """Where there is no room for the result, that is said, the old file stays, and no part of a new one does."""
    target = tmp_path / "result"
    target.write_text("of last time", encoding="utf-8")

    done = run("check", samples.late, "--plan", samples.plan, option, target, least_file=2000)

    assert f"{target}: the re" in refused(done)
    assert "cannot be written (file too large)" in refused(done)
    assert target.read_text(encoding="utf-8") == "of last time"
    assert list(tmp_path.iterdir()) == [target]


def test_full_device_is_said(tmp_path: Path, samples: Samples):
    """The same for a device that takes nothing; it is named by a link, which stays a link."""
    target = tmp_path / "full"
    target.symlink_to("/dev/full")

    done = run("check", samples.late, "--plan", samples.plan, "--json", target)

    assert f"{target}: the result cannot be written (no space left on device)" in refused(done)
    assert target.is_symlink()


def test_pipe_and_link_are_written_to_not_replaced(tmp_path: Path):
    """What is no ordinary file stays what it is: whoever runs this as root keeps his devices."""
    pipe, target, link = tmp_path / "pipe", tmp_path / "real.txt", tmp_path / "link.txt"
    link.symlink_to(target)
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)

    write_whole(pipe, "through", what="the result")
    write_whole(link, "x", what="the result")
    came = os.read(reader, 100)
    os.close(reader)

    assert came == b"through"
    assert pipe.is_fifo()
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "x"


def test_interrupted_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Ctrl-C between writing and naming the file leaves the old one, and no part of the new."""
    target = tmp_path / "result"
    target.write_text("of last time", encoding="utf-8")

    def interrupt(*_: object) -> None:
        raise KeyboardInterrupt("pressed")

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt, match="pressed"):
        write_whole(target, "x", what="the report")

    assert target.read_text(encoding="utf-8") == "of last time"
    assert list(tmp_path.iterdir()) == [target]


def test_missing_folder_is_found_beforehand(tmp_path: Path):
    """Whether a result can be written is found without writing it, and without leaving a trace."""
    log = tmp_path / "log.csv"
    log.write_text(ROWS, encoding="utf-8")

    with pytest.raises(BenchlogError, match=r"r\.html: the report cannot be written \(no such file or directory\)"):
        refuse_unwritable(tmp_path / "none" / "r.html", "the report")
    with pytest.raises(BenchlogError, match="this is a folder, a file name is needed for the report"):
        refuse_unwritable(tmp_path, "the report")
    with pytest.raises(BenchlogError, match=r"log\.csv: the report would replace this file, which is read"):
        refuse_unwritable(tmp_path / "log.csv", "the report", [tmp_path / "none.csv", log])
    refuse_unwritable(tmp_path / "new.html", "the report", [log])

    assert list(tmp_path.iterdir()) == [log]


# ---- logs that change while they are read


@pytest.mark.parametrize("packing", ["", ".gz"])
def test_log_that_vanishes_is_read_to_its_end(tmp_path: Path, packing: str):
    """A log that is deleted once it is open can still be read, packed or not."""
    path = tmp_path / f"log.csv{packing}"
    path.write_bytes(gzip.compress(ROWS.encode()) if packing else ROWS.encode())

    with Log.open(path, block_bytes=10_000) as log:
        path.unlink()

        assert len(log.trace(0, 20_000)) == 20_000


def test_log_that_grows_is_taken_as_it_was(tmp_path: Path):
    """A recorder that goes on writing changes nothing of what was read, and adds no half line."""
    path = tmp_path / "log.csv"
    path.write_text(ROWS, encoding="utf-8")
    grown = threading.Event()

    def grow(_done: int, _total: int) -> None:
        if not grown.is_set():
            grown.set()
            with path.open("a", encoding="utf-8") as file:
                file.write("20000,12.5\n20001,1")

    with Log.open(path, block_bytes=20_000, progress=grow) as log:
        trace = log.trace(0, 30_000)

        assert len(trace) == log.rows
        assert log.rows in (20_000, 20_001)


@pytest.mark.parametrize("kept", [0, 30_000])
def test_log_that_is_cut_meanwhile_is_refused(tmp_path: Path, kept: int):
    """A log that becomes shorter while it is read is no basis for a verdict."""
    path = tmp_path / "log.csv"
    path.write_text(ROWS, encoding="utf-8")

    with (
        pytest.raises(BadLog, match="it became shorter while it was read; wait until nothing writes to it"),
        Log.open(path, block_bytes=20_000, progress=lambda *_: os.truncate(path, kept)) as log,
    ):
        log.trace(0, 20_000)


def test_slow_pipe_is_waited_for(tmp_path: Path, samples: Samples):
    """A log that comes through a pipe in small pieces, with pauses, is judged like its file."""
    pipe, result = tmp_path / "pipe", tmp_path / "result.json"
    os.mkfifo(pipe)
    shutil.copy(samples.late.with_name("late.logger.toml"), tmp_path / "pipe.logger.toml")
    data = samples.late.read_bytes()

    def feed() -> None:
        with pipe.open("wb", buffering=0) as file:
            for start in range(0, len(data), 1 << 18):
                file.write(data[start : start + (1 << 18)])
                time.sleep(0.01)

    feeder = threading.Thread(target=feed)
    feeder.start()
    done = run("check", pipe, "--plan", samples.plan, "--json", result)
    feeder.join()
    direct = run("check", samples.late, "--plan", samples.plan, "--json", "-")

    assert done.returncode == direct.returncode == 1, done.stderr
    assert _verdicts(result.read_bytes()) == _verdicts(direct.stdout)


def test_season_takes_a_pipe(tmp_path: Path):
    """A log that comes through a pipe gives a season the same readings as its file: it is read once."""
    log, pipe = SAMPLES / "overnight.csv", tmp_path / "pipe.csv"
    plan, logger = load_plan(SAMPLES / "larch.plan.toml"), SAMPLES / "overnight.logger.toml"
    os.mkfifo(pipe)
    feeder = threading.Thread(target=lambda: pipe.write_bytes(log.read_bytes()))
    feeder.start()
    through, _ = readings_of_log(pipe, plan, logger)
    feeder.join()
    direct, _ = readings_of_log(log, plan, logger)

    assert [(one.quantity, one.value, one.uncertainty) for one in through] == [
        (one.quantity, one.value, one.uncertainty) for one in direct
    ]
    assert direct


def _verdicts(result: bytes) -> list[tuple[str, str]]:
    return [(found["id"], found["verdict"]) for found in json.loads(result)["checks"]]


def test_packed_log_without_room_to_unpack(tmp_path: Path):
    """A packed log is unpacked into the folder for temporary files; where that is full, it is named."""
    path = tmp_path / "log.csv.gz"
    path.write_bytes(gzip.compress(ROWS.encode()))
    plan = tmp_path / "plan.toml"
    plan.write_text('[install]\nbike = "x"\n[battery]\nchemistry = "agm"\ncapacity_ah = 9\n', encoding="utf-8")

    done = run("check", path, "--plan", plan, least_file=50_000, TMPDIR=str(tmp_path))

    assert f"log.csv.gz: there is no room to unpack it in {tmp_path} (file too large)" in refused(done)


# ---- names and languages

NAMES = (b"b\xc3\xb6se \xe2\x82\xac mit Leerzeichen", b"-latin\xe4 two\nlines '\"")
GERMAN = {"LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8"}
LANGUAGES = ({"LC_ALL": "C.UTF-8"}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}, GERMAN)


@pytest.fixture(scope="module", autouse=True)
def german(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """A language with decimal commas, made by the system's own tool: most machines have none ready."""
    folder = tmp_path_factory.mktemp("locales")
    make = ["localedef", "-i", "de_DE", "-f", "UTF-8", str(folder / "de_DE.UTF-8")]
    subprocess.run(make, check=True, capture_output=True)  # of Debian's packages libc-bin and locales
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOCPATH", str(folder))
        yield


def test_language_with_decimal_commas_is_there():
    """What the tests below call German writes 1,5."""
    ask = "import locale; locale.setlocale(locale.LC_ALL, ''); print(locale.format_string('%.1f', 1.5))"
    done = subprocess.run([sys.executable, "-c", ask], env={**os.environ, **GERMAN}, capture_output=True, check=True)

    assert done.stdout == b"1,5\n"


#: What prints figures; always JSON and a table.
FIGURES: dict[str, tuple[str | Path, ...]] = {
    "check": ("check", SAMPLES / "fault_slow_drop_out.csv", "--plan", SAMPLES / "larch.plan.toml", "--json", "-"),
    "plan": ("plan", SAMPLES / "larch.plan.toml"),
    "season": ("season", "Larch", "--store", SAMPLES / "season/records.sqlite", "--today", "2025-12-31"),
    "records": ("records", "export", "--store", SAMPLES / "season/records.sqlite"),
}


@pytest.mark.parametrize("name", few(FIGURES, {"check", "season"}))
def test_language_changes_no_figure(name: str):
    """What is printed, and what another program reads, has decimal points whatever the computer's language."""
    plain, german = run(*FIGURES[name], LC_ALL="C.UTF-8"), run(*FIGURES[name], **GERMAN)

    assert german.stdout == plain.stdout
    assert (german.returncode, german.stderr) == (plain.returncode, b"")
    assert len(plain.stdout) > 1000


#: Number of a name and of a language; always each of them once.
NAMED = [(name, language) for name in range(len(NAMES)) for language in range(len(LANGUAGES))]


@pytest.mark.parametrize(("which", "where"), few(NAMED, [(0, 1), (1, 0), (1, 2)]))
def test_any_name_in_any_language(tmp_path: Path, samples: Samples, which: int, where: int):
    """Spaces, accents and bytes that are no text, in folder and file: the check is made, its results are whole."""
    name, language = NAMES[which], LANGUAGES[where]
    folder = tmp_path / os.fsdecode(name)
    folder.mkdir()
    log = folder / os.fsdecode(name + b".csv")
    log.write_text(ROWS, encoding="utf-8")
    beside = '[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\n'
    (folder / os.fsdecode(name + b".logger.toml")).write_text(beside, encoding="utf-8")
    written = ("--json", folder / "r.json", "--report", folder / "r.html")

    done = run("check", "--plan", samples.plan, *written, "--", log, **language)

    assert b"Traceback" not in done.stderr
    assert done.returncode == 3, done.stderr
    found = json.loads((folder / "r.json").read_bytes())
    assert {note["log"] for note in found["notes"]} <= {shown_name(log)}
    assert "</html>" in (folder / "r.html").read_text(encoding="utf-8")


#: Command and encoding; always each of them once.
ENCODED = [(name, one) for name in ("check", "records") for one in ("latin-1", "cp1252", "utf-8", "utf-16")]
TOLD = {"check": ("check", SAMPLES / "fault_slow_drop_out.csv"), "records": ("records", "verify")}


@pytest.mark.parametrize(("name", "encoding"), few(ENCODED, [*ENCODED[0:4:2], *ENCODED[5:8:2]]))
def test_any_encoding_takes_the_output(name: str, encoding: str):
    """What an output cannot hold, as on systems of another age, is written in plainer signs; the figures are there."""
    more = {"check": ("--plan", SAMPLES / "larch.plan.toml"), "records": ("--store", SAMPLES / "season/records.sqlite")}

    done = run(*TOLD[name], *more[name], PYTHONIOENCODING=encoding)
    said = done.stdout.decode(encoding)

    assert (done.returncode, done.stderr) == ({"check": 1, "records": 0}[name], b"")
    assert {"check": "Relay drop-out", "records": "all as saved"}[name] in said
    assert {"check": " fail", "records": " 40 entries"}[name] in said


def test_names_are_shown_as_text():
    """What is no letter is shown as a question mark, so that a name can neither break a report nor steer a terminal."""
    assert shown_name(Path(os.fsdecode(b"a\xff\n\x1b[31m.csv"))) == "a\ufffd??[31m.csv"


@pytest.mark.parametrize("what", ["log", "plan", "logger"])
def test_file_of_an_odd_name_that_is_missing(tmp_path: Path, samples: Samples, what: str):
    """A name that is no text is still named where its file is missing."""
    odd = tmp_path / os.fsdecode(b"\xff.toml")
    logger = samples.slow.with_name("slow.logger.toml")
    given = {"log": samples.slow, "plan": samples.plan, "logger": logger, what: odd}

    said = refused(run("check", given["log"], "--plan", given["plan"], "--logger", given["logger"]))

    assert "no such file" in said


# ---- a key press

STOPPED = """
import os, signal
from benchlog.log import log
from benchlog.log.log import Log
from benchlog.plan.model import load_plan
from benchlog.season.from_logs import readings_of_log
plain = log.parsed
def stopped(table):
    for n, found in enumerate(plain(table)):
        if n == 2:
            os.kill(os.getpid(), signal.SIGINT)
        yield found
log.parsed = stopped
plain_open = Log.open.__func__
Log.open = classmethod(lambda *given, **named: plain_open(*given, **named, block_bytes=10_000))
from benchlog.__main__ import main
main()
"""


def test_ctrl_c_while_a_log_is_read(tmp_path: Path, samples: Samples):
    """Ctrl-C in the midst of reading ends at once with status 130, one line, and no results."""
    words = [
        "check",
        samples.late,
        "--plan",
        samples.plan,
        "--json",
        tmp_path / "r.json",
        "--report",
        tmp_path / "r.html",
    ]

    began = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-c", STOPPED, *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )

    assert done.returncode == 130
    assert "Traceback" not in done.stderr
    assert done.stderr.splitlines() == ["benchlog: stopped"]
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []
    assert time.monotonic() - began < 30


def test_ctrl_c_while_a_pipe_says_nothing(tmp_path: Path, samples: Samples):
    """The same while benchlog waits for a pipe that nobody writes to."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    process = subprocess.Popen(
        command("check", pipe, "--plan", samples.plan), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    with pipe.open("w", encoding="utf-8") as file:  # returns once benchlog has opened it
        file.write("time_s,battery_v\n0,12\n")
        file.flush()
        time.sleep(0.3)
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)

    assert process.returncode == 130
    assert said.splitlines() == ["benchlog: stopped"]


def test_parquet_that_is_deleted_is_read_to_its_end(tmp_path: Path):
    """A table that is deleted once it is open can still be read."""
    path = tmp_path / "log.parquet"
    pl.DataFrame({"time_s": range(20_000), "battery_v": [12.5] * 20_000}).write_parquet(path)

    with Log.open(path, block_bytes=10_000) as log:
        path.unlink()

        assert len(log.trace(0, 20_000)) == 20_000
