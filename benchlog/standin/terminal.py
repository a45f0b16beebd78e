"""A pseudo-terminal whose far end a program opens as if it were a serial port."""

import os
import pty
import select
import termios
import time
import tty
from pathlib import Path

_EMPTY_FOR = 5  # ms without anything more to read


class Terminal:
    """Raw, and never in the way: nothing here waits.

    The far end is not held open here, so that the system tells whether a reader has it open.

    Attributes:
        device: what the system calls the far end. link: a name for it that this class makes and takes
            away; ``name``: the same as text.
    """

    def __init__(self, link: Path) -> None:
        self.link, self.name = link, str(link)
        self._near, far = pty.openpty()
        try:
            tty.setraw(far)
            os.set_blocking(self._near, False)
            self.device = os.ttyname(far)
            link.symlink_to(self.device)
        except BaseException:
            os.close(self._near)
            raise
        finally:
            os.close(far)
        self._poll = select.poll()
        self._poll.register(self._near, 0)  # a hang-up is told whatever is asked for

    def fileno(self) -> int:
        """For ``select`` and the like; ready to write means that the reader has room."""
        return self._near

    def has_reader(self) -> bool:
        """Whether a program has the far end open."""
        return not any(event & select.POLLHUP for _, event in self._poll.poll(0))

    def write(self, data: bytes | bytearray | memoryview) -> int:
        """Hand over as much as there is room for; how many bytes that was."""
        try:
            return os.write(self._near, data)
        except (BlockingIOError, InterruptedError):
            return 0
        except OSError:
            return 0  # the reader has just gone; has_reader tells

    def forget(self) -> None:
        """Throw away what a reader that has gone left unread, so that the next one begins with what is new."""
        try:
            far = os.open(self.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:
            return  # it stays; a reader must bear half a line in any case
        try:
            tty.setraw(far, termios.TCSANOW)
            # the system hands over what it holds piece by piece; a flush would miss the later ones
            for _ in range(_EMPTY_FOR):
                while self._has_more(far):
                    os.read(far, 65536)
                time.sleep(0.001)
        except OSError:
            pass  # as above
        finally:
            os.close(far)

    @staticmethod
    def _has_more(far: int) -> bool:
        waiting = select.poll()
        waiting.register(far, select.POLLIN)
        return bool(waiting.poll(0))

    def drain(self) -> None:
        """Throw away what the reader sent: this logger takes no orders."""
        try:
            while os.read(self._near, 65536):
                pass
        except OSError:
            pass  # nothing there, or nobody

    def close(self) -> None:
        """Hang up, and take the name away."""
        self.link.unlink(missing_ok=True)
        os.close(self._near)
