"""What the walk does to the world: marks into the log, orders to the stand-in, sentences onto the screen."""

import time
from collections import deque
from collections.abc import Callable
from typing import Protocol, runtime_checkable

from benchlog.core.errors import BenchlogError
from benchlog.core.trace import Trace

#: The stream's speed is taken over this many batches.
PACE_OVER = 12
#: A stream no faster than this against the clock needs no care, and no mark waits longer than that, s.
FAST, LONGEST_WAIT_S = 3.0, 0.3


class SessionActions(Protocol):
    """What the walk can do to the world."""

    def mark(self, text: str) -> None:
        """Note it in the log at the next sample."""

    def do(self, text: str) -> float | None:
        """Have the stand-in do it: the stream's time of that, s; None where it could not, so that the tester must."""

    def tell(self, text: str) -> None:
        """Say one plain sentence to the tester."""


class Marker(Protocol):
    """What notes a mark."""

    def mark(self, text: str) -> object:
        """Note this at the sample that comes now."""


@runtime_checkable
class StreamMarker(Protocol):
    """What can note a mark at a time of the stream."""

    def mark_at(self, text: str, at_s: float) -> object:
        """Note this at the first sample from then on."""


class Teller(Protocol):
    """What says a sentence."""

    def tell(self, text: str) -> object:
        """Say it."""


class OpenActions:
    """Marks, orders and sentences of one session.

    What the stand-in did is noted at the stream's own time of it where the recorder can do that. Else it is noted by
    the clock. A stand-in that runs many times faster than the clock is well ahead of
    what has been recorded, so a mark then waits the few hundredths of a second until the stream is there.
    """

    def __init__(
        self, recorder: Marker, screen: Teller, ask: Callable[[str], float] | None, clock: Callable[[], float]
    ) -> None:
        """``ask`` has the stand-in do something; None for a real bike. ``clock`` is the wall clock, s."""
        self._recorder, self._screen, self._ask, self._clock = recorder, screen, ask, clock
        self._came: deque[tuple[float, float]] = deque(maxlen=PACE_OVER)
        self._due_s: float | None = None

    def heard(self, trace: Trace) -> None:
        """Take note of how far the stream is."""
        if len(trace):
            self._came.append((self._clock(), float(trace.time_s[-1])))

    def mark(self, text: str) -> None:
        """Note it at the sample that comes now, or at the one where the stand-in did it."""
        due_s, self._due_s = self._due_s, None
        if due_s is not None and isinstance(self._recorder, StreamMarker):
            self._recorder.mark_at(text, due_s)
            return
        if due_s is not None:
            self._wait_for(due_s)
        self._recorder.mark(text)

    def do(self, text: str) -> float | None:
        """Have the stand-in do it: the stream's time of that, s; None where it could not."""
        if self._ask is None:
            return None
        try:
            self._due_s = self._ask(text)
        except BenchlogError as problem:
            self._screen.tell(f"the stand-in could not do it: {problem}")
            return None
        return self._due_s

    def tell(self, text: str) -> None:
        """Say one sentence."""
        self._screen.tell(text[:1].upper() + text[1:])

    def _wait_for(self, stream_s: float) -> None:
        if len(self._came) < 2:
            return
        (first, first_s), (last, last_s) = self._came[0], self._came[-1]
        pace = (last_s - first_s) / (last - first) if last > first else 0.0
        if pace > FAST:
            now_s = last_s + (self._clock() - last) * pace
            time.sleep(min(max((stream_s - now_s) / pace, 0.0), LONGEST_WAIT_S))
