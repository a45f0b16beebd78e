"""Marks on their way into the file: each stands at the first sample after it was set."""

from collections import deque
from collections.abc import Callable

import numpy as np

from benchlog.bench.recording.cells import has_mark, one_line, with_mark
from benchlog.core.trace import Array


class PendingMarks:
    """Marks that wait for their sample."""

    def __init__(self) -> None:
        """None yet."""
        self._next: deque[tuple[float, str]] = deque()
        self._due: list[tuple[float, str]] = []

    def __bool__(self) -> bool:
        """Whether one waits."""
        return bool(self._next or self._due)

    def add(self, text: str, now: float) -> None:
        """For the next sample that comes; ``now``: the computer's clock, s."""
        if plain := one_line(text):
            self._next.append((now, plain))

    def add_at(self, text: str, at_s: float) -> None:
        """For the first sample from this time of the file on; the next one where that is past already."""
        if plain := one_line(text):
            self._due.append((at_s, plain))

    def texts(self) -> list[str]:
        """Those that still wait."""
        return [text for _, text in [*self._next, *self._due]]

    def placed(
        self, lines: list[bytes], put: tuple[str, int], came: tuple[float, float], times: Callable[[], Array]
    ) -> bytes:
        """The rows with the marks that are due.

        Args:
            lines: the rows, and what follows the last one's end.
            put: the separator of the cells, and the mark's column.
            came: since when the rows came, and until when, by the computer's clock, s.
            times: gives the rows' times in the file, s.
        """
        since, now = came
        count, free = len(lines) - 1, 0
        while self._next and free < count and self._next[0][0] <= now:
            at, text = self._next.popleft()
            part = (at - since) / (now - since) if now > since else 0.0
            n = max(min(int(np.ceil(max(part, 0.0) * count)), count - 1), free)
            lines[n] = with_mark(lines[n], *put, text)
            free = n + 1  # two marks never share a sample
        if self._due:
            time_s = times()
            for at_s, text in sorted(self._due):
                n = int(np.searchsorted(time_s, at_s))
                while n < len(time_s) and has_mark(lines[n], *put):
                    n += 1
                if n < len(time_s):
                    lines[n] = with_mark(lines[n], *put, text)
                    self._due.remove((at_s, text))
        return b"\n".join(lines)
