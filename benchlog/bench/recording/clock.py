"""From a stream's times to those in the file: they keep increasing whatever the logger's clock does."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from benchlog.core.roles import TICKS_A_SECOND
from benchlog.log.readers.raw import Flags, Floats, Ints, Raw

if TYPE_CHECKING:
    from benchlog.log.readers.lines import Meaning

#: A step forward by more than this, and by more than twice what the computer's clock says, is a jump.
FAR_S = 5.0
#: How well the computer's clock tells when a line was sent.
HALF_WIDTH_S = 0.1
COUNTER = 1 << 32
_STRAYS = 3  # this many times in a row that do not fit are no strays but a new time


@dataclass(slots=True)
class Timed:
    """The rows of one batch with their times in the file.

    Attributes:
        time: in the column's unit, as written in the file.
        moved: rows whose time differs from what came; None if none does.
        keep: rows to keep, of those taken; None for all.
        taken: rows judged; those after them wait for the next batch.
        told: what happened to the clock.
    """

    time: Floats | Ints
    moved: Flags | None = None
    keep: Flags | None = None
    taken: int = 0
    told: list[str] = field(default_factory=list)


class StreamClock:
    """Judges the times of a stream's own column.

    A counter that wraps where the logger file says is written as it came. Another counter of ms or us that wraps at
    32 bits goes on counting in the file. Where the clock falls back (the logger was started again) or leaps far
    ahead, all later times are moved, so that the step there is what the computer's clock says has passed. A few
    strays among times that go on are left out, and so is a time that does not rise.

    Attributes:
        moved_s: how far the times in the file are moved by now from those of the stream, s, wraps left out.
    """

    def __init__(self, meaning: "Meaning") -> None:
        time = meaning.logger.time
        self._unit = time.unit if time is not None else "s"
        self._divisor = TICKS_A_SECOND[self._unit]
        self._stated = time.wraps_at if time is not None else None
        self._wraps: float | None = self._stated
        if self._stated is None and self._unit in ("ms", "us"):
            self._wraps = COUNTER
        self.decimals = 0
        self.moved_s = 0.0
        self._offset: float | int = 0
        self._raw: float | int | None = None  # the last time that came, and what it is in the file
        self._out: float | int = 0
        self._at = self._began = 0.0  # the computer's clock at the last row and at the first
        self._gone_s = 0.0  # by the stream's clock, jumps left out
        self._step_s = 0.001

    def resume(self, last: float | int, ago_s: float, now: float) -> None:
        """Go on after a file's last time, ``last`` in the column's unit, written ``ago_s`` before ``now``."""
        self._raw = self._out = last
        self._at = self._began = now - ago_s

    def take(self, raw: Raw, now: float, *, final: bool) -> Timed:
        """Judge the times of a batch.

        Args:
            raw: the rows; their ``time`` as the logger counted it.
            now: by the computer's clock, s, when the last of them came.
            final: no rows are to wait for the next batch.
        """
        assert raw.time is not None
        time = raw.time
        if self._raw is None:
            self._raw = self._out = time[0].item() - 1
            self._at = self._began = now
            self._out = self._raw
        far = (FAR_S + 2 * self._speed * max(now - self._at, 0.0)) * self._divisor
        steps = np.diff(time, prepend=self._raw)
        odd = np.flatnonzero((steps <= 0) | (steps > far))
        timed = Timed(time, taken=len(time))
        offsets: Any = None  # of the type of the times
        if len(odd):
            offsets = np.full(len(time), self._offset, dtype=time.dtype)
            self._judge(time, odd, offsets, timed, far, now, final)
            timed.time = time = time[: timed.taken]
            offsets = offsets[: timed.taken]
            if timed.keep is not None:
                timed.keep = timed.keep[: timed.taken]
                time, offsets = time[timed.keep], offsets[timed.keep]
        elif self._offset:
            offsets = np.full(len(time), self._offset, dtype=time.dtype)
        if not len(time):
            timed.time = time
            return timed
        out = time if offsets is None else time + offsets
        self._went_on(time, out, now)
        if offsets is not None and offsets.any():
            timed.moved = offsets != 0
            if self._stated is not None:
                out = np.mod(out, self._stated)
                timed.moved = out != time
                timed.moved = timed.moved if timed.moved.any() else None
            elif self.decimals and out.dtype != np.int64:
                out = np.round(out, self.decimals)
        timed.time = out
        return timed

    @property
    def _speed(self) -> float:
        """Seconds of the stream in one of the computer's: more than 1 where a simulation is sped up."""
        gone = self._at - self._began
        return max(1.0, self._gone_s / gone) if gone > 0.5 else max(1.0, self._gone_s / 0.5)

    def _went_on(self, time: Floats | Ints, out: Floats | Ints, now: float) -> None:
        steps = np.diff(out) / self._divisor
        if len(steps):
            # the middle one; np.median loads the whole of numpy's masked arrays first
            middle = len(steps) // 2
            self._step_s = max(float(np.partition(steps, middle)[middle]), 1e-6)
        self._gone_s += float(steps[steps < FAR_S].sum())
        self._raw, self._out, self._at = time[-1].item(), out[-1].item(), now

    def _judge(
        self,
        time: Floats | Ints,
        odd: Ints,
        offsets: Floats | Ints,
        timed: Timed,
        far: float,
        now: float,
        final: bool,
    ) -> None:
        """Look at each step that is not a small one forward."""
        keep = np.ones(len(time), dtype=bool)
        good, out = self._raw, self._out  # the last row that is kept
        done = 0
        for i in odd.tolist():
            if i < done:
                continue
            if i > done:
                good, out = time[i - 1].item(), (time[i - 1] + offsets[i - 1]).item()
            assert good is not None
            at = time[i].item()
            if at == good:
                keep[i] = False
                done = i + 1
                # the row after it is judged by the same good one
                continue
            if self._is_wrap(at, good, far):
                assert self._wraps is not None
                self._add(offsets, i, self._wraps)
                if self._stated is None:
                    timed.told.append(
                        f"the logger's 32-bit counter wrapped at {self._seconds(out):.3f} s; "
                        "later times in this file continue"
                    )
                good, out, done = at, at + self._offset, i + 1
                continue
            back = next((j for j in range(i + 1, i + _STRAYS + 1) if j < len(time) and 0 < time[j] - good <= far), None)
            if back is not None:
                keep[i:back] = False
                good, out, done = time[back].item(), (time[back] + offsets[back]).item(), back + 1
                continue
            if i + _STRAYS >= len(time) and not final:
                timed.taken = i
                break
            self._jump(time, i, offsets, good, out, now, timed)
            good, out, done = at, at + self._offset, i + 1
        if not keep.all():
            timed.keep = keep

    def _is_wrap(self, at: float, good: float, far: float) -> bool:
        wraps = self._wraps
        return wraps is not None and good <= wraps and good - at > wraps / 2 and 0 < at + wraps - good <= far

    def _add(self, offsets: Floats | Ints, i: int, by: float) -> None:
        self._offset = self._offset + (int(by) if isinstance(self._offset, int) and float(by).is_integer() else by)
        offsets[i:] = self._offset

    def _jump(
        self, time: Floats | Ints, i: int, offsets: Floats | Ints, good: float, out: float, now: float, timed: Timed
    ) -> None:
        """Move this row and all later ones to where the computer's clock puts them."""
        at = time[i].item()
        after = time[i:]
        rising = np.diff(after)
        others_s = float(rising[(rising > 0) & (rising < FAR_S * self._divisor)].sum()) / self._divisor
        if i:
            others_s += max(float(time[i - 1] - (self._raw or 0)), 0.0) / self._divisor
        lapse_s = max(now - self._at - others_s / self._speed, self._step_s)
        lapse = lapse_s * self._divisor
        least = 10.0**-self.decimals
        offset = out + max(lapse, least) - at
        moved = round(offset) if self.decimals == 0 else round(offset, self.decimals)
        by_s = self._seconds(moved - self._offset)
        self.moved_s += by_s
        way = "fell back" if at < good else "leapt ahead"
        self._offset = moved
        offsets[i:] = moved
        timed.told.append(
            f"the logger's clock {way} by {abs(self._seconds(at - good)):.3f} s; {lapse_s:.2f} s passed by the "
            f"computer's clock, so times after {self._place(out)} are moved by {by_s:+.3f} s, ± {HALF_WIDTH_S} s"
        )

    def _seconds(self, ticks: float) -> float:
        return ticks / self._divisor

    def _place(self, out: float) -> str:
        unit = {"epoch_s": "s", "epoch_ms": "ms", "iso8601": "us"}.get(self._unit, self._unit)
        return f"{out:.15g} {unit}"


class AddedClock:
    """Gives times to a stream that has none: counted at its rate, else by the computer's clock."""

    def __init__(self, rate_hz: float | None) -> None:
        self._rate_hz = rate_hz
        self._out: float | None = None
        self._at = 0.0
        self._broken = False

    def resume(self, last_s: float, ago_s: float, now: float) -> None:
        """Go on after a file's last time, written ``ago_s`` before ``now``."""
        self._out, self._at, self._broken = last_s, now - ago_s, True

    def interrupted(self) -> None:
        """The stream broke off: the computer's clock says for how long."""
        self._broken = True

    def times(self, rows: int, lost: int, since: float, now: float) -> Floats:
        """Times for the rows of a batch, s, rounded to us.

        Args:
            rows: how many.
            lost: lines refused among them: they took their time too.
            since: when the first of them may have come, by the computer's clock.
            now: when the last of them came.
        """
        if not rows:
            return np.empty(0)
        if self._rate_hz is not None:
            step = 1 / self._rate_hz
            first = 0.0 if self._out is None else self._out + step * (1 + lost)
            if self._broken and self._out is not None:
                first = max(first, self._out + (now - self._at) - (rows - 1) * step)
            out = first + np.arange(rows) * step
        else:
            if self._out is None:
                self._at, self._out = since, 0.0
            begin = max(since, self._at)
            out = self._out + (begin - self._at) + (now - begin) * np.arange(1, rows + 1) / rows
            # two batches may come at one reading of the clock
            out = np.maximum(out, self._out + 1e-6 * np.arange(1, rows + 1))
        out = np.round(out, 6)
        self._out, self._at, self._broken = float(out[-1]), now, False
        return np.asarray(out)
