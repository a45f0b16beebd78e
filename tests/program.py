"""benchlog as a process of its own, without loading the libraries each time: forked from one that has loaded them.

A run has its own arguments, folder, environment and standard streams, and ends with its own exit status. For tests of
what a command does; those of how a process starts, is stopped or speaks another language start one anew.
"""

import gc
import importlib
import json
import os
import pkgutil
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import warnings
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO

from jinja2 import UndefinedError

import benchlog

ROOT = Path(__file__).parent.parent
PATIENCE_S = 120.0
#: What a check, a store, a season, a guided test and a stand-in load, beside all of benchlog.
LOADED = (
    *("numpy.fft", "pandas", "plotly.graph_objects", "plotly.subplots", "polars", "psycopg", "pydantic.type_adapter"),
    *("rich.console", "serial.tools.list_ports", "sqlalchemy", "tomli_w"),
)
_ASKING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Ran:
    """How a run ended, and what it wrote."""

    returncode: int
    stdout: bytes
    stderr: bytes


class Started:
    """A run that goes on.

    Attributes:
        pid: of its process.
    """

    def __init__(self, what: dict[str, object], keys: int | None, way: socket.socket) -> None:
        """Have it started this way; ``keys`` is its standard input, None for one that is empty."""
        self._out, self._err = tempfile.TemporaryFile(), tempfile.TemporaryFile()  # noqa: SIM115 closed by ``end``
        self._told, tells = os.pipe()
        asked = json.dumps(what).encode()
        with open(os.devnull, "rb") as nothing:
            given = [nothing.fileno() if keys is None else keys, self._out.fileno(), self._err.fileno(), tells]
            with _ASKING:
                socket.send_fds(way, [len(asked).to_bytes(4)], given)
                way.sendall(asked)
        os.close(tells)
        self.pid = self._number(PATIENCE_S)

    def said(self) -> str:
        """What it wrote on standard output until now."""
        return os.pread(self._out.fileno(), 1 << 20, 0).decode()

    def complained(self) -> str:
        """What it wrote on standard error until now."""
        return os.pread(self._err.fileno(), 1 << 20, 0).decode()

    def kill(self, how: int = signal.SIGKILL) -> None:
        """End it; nothing where it has ended by itself."""
        if not select.select([self._told], [], [], 0)[0]:
            os.kill(self.pid, how)

    def end(self, patience_s: float = PATIENCE_S) -> Ran:
        """Wait for its end."""
        status = self._number(patience_s)
        os.close(self._told)
        with self._out as out, self._err as err:
            return Ran(status, _whole(out), _whole(err))

    def _number(self, patience_s: float) -> int:
        ready, _, _ = select.select([self._told], [], [], patience_s)
        assert ready, "it took too long"
        data = os.read(self._told, 4)
        assert len(data) == 4, "the process that runs are forked from has ended"
        return int.from_bytes(data, signed=True)


def start(
    *words: str | Path,
    cwd: Path | None = None,
    env: dict[str, str] | None = None,
    keys: int | None = None,
    first: str = "",
    more: tuple[str, ...] = (),
) -> Started:
    """Start a command in a folder, with this environment.

    Args:
        words: of the command. cwd: the folder. env: the environment. keys: its standard input; None for an empty one.
        first: Python that its process runs before it. more: modules to be loaded besides, in a parent of its own.
    """
    where, values = str(cwd or Path.cwd()), env or dict(os.environ)
    what = {"words": [str(word) for word in words], "cwd": where, "env": values, "first": first}
    return Started(what, keys, _parent(more)[1])


def run(*words: str | Path, cwd: Path | None = None, env: dict[str, str] | None = None) -> Ran:
    """Run a command in a folder, with this environment."""
    return start(*words, cwd=cwd, env=env).end()


def _whole(file: IO[bytes]) -> bytes:
    file.seek(0)
    return file.read()


@cache
def _parent(more: tuple[str, ...]) -> "tuple[subprocess.Popen[bytes], socket.socket]":
    """The process that runs are forked from, with these modules too, and the way to it; it ends as this one does."""
    ours, its = socket.socketpair()
    env = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}"}
    script = f"from program import serve; serve({its.fileno()}, {more!r})"
    no = subprocess.DEVNULL
    process = subprocess.Popen([sys.executable, "-c", script], pass_fds=[its.fileno()], env=env, stdin=no, stdout=no)
    its.close()
    return process, ours


def serve(number: int, more: tuple[str, ...]) -> None:
    """Start what is asked for on this socket, until its other end is closed."""
    _load(more)
    # numpy's own threads only compute, and none of them does so just now
    warnings.filterwarnings("ignore", "This process .* is multi-threaded", DeprecationWarning)
    way = socket.socket(fileno=number)
    while True:
        head, descriptors, _, _ = socket.recv_fds(way, 4, 4)
        _forget_ended()
        if not head:
            return
        what = json.loads(_received(way, int.from_bytes(head)))
        if os.fork() == 0:
            way.close()
            _look_after(what, descriptors)
        for descriptor in descriptors:
            os.close(descriptor)


def _load(more: tuple[str, ...]) -> None:
    """All that runs would load one by one, and what they would make of it: plotly's classes, the report's templates."""
    own = [found.name for found in pkgutil.walk_packages(benchlog.__path__, "benchlog.")]
    for name in (*LOADED, *more, *(name for name in own if not name.endswith("__main__"))):
        importlib.import_module(name)
    from plotly.graph_objects import Bar, Scatter
    from plotly.subplots import make_subplots

    from benchlog.report.templating import filled_in

    figure = make_subplots(2, shared_xaxes=True)
    figure.add_traces([Scatter(line={"width": 1}, marker={"line": {"width": 1}}), Bar(marker={"line": {"width": 1}})])
    figure.update_layout(shapes=[{"line": {"width": 1}}], margin={"l": 1}, xaxis={"title": {"text": ""}})
    figure.to_json()
    # a template without what it is given fails, but has been compiled
    with suppress(UndefinedError):
        filled_in("check.html")
    # what is never freed need not be looked at, nor copied, by those that are forked
    gc.freeze()


def _forget_ended() -> None:
    """Wait for those that looked after runs and have ended, so that what they used counts as this process's own."""
    with suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass


def _received(way: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        data += way.recv(count - len(data))
    return data


def _look_after(what: dict, descriptors: list[int]) -> None:
    """Start the run, tell its process, wait for its end, and tell its status."""
    *streams, tells = descriptors
    child = os.fork()
    if child == 0:
        os.close(tells)
        _become(what, streams)
    for stream in streams:
        os.close(stream)
    os.write(tells, child.to_bytes(4))
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    os.write(tells, status.to_bytes(4, signed=True))
    os._exit(0)


def _become(what: dict, streams: list[int]) -> None:
    """Be the program that was asked for, to its end."""
    for stream, descriptor in enumerate(streams):
        os.dup2(descriptor, stream)
        os.close(descriptor)
    os.chdir(what["cwd"])
    os.environ.clear()
    os.environ.update(what["env"])
    sys.argv = ["benchlog", *what["words"]]
    status: object = 1
    try:
        exec(what["first"], {})
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
