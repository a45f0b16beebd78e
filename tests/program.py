"""benchlog as a process of its own, without loading the libraries each time: forked from one that has loaded them.

A run has its own arguments, folder, environment and standard streams, and ends with its own exit status. For tests of
what a command does; those of how a process starts, is stopped or speaks another language start one anew.
"""

import json
import os
import socket
import subprocess
import sys
import tempfile
import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
PATIENCE_S = 120.0
#: What a check, a store and a season load.
LOADED = ("benchlog.cli", "benchlog.run", "benchlog.report.html", "benchlog.report.text", "benchlog.season")
LOADED += ("benchlog.store", "benchlog.process.output", "pandas", "psycopg", "rich.console", "sqlalchemy")


@dataclass(frozen=True, slots=True)
class Ran:
    """How a run ended, and what it wrote."""

    returncode: int
    stdout: bytes
    stderr: bytes


def run(*words: str | Path, cwd: Path | None = None, env: dict[str, str] | None = None) -> Ran:
    """Run a command in a folder, with this environment."""
    what = {"words": [str(word) for word in words], "cwd": str(cwd or Path.cwd()), "env": env or dict(os.environ)}
    _, way = _parent()
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err, open(os.devnull, "rb") as nothing:
        asked, descriptors = json.dumps(what).encode(), [nothing.fileno(), out.fileno(), err.fileno()]
        socket.send_fds(way, [len(asked).to_bytes(4)], descriptors)
        way.sendall(asked)
        status = _received(way, 4)
        out.seek(0)
        err.seek(0)
        return Ran(int.from_bytes(status, signed=True), out.read(), err.read())


@cache
def _parent() -> "tuple[subprocess.Popen[bytes], socket.socket]":
    """The process that all runs are forked from, and the way to it; it ends as this one does."""
    ours, its = socket.socketpair()
    ours.settimeout(PATIENCE_S)
    env = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}"}
    script = f"from program import serve; serve({its.fileno()})"
    no = subprocess.DEVNULL
    process = subprocess.Popen([sys.executable, "-c", script], pass_fds=[its.fileno()], env=env, stdin=no, stdout=no)
    its.close()
    return process, ours


def _received(way: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        piece = way.recv(count - len(data))
        assert piece, "the process that runs are forked from has ended"
        data += piece
    return data


def serve(number: int) -> None:
    """Run what is asked for on this socket, one after another, until its other end is closed."""
    for name in LOADED:
        __import__(name)
    # numpy's own threads only compute, and none of them does so just now
    warnings.filterwarnings("ignore", "This process .* is multi-threaded", DeprecationWarning)
    way = socket.socket(fileno=number)
    while True:
        head, descriptors, _, _ = socket.recv_fds(way, 4, 3)
        if not head:
            return
        what = json.loads(_received(way, int.from_bytes(head)))
        child = os.fork()
        if child == 0:
            way.close()
            _become(what, descriptors)
        for descriptor in descriptors:
            os.close(descriptor)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        way.sendall(status.to_bytes(4, signed=True))


def _become(what: dict, descriptors: list[int]) -> None:
    """Be the program that was asked for, to its end."""
    for stream, descriptor in enumerate(descriptors):
        os.dup2(descriptor, stream)
        os.close(descriptor)
    os.chdir(what["cwd"])
    os.environ.clear()
    os.environ.update(what["env"])
    sys.argv = ["benchlog", *what["words"]]
    status: object = 1
    try:
        from benchlog.__main__ import main

        main()
        status = 0
    except SystemExit as end:
        status = end.code
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status if isinstance(status, int) else int(status is not None))
