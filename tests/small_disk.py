"""A small disk of its own that can be filled or made read-only, and benchlog's commands run where it is mounted.

Run as a program, in a mount namespace that ends with it, this file mounts what it is told to and runs commands in one
process, one after another: each costs no start. Where such a namespace cannot be had the tests fail.
"""

import json
import os
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

PAGE_BYTES = 4096


@dataclass(frozen=True, slots=True)
class Done:
    """What a command said, and its exit status; ``fault`` is an exception that nothing caught."""

    status: int
    out: str
    err: str
    fault: str


class Runner:
    """The process in the namespace."""

    def __init__(self) -> None:
        """Start it: as root, or as the root of a user namespace."""
        whose = "-m" if os.geteuid() == 0 else "-rm"
        self._process = subprocess.Popen(
            ["unshare", whose, sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End it, and all mounts with it."""
        self._process.communicate(timeout=30)

    def ask(self, **what: object) -> dict[str, object]:
        """One request, one answer."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(what) + "\n")
        self._process.stdin.flush()
        answer = self._process.stdout.readline()
        assert answer, "no mount namespace can be had here: these tests need root, or user namespaces"
        return dict(json.loads(answer))

    def seen(self, path: Path) -> Path:
        """A path as this process reaches it; SQLite follows no such path."""
        return Path(f"/proc/{self._process.pid}/root{path}")


class SmallDisk:
    """A disk of so many bytes, mounted on a folder."""

    def __init__(self, runner: Runner, folder: Path, size: int) -> None:
        """Make and mount it."""
        folder.mkdir(parents=True)
        self.runner, self.folder = runner, folder
        runner.ask(mount=["mount", "-t", "tmpfs", "-o", f"size={size}", "small", str(folder)])
        self.root = runner.seen(folder)

    def fill(self, but: int = 0) -> None:
        """Leave this room and no more, bytes."""
        with (self.root / "filler").open("wb", buffering=0) as file:
            with suppress(OSError):
                while True:
                    file.write(b"x" * PAGE_BYTES)
            file.truncate(max(file.tell() - but, 0))

    def make_room(self) -> None:
        """Take away what fills it."""
        (self.root / "filler").unlink()

    def make_read_only(self) -> None:
        """Even root writes there no more."""
        self.runner.ask(mount=["mount", "-o", "remount,ro", str(self.folder)])

    def files(self) -> dict[str, bytes]:
        """What lies there, and what is in it."""
        every = (path for path in self.root.rglob("*") if path.is_file() and path.name != "filler")
        return {path.relative_to(self.root).as_posix(): path.read_bytes() for path in every}

    def run(self, *words: str | Path, data: Path, cwd: Path | None = None) -> Done:
        """Run a command in its folder, or another one."""
        answer = self.runner.ask(run=[str(word) for word in words], cwd=str(cwd or self.folder), data=str(data))
        return Done(**answer)  # type: ignore[arg-type] # as ``serve`` makes it


def serve() -> None:
    """Mount and run what standard input asks for."""
    from typer.testing import CliRunner

    from benchlog.cli import app

    for line in sys.stdin:
        what = json.loads(line)
        answer: dict[str, object] = {}
        if "mount" in what:
            subprocess.run(what["mount"], check=True)
        else:
            os.environ["BENCHLOG_DATA"] = what["data"]
            os.chdir(what["cwd"])
            done = CliRunner().invoke(app, what["run"])
            fault = "" if done.exception is None or isinstance(done.exception, SystemExit) else repr(done.exception)
            answer = {"status": done.exit_code, "out": done.stdout, "err": done.stderr, "fault": fault}
            os.chdir("/")
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    serve()
