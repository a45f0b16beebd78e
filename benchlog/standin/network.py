"""The stand-in's port over TCP, for systems without pseudo-terminals: a recorder opens ``socket://HOST:NUMBER``."""

import re
import socket
from contextlib import suppress

from benchlog.core.errors import BenchlogError, reason_of

_ADDRESS = re.compile(r"(?P<host>[^:\s]+|\[[0-9a-fA-F:]+\]):(?P<number>\d{1,5})")


def address_of(named: str) -> tuple[str, int]:
    """Host and number of ``HOST:NUMBER``; the next number is the hands'.

    Raises:
        BenchlogError: it is none.
    """
    found = _ADDRESS.fullmatch(named)
    if found is None or not 1 <= int(found["number"]) <= 65534:
        raise BenchlogError(f"--listen {named}: HOST:NUMBER is needed, such as 127.0.0.1:4000")
    return found["host"].strip("[]"), int(found["number"])


def listening(host: str, number: int) -> socket.socket:
    """A socket that takes connections and never waits.

    Raises:
        BenchlogError: there is no such address here, or something else listens there.
    """
    try:
        family, kind, protocol, _, place = socket.getaddrinfo(
            host, number, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        made = socket.socket(family, kind, protocol)
        try:
            made.setblocking(False)
            made.bind(place)
            made.listen(16)
        except OSError:
            made.close()
            raise
    except (OSError, UnicodeError) as problem:
        why = reason_of(problem)
        raise BenchlogError(
            f"--listen {host}:{number}: the stand-in cannot listen there ({why}); name another number, or 127.0.0.1"
        ) from None
    return made


class Network:
    """As ``Terminal``, for one reader at a time; the next one waits until it has gone."""

    def __init__(self, host: str, number: int) -> None:
        self._listening = listening(host, number)
        self._reader: socket.socket | None = None
        self._gone = False
        self.name = f"socket://{f'[{host}]' if ':' in host else host}:{number}"

    def fileno(self) -> int:
        """Of the reader."""
        return -1 if self._reader is None else self._reader.fileno()

    def has_reader(self) -> bool:
        """Whether a program is connected; once no where one has gone, however soon the next one came."""
        if self._gone:
            self._gone = False
            return False
        if self._reader is None:
            with suppress(OSError):
                self._reader, _ = self._listening.accept()
                self._reader.setblocking(False)
        return self._reader is not None

    def write(self, data: bytes | bytearray | memoryview) -> int:
        """Hand over as much as there is room for; how many bytes that was."""
        if self._reader is None:
            return 0
        try:
            return self._reader.send(data)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError:
            self._let_go()
            return 0

    def forget(self) -> None:
        """What a reader left unread went with its connection."""

    def drain(self) -> None:
        """Throw away what the reader sent, and hear that it has gone."""
        if self._reader is None:
            return
        try:
            if not self._reader.recv(65536):
                self._let_go()
        except (BlockingIOError, InterruptedError):
            pass
        except OSError:
            self._let_go()

    def close(self) -> None:
        """Hang up."""
        self._let_go()
        self._listening.close()

    def _let_go(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader, self._gone = None, True
