"""A serial cable for tests: a pseudo-terminal under a name that stays when the cable is pulled and comes back."""

import os
import pty
import select
import threading
import time
import tty
from collections.abc import Callable
from pathlib import Path

PATIENCE_S = 15.0


class Wire:
    """The logger's end of a cable; ``port`` is what a recorder opens."""

    def __init__(self, folder: Path) -> None:
        """Plug it in."""
        self.port = folder / "port"
        self._senders: list[threading.Thread] = []
        self.plug()

    def plug(self) -> None:
        """Make the port, or let it come back."""
        self._master, slave = pty.openpty()
        tty.setraw(slave)
        name = os.ttyname(slave)
        part = self.port.with_name("port.new")
        part.symlink_to(name)
        os.replace(part, self.port)
        os.close(slave)

    def pull(self) -> None:
        """Take the port away."""
        self.settle()
        self.port.unlink(missing_ok=True)
        os.close(self._master)
        self._master = -1

    def wait_for_reader(self) -> None:
        """Until somebody has opened the port and set it up."""
        poll = select.poll()
        poll.register(self._master, select.POLLHUP)
        wait_until(lambda: not any(event & select.POLLHUP for _, event in poll.poll(0)))
        time.sleep(0.15)  # what comes before a port is set up is thrown away

    def send(self, *lines: str | bytes) -> None:
        """Send lines, each with a line feed, in the background where they do not fit."""
        data = b"".join((line.encode() if isinstance(line, str) else line) + b"\n" for line in lines)
        self.send_bytes(data)

    def send_bytes(self, data: bytes) -> None:
        """Send bytes as they are."""
        self.settle()
        sender = threading.Thread(target=_send, args=(self._master, data), daemon=True)
        sender.start()
        self._senders = [sender]

    def settle(self) -> None:
        """Until everything has been taken."""
        for sender in self._senders:
            sender.join(PATIENCE_S)
        self._senders = []

    def close(self) -> None:
        """Pull it for good."""
        if self._master >= 0:
            self.pull()


def _send(master: int, data: bytes) -> None:
    left = memoryview(data)
    while len(left):
        try:
            left = left[os.write(master, left[:4096]) :]
        except OSError:
            return  # the cable was pulled


def wait_until(true: Callable[[], bool], patience_s: float = PATIENCE_S) -> None:
    """Wait for something, not for ever."""
    ends = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < ends, "it did not happen in time"
        time.sleep(0.02)
