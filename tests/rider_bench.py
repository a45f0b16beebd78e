"""A stand-in's bike as a rider sees it from outside its process, and how fast its clock may run meanwhile."""

import math
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field

import numpy as np
from random_rider import Rider

from benchlog.bench.live import LiveState, LiveStep, live_folder, running
from benchlog.core.errors import BenchlogError
from benchlog.standin import SimulatedInstall
from benchlog.standin.hands import Hands, ask
from benchlog.standin.logger import live_logger
from benchlog.standin.script import Action
from benchlog.standin.streaming import LiveBike

#: Where hands act and marks are written the clock runs so fast, where nobody does anything no faster than this, and
#: where the bike's own loads may come on at a step that waits for one no faster than that.
HANDS_SPEED, IDLE_SPEED, WATCHED_SPEED = 6.0, 150.0, 16.0
#: Steps that may take what the bike does by itself for a deed.
WATCHED = ("slot_", "key_on", "crank", "run")
#: How long this side takes to notice something and to slow down, s of our clock.
REACTION_S = 0.8
#: After a deed the test finds what it looks for, s of the stream.
ANSWERED_S = 5.0
#: A mark that stands later than this after a deed is another deed's, s.
ANOTHER_S = 15.0
#: A change of the speed that is worth a word.
WORTH = 1.25
_LEFT = re.compile(r"(\d+) s (?:more|of rest|still)")


class Replayed(LiveBike):
    """The same bike once more, to which what was done in the other process is done at the same times."""

    def __init__(self, install: SimulatedInstall) -> None:
        """Nothing was done yet."""
        super().__init__(install, live_logger(50.0), np.random.default_rng(0))
        self._at_s = 0.0

    def done(self, text: str, done_s: float) -> None:
        """It was done, and answered with this time."""
        before, last_s = list(self._actions), self._last_s
        self._put(text, done_s)
        # some deeds are answered with the time at which they take effect
        if abs(late_s := self._put_s - done_s) > 1e-9:
            self._actions, self._last_s, self._line = before, last_s, None
            self._put(text, done_s - late_s)

    def _put(self, text: str, at_s: float) -> None:
        self._at_s, self._sent = at_s, round(at_s * self.spec.rate_hz)
        with suppress(BenchlogError):
            self._put_s = self.act(text)

    def runs_at(self, now_s: float) -> bool:
        """Whether the engine runs."""
        self._sent = max(self._sent, round(now_s * self.spec.rate_hz))
        return any(start <= now_s < stop for start, stop in self._line_until(now_s).runs)

    @property
    def actions(self) -> tuple[Action, ...]:
        """What was done to it."""
        return tuple(self._actions)

    def _next_instant(self) -> float:
        return self._at_s

    def _forget(self) -> None:
        """Nothing, so that the truth of a long session can be told."""


@dataclass
class RealBench:
    """A running test as its rider sees it: by the state that it leaves for the pages.

    Attributes:
        hands: the stand-in's. bike: the same bike replayed. install: as planned: what the rider knows of it.
        step, now_s: as last seen. speed: of the stand-in's clock.
    """

    hands: Hands
    bike: Replayed
    install: SimulatedInstall = field(default_factory=SimulatedInstall)
    step: LiveStep | None = None
    now_s: float = 0.0
    speed: float = HANDS_SPEED
    done: list[tuple[float, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Nothing has been seen or done."""
        self._seen, self._new_s, self._written = "", 0.0, list[int]()

    def look(self) -> None:
        """Read the newest state, where there is a newer one."""
        written = list[int]()
        for path in live_folder().glob("*.json"):
            with suppress(FileNotFoundError):  # the test has just ended
                written.append(path.stat().st_mtime_ns)
        if written == self._written:
            return
        self._written = written
        states: list[LiveState] = running()
        if not states or states[0].ended:
            return
        state = states[0]
        self.now_s = state.time_s[-1] if state.time_s else self.now_s
        self.step = state.step
        seen = "" if state.step is None else f"{state.step.id} {state.step.say} {state.step.ask}"
        if seen != self._seen:
            self._seen, self._new_s = seen, self.now_s

    def act(self, text: str) -> float:
        """Do it now."""
        self.run_at(HANDS_SPEED)
        done_s = ask(self.hands, text)
        self.bike.done(text, done_s)
        self.done.append((done_s, text))
        return done_s

    def engine_runs(self) -> bool:
        """Whether a person would hear it."""
        return self.bike.runs_at(self.now_s)

    def run_at(self, speed: float) -> None:
        """Have the stand-in's clock run so fast, where that is worth a word."""
        if speed > WORTH * self.speed or speed < self.speed / WORTH:
            ask(self.hands, f"speed {speed:.3g}")
            self.speed = speed

    def pace(self, rider: Rider) -> None:
        """As fast as nothing is about to happen."""
        step, last_s = self.step, self.done[-1][0] if self.done else -math.inf
        if step is None or self.now_s < max(last_s + ANSWERED_S, self._new_s + 1.0):
            self.run_at(HANDS_SPEED)
            return
        quiet_s = rider.next_s(self.now_s) - self.now_s
        if left := _LEFT.search(step.waiting_for):
            quiet_s = min(quiet_s, float(left[1]))
        most = WATCHED_SPEED if step.id.startswith(WATCHED) else IDLE_SPEED
        self.run_at(min(max(quiet_s / REACTION_S, HANDS_SPEED), most))


def lag_s(done: "list[tuple[float, str]]", marks: "list[tuple[float, str]]", of: Callable[[str], bool]) -> list[float]:
    """How long after a deed its mark stands in the log, s: of each deed that has one."""
    found = []
    for at_s, text in done:
        after = [mark_s - at_s for mark_s, mark in marks if mark == text and 0 <= mark_s - at_s < ANOTHER_S]
        if of(text) and after:
            found.append(min(after))
    return found
