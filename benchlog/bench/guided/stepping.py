"""One step of the guided test, from its caution to its last second. Knows the stream's time only, no clock."""

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from benchlog.analysis.fuse_walk import HAND_S
from benchlog.analysis.key_state import MARK_REACH_S
from benchlog.bench.guided import watch
from benchlog.bench.guided.actions import SessionActions
from benchlog.bench.guided.history import LEVEL_S, POINT_S, Before, History
from benchlog.bench.guided.memory import Memory
from benchlog.bench.guided.moves import is_up
from benchlog.bench.guided.right import Asked, PutRight, key_off_again, key_on_again, stranger_off, switched_off
from benchlog.bench.guided.sight import Look, Sight, StepSeen
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.view import Key
from benchlog.bench.guided.watch_drain import starting_up_s
from benchlog.core.events import SlotWithdrawn

Phase = Literal["back", "look", "read", "act", "hold"]

#: How a step says that Enter does as well.
OR_ENTER = ", or Enter"
#: What the stand-in did itself shows within this time, or not at all, s; what it refused nobody may be there to do.
BY_ITSELF_S, REFUSED_S = 10.0, 90.0
#: A state that lasts from mark to mark is noted so long after the stand-in made it so, s.
AFTER_DONE_S = 0.5
#: A slot is noted so long after its step, s.
NOTED_AFTER_S = 1.5
#: What came on stands after this time, inrush over, s.
STANDS_S = 1.0
#: Where wake-ups are the drain, a fuse stays out for so many of their intervals, but no longer than this, s.
WAKEUPS_MISSED, LONGEST_PULL_S = 1.7, 150.0
#: The stream must have shown this much before the first step goes on by itself, and before a stopped test does, s.
FIRST_LOOK_S = 2.0
#: After an Enter the hand may still be on the switch: levels are taken so much later, over so long, s.
HAND_OFF_S, CALM_S = 1.5, 0.8
#: What the bike does by itself, however long it takes; Enter cannot shorten it.
BY_THE_BIKE = ("rested", "asleep")
#: With this outcome a step's deed was done.
DONE = ("seen", "confirmed", "done", "not seen")


class Stepping:
    """Takes the step that it is at through its phases: putting right, caution, doing, lasting.

    A person is waited for without end. Only what the bike does by itself, and a stand-in, have their time.

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
        # a step whose state nobody knows is looked at before it is asked for
        self._unknown = memory is not None
        self._begun = False
        self._early: list[Key] = []
        # nobody is told what to do before the caution has been read, not even while no line has come yet
        self._phase: Phase = "read" if not by_itself and not self.finished and self.spec.caution else "act"
        self._right: PutRight | None = None
        self._asked: Asked | None = None
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

    def _go_on(self, right: PutRight | None = None) -> None:
        """The next step; ``right`` comes before it."""
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

    @property
    def _on(self) -> list[StepSpec]:
        """The circuits that were switched on before this step."""
        return [one for one in self._steps[: self._at] if _switched(one) and self.memory.outcomes.get(one.id) in DONE]

    @property
    def _off(self) -> list[StepSpec]:
        """The circuits of this step and later ones, which must still be off."""
        return [one for one in self._steps[self._at :] if _switched(one)]

    def _enter(self, right: PutRight | None = None) -> None:
        """Begin the step; ``right`` comes before it."""
        if self.finished:
            return
        stood_s = self._held_from_s + STANDS_S
        self._reset()
        self._right = right or self._must_first()
        self._unknown = False
        if self._right is not None:
            self._begin_back()
        else:
            self._begin_step(LEVEL_S)
        if self._phase == "act" and _switched(self.spec) and not self._by_itself and stood_s < self._since_s:
            # an eager hand has switched it on while the step before still lasted
            self._since_s, self._before = stood_s, self.history.before(stood_s, STANDS_S / 2)

    def _reset(self) -> None:
        """Nothing is known of the step yet."""
        self.memory.step = self.spec.id
        self._waiting, self._doubted, self._tester, self._noted = "", False, False, False
        self._asked = self._right = None
        self._held_from_s, self._did_s = math.nan, -math.inf
        self._begin_asking(LEVEL_S)

    def _taken_early(self, by: str) -> None:
        """What this step asks for is done, and noted, already."""
        self._reset()
        self._noted = True
        self._settle_for("seen", self.history.now_s, by)

    def _must_first(self) -> PutRight | None:
        """What must be put right before this step; None where nothing."""
        spec, key = self.spec, self.memory.key
        off = self._off if _switched(spec) else []
        if spec.key and (key is False or (self._unknown and not watch.key_is_on(self.history))):
            return key_on_again(self._on, off)
        if key is True and not spec.key:
            return key_off_again()
        if self._unknown and _switched(spec):
            # a test that was killed knows only what it had written: the device may be on by now
            return switched_off(off, known=False)
        return None

    def _begin_step(self, over_s: float) -> None:
        if self.spec.caution and not self._by_itself:
            self._phase = "read"
        else:
            self._begin_act(over_s)

    def _begin_back(self) -> None:
        self._phase = "back"
        if self._by_itself and self._right is not None:
            done = [self._do(mark) for mark in self._right.marks]
            if _switched(self.spec):
                done += [self._ways.do(f"slot {one.slot} off") is not None for one in self._off[1:]]
            self._tester = not all(done)

    def _end_back(self, *, noted: bool) -> None:
        if self._right is not None and noted:
            for mark in self._right.marks:
                self._turned(mark)
                if not self._by_itself:
                    self._ways.mark(mark)
        self._right = None

    def _risen(self, start: Before, end: Before) -> bool:
        """Whether a load has come on from the one level to the other, by the first current that is logged."""
        role = next((one for one in self._load_roles() if one in self.history.roles), "")
        return end.of(role) - start.of(role) >= watch.LEAST_STEP_A

    def _load_roles(self) -> tuple[str, ...]:
        return (f"slot{self.spec.slot}_a", "feed_a", "battery_a")

    def _begin_look(self) -> None:
        """The levels that the step starts from are taken a moment later."""
        self._phase = "look"
        self._begin_asking(LEVEL_S)

    def _turned(self, mark: str) -> None:
        """Remember how the key stands."""
        if mark in ("key on", "key off"):
            self.memory.key = mark == "key on"
            if mark == "key off":
                self.memory.key_off_s = self.history.now_s

    def _begin_asking(self, over_s: float) -> None:
        """From now on it is watched for; ``over_s``: how far back the levels before it reach."""
        self._since_s, self._before = self.history.now_s, self.history.before(self.history.now_s, over_s)

    def _begin_act(self, over_s: float = LEVEL_S) -> None:
        spec = self.spec
        self._phase = "act"
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
        question = self._right.question if self._right is not None else spec.question
        if not question:
            return Look()
        return watch.QUESTIONS[question](self._sight())

    def _sight(self) -> Sight:
        spec = self.spec
        return Sight(
            self.history,
            self._since_s,
            self._before,
            slot=spec.slot if self._right is None or self._right.marks else 0,
            planned_a=spec.planned_a if self._right is None or self._right.marks else 0.0,
            need_s=spec.need_s,
            key_off_s=self.memory.key_off_s,
            before_crank=self.memory.before_crank,
            fallen_a=self.memory.fallen_a.get(spec.slot, math.nan),
            limit_ma=self._limit_ma,
            resolution=self.resolution,
            left_out=self._left_out,
        )

    def _move(self) -> bool:
        """One move; True where another may follow at once."""
        if self._asked is not None:
            if self._asked.moot():
                self._asked = None
            return False
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
        if self._phase == "look":
            if waited_s < HAND_OFF_S:
                return False
            eager_s = self._since_s + HAND_OFF_S - CALM_S
            start = self.history.before(eager_s, CALM_S / 2)
            self._begin_asking(CALM_S)
            self._begin_step(CALM_S)
            if not self.spec.caution and self._risen(start, self._before):
                # the next switch was pressed already
                self._since_s, self._before = eager_s, start
            return True
        if self._phase == "read":
            # who has begun already is not held up; the watch goes on from where the caution came up
            seen = self._look().seen if self.spec.question not in ("told", "at_once") else None
            if seen is None:
                self._doubt(waited_s)
                return False
            self._phase = "act"
            if self.spec.question == "crank":
                self.memory.before_crank = self._before
        return self._move_act(waited_s)

    def _move_back(self, waited_s: float) -> bool:
        seen = self._look().seen
        helped = self._by_itself and not self._tester
        if seen is None and waited_s < (BY_ITSELF_S if helped else REFUSED_S if self._by_itself else math.inf):
            return False
        if seen is not None and self._right is not None and self._right.question == "key_on":
            # what is switched on comes with the key, and its inrush with it
            self._end_back(noted=True)
            self._begin_look()
            return True
        # what was just taken back is not among the levels before
        over_s = LEVEL_S if seen is None else min(max(self.history.now_s - seen.at_s - POINT_S, POINT_S), LEVEL_S)
        self._end_back(noted=seen is not None)
        self._begin_asking(over_s)
        self._begin_step(over_s)
        return True

    def _move_act(self, waited_s: float) -> bool:
        spec = self.spec
        helped = self._by_itself and not self._tester
        look = self._look()
        self._waiting = look.waiting
        if look.seen is not None and look.seen.unsure and not self._by_itself:
            seen = look.seen
            self._asked = Asked(seen.unsure, lambda: self._done(seen), self._begin_act, self._is_clear)
            return False
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
        self._waiting = self._waiting or self._dead_feed()
        by_bike = spec.question in BY_THE_BIKE
        wait_s = spec.bike_s if by_bike or not self._by_itself else BY_ITSELF_S if helped else REFUSED_S
        if waited_s >= wait_s:
            if helped and not by_bike:
                if unseen := self._unseen():
                    self._ways.tell(f"{spec.title}: {unseen}")
                self._settle_for("not seen", max(self._since_s, self._did_s), "")
            else:
                self._ways.tell(f"{spec.title}: not within {wait_s:.0f} s; the test continues (a repeats the step)")
                self._leave("not seen")
            return True
        if not helped:
            self._doubt(waited_s, wait_s / 2)
        return False

    def _doubt(self, waited_s: float, latest_s: float = math.inf) -> None:
        """Say where to look, once it has not come for a while."""
        if waited_s >= min(self.spec.doubt_s, latest_s) and not self._doubted and self.spec.doubt:
            self._doubted = True
            self._ways.tell(f"{self.spec.title}: {self.spec.doubt}")

    def _is_clear(self) -> bool:
        """Whether what was asked about shows by itself meanwhile, or is gone again."""
        seen = self._look().seen
        return seen is None or not seen.unsure

    def _unseen(self) -> str:
        """What to say where the stand-in did it and nothing was seen; "" where nothing should be seen."""
        spec = self.spec
        if spec.question == "fuse_in" and not math.isfinite(self.memory.fallen_a.get(spec.slot, math.nan)):
            return ""
        expected = spec.waiting_for.removesuffix(OR_ENTER)
        return spec.unseen or f"done, but no sign of it was seen (expected: {expected})"

    def _dead_feed(self) -> str:
        dead = "feed_v" in self.history.roles and not is_up(self.history, "feed_v")
        if self.spec.question != "slot_on" or not dead:
            return ""
        return "the feed is dead, so nothing can come on; Enter once it is switched on"

    def _done(self, seen: StepSeen) -> None:
        spec = self.spec
        if spec.question == "fuse_out":
            self.memory.fallen_a[spec.slot] = seen.value
        if spec.question == "slot_on" and not self._noted:
            self._later = (seen.at_s + NOTED_AFTER_S, spec.mark)
            self._noted = True
        # the starter's own time counts until it lets go
        from_s = self.history.now_s if spec.question == "crank" else seen.at_s
        self._settle_for("seen" if seen.by else "done", from_s, f"{seen.by}; {seen.odd}" if seen.odd else seen.by)
        if not self._by_itself:
            self._ask_about(seen)
        if spec.question == "asleep" and seen.value * 1000 > self._limit_ma:
            self._take_walk("the drain is above the limit: the fuse walk shows which circuit draws it")
            self.memory.wakes_every_s = seen.wakes_every_s

    def _ask_about(self, seen: StepSeen) -> None:
        """Ask where what was seen may be something else than what the step asked for."""
        spec = self.spec
        if spec.question == "slot_on" and abs(seen.value - spec.planned_a) > spec.tolerance * spec.planned_a:
            self._asked = Asked(
                f"{seen.value:.2g} A came on, and {spec.planned_a:g} A ± {100 * spec.tolerance:.0f} % is planned. "
                f"Is it slot {spec.slot}, and nothing else?",
                _nothing,
                lambda: self._not_it("what has just come on"),
            )

    def _not_it(self, what: str) -> None:
        """What was seen was not what the step asked for: it goes off, and the step comes again."""
        self._withdraw(self.spec)
        self._stray(f"not {self.spec.title}")
        self._again_after(stranger_off(what))

    def _again_after(self, right: PutRight | None) -> None:
        """The same step again, once this is put right."""
        self._abandon()
        self.memory.tries[self.spec.id] = self.memory.tries.get(self.spec.id, 0) + 1
        self.memory.outcomes.pop(self.spec.id, None)
        self._later = None
        self._enter(right)

    def _abandon(self) -> None:
        """The step does not last until its end."""
        if self._phase == "hold" and self.spec.end_mark:
            self._ways.mark(self.spec.end_mark)

    def _stray(self, what: str) -> None:
        """Note in the log what was done out of order."""
        self._ways.mark(f"out of order: {what}")

    def _withdraw(self, spec: StepSpec) -> None:
        """What was noted of a circuit does not count."""
        if self._later is not None and self._later[1] == spec.mark:
            self._later = None
        elif _switched(spec) and self.memory.outcomes.get(spec.id) in DONE:
            self._ways.mark(SlotWithdrawn(spec.slot).text)

    def _settle_for(self, outcome: str, from_s: float, by: str) -> None:
        """Done; now the step lasts for its hold time."""
        spec = self.spec
        self._note_due()
        if spec.mark and not self._noted:
            self._ways.mark(spec.mark)
            self._noted = True
        self._turned(spec.mark)
        if spec.question == "key_off":
            # the check takes a mark that comes late as it stands
            late = self.history.now_s - from_s > MARK_REACH_S
            self.memory.key_off_s = self.history.now_s if late else from_s
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
        self._abandon()
        self.memory.outcomes[self.spec.id] = outcome
        self._go_on()

    def _note_due(self, *, now: bool = False) -> None:
        if self._later is not None and (now or self.history.now_s >= self._later[0]):
            self._ways.mark(self._later[1])
            self._later = None


def _nothing() -> None:
    """What was seen stands as it is."""


def _switched(spec: StepSpec) -> bool:
    """Whether the step switches a circuit on."""
    return spec.question == "slot_on"
