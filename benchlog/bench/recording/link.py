"""The line to the logger: read in bulk by a thread of its own, and opened again when the cable comes back."""

import contextlib
import threading
import time
from dataclasses import dataclass
from typing import Any

from benchlog.bench.recording.device import device_at, port_of
from benchlog.bench.recording.port import open_port, read_some

#: This much waiting wakes whoever waits for it; this much makes the reading wait, for so long at a time.
ENOUGH_BYTES, _MOST_BYTES, _FULL_WAIT_S = 1 << 20, 1 << 26, 0.1
#: So little at once lets some more pile up, in the system's buffer of 64 kB, before it is read.
_LITTLE_BYTES, _PILE_UP_S = 1 << 14, 0.002
RETRY_S, LONGEST_RETRY_S = 0.2, 2.0


@dataclass(frozen=True, slots=True)
class Received:
    """Bytes of the stream.

    Attributes:
        data: in order.
        first_at, last_at: by the computer's clock (``time.monotonic``), s.
    """

    data: bytes
    first_at: float
    last_at: float


@dataclass(frozen=True, slots=True)
class Lost:
    """The port went away.

    Attributes:
        at: by the computer's clock (``time.monotonic``), s. why: in the system's words.
    """

    at: float
    why: str


@dataclass(frozen=True, slots=True)
class Back:
    """The port is there again after ``after_s``, as ``port``."""

    at: float
    after_s: float
    port: str


Event = Received | Lost | Back


class Link:
    """An open port that is read from the start.

    Attributes:
        lost_at: since when the port is away; None while it is there.
        tries: how often it was tried to open it again, since it went away.
    """

    def __init__(self, port: str, baud: int) -> None:
        self._port, self._baud = port, baud
        self._serial: Any = open_port(port, baud)
        self._device = device_at(port)
        self.lost_at: float | None = None
        self.tries = 0
        self._events: list[Event] = []
        self._chunks: list[bytes] = []
        self._first_at = 0.0
        self._size = 0
        self._more = threading.Condition()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="benchlog-port", daemon=True)
        self._thread.start()

    def take(self, until: float) -> list[Event]:
        """What has happened since the last time, waiting until a time of ``time.monotonic`` or until much is there."""
        with self._more:
            self._more.wait_for(
                lambda: self._size >= ENOUGH_BYTES or self._stop.is_set(), max(until - time.monotonic(), 0.0)
            )
            self._gather(time.monotonic())
            events, self._events = self._events, []
            self._size = 0
            self._more.notify_all()
        return events

    def stop(self) -> None:
        """Stop reading; safe in a signal handler."""
        self._stop.set()

    @property
    def stopped(self) -> bool:
        """Nothing more is read."""
        return self._stop.is_set()

    def close(self) -> None:
        """Stop and let the port go."""
        self._stop.set()
        self._thread.join()

    def _gather(self, now: float) -> None:
        if self._chunks:
            self._events.append(Received(b"".join(self._chunks), self._first_at, now))
            self._chunks = []

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                if self._serial is None:
                    self._try_again()
                else:
                    self._read()
        finally:
            self._drop()

    def _read(self) -> None:
        try:
            data = read_some(self._serial)
        except Exception as why:  # what a driver raises as its device goes is anybody's guess
            now = time.monotonic()
            with self._more:
                self._gather(now)
                self._events.append(Lost(now, str(why)))
            self._drop()
            self.lost_at, self.tries = now, 0
            return
        if not data:
            return
        with self._more:
            if not self._chunks:
                self._first_at = time.monotonic()
            self._chunks.append(data)
            self._size += len(data)
            if self._size >= ENOUGH_BYTES:
                self._more.notify_all()
            while self._size >= _MOST_BYTES and not self._stop.is_set():
                self._more.wait(_FULL_WAIT_S)
        if len(data) < _LITTLE_BYTES:
            time.sleep(_PILE_UP_S)  # to wake for every line would take most of the work there is

    def _try_again(self) -> None:
        wait_s = min(RETRY_S * 1.3**self.tries, LONGEST_RETRY_S)
        if self._stop.wait(wait_s):
            return
        self.tries += 1
        try:
            if self._device is not None:
                self._port = port_of(self._device) or self._port
            opened = open_port(self._port, self._baud)
        except Exception:  # as above; whatever it is, the next try may do, and without this thread there is none
            return
        now = time.monotonic()
        after_s = now - (self.lost_at or now)
        self._serial, self.lost_at = opened, None
        with self._more:
            self._events.append(Back(now, after_s, self._port))

    def _drop(self) -> None:
        if self._serial is not None:
            with contextlib.suppress(Exception):
                self._serial.close()
        self._serial = None
