"""Acting on a running stand-in from another program: a unix socket beside its port that takes one mark a line.

Each line is answered by one: ``ok 12.345`` with the simulated time in seconds, or ``no: `` and why.
"""

import contextlib
import socket
from collections.abc import Callable
from pathlib import Path

from benchlog.core.errors import BenchlogError

NAME = "hands"
ANSWER_WITHIN_S = 10.0
_LONGEST_LINE = 1000


def hands_of(port: str) -> Path | None:
    """The socket that belongs to a stand-in's port; None where the port is no stand-in's."""
    if "://" in port:
        return None
    try:
        beside = Path(port).absolute().parent / NAME
        return beside if beside.is_socket() else None
    except (OSError, ValueError):
        return None


def ask(hands: Path, text: str) -> float:
    """Do what a mark's text says to the stand-in at ``hands``.

    Returns:
        When it was done, simulated s.

    Raises:
        BenchlogError: nobody answers there, or the stand-in refused; the text says why.
    """
    line = " ".join(text.split())
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
            link.settimeout(ANSWER_WITHIN_S)
            link.connect(str(hands))
            link.sendall(f"{line}\n".encode())
            answer = link.makefile("r", encoding="utf-8", newline="\n").readline().strip()
    except (OSError, UnicodeDecodeError) as problem:
        why = (getattr(problem, "strerror", None) or "no answer in time").lower()
        raise BenchlogError(
            f"{hands}: no stand-in answers there ({why}); start benchlog standin, and name the port that it prints"
        ) from problem
    if answer.startswith("ok "):
        with contextlib.suppress(ValueError):
            return float(answer[3:])
    if answer.startswith("no: "):
        raise BenchlogError(f'stand-in: "{line}" was not done: {answer[4:]}')
    raise BenchlogError(f'stand-in: "{line}" got a meaningless answer: "{answer}"; restart benchlog standin')


def answer_to(text: str, act: Callable[[str], float]) -> str:
    """Do it and say so, on one line."""
    try:
        return f"ok {act(text):.6f}"
    except BenchlogError as problem:
        return f"no: {' '.join(str(problem).split())}"


class HandsServer:
    """Takes lines from any number of clients at once and never waits for one of them."""

    def __init__(self, path: Path, act: Callable[[str], float]) -> None:
        self._path, self._act = path, act
        self._listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listening.setblocking(False)
        self._listening.bind(str(path))
        self._listening.listen(16)
        self._clients: dict[socket.socket, bytearray] = {}

    @property
    def sockets(self) -> tuple[socket.socket, ...]:
        """Everything that may become ready to read."""
        return (self._listening, *self._clients)

    def serve(self, ready: socket.socket) -> list[str]:
        """Deal with a socket that is ready to read; a line of text for each thing asked."""
        if ready is self._listening:
            with contextlib.suppress(OSError):
                client, _ = self._listening.accept()
                client.setblocking(False)
                self._clients[client] = bytearray()
            return []
        try:
            came = ready.recv(4096)
        except BlockingIOError:
            return []
        except OSError:
            came = b""
        kept = self._clients[ready]
        kept += came
        told = []
        while (end := kept.find(b"\n")) >= 0:
            text = bytes(kept[:end]).decode("utf-8", "replace").strip()
            del kept[: end + 1]
            answer = answer_to(text, self._act)
            told.append(f"{text}: {answer}")
            with contextlib.suppress(OSError):
                ready.sendall(f"{answer}\n".encode())
        if not came or len(kept) > _LONGEST_LINE:
            self._drop(ready)
        return told

    def close(self) -> None:
        """Hang up on everybody, and take the socket away."""
        for client in tuple(self._clients):
            self._drop(client)
        self._listening.close()
        self._path.unlink(missing_ok=True)

    def _drop(self, client: socket.socket) -> None:
        del self._clients[client]
        client.close()
