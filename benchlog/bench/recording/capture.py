"""A recording from its first line to its last: what came, what was written, what happened on the way."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np

from benchlog.bench.live import LiveStep
from benchlog.bench.recording.beside import lay_beside, logger_by_number
from benchlog.bench.recording.cells import (
    decimals_of,
    header_row,
    time_texts,
    with_added_times,
    with_times,
)
from benchlog.bench.recording.clock import HALF_WIDTH_S, AddedClock, StreamClock
from benchlog.bench.recording.counts import Counts, Gap
from benchlog.bench.recording.joining import chosen, joined, one_trace
from benchlog.bench.recording.link import Back, Link, Lost, Received
from benchlog.bench.recording.pending_marks import PendingMarks
from benchlog.bench.recording.resuming import resumed_from
from benchlog.bench.recording.state import LiveKeeper
from benchlog.bench.recording.story import Refusing, Silence, Story
from benchlog.bench.recording.writer import LogWriter
from benchlog.core.errors import BenchlogError, MissingColumns
from benchlog.core.trace import Array, Trace
from benchlog.log.readers.lines import ADDED_TIME, LineParser, Parsed
from benchlog.log.readers.timeline import State, place
from benchlog.logger.sidecar import find_sidecar

if TYPE_CHECKING:
    from benchlog.logger.model import Logger

PERIOD_S = 0.1
#: So long the form of the lines is looked for before a single line must do, and so long a header is waited for.
FORM_WAIT_S, HEADER_WAIT_S = 2.0, 10.0
_JUDGE_AFTER_S = 1.0  # a time that waits for more lines waits no longer


@dataclass(frozen=True, slots=True)
class Batch:
    """What came since the last one.

    Attributes:
        trace: new samples, canonical roles, units and signs; time as the written file is read.
        told: what happened, plain sentences.
    """

    trace: Trace
    told: tuple[str, ...]


class Capture:
    """Saves a stream. Use it in a ``with`` statement, and go through ``batches`` without long pauses.

    The file holds the stream's columns, a ``time_s`` where the stream has no time of its own, and ``mark``.

    Attributes:
        counts: lines kept and refused, gaps.
        live: newest values and rate.
        logger: what the file's columns mean; None before the first lines came, or where nobody knows.
    """

    def __init__(
        self,
        port: str,
        out: Path,
        *,
        logger: "Logger | None" = None,
        baud: int = 115200,
        bike: str = "",
        append: bool = False,
        seconds: float | None = None,
    ) -> None:
        """Set up; nothing is opened yet.

        Args:
            port: a device, or a pyserial URL.
            out: the file; it must not exist, but with ``append``.
            logger: what the columns mean; None where the stream's own names are roles.
            baud: line speed, where the port has one.
            bike: for whoever looks on.
            append: continue a file that a stopped recording left.
            seconds: end by itself after so long.
        """
        self._port, self._out, self._given, self._baud = port, out, logger, baud
        self._append, self._seconds = append, seconds
        self.counts = Counts()
        self.live = LiveKeeper(str(out.absolute()), port, bike)
        self.logger: Logger | None = logger
        self._parser = LineParser(logger, port)
        self._state = State()
        self._marks = PendingMarks()
        self._held: Parsed | None = None
        self._held_since = 0.0
        self._story = Story()
        self._refusing = Refusing()
        self._first_at: float | None = None
        self._clock: StreamClock | None = None
        self._added: AddedClock | None = None
        self._last_row = b""
        self._closed = self._unusable = self._told_headless = False

    def __enter__(self) -> Self:
        """Open port and file.

        Raises:
            BenchlogError: one of them cannot be opened; says what to do.
        """
        if not self._append and find_sidecar(self._out) is not None and self._given is not None:
            lay_beside(self._out, self._given, self._given)  # refuses another logger's file before anything is lost
        self._writer = LogWriter(self._out, append=self._append)
        try:
            self._link = Link(self._port, self._baud)
        except BaseException:
            self._writer.close()
            raise
        self._began = time.monotonic()
        self._silence = Silence(self._began)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Write what is there and close, whatever ended it."""
        self.close()

    def batches(self) -> Iterator[Batch]:
        """What comes, about every 0.1 s, also when nothing came; ends after ``stop`` or the seconds asked for.

        Raises:
            BenchlogError: the disk is full, or the logger file does not suit the stream.
        """
        due = time.monotonic()
        while not self._closed:
            due = max(due + PERIOD_S, time.monotonic())
            ends = self._began + self._seconds if self._seconds is not None else float("inf")
            events = self._link.take(min(due, ends))
            now = time.monotonic()
            over = self._link.stopped or now >= ends
            trace = self._take(events, now, final=over)
            told = self._story.told()
            self.live.add(trace, told, self._others(), now)
            self.live.write(self.counts.kept, self.counts.refused_in_all, now)
            yield Batch(trace, told)
            if over:
                return

    def mark(self, text: str) -> None:
        """Put a mark at the next sample that comes."""
        self._marks.add(text, time.monotonic())

    def mark_at(self, text: str, at_s: float) -> None:
        """Put a mark at the first sample from this time of the file on; at the next one where that is past already."""
        self._marks.add_at(text, at_s)

    def show(self, step: LiveStep | None) -> None:
        """Show a step of the guided test to whoever looks on."""
        self.live.step = step

    def stop(self) -> None:
        """End the recording after what has come already; safe in a signal handler."""
        self._link.stop()

    @property
    def moved_s(self) -> float:
        """How far times in the file are moved by now from those of the stream, s: its clock fell back or leapt."""
        return 0.0 if self._clock is None else self._clock.moved_s

    @property
    def lost_s(self) -> float | None:
        """How long the connection has been away, s; None while it is there."""
        since = self._link.lost_at
        return None if since is None else time.monotonic() - since

    def close(self) -> None:
        """Write what is there, say what was refused, and close port and file."""
        if self._closed:
            return
        self._closed = True
        try:
            self._link.close()
            if not self._writer.failed and not self._unusable:
                self._end()
        finally:
            self._writer.close()
            self.live.write(self.counts.kept, self.counts.refused_in_all, time.monotonic(), ended=True)

    def _end(self) -> None:
        now = time.monotonic()
        self._take(self._link.take(now), now, final=True)
        self._story.note_refused()
        for text in self._marks.texts():
            self._story.note(f'the mark "{text}" came after the last sample')
        self._story.write(self._writer)

    def _take(self, events: "list[Received | Lost | Back]", now: float, *, final: bool) -> Trace:
        traces = [self._event(event) for event in events]
        if self._parser.form is None and self._first_at is not None:
            waited_s = now - self._first_at
            headless = final or waited_s > HEADER_WAIT_S
            if waited_s > FORM_WAIT_S and not self._told_headless:
                self._told_headless = True
                self._story.tell(f"lines arrive, but no header line yet; waiting {HEADER_WAIT_S:g} s for one")
            if final or waited_s > FORM_WAIT_S:
                traces.append(self._feed(b"", self._first_at, now, few=True, last=headless))
        elif final:
            traces.append(self._feed(b"", now, now, last=True))
        if self._held is not None and (final or now - self._held_since > _JUDGE_AFTER_S):
            traces.append(self._keep(None, now, now, final=True))
        if self._link.lost_at is None:
            self._silence.watch(now, self._story)
        self._refusing.watch(now, self.counts.kept, self.counts.refused, self._story)
        return one_trace([trace for trace in traces if trace is not None and len(trace)])

    def _event(self, event: Received | Lost | Back) -> Trace | None:
        if isinstance(event, Received):
            if self._first_at is None:
                self._first_at = event.first_at
            self._silence.ended(event.first_at, self._story, begun=self.counts.kept > 0)
            return self._feed(event.data, event.first_at, event.last_at)
        if isinstance(event, Lost):
            self._parser.interrupted()
            self._story.tell("the connection was lost; reconnecting")
            return None
        self._came_back(event)
        return None

    def _feed(self, data: bytes, since: float, now: float, *, few: bool = False, last: bool = False) -> Trace | None:
        try:
            parsed = self._parser.feed(data, few=few, last=last)
        except MissingColumns as why:
            self._unusable = True
            if not last:
                raise
            raise BenchlogError(
                f"{self._port}: no header line arrived, and the logger file names columns that only a header can "
                f"identify; switch the logger off and on within {HEADER_WAIT_S:g} s of starting to record, or give "
                "`column` in the logger file as a number, 1 for the first"
            ) from why
        except BenchlogError:
            self._unusable = True
            raise
        if parsed is None:
            return None
        if self._clock is None and self._added is None:
            self._begin(now)
        self.counts.refused.update(parsed.refused)
        self._story.refused(parsed.refused)
        for text in parsed.notes:
            self._story.note(text)
        trace = self._keep(parsed, since, now) if len(parsed.raw) else None
        if self._parser.late_header and self.logger is None:
            self._learn_late()
        return trace

    def _begin(self, now: float) -> None:
        """The form is known: the file gets its header, and the logger file is put beside it."""
        form, meaning = self._parser.found
        added = [ADDED_TIME] * meaning.adds_time + ["mark"] * (meaning.wanted.mark is None)
        header = header_row([*form.columns, *added], form.written)
        if meaning.adds_time:
            self._added = AddedClock(meaning.rate_hz)
        else:
            self._clock = StreamClock(meaning)
        if self._writer.goes_on:
            try:
                old = resumed_from(self._out, header, meaning)
            except BaseException:
                self._unusable = True  # what else has come by now is not written to that file on closing
                raise
            if old.last is not None:
                (self._added or self._clock).resume(old.last, old.ago_s, now)  # type: ignore[union-attr] # one of them is
            self._state = old.state
            self._story.note(f"the recording was stopped here and resumed {old.ago_s:.1f} s later")
        else:
            self._writer.write(header)
        self.logger = meaning.logger if meaning.known else None
        if self._given is not None:
            lay_beside(self._out, meaning.logger, self._given)
        if meaning.adds_time and meaning.rate_hz is None:
            self._story.tell_and_note(f"the stream has no time: time_s is the computer's clock, ± {HALF_WIDTH_S} s")
        if not meaning.known:
            named = ", ".join(form.columns)
            self._story.tell(
                f"the meaning of the columns is not known ({named}); lines are kept; give a logger file to check them"
            )

    def _keep(self, parsed: Parsed | None, since: float, now: float, *, final: bool = False) -> Trace:
        """Give the rows their times and marks, and write them."""
        form, meaning = self._parser.found
        lost = sum(parsed.refused.values()) if parsed is not None else 0
        held, self._held = self._held, None
        if held is not None:
            parsed = held if parsed is None else joined(held, parsed)
        assert parsed is not None
        own_mark = meaning.wanted.mark is not None
        if self._added is not None:
            times = self._added.times(len(parsed.raw), lost, since, now)
            rows = with_added_times(parsed.rows, form.written, times, form.decimal_comma, own_mark)
            parsed = replace(parsed, rows=rows, raw=replace(parsed.raw, time=times))
        else:
            parsed = self._timed(parsed, now, final)
        if not len(parsed.raw):
            return one_trace([])
        rows = self._marked(parsed, since, now) if self._marks else parsed.rows
        self._story.write(self._writer)
        self._writer.write(rows, len(parsed.raw))
        self.counts.kept += len(parsed.raw)
        self._last_row = rows[rows.rfind(b"\n", 0, -1) + 1 : -1]
        placed = place(parsed.raw, meaning.logger, self._state)
        self._state = placed.after
        if meaning.known:
            return placed.trace
        return Trace(placed.trace.time_s, {}, {})

    def _timed(self, parsed: Parsed, now: float, final: bool) -> Parsed:
        (form, meaning), clock = self._parser.found, self._clock
        assert clock is not None
        column = meaning.wanted.time
        assert column is not None
        if meaning.logger.time is not None and meaning.logger.time.unit != "iso8601":
            first = parsed.rows[: parsed.rows.find(b"\n")].split(form.written.encode(), column + 1)[column]
            clock.decimals = max(clock.decimals, decimals_of(first))
        timed = clock.take(parsed.raw, now, final=final)
        for text in timed.told:
            self._story.tell_and_note(text)
        if timed.taken < len(parsed.raw):
            later = np.arange(len(parsed.raw)) >= timed.taken
            self._held = replace(chosen(parsed, later), refused={}, notes=())
            self._held_since = now
            parsed = chosen(parsed, ~later)
        if timed.keep is not None:
            backward = int((~timed.keep).sum())
            if backward:
                self.counts.refused["backward"] += backward
                self._story.refused({"backward": backward})
            parsed = chosen(parsed, timed.keep)
        rows = parsed.rows
        if timed.moved is not None and len(parsed.raw):
            texts = time_texts(timed.time[timed.moved], clock.decimals, form.decimal_comma)
            rows = with_times(rows, form.written, column, texts, timed.moved)
        return replace(parsed, rows=rows, raw=replace(parsed.raw, time=timed.time))

    def _marked(self, parsed: Parsed, since: float, now: float) -> bytes:
        """Rows with the marks that are due, each at the first sample after it was set."""
        form, meaning = self._parser.found
        column = meaning.wanted.mark
        if column is None:
            column = len(form.columns) + meaning.adds_time

        def times() -> Array:
            # a mark that is bound to a time stands there whatever the clock says; the state is moved on later
            return place(parsed.raw, meaning.logger, self._state).trace.time_s

        return self._marks.placed(parsed.rows.split(b"\n"), (form.written, column), (since, now), times)

    def _came_back(self, event: Back) -> None:
        ended = time.time() - (time.monotonic() - event.at)
        gap = Gap(ended - event.after_s, ended, None if self._state.last is None else self._state.last_s)
        self.counts.gaps.append(gap)
        if self._added is not None:
            self._added.interrupted()
        self._story.note_refused()
        last = "" if gap.last_time_s is None else f"; the last sample before it is at {gap.last_time_s:.3f} s"
        self._story.tell_and_note(
            f"no connection to the logger from {_hour(gap.from_s)} to {_hour(gap.to_s)}, {gap.length_s:.1f} s{last}"
        )
        if event.port != self._port:
            self._story.tell_and_note(f"the logger came back as {event.port}; before it was {self._port}")
            self._port = event.port
        self._silence.restart(event.at)

    def _learn_late(self) -> None:
        """A header came after all: the columns that it names are described by number beside the file."""
        names = self._parser.late_header
        self._parser.late_header = ()
        self._story.tell_and_note(f"the header line arrived late: the columns are {', '.join(names)}")
        if (numbered := logger_by_number(names)) is not None:
            lay_beside(self._out, numbered, None)

    def _others(self) -> dict[str, float | None]:
        """Newest values of columns without a role."""
        meaning, form = self._parser.meaning, self._parser.form
        if meaning is None or form is None or meaning.known or not self._last_row:
            return {}
        cells = self._last_row.split(form.written.encode())
        return {name: _number(cell) for name, cell in zip(form.columns, cells, strict=False)}


def _hour(epoch_s: float) -> str:
    return time.strftime("%H:%M:%S", time.localtime(epoch_s))


def _number(cell: bytes) -> float | None:
    try:
        return float(cell.replace(b",", b"."))
    except ValueError:
        return None
