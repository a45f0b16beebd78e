"""Acting on a running stand-in from another program: a socket that takes one mark a line.

It lies beside its port, or over TCP has the number after the port's.

Each line is answered by one: ``ok 12.345`` with the simulated time in seconds, or ``no: `` and why.
"""

import contextlib
import socket
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

from benchlog.core.errors import BenchlogError

NAME, LOGGER = "hands", "logger.toml"
#: What is asked over a network, to find out whether a stand-in is there and where its files lie.
FOLDER = "folder"
ANSWER_WITHIN_S = 10.0
_KNOCK_S = 0.5
_LONGEST_LINE = 1000
_HERE = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True, slots=True)
class Hands:
    """Where a running stand-in takes marks.

    Attributes:
        at: the socket's path, or host and number. logger: the logger file that belongs to it.
    """

    at: Path | tuple[str, int]
    logger: Path


def hands_of(port: str) -> Hands | None:
    """The hands that belong to a stand-in's port; None where the port is no stand-in's."""
    if "://" in port:
        return _over_network(port)
    try:
        beside = Path(port).absolute().parent / NAME
        return Hands(beside, beside.with_name(LOGGER)) if beside.is_socket() else None
    except (OSError, ValueError):
        return None


def _over_network(port: str) -> Hands | None:
    """Only of this computer: a logger on a network is not asked whether it is none."""
    try:
        parts = urlsplit(port)
        if parts.scheme.lower() != "socket" or parts.hostname not in _HERE or parts.port is None:
            return None
        at = (parts.hostname, parts.port + 1)
        folder = _answer(at, FOLDER, _KNOCK_S).removeprefix("at ")
    except (OSError, ValueError):
        return None
    return Hands(at, Path(folder) / LOGGER) if folder else None


def ask(hands: Hands | Path, text: str) -> float:
    """Do what a mark's text says to the stand-in at ``hands``.

    Returns:
        When it was done, simulated s.

    Raises:
        BenchlogError: nobody answers there, or the stand-in refused; the text says why.
    """
    answer = shown(hands, text)
    if answer.startswith("ok "):
        with contextlib.suppress(ValueError):
            return float(answer[3:])
    raise BenchlogError(f'stand-in: "{text}" got a meaningless answer: "{answer}"; restart benchlog standin')


def shown(hands: Hands | Path, text: str) -> str:
    """What the stand-in at ``hands`` answers to a line, such as ``0.410 V`` to ``probe 30 87``.

    Raises:
        BenchlogError: nobody answers there, or the stand-in refused; the text says why.
    """
    line = " ".join(text.split())
    at = hands.at if isinstance(hands, Hands) else hands
    try:
        answer = _answer(at, line, ANSWER_WITHIN_S)
    except (OSError, UnicodeDecodeError) as problem:
        why = (getattr(problem, "strerror", None) or "no answer in time").lower()
        named = at if isinstance(at, Path) else f"{at[0]}:{at[1]}"
        raise BenchlogError(
            f"{named}: no stand-in answers there ({why}); start benchlog standin, and name the port that it prints"
        ) from problem
    if answer.startswith("no: "):
        raise BenchlogError(f'stand-in: "{line}" was not done: {answer[4:]}')
    return answer


def _answer(at: Path | tuple[str, int], line: str, within_s: float) -> str:
    with _connected(at, within_s) as link:
        link.sendall(f"{line}\n".encode())
        return link.makefile("r", encoding="utf-8", newline="\n").readline().strip()


def _connected(at: Path | tuple[str, int], within_s: float) -> socket.socket:
    if isinstance(at, tuple):
        return socket.create_connection(at, within_s)
    link = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        link.settimeout(within_s)
        link.connect(str(at))
    except BaseException:
        link.close()
        raise
    return link


def answer_to(text: str, act: Callable[[str], float | str]) -> str:
    """Do it and say so, on one line: the time it was done, or what a meter shows."""
    try:
        done = act(text)
        return done if isinstance(done, str) else f"ok {done:.6f}"
    except BenchlogError as problem:
        return f"no: {' '.join(str(problem).split())}"


def listening_at(path: Path) -> socket.socket:
    """A unix socket that takes connections and never waits."""
    made = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    try:
        made.setblocking(False)
        made.bind(str(path))
        made.listen(16)
    except BaseException:
        made.close()
        raise
    return made


class HandsServer:
    """Takes lines from any number of clients at once and never waits for one of them."""

    def __init__(self, listening: socket.socket, folder: Path, answer: Callable[[str], str]) -> None:
        self._listening, self._folder, self._answer = listening, folder, answer
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
            if text == FOLDER:
                answer = f"at {self._folder}"
            else:
                answer = self._answer(text)
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

    def _drop(self, client: socket.socket) -> None:
        del self._clients[client]
        client.close()
