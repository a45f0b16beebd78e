"""The live stand-in: a simulated bike whose logger's lines come from a port, and that hands outside may act on."""

import contextlib
import os
import selectors
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from benchlog.core.errors import BenchlogError, reason_of
from benchlog.core.interrupts import later
from benchlog.standin.hands import LOGGER, NAME, HandsServer, answer_to, listening_at
from benchlog.standin.lines import LineForm, header_of, lines_of, logger_toml_of
from benchlog.standin.network import Network, listening
from benchlog.standin.pace import speed_of
from benchlog.standin.probing.meter import Probes
from benchlog.standin.streaming import LiveBike
from benchlog.standin.typed import TypedLines

if TYPE_CHECKING:
    from benchlog.standin.terminal import Terminal

#: A program that opens a port usually throws away what is there already; wait that out, s.
READER_SETTLES_S = 0.15
#: Simulated time from one header line to the next, for a reader that missed the first, s.
HEADER_EVERY_S = 2.0
#: Lines leave in bulk, one write for about this much wall clock, s; where more is due, so many lines at once, about
#: what a pseudo-terminal holds.
BULK_S, BULK_LINES = 0.02, 64
#: A reader that stopped and goes on gets no more than this at once, wall clock s: meanwhile simulated time stood still.
CATCH_UP_S = 0.25
_IDLE_S = 0.05
_TYPED = 0  # standard input


class Standin:
    """A running stand-in; a context manager that leaves nothing behind.

    Args:
        bike: what is simulated.
        form: how its lines look.
        plan_toml: the plan that belongs to the install.
        speed: simulated seconds in a second; ``speed N`` through the hands changes it.
        listen: host and number for a port over TCP; a pseudo-terminal where None.
        folder: where ``port``, ``hands``, ``plan.toml`` and ``logger.toml`` go; a new one in the system's place for
            passing files where None. It must not exist yet, and is removed at the end.

    Raises:
        BenchlogError: the folder or the pseudo-terminal cannot be made.
    """

    def __init__(
        self,
        bike: LiveBike,
        form: LineForm,
        *,
        plan_toml: str,
        speed: float = 1.0,
        folder: Path | None = None,
        listen: tuple[str, int] | None = None,
    ) -> None:
        self.bike, self.form, self.speed = bike, form, speed
        self.probes = Probes(bike)
        self._pending = bytearray()
        self._within_line = False
        self._reader_since: float | None = None
        self._header_due_s = 0.0
        self._owed_s = 0.0
        self._at = time.monotonic()
        self._typed = bytearray()
        self._hears_typing = False
        self._typed_lines: TypedLines | None = None
        # last, so that next to nothing lies between what is made here and the caller's ``with``
        self._open = contextlib.ExitStack()
        try:
            self._begin(self._open, plan_toml, folder, listen)
        except BaseException as problem:
            self.close()
            if not isinstance(problem, OSError):
                raise
            why = reason_of(problem)
            place = tempfile.gettempdir() if folder is None else folder
            raise BenchlogError(
                f"stand-in: its port cannot be made in {place} ({why}); make sure that there is room and that you "
                f"can write there, or name another folder in TMPDIR"
            ) from problem

    def _begin(
        self, opened: contextlib.ExitStack, plan_toml: str, folder: Path | None, listen: tuple[str, int] | None
    ) -> None:
        """Make folder, port and hands; what is made is put away by ``opened``, whatever interrupts."""
        with later():
            self.folder = Path(tempfile.mkdtemp(prefix="benchlog-standin-")) if folder is None else folder
            if folder is not None:
                folder.mkdir()
            opened.callback(shutil.rmtree, self.folder, ignore_errors=True)
        self.plan, self.logger = self.folder / "plan.toml", self.folder / LOGGER
        self.plan.write_text(plan_toml, encoding="utf-8")
        self.logger.write_text(logger_toml_of(self.form, self.bike.spec), encoding="utf-8")
        self._terminal = self._port_at(listen)
        opened.callback(self._terminal.close)
        hands = listening_at(self.folder / NAME) if listen is None else listening(listen[0], listen[1] + 1)
        self._hands = HandsServer(hands, self.folder, self._answer)
        opened.callback(self._hands.close)

    def _port_at(self, listen: tuple[str, int] | None) -> "Terminal | Network":
        if listen is not None:
            return Network(*listen)
        from benchlog.standin.terminal import Terminal  # not on every system

        return Terminal(self.folder / "port")

    def _answer(self, text: str) -> str:
        """Do what is said or measure what is asked, and say so on one line."""
        return answer_to(text, self._do)

    def _do(self, text: str) -> float | str:
        if (speed := speed_of(text)) is not None:
            self._hand_over()  # what is due until now, at the speed until now
            self.speed, self._owed_s = speed, 0.0
            return self.bike.time_s
        return self.probes.answer(text, read=self._reader_since is not None) or self.bike.act(text)

    @property
    def port(self) -> str:
        """What a recorder opens."""
        return self._terminal.name

    def __enter__(self) -> "Standin":
        """Itself; the port is there already."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close everything and remove the folder."""
        self.close()

    def close(self) -> None:
        """The same; a Ctrl-C meanwhile waits, so that nothing is left."""
        with later():
            self._open.close()

    def run(self, ended: Callable[[], bool], *, typing: bool = False) -> Iterator[str]:
        """Run until stopped; a line of text for each thing that happened.

        Args:
            ended: asked some twenty times a second.
            typing: take marks from standard input as well.
        """
        if typing and sys.platform == "win32":  # standard input cannot be waited for beside others
            self._typed_lines = TypedLines(sys.stdin)
        else:
            self._hears_typing = typing
        while not ended():
            yield from self.turn()

    def turn(self) -> Iterator[str]:
        """One round of at most 0.05 s: deal with whoever is ready, and hand over the lines that are due."""
        yield from self._look_for_reader()
        reading = self._reader_since is not None
        with selectors.DefaultSelector() as ready:
            if reading:
                wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if self._pending else 0)
                ready.register(self._terminal, wanted)
            for link in self._hands.sockets:
                ready.register(link, selectors.EVENT_READ)
            if self._hears_typing:
                try:
                    ready.register(_TYPED, selectors.EVENT_READ)
                except (OSError, ValueError):
                    self._hears_typing = False  # closed, or a file that is no stream
            events = ready.select(BULK_S if reading and not self._pending else _IDLE_S)
        for key, what in events:
            if key.fileobj is self._terminal:
                if what & selectors.EVENT_READ:
                    self._terminal.drain()
            elif key.fileobj == _TYPED:
                yield from self._hear()
            else:
                yield from self._hands.serve(key.fileobj)  # type: ignore[arg-type]  # all others are its sockets
        if self._typed_lines is not None:
            for text in self._typed_lines.come():
                yield f"{text}: {self._answer(text)}"
        self._hand_over()

    def _look_for_reader(self) -> Iterator[str]:
        if self._terminal.has_reader() == (self._reader_since is not None):
            return
        if self._reader_since is None:
            self._reader_since = time.monotonic()
            self._pending[:0] = self._header()  # before what the last reader did not take
            self._at, self._owed_s = self._reader_since + READER_SETTLES_S, 0.0
            yield "a program has opened the port; lines run"
            return
        self._reader_since = None
        self._terminal.forget()
        if self._within_line:  # the next reader begins with a whole line
            end = self._pending.find(b"\n")
            del self._pending[: end + 1 if end >= 0 else len(self._pending)]
            self._within_line = False
        yield f"the port was closed at {self.bike.time_s:.1f} s; the bike stands still until it is opened again"

    def _hand_over(self) -> None:
        now = time.monotonic()
        if self._reader_since is None or now < self._reader_since + READER_SETTLES_S:
            return
        self._owed_s = min(self._owed_s + max(now - self._at, 0.0), CATCH_UP_S)
        self._at = now
        self._write()
        # ends on time as well where a reader is as fast as the simulation
        while not self._pending and time.monotonic() - now < _IDLE_S:
            rate = self.speed * self.bike.spec.rate_hz
            count = min(int(self._owed_s * rate), max(int(BULK_S * rate), BULK_LINES))
            if count == 0:
                return
            self._owed_s -= count / rate
            if self.bike.time_s >= self._header_due_s:
                self._pending += self._header()
            self._pending += lines_of(self.bike.samples(count), self.form, self.bike.spec)
            self._write()

    def _header(self) -> bytes:
        self._header_due_s = self.bike.time_s + HEADER_EVERY_S
        return header_of(self.form, self.bike.spec)

    def _write(self) -> None:
        while self._pending:
            written = self._terminal.write(self._pending)
            if not written:
                return
            self._within_line = self._pending[written - 1] != ord("\n")
            del self._pending[:written]

    def _hear(self) -> Iterator[str]:
        try:
            came = os.read(_TYPED, 4096)
        except OSError:
            came = b""
        if not came:
            self._hears_typing = False
        self._typed += came
        while (end := self._typed.find(b"\n")) >= 0:
            text = bytes(self._typed[:end]).decode("utf-8", "replace").strip()
            del self._typed[: end + 1]
            if text:
                yield f"{text}: {self._answer(text)}"
