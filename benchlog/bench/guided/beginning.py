"""How a step begins: what must be put right first, its caution, and the levels that it starts from."""

import math

from benchlog.bench.guided import watch
from benchlog.bench.guided.at_step import STANDS_S, switched
from benchlog.bench.guided.history import LEVEL_S
from benchlog.bench.guided.moves import pulses
from benchlog.bench.guided.noting import Noting
from benchlog.bench.guided.right import PutRight, key_off_again, key_on_again, switched_off


class Beginning(Noting):
    """Begins steps."""

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
        eager = self._phase == "act" and switched(self.spec) and not self._by_itself and stood_s < self._since_s
        if eager and pulses(self.history, "battery_a", self.history.now_s) is None:
            # an eager hand has switched it on while the step before still lasted; pulses must be seen for longer
            self._since_s, self._before = stood_s, self.history.before(stood_s, STANDS_S / 2)

    def _reset(self) -> None:
        """Nothing is known of the step yet."""
        self.memory.step = self.spec.id
        self._waiting, self._doubted, self._tester, self._noted = "", False, False, False
        self._asked = self._right = None
        self._was_on = None
        self._held_from_s, self._did_s = math.nan, -math.inf
        self._begin_asking(LEVEL_S)

    def _taken_early(self, by: str) -> None:
        """What this step asks for is done, and noted, already."""
        self._reset()
        self._noted = True
        self._settle_for("seen", self.history.now_s, by)

    def _again_after(self, right: PutRight | None) -> None:
        """The same step again, once this is put right."""
        self._abandon()
        self.memory.tries[self.spec.id] = self.memory.tries.get(self.spec.id, 0) + 1
        self.memory.outcomes.pop(self.spec.id, None)
        self._later = None
        self._enter(right)

    def _must_first(self) -> PutRight | None:
        """What must be put right before this step; None where nothing."""
        spec, key = self.spec, self.memory.key
        off = self._off if switched(spec) else []
        if spec.key and (key is False or (self._unknown and not watch.key_is_on(self.history))):
            return key_on_again(self._on, off)
        if key is True and not spec.key:
            return key_off_again()
        if self._unknown and switched(spec):
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
            if switched(self.spec):
                done += [self._ways.do(f"slot {one.slot} off") is not None for one in self._off[1:]]
            self._tester = not all(done)

    def _end_back(self, *, noted: bool) -> None:
        if self._right is not None and noted:
            for mark in self._right.marks:
                self._turned(mark)
                if not self._by_itself:
                    self._ways.mark(mark)
        self._right = None

    def _begin_look(self) -> None:
        """The levels that the step starts from are taken a moment later."""
        self._phase = "look"
        self._begin_asking(LEVEL_S)

    def _begin_act(self, over_s: float = LEVEL_S) -> None:
        spec = self.spec
        self._phase = "act"
        self._begin_asking(over_s)
        if spec.question == "crank":
            self.memory.before_crank = self._before
        if self._by_itself and spec.mark:
            self._noted = self._do(spec.mark)
            self._tester = not self._noted
