"""Where a system lacks what only some have: all commands load, and the stand-in over TCP, record, check and pages work.

Each runs in a process in which our own modules can import none of the others' modules and call none of their functions;
the libraries may, since theirs know which system they are on.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PureWindowsPath

import pytest
from page_server import free_port, until

import benchlog
from benchlog.core.files import replace
from benchlog.core.remote import url_of
from benchlog.standin import SimulatedInstall, plan_toml_of
from benchlog.standin.typed import TypedLines
from benchlog.store.named import url_of as store_url_of

SAMPLES = Path(__file__).parent.parent / "sample_data"
ROOT = Path(benchlog.__file__).parent.parent

#: What Windows lacks: whoever of ours imports or asks for it fails as there.
LACKING = """
import builtins, importlib, os, signal, sys, time
GONE = {"pty", "termios", "tty", "fcntl", "resource", "pwd", "grp", "crypt", "syslog", "posix"}
real = builtins.__import__
def checked(name, globals=None, locals=None, fromlist=(), level=0):
    whose = (globals or {}).get("__name__", "")
    if name.partition(".")[0] in GONE and whose.partition(".")[0] in ("benchlog", "dashboards", "__main__"):
        raise ModuleNotFoundError(f"No module named {name!r}", name=name)
    return real(name, globals, locals, fromlist, level)
builtins.__import__ = checked
for module, names in {
    os: "fork forkpty setsid setpgid killpg mkfifo pread sched_setaffinity sched_getaffinity ttyname",
    signal: "SIGHUP SIGQUIT SIGTSTP pthread_sigmask pthread_kill sigwait",
    time: "tzset",
}.items():
    for name in names.split():
        if hasattr(module, name):
            delattr(module, name)
"""


def lacking(script: str, *words: str | Path, **more: object) -> "subprocess.Popen[str]":
    """A process on such a system."""
    env = {**os.environ, "PYTHONPATH": str(ROOT), **more.pop("env", {})}  # type: ignore[dict-item]
    return subprocess.Popen(
        [sys.executable, "-c", LACKING + script, *map(str, words)],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env, **more,  # type: ignore[call-overload]
    )  # fmt: skip


def said(process: "subprocess.Popen[str]") -> tuple[int, str, str]:
    """Status, output and errors at its end."""
    out, err = process.communicate(timeout=120)
    return process.returncode, out, err


RUN = "from benchlog.__main__ import main\nmain()\n"


def test_every_module_loads():
    """All of benchlog and its pages, but for the pseudo-terminal's own module, which says so itself."""
    script = """
import pkgutil
import benchlog, dashboards
failed = []
for package in (benchlog, dashboards):
    for one in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if one.name in ("benchlog.__main__", "benchlog.standin.terminal"):
            continue
        try:
            importlib.import_module(one.name)
        except ImportError as why:
            failed.append(f"{one.name}: {why}")
print(failed)
"""
    assert said(lacking(script)) == (0, "[]\n", "")


def test_the_modules_are_missing_indeed():
    """The test's own block works: one of ours that imports such a module fails."""
    status, _, err = said(lacking("import benchlog.standin.terminal"))

    assert status == 1
    assert "No module named 'pty'" in err


@contextmanager
def standing_in(folder: Path) -> Iterator[str]:
    """A stand-in over TCP, and the number of its port."""
    number = str(free_port())
    words = ("standin", "--listen", f"127.0.0.1:{number}", "--speed", "20", "--seed", "1")
    with lacking(RUN, *words, env={"TMPDIR": str(folder)}) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "Ctrl-C ends it" in line:
                break
        try:
            yield number
        finally:
            process.terminate()
            process.communicate(timeout=20)
    assert process.returncode == 0


def test_standin_over_tcp_is_recorded_and_checked(tmp_path: Path):
    """The hands on the next number turn the key; the recording is a log, and the check reads it."""
    log = tmp_path / "log.csv"
    act = "from benchlog.standin.hands import ask, hands_of\nhands = hands_of(sys.argv[1])\nprint(hands.logger)\n"
    with standing_in(tmp_path) as number:
        port = f"socket://127.0.0.1:{number}"
        with lacking(RUN, "record", port, "--out", log, "--seconds", "90") as recording:
            assert until(lambda: log.exists() and log.stat().st_size > 20_000, 20)
            status, logger, err = said(lacking(act + "ask(hands, 'key on')", port))
            size = log.stat().st_size
            assert until(lambda: log.stat().st_size > size + 20_000, 20)
            recording.terminate()
            recorded = said(recording)
        assert (status, err) == (0, "")
        plan = Path(logger.strip()).with_name("plan.toml").read_text(encoding="utf-8")
        (tmp_path / "plan.toml").write_text(plan, encoding="utf-8")
        (tmp_path / "log.logger.toml").write_text(Path(logger.strip()).read_text(encoding="utf-8"), encoding="utf-8")
    checked = said(lacking(RUN, "check", log, "--plan", tmp_path / "plan.toml", "--json", "-"))

    assert recorded[0] == 0, recorded
    assert checked[0] in (1, 3), checked
    assert '"to": "on"' in checked[1].replace('":"', '": "')


def test_guided_test_over_tcp(tmp_path: Path):
    """It leads itself through one check's steps by the stand-in's hands, and judges the log that it wrote."""
    plan, log = tmp_path / "plan.toml", tmp_path / "a.csv"
    plan.write_text(plan_toml_of(SimulatedInstall(), {"settle_max_s": 60, "added_drain_ma": None}), encoding="utf-8")
    with standing_in(tmp_path) as number:
        words = ("acceptance", f"socket://127.0.0.1:{number}", "--plan", plan, "--out", log, "--only", "relay_pull_in")
        status, out, err = said(lacking(RUN, *words))
    (pull_in,) = (one for one in benchlog.check(log, plan=plan).checks if one.id == "relay_pull_in")

    assert (status, err) == (0, ""), out
    assert pull_in.verdict == "pass"


def test_names_with_drives_and_backslashes_are_names_of_files(tmp_path: Path):
    """Here they are plain letters: none is taken for a URL, a bucket or a database, nor split at a sign."""
    log, plan = r"C:\logs\ride 1.csv", r"D:plan.toml"
    shutil.copy(SAMPLES / "acceptance.csv", tmp_path / log)
    shutil.copy(SAMPLES / "acceptance.logger.toml", tmp_path / r"C:\logs\ride 1.logger.toml")
    shutil.copy(SAMPLES / "larch.plan.toml", tmp_path / plan)
    store, out = r"C:\data\records.sqlite", r"E:\out\result.json"
    words = ("check", log, "--plan", plan, "--json", out, "--save", "--store", store)
    there = {"cwd": tmp_path, "env": {"BENCHLOG_LOGS": r"F:\kept"}}
    checked = said(lacking(RUN, *words, **there))
    verified = said(lacking(RUN, "records", "verify", "--store", store, **there))

    assert checked[0] in (0, 1, 3), checked
    assert verified[0] == 0, verified
    assert {log, plan, out, store, r"F:\kept"} <= {path.name for path in tmp_path.iterdir()}


def test_windows_paths_are_no_urls():
    """With either slash; a URL that was made a path there is one again."""
    for named in (r"C:\logs\a.csv", "C:/logs", r"\\garage\share\a.csv", "C:a.csv"):
        assert url_of(PureWindowsPath(named)) is None
        assert str(store_url_of(PureWindowsPath(named)).database) == str(PureWindowsPath(named))
    assert url_of(PureWindowsPath("s3://garage/rides/a.csv")) == "s3://garage/rides/a.csv"


def test_without_pseudo_terminals_the_standin_says_what_to_do():
    """One message that names the other way."""
    status, out, err = said(lacking(RUN, "standin"))

    assert (status, out) == (2, "")
    assert err == (
        "benchlog: this system has no pseudo-terminals; let the stand-in listen: "
        "benchlog standin --listen 127.0.0.1:4000\n"
    )


def test_many_logs_and_records_there(tmp_path: Path):
    """A folder on two processes, saved, verified, judged again and backed up."""
    lines = (SAMPLES / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    folder = tmp_path / "logs"
    folder.mkdir()
    for n in range(4):
        (folder / f"ride {n}.csv").write_text("".join(lines[: 3000 + 500 * n]), encoding="utf-8", newline="\r\n")
        (folder / f"ride {n}.logger.toml").write_bytes((SAMPLES / "acceptance.logger.toml").read_bytes())
    shared = "from benchlog.log import discovery\ndiscovery.cores, discovery._START_S = lambda: 2, 0.0\n"
    env = {"BENCHLOG_DATA": str(tmp_path / "data")}
    plan = SAMPLES / "larch.plan.toml"

    imported = said(lacking(shared + RUN, "records", "import", folder, "--plan", plan, env=env))
    again = said(lacking(RUN, "records", "recheck", env=env))
    copied = said(lacking(RUN, "records", "backup", tmp_path / "copy.sqlite", env=env))
    verified = said(lacking(RUN, "records", "verify", "--store", tmp_path / "copy.sqlite", env=env))

    assert imported == (0, "4 of 4 logs saved, 0 were in the store already, 0 could not be used\n", "")
    assert again == (0, "4 records judged again: no verdict changed\n", "")
    assert copied[0] == 0
    assert verified[0] == 0
    assert "4 entries, all as saved" in verified[1]


def test_pages_are_served_there(tmp_path: Path):
    """The first page comes."""
    from urllib.request import urlopen

    number = free_port()
    with lacking(RUN, "page", "--port", str(number), env={"BENCHLOG_DATA": str(tmp_path)}) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if "Stop with" in line:
                break
        with urlopen(f"http://127.0.0.1:{number}/", timeout=60) as page:
            text = page.read().decode()
        process.terminate()
        process.communicate(timeout=30)

    assert "benchlog" in text


@pytest.mark.parametrize("encoding", ["cp1252", "cp437"])
def test_console_of_an_old_code_page_takes_all_text(encoding: str):
    """What its code page lacks is written plainer; nothing ends the program, and nothing is coloured in a file."""
    env = {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    log = SAMPLES / "acceptance.csv"
    process = subprocess.Popen(
        [sys.executable, "-c", RUN, "check", str(log), "--plan", str(SAMPLES / "larch.plan.toml")],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": str(ROOT), **env},
    )  # fmt: skip
    out, err = process.communicate(timeout=60)

    assert process.returncode in (0, 1, 3), err
    assert b"Traceback" not in err
    assert "Larch" in out.decode(encoding)
    assert b"\x1b[" not in out


def test_file_that_another_program_holds_is_replaced_a_moment_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Windows refuses it while a virus scanner or editor has it open (from memory); it is tried for a while."""
    new, old = tmp_path / "new", tmp_path / "old"
    new.write_text("new")
    old.write_text("old")
    refusals = [5, 32]
    real = os.replace

    def held(source: Path, target: Path) -> None:
        if refusals:
            problem = PermissionError(13, "held")
            problem.winerror = refusals.pop()  # type: ignore[attr-defined]
            raise problem
        real(source, target)

    monkeypatch.setattr(os, "replace", held)
    replace(new, old)

    assert old.read_text() == "new"
    tries = []

    def forbidden(source, target):
        tries.append((source, target))
        raise PermissionError(13, "not permitted")

    monkeypatch.setattr(os, "replace", forbidden)
    with pytest.raises(PermissionError, match="not permitted"):
        replace(old, new)
    assert tries == [(old, new)]


def test_typed_lines_come_without_waiting():
    """A thread waits for them; what has not come is not waited for."""
    up, down = os.pipe()
    with os.fdopen(up, encoding="utf-8") as stream, os.fdopen(down, "w", encoding="utf-8") as keys:
        lines = TypedLines(stream)
        assert list(lines.come()) == []
        keys.write("key on\r\n\nkey off\n")
        keys.flush()
        found: list[str] = []

        def both() -> bool:
            found.extend(lines.come())
            return len(found) == 2

        assert until(both, 5)
        keys.close()
        assert found == ["key on", "key off"]
