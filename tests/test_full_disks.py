"""Where there is no room or no right to write: one plain message, status 2, nothing half; with room all is well again.

The disk is a small one of its own, really full or really read-only, so that root is refused as well. Recording has
tests of its own with a disk that fills in its midst.
"""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from small_disk import Runner, SmallDisk
from talking_logger import talking_logger
from test_cli import command
from test_ctrl_c import every_command

SAMPLES = Path(__file__).parent.parent / "sample_data"
PLAN, LOG, SEASON = SAMPLES / "larch.plan.toml", SAMPLES / "fault_slow_drop_out.csv", SAMPLES / "season/records.sqlite"
CHECK = ("check", LOG, "--plan", PLAN)
FULL, READ_ONLY = "no space left on device", "read-only file system"
DISK_BYTES = 8_000_000
ODD = "Über die Straße — été 'neun' 2025"


@dataclass(frozen=True, slots=True)
class Writing:
    """A command that writes.

    Attributes:
        words: LOGGER stands for one on the network.
        full, read_only: what is said; WHY in it stands for the system's reason.
        status: its exit status where there is room.
        writes: what is there afterwards, from the disk's top; the store changes instead where there is none.
    """

    words: tuple[str | Path, ...]
    full: str
    read_only: str = ""
    status: int = 0
    writes: tuple[str, ...] = ()


def file(words: tuple[str | Path, ...], what: str, name: str, status: int = 0) -> Writing:
    """A command that writes one file where the user is."""
    said = f"{name}: {what} cannot be written (WHY); name a folder that exists, has room, and that you can write to"
    return Writing(words, said, status=status, writes=(f"work/{name}",))


def store(*words: str | Path, status: int = 0) -> Writing:
    """A command that writes to the store alone."""
    return Writing(
        words,
        "DISK/data/records.sqlite: the disk is full; make room and try again (nothing was half saved)",
        "DISK/data/records.sqlite: no permission to write to the store; change the permissions of the file and its "
        "folder, or name another",
        status,
    )


NO_COPY = (
    "DISK/data/logs: the copy of the log cannot be kept (WHY); make room there, or allow writing there, or keep only "
    "the logs' hashes (--hashes-only)"
)
NO_BACKUP = (
    "copy.sqlite: the backup cannot be written (WHY); name a folder that exists, has room, and that you can write to"
)
NO_DEMO = (
    "DISK/work: the demo cannot write its two reports here (WHY); run it in a folder that has room and that you can "
    "write to"
)
NO_LINE = (
    "log.csv: the recording can no longer be written (WHY); no line is saved; make room or name another place, "
    "and record again"
)
NO_LOG = "log.csv: the recording cannot be written there (WHY); name a folder that exists and that you may write to"
WRITING: dict[str, Writing] = {
    "check --report": file((*CHECK, "--report", "r.html"), "the report", "r.html", 1),
    "check --json": file((*CHECK, "--json", "r.json"), "the result", "r.json", 1),
    "check --save": Writing((*CHECK, "--save"), NO_COPY, status=1, writes=("data/logs/",)),
    "check --save --hashes-only": store(*CHECK, "--save", "--hashes-only", status=1),
    "demo": Writing(
        ("demo",), NO_DEMO, writes=("work/benchlog-report-larch.html", "work/benchlog-report-larch-fault.html")
    ),
    "season --report": file(("season", "Larch", "--report", "s.html"), "the report", "s.html"),
    "season --json": file(("season", "Larch", "--json", "s.json"), "the season", "s.json"),
    "season, all bikes": file(("season", "--json", "s.json"), "the bikes", "s.json"),
    "season --changed": store("season", "Larch", "--changed", "2025-09-20", "--what", "new battery"),
    "records sign": store("records", "sign", "1", "--by", "the rider"),
    "records contact": Writing(
        ("records", "contact", "R. Fitter, 0555 0123"),
        "DISK/data/installer.txt: the contact cannot be written (WHY); name a folder that exists, has room, and that "
        "you can write to",
        writes=("data/installer.txt",),
    ),
    "plan --sheet": file(("plan", PLAN, "--sheet", "sheet.html"), "the measuring sheet", "sheet.html"),
    "records import": Writing(("records", "import", "LOGS", "--plan", PLAN), NO_COPY, writes=("data/logs/",)),
    "records export": file(("records", "export", "x.csv"), "the export", "x.csv"),
    "records backup": Writing(
        ("records", "backup", "copy.sqlite"),
        "copy.sqlite: the disk is full; make room and try again (nothing was half saved)",
        NO_BACKUP,
        writes=("work/copy.sqlite",),
    ),
    "records export as JSON": file(("records", "export", "x.json", "--format", "json"), "the export", "x.json"),
    "record": Writing(
        ("record", "LOGGER", "--out", "log.csv", "--seconds", "0.5"), NO_LINE, NO_LOG, writes=("work/log.csv",)
    ),
}
#: Commands that write to standard output alone, or to the system's place for passing files.
NO_FILE = {
    *("plan", "schema", "ports", "standin", "page"),
    *("records list", "records show", "records verify"),
    "records recheck",  # but with --save, which saves as check does
}
#: They ask a person; where a test's log cannot be written it ends before, as below.
LED = {"acceptance", "logger", "find"}


def test_every_command_that_writes_is_here():
    """A new command is entered among those that write, or those that do not."""
    groups = {name.partition(" ")[0] for name in every_command() if " " in name}
    named = {" ".join(map(str, one.words[: 2 if one.words[0] in groups else 1])) for one in WRITING.values()}

    assert named | NO_FILE | LED == set(every_command())


@pytest.fixture(scope="module")
def runner() -> Iterator[Runner]:
    """Where small disks are mounted, and commands run."""
    with Runner() as made:
        yield made


@pytest.fixture(scope="module")
def logger_url() -> Iterator[str]:
    """A logger on the network, 1,000 lines a second."""
    with talking_logger(20) as url:
        yield url


@pytest.fixture
def disk(runner: Runner, tmp_path: Path) -> SmallDisk:
    """With a store of 40 records that was last written to, and a folder to work in; under a name that is no word."""
    made = SmallDisk(runner, tmp_path / ODD, DISK_BYTES)
    (made.root / "work").mkdir()
    (made.root / "data").mkdir()
    shutil.copy(SEASON, tmp_path / "written.sqlite")
    with closing(sqlite3.connect(tmp_path / "written.sqlite")) as connection:
        connection.execute("PRAGMA journal_mode = WAL")  # as the first save leaves it
    shutil.copy(tmp_path / "written.sqlite", made.root / "data" / "records.sqlite")
    shutil.copytree(
        SAMPLES, tmp_path / "logs", ignore=shutil.ignore_patterns("season", "*.py", "truth.json", "before*")
    )
    return made


def run_on(disk: SmallDisk, writing: Writing, logger_url: str) -> tuple[int, str]:
    """Exit status and what was said on standard error, the disk's folder as DISK."""
    named = {"LOGGER": logger_url, "LOGS": disk.folder.parent / "logs"}
    words = [named.get(str(word), word) for word in writing.words]
    done = disk.run(*words, data=disk.folder / "data", cwd=disk.folder / "work")

    assert done.fault == ""
    return done.status, done.err.replace(str(disk.folder), "DISK")


def message_of(err: str) -> str:
    """The one message."""
    assert err.count("benchlog: ") == 1, err
    return err.partition("benchlog: ")[2].rstrip("\n")


def kept(files: dict[str, bytes]) -> dict[str, bytes]:
    """What is meant to stay: neither SQLite's own passing files, nor what a recording shows to the pages."""
    return {name: data for name, data in files.items() if not name.endswith(("-shm", "-wal")) and "/live/" not in name}


@pytest.mark.parametrize("name", WRITING)
def test_full_disk_is_told_and_nothing_is_half(disk: SmallDisk, name: str, logger_url: str):
    """The message names file and reason; every file stays as it was; with room the same command does its work."""
    writing = WRITING[name]
    before = disk.files()
    disk.fill()
    status, err = run_on(disk, writing, logger_url)
    after = disk.files()
    disk.make_room()
    again, said = run_on(disk, writing, logger_url)
    sound = disk.run("records", "verify", data=disk.folder / "data")

    assert (status, message_of(err)) == (2, writing.full.replace("WHY", FULL))
    assert kept(after) == before
    assert (again, said.count("benchlog: ")) == (writing.status, 0), said
    assert (sound.status, sound.err) == (0, "")
    written = kept(disk.files())
    if not writing.writes:
        assert written["data/records.sqlite"] != before["data/records.sqlite"]
    for wanted in writing.writes:
        assert [data for path, data in written.items() if path.startswith(wanted) and data]
    assert not [path for path in disk.files() if path.endswith((".part", "-wal", "-shm"))]


@pytest.mark.parametrize("name", WRITING)
def test_read_only_disk_is_told_and_nothing_is_tried(disk: SmallDisk, name: str, logger_url: str):
    """The same for a disk that may only be read."""
    writing = WRITING[name]
    disk.make_read_only()
    before = disk.files()
    status, err = run_on(disk, writing, logger_url)

    assert (status, message_of(err)) == (2, (writing.read_only or writing.full).replace("WHY", READ_ONLY))
    assert disk.files() == before


@pytest.mark.parametrize("words", [("list",), ("show", "1"), ("export",), ("verify",)], ids=lambda words: words[0])
@pytest.mark.parametrize("state", ["full", "read-only"])
def test_store_on_a_full_or_read_only_disk_can_be_looked_at(disk: SmallDisk, words: tuple[str, ...], state: str):
    """Reading a store needs neither room nor rights beside it."""
    roomy = disk.run("records", *words, data=disk.folder / "data")
    if state == "full":
        disk.fill()
    else:
        disk.make_read_only()
    done = disk.run("records", *words, data=disk.folder / "data")

    assert (done.status, done.out, done.err, done.fault) == (0, roomy.out, "", "")
    assert len(done.out) > 100


def test_first_save_on_a_full_disk_can_be_made_again(disk: SmallDisk):
    """A store that could not be made is made once there is room."""
    (disk.root / "data" / "records.sqlite").unlink()
    disk.fill()
    refused = disk.run(*CHECK, "--save", data=disk.folder / "data")
    disk.make_room()
    done = disk.run(*CHECK, "--save", data=disk.folder / "data")

    assert refused.status == 2
    assert "records.sqlite: the disk is full; make room and try again" in message_of(refused.err)
    assert (done.status, done.err, done.fault) == (1, "", "")
    assert "Saved as record 1" in done.out


def test_demo_that_runs_out_of_room_keeps_the_whole_report(disk: SmallDisk):
    """Room for the first report alone: that one is whole, nothing is left of the second."""
    disk.fill(but=2_800_000)
    done = disk.run("demo", data=disk.folder / "data", cwd=disk.folder / "work")

    assert (done.status, done.fault) == (2, "")
    assert message_of(done.err) == NO_DEMO.replace("DISK", str(disk.folder)).replace("WHY", FULL)
    assert [path.name for path in (disk.root / "work").iterdir()] == ["benchlog-report-larch.html"]
    assert (disk.root / "work/benchlog-report-larch.html").read_text(encoding="utf-8").rstrip().endswith("</html>")


def test_demo_in_a_folder_with_spaces_and_accents(tmp_path: Path, runner: Runner):
    """Any folder will do; run again, it replaces its own reports."""
    folder = tmp_path / ODD
    disk = SmallDisk(runner, folder, DISK_BYTES)
    done = [disk.run("demo", data=tmp_path) for _ in range(2)]

    assert [(one.status, one.err, one.fault) for one in done] == [(0, "", "")] * 2
    assert str(folder / "benchlog-report-larch.html") in done[0].out
    assert sorted(disk.files()) == ["benchlog-report-larch-fault.html", "benchlog-report-larch.html"]


@pytest.mark.parametrize("kind", ["file", "folder", "link", "pipe"])
@pytest.mark.parametrize("name", ["benchlog-report-larch.html", "benchlog-report-larch-fault.html"])
def test_demo_replaces_nothing_but_its_own(disk: SmallDisk, kind: str, name: str):
    """Whatever else has the name of one of its reports is in the way, and stays."""
    precious, there = disk.root / "work" / "precious", disk.root / "work" / name
    precious.write_text("of last year", encoding="utf-8")
    if kind == "file":
        there.write_text("of last year", encoding="utf-8")
    elif kind == "folder":
        there.mkdir()
    elif kind == "link":
        there.symlink_to("precious")
    else:
        os.mkfifo(there)
    before = sorted((disk.root / "work").iterdir())
    done = disk.run("demo", data=disk.folder / "data", cwd=disk.folder / "work")

    assert (done.status, done.out, done.fault) == (2, "", "")
    assert message_of(done.err) == (
        f"{disk.folder}/work/{name}: this is in the way of the demo's report; move it away, or run the demo in another "
        "folder"
    )
    assert sorted((disk.root / "work").iterdir()) == before
    assert precious.read_text(encoding="utf-8") == "of last year"
    assert kind != "file" or there.read_text(encoding="utf-8") == "of last year"


@pytest.mark.parametrize("state", ["full", "read-only"])
def test_guided_test_that_cannot_write_says_so(disk: SmallDisk, state: str, logger_url: str):
    """Nobody is led through a test whose log or report cannot be written: it ends as it begins, and leaves nothing."""
    words = ("acceptance", logger_url, "--plan", PLAN, "--out", "log.csv")
    before = disk.files()
    if state == "full":
        disk.fill()
    else:
        disk.make_read_only()
    done = disk.run(*words, data=disk.folder / "data", cwd=disk.folder / "work")

    assert (done.status, done.fault) == (2, "")
    assert FULL in message_of(done.err) or READ_ONLY in message_of(done.err)
    assert kept(disk.files()) == before


PRINTING = (
    *(("plan", PLAN), ("schema", "result"), ("ports",), ("demo",), (*CHECK, "--json", "-"), CHECK),
    *(("season", "Larch", "--store", SEASON), ("season", "Larch", "--json", "-", "--store", SEASON)),
    *(("records", word, "--store", SEASON) for word in ("list", "export", "verify")),
    ("records", "show", "1", "--store", SEASON),
)


@pytest.mark.parametrize("words", PRINTING, ids=lambda words: " ".join(str(word) for word in words[:2]))
def test_output_that_takes_nothing_is_told(words: tuple[str | Path, ...], tmp_path: Path):
    """Where standard output goes to a full device, that is said, with status 2 and no traceback."""
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            command(*words), cwd=tmp_path, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False
        )

    assert done.returncode == 2
    assert done.stderr == (
        "benchlog: the output cannot be written (no space left on device); send it where there is room\n"
    )
