"""Lines typed into standard input, where a system cannot say whether some have come: a thread waits for them."""

import queue
import threading
from collections.abc import Iterator
from typing import TextIO


class TypedLines:
    """The lines of a stream, as they come."""

    def __init__(self, stream: TextIO) -> None:
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        threading.Thread(target=self._listen, args=(stream,), daemon=True).start()

    def _listen(self, stream: TextIO) -> None:
        try:
            for line in stream:
                self._lines.put(line)
        except (OSError, ValueError):
            pass  # closed

    def come(self) -> Iterator[str]:
        """Those that have come since the last time."""
        while not self._lines.empty():
            if text := self._lines.get().strip():
                yield text
