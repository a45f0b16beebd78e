"""One step of the guided test, from its caution to its last second. Knows the stream's time only, no clock."""

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from benchlog.analysis.fuse_walk import HAND_S
from benchlog.bench.guided import watch
from benchlog.bench.guided.actions import SessionActions
from benchlog.bench.guided.history import LEVEL_S, POINT_S, Before, History
from benchlog.bench.guided.memory import Memory
from benchlog.bench.guided.moves import is_up
from benchlog.bench.guided.sight import Look, Sight, StepSeen
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.view import Key
from benchlog.bench.guided.watch_drain import starting_up_s
from benchlog.core.events import KeyOn

Phase = Literal["read", "back", "act", "hold"]

#: How a step says that Enter does as well.
OR_ENTER = ", or Enter"
#: A circuit that was perhaps never on is waited for so long to go off, s.
PERHAPS_ON_S = 15.0
#: A caution that nobody confirms stands alone for this long, s.
READ_S = 60.0
#: What the stand-in did itself shows within this time, or not at all, s.
BY_ITSELF_S = 10.0
#: A state that lasts from mark to mark is noted so long after the stand-in made it so, s.
AFTER_DONE_S = 0.5
#: With a dead feed no slot can come on: that much is waited for each, s.
DEAD_FEED_S = 15.0
#: A slot is noted so long after its step, s: a later try is noted sooner, and the check takes the nearest pair.
NOTED_AFTER_S = (1.5, 1.2, 0.0)
#: Where wake-ups are the drain, a fuse stays out for so many of their intervals, but no longer than this, s.
WAKEUPS_MISSED, LONGEST_PULL_S = 1.7, 150.0
#: The stream must have shown this much before the first step goes on by itself, and before a stopped test does, s.
FIRST_LOOK_S = 2.0


class Stepping:
    """Takes the step that it is at through its phases: caution, taking back, doing, lasting.

    Attributes:
        history: the stream so far. memory: where it stands.
        resolution: role -> the logger's smallest step, canonical unit, as far as it is known.
    """

    def __init__(
        self,
        steps: Sequence[StepSpec],
        ways: SessionActions,
        *,
        by_itself: bool = False,
        limit_ma: float | None = None,
        memory: Memory | None = None,
    ) -> None:
        """Begin at the first step, or where ``memory`` says that a run stopped."""
        self.history = History()
        self.memory = memory or Memory(step=steps[0].id)
        self.resolution: Mapping[str, float] = {}
        self._steps, self._ways, self._by_itself = tuple(steps), ways, by_itself
        self._limit_ma = math.nan if limit_ma is None else limit_ma
        self._at = next((n for n, spec in enumerate(self._steps) if spec.id == self.memory.step), len(self._steps))
        self._resumed = memory is not None
        self._begun = False
        self._perhaps_on = False
        self._early: list[Key] = []
        # nobody is told what to do before the caution has been read, not even while no line has come yet
        self._phase: Phase = "read" if not by_itself and not self.finished and self.spec.caution else "act"
        self._since_s = 0.0
        self._held_from_s = 0.0
        self._did_s = -math.inf
        self._before = Before(0.0, {})
        self._waiting = ""
        self._doubted = self._tester = self._noted = False
        self._later: tuple[float, str] | None = None
        self._out_s: float | None = None
        self._left_out: list[tuple[float, float]] = []
        self._free_from_s = -math.inf

    @property
    def finished(self) -> bool:
        """Whether all steps are behind."""
        return self._at >= len(self._steps)

    @property
    def spec(self) -> StepSpec:
        """The step that it is at; the last one once finished."""
        return self._steps[min(self._at, len(self._steps) - 1)]

    def _go_on(self) -> None:
        """The next step."""
        raise NotImplementedError

    def _take_walk(self, why: str) -> None:
        """Add the fuse walk."""
        raise NotImplementedError

    def _move_bridged(self) -> bool:
        """One move of a step that the bridge across the shunt holds up."""
        raise NotImplementedError

    @property
    def _waits_for_bridge(self) -> bool:
        """Whether the engine runs, and its current is not measured yet."""
        return self._phase == "hold" and self.spec.question == "engine_on" and self.memory.bridged

    def _enter(self, *, back: bool = False) -> None:
        if self.finished:
            return
        spec = self.spec
        self.memory.step = spec.id
        self._waiting, self._doubted, self._tester, self._noted = "", False, False, False
        self._held_from_s, self._did_s = math.nan, -math.inf
        self._begin_asking(LEVEL_S)
        if back or (self._resumed and spec.key and not watch.key_is_on(self.history)):
            self._begin_back()
        elif self._resumed and spec.slot and spec.undo is not None:
            # a test that was killed knows only what it had written: the device may be on by now
            self._resumed, self._perhaps_on = False, True
            self._begin_back()
        elif spec.caution and not self._by_itself:
            self._phase = "read"
        else:
            self._begin_act()

    def _begin_back(self) -> None:
        self._phase = "back"
        mark = self._back_mark()
        if self._by_itself and self._perhaps_on:
            for later in self._steps[self._at + 1 :]:
                if later.slot and later.undo is not None and not later.walk:
                    self._ways.do(later.undo.mark)
        if self._by_itself and mark and not self._do(mark):
            self._tester = True

    def _back_say(self) -> str:
        if self._perhaps_on:
            later = [one for one in self._steps[self._at :] if one.slot and not one.walk]
            return f"Switch off, where it is on already: {'; '.join(one.title for one in later)}."
        if self.spec.undo is not None and not self._resumed:
            return self.spec.undo.say
        on = [one.title for one in self._steps[: self._at] if one.slot and one.id in self.memory.outcomes]
        return "Turn the key on" + (f" and switch on again: {'; '.join(on)}." if on else ".")

    def _back_mark(self) -> str:
        return self.spec.undo.mark if self.spec.undo is not None and not self._resumed else KeyOn.text

    def _end_back(self, *, noted: bool, over_s: float = LEVEL_S) -> None:
        if noted and self._by_itself is False:
            self._ways.mark(self._back_mark())
        self._resumed = self._perhaps_on = False
        self._begin_asking(over_s)
        if self.spec.caution and not self._by_itself:
            self._phase = "read"
        else:
            self._begin_act(over_s)

    def _begin_asking(self, over_s: float) -> None:
        """From now on it is watched for; ``over_s``: how far back the levels before it reach."""
        self._since_s, self._before = self.history.now_s, self.history.before(self.history.now_s, over_s)

    def _begin_act(self, over_s: float = LEVEL_S) -> None:
        spec = self.spec
        self._phase = "act"
        self._resumed = False
        self._begin_asking(over_s)
        if spec.question == "crank":
            self.memory.before_crank = self._before
        if self._by_itself and spec.mark:
            self._noted = self._do(spec.mark)
            self._tester = not self._noted

    def _do(self, mark: str) -> bool:
        done_s = self._ways.do(mark)
        if done_s is None:
            return False
        self._did_s = done_s
        if self.spec.end_mark:
            # what lies between two marks must be so throughout: noted once the stream shows it
            self._later = (max(done_s, self.history.now_s) + AFTER_DONE_S, mark)
        else:
            self._ways.mark(mark)
        return True

    def _look(self) -> Look:
        spec = self.spec
        question = spec.question
        if self._phase == "back":
            question = "key_on" if self._resumed or spec.undo is None else spec.undo.question
        return watch.QUESTIONS[question](
            Sight(
                self.history,
                self._since_s,
                self._before,
                slot=spec.slot,
                planned_a=spec.planned_a,
                need_s=spec.need_s,
                key_off_s=self.memory.key_off_s,
                before_crank=self.memory.before_crank,
                fallen_a=self.memory.fallen_a.get(spec.slot, math.nan),
                limit_ma=self._limit_ma,
                resolution=self.resolution,
                left_out=self._left_out,
            )
        )

    def _move(self) -> bool:
        """One move; True where another may follow at once."""
        if self._phase == "hold":
            if self._waits_for_bridge:
                return self._move_bridged()
            if self._left_s() > 0:
                return False
            self._end()
            return True
        # the stream may lag behind what was done
        waited_s = self.history.now_s - max(self._since_s, self._did_s)
        if self._phase == "back":
            return self._move_back(waited_s)
        if self._phase == "read":
            # who has begun already is not held up; the watch goes on from where the caution came up
            seen = self._look().seen if self.spec.question not in ("told", "at_once") else None
            if seen is None and waited_s < READ_S:
                return False
            if seen is None:
                self._begin_act()
                return True
            self._phase = "act"
            if self.spec.question == "crank":
                self.memory.before_crank = self._before
        return self._move_act(waited_s)

    def _move_back(self, waited_s: float) -> bool:
        seen = self._look().seen
        helped = self._by_itself and not self._tester
        longest_s = BY_ITSELF_S if helped else PERHAPS_ON_S if self._perhaps_on else self.spec.wait_s
        if seen is None and waited_s < longest_s:
            return False
        if seen is None and not helped and not self._perhaps_on:
            self._ways.tell(f"{self.spec.title}: switching back was not seen; the test continues")
        # what was just taken back is not among the levels before
        over_s = LEVEL_S if seen is None else min(max(self.history.now_s - seen.at_s - POINT_S, POINT_S), LEVEL_S)
        self._end_back(noted=seen is not None, over_s=over_s)
        return True

    def _move_act(self, waited_s: float) -> bool:
        spec = self.spec
        helped = self._by_itself and not self._tester
        look = self._look()
        self._waiting = look.waiting
        if look.seen is not None:
            self._done(look.seen)
            return True
        if helped and spec.question == "told":
            if self.history.now_s - self.history.first_s < FIRST_LOOK_S:
                return False
            if self._later is not None and self.history.now_s < self._later[0]:
                return False
            self._settle_for("done", self.history.now_s, "")
            return True
        waits_itself = spec.question in ("rested", "asleep")
        wait_s = BY_ITSELF_S if helped and not waits_itself else self._wait_s()
        if waited_s >= wait_s:
            if helped and not waits_itself:
                if unseen := self._unseen():
                    self._ways.tell(f"{spec.title}: {unseen}")
                self._settle_for("not seen", max(self._since_s, self._did_s), "")
            else:
                self._ways.tell(
                    f"{spec.title}: not seen within {wait_s:.0f} s; the test continues (a repeats the step)"
                )
                self._leave("not seen")
            return True
        if waited_s >= min(spec.doubt_s, wait_s / 2) and not self._doubted and not helped:
            self._doubted = True
            self._ways.tell(f"{spec.title}: {spec.doubt}")
        return False

    def _unseen(self) -> str:
        """What to say where the stand-in did it and nothing was seen; "" where nothing should be seen."""
        spec = self.spec
        if spec.question == "fuse_in" and not math.isfinite(self.memory.fallen_a.get(spec.slot, math.nan)):
            return ""
        expected = spec.waiting_for.removesuffix(OR_ENTER)
        return spec.unseen or f"done, but no sign of it was seen (expected: {expected})"

    def _wait_s(self) -> float:
        spec = self.spec
        dead = "feed_v" in self.history.roles and not is_up(self.history, "feed_v")
        if spec.question == "slot_on" and dead:
            self._waiting = "the feed is dead, so nothing can come on; press Enter if it is switched on"
            return min(spec.wait_s, DEAD_FEED_S)
        return spec.wait_s

    def _done(self, seen: StepSeen) -> None:
        spec = self.spec
        if spec.question == "fuse_out":
            self.memory.fallen_a[spec.slot] = seen.value
        if spec.question == "slot_on" and not self._noted:
            after_s = NOTED_AFTER_S[min(self.memory.tries.get(spec.id, 0), len(NOTED_AFTER_S) - 1)]
            self._later = (seen.at_s + after_s, spec.mark)
            self._noted = True
        # the starter's own time counts until it lets go
        from_s = self.history.now_s if spec.question == "crank" else seen.at_s
        self._settle_for("seen" if seen.by else "done", from_s, f"{seen.by}; {seen.odd}" if seen.odd else seen.by)
        if spec.question == "asleep" and seen.value * 1000 > self._limit_ma:
            self._take_walk("the drain is above the limit: the fuse walk shows which circuit draws it")
            self.memory.wakes_every_s = seen.wakes_every_s

    def _settle_for(self, outcome: str, from_s: float, by: str) -> None:
        """Done; now the step lasts for its hold time."""
        spec = self.spec
        self._note_due()
        if spec.mark and not self._noted:
            self._ways.mark(spec.mark)
            self._noted = True
        if spec.question == "key_off":
            self.memory.key_off_s = from_s
        elif spec.question == "fuse_out":
            self._out_s = from_s
        elif spec.question == "fuse_in" and self._out_s is not None:
            self._left_out.append((self._out_s - HAND_S, self.history.now_s + HAND_S))
        self.memory.outcomes[spec.id] = outcome
        if by:
            self._ways.tell(f"{spec.title}: {by}")
        self._held_from_s = from_s
        self._phase, self._doubted = "hold", False

    def _left_s(self) -> float:
        hold_s = self.spec.hold_s
        if self.spec.question == "fuse_out" and math.isfinite(self.memory.wakes_every_s):
            # only wake-ups that stay away show whose they are
            hold_s = max(hold_s, min(WAKEUPS_MISSED * self.memory.wakes_every_s, LONGEST_PULL_S))
        left_s = hold_s - (self.history.now_s - self._held_from_s)
        if left_s <= 0 and self.spec.question == "fuse_in":
            return starting_up_s(self.history, self._held_from_s)
        return left_s

    def _end(self) -> None:
        """The step has lasted long enough."""
        spec = self.spec
        if spec.end_mark:
            self._ways.mark(spec.end_mark)
            if self._by_itself and not self._tester:
                self._ways.do(spec.end_mark)
        self._go_on()

    def _leave(self, outcome: str) -> None:
        self.memory.outcomes[self.spec.id] = outcome
        self._go_on()

    def _note_due(self, *, now: bool = False) -> None:
        if self._later is not None and (now or self.history.now_s >= self._later[0]):
            self._ways.mark(self._later[1])
            self._later = None
