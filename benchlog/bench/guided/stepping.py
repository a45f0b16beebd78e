"""One step of the guided test, from its caution to its last second. Knows the stream's time only, no clock."""

import math

from benchlog.bench.guided.at_step import OR_ENTER
from benchlog.bench.guided.beginning import Beginning
from benchlog.bench.guided.history import LEVEL_S, POINT_S, Before
from benchlog.bench.guided.noting import NOTED_AFTER_S
from benchlog.bench.guided.right import Asked, stranger_off
from benchlog.bench.guided.sight import StepSeen
from benchlog.bench.guided.watch import LEAST_STEP_A
from benchlog.bench.guided.watch_drain import starting_up_s

#: What the stand-in did itself shows within this time, or not at all, s; what it refused nobody may be there to do.
BY_ITSELF_S, REFUSED_S = 10.0, 90.0
#: Where wake-ups are the drain, a fuse stays out for so many of their intervals, but no longer than this, s.
WAKEUPS_MISSED, LONGEST_PULL_S = 1.7, 150.0
#: The stream must have shown this much before the first step goes on by itself, and before a stopped test does, s.
FIRST_LOOK_S = 2.0
#: After an Enter the hand may still be on the switch: levels are taken so much later, over so long, s.
HAND_OFF_S, CALM_S = 1.5, 0.8
#: A load that comes on and goes off again is the same within this share.
SAME_LOAD = 0.1
#: What the bike does by itself, however long it takes; Enter cannot shorten it.
BY_THE_BIKE = ("rested", "asleep")


class Stepping(Beginning):
    """Takes the step that it is at through its phases: putting right, caution, doing, lasting.

    A person is waited for without end. Only what the bike does by itself, and a stand-in, have their time.
    """

    def _go_to(self, at: int, *, as_it_is: bool = False) -> None:
        """Go on at a step before or after this one."""
        raise NotImplementedError

    def _take_walk(self, why: str) -> None:
        """Add the fuse walk."""
        raise NotImplementedError

    def _move_bridged(self) -> bool:
        """One move of a step that the bridge across the shunt holds up."""
        raise NotImplementedError

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
            if self._was_on is not None and self._was_mistaken(self._was_on):
                return True
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
        if seen is not None and seen.unsure and not self._by_itself:
            self._asked = Asked(
                seen.unsure, lambda: self._is_right(seen), lambda: self._begin_asking(LEVEL_S), self._is_clear
            )
            return False
        self._is_right(seen)
        return True

    def _is_right(self, seen: StepSeen | None) -> None:
        """What had to be put right is so; the step itself follows. None where nothing showed it."""
        if seen is not None and self._right is not None and self._right.question == "key_on":
            # what is switched on comes with the key, and its inrush with it
            self._end_back(noted=True)
            self._begin_look()
            return
        if self._was_on is not None:
            self._end_back(noted=seen is not None)
            self._begin_look()
            return
        # what was just taken back is not among the levels before
        over_s = LEVEL_S if seen is None else min(max(self.history.now_s - seen.at_s - POINT_S, POINT_S), LEVEL_S)
        self._end_back(noted=seen is not None)
        self._begin_asking(over_s)
        self._begin_step(over_s)

    def _was_mistaken(self, on: Before) -> bool:
        """Whether what has gone off came on at a step before, which then comes again; ``on``: the levels with it on."""
        self._was_on = None
        role = self._load_role()
        fell_a = on.of(role) - self._before.of(role)
        within_a = max(LEAST_STEP_A, fell_a * SAME_LOAD)
        alike = [one for one in self._on if abs(self._rose_a.get(one.slot, math.inf) - fell_a) < within_a]
        if not alike:
            return False
        at = self._steps.index(alike[-1])
        self._ways.tell(f"{self.spec.title}: what went off is what came on at {alike[-1].title}, which comes again")
        alone = at == self._at - 1
        self._go_to(at, as_it_is=alone)
        if alone:
            self._begin_look()  # the current has just fallen
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

    def _unseen(self) -> str:
        """What to say where the stand-in did it and nothing was seen; "" where nothing should be seen."""
        spec = self.spec
        if spec.question == "fuse_in" and not math.isfinite(self.memory.fallen_a.get(spec.slot, math.nan)):
            return ""
        expected = spec.waiting_for.removesuffix(OR_ENTER)
        return spec.unseen or f"done, but no sign of it was seen (expected: {expected})"

    def _done(self, seen: StepSeen) -> None:
        spec = self.spec
        if spec.question == "fuse_out":
            self.memory.fallen_a[spec.slot] = seen.value
        if spec.question == "slot_on":
            self._rose_a[spec.slot] = seen.value
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

    def _left_s(self) -> float:
        hold_s = self.spec.hold_s
        if self.spec.question == "fuse_out" and math.isfinite(self.memory.wakes_every_s):
            # only wake-ups that stay away show whose they are
            hold_s = max(hold_s, min(WAKEUPS_MISSED * self.memory.wakes_every_s, LONGEST_PULL_S))
        left_s = hold_s - (self.history.now_s - self._held_from_s)
        if left_s <= 0 and self.spec.question == "fuse_in":
            return starting_up_s(self.history, self._held_from_s)
        return left_s


def _nothing() -> None:
    """What was seen stands as it is."""
