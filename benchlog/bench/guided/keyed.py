"""What keys say to the test: done, leave out, again, back to a step, pause, the bridge across the shunt."""

import math
from collections.abc import Mapping

from benchlog.analysis.bridge import BRIDGED, FREE
from benchlog.bench.guided.at_step import DONE
from benchlog.bench.guided.following import Following
from benchlog.bench.guided.right import Asked, PutRight, switched_off, undone
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.stepping import BY_THE_BIKE, CALM_S
from benchlog.bench.guided.view import Key, ListedStep, Standing

_STANDINGS: Mapping[str, Standing] = {
    "seen": "done",
    "done": "done",
    "confirmed": "by hand",
    "not seen": "not seen",
    "cut short": "cut short",
    "skipped": "left out",
}


class Keyed(Following):
    """Steps that take keys."""

    def _begin_run(self) -> None:
        super()._begin_run()
        self._typed = ""
        self._lists = self._shows_caution = False

    @property
    def shown(self) -> tuple[StepSpec, ...]:
        """The steps of this run: those of the fuse walk only where it is taken."""
        return tuple(spec for spec in self._steps if not spec.walk or self.memory.walk)

    @property
    def listed(self) -> tuple[ListedStep, ...]:
        """All steps of this run and how they stand."""
        return tuple(
            ListedStep(number, spec.title, "now" if spec is self.spec else self._standing(spec))
            for number, spec in enumerate(self.shown, start=1)
        )

    def _standing(self, spec: StepSpec) -> Standing:
        return _STANDINGS.get(self.memory.outcomes.get(spec.id, ""), "to come")

    def _press(self, key: Key) -> None:
        if key.isdigit():
            self._typed = (self._typed + key)[-2:]
            return
        typed, self._typed = self._typed, ""
        if typed:
            if key == "enter":
                self._go_to_number(int(typed))
            return  # any other key takes the number back
        if key == "pause":
            self._turn_pause()
        elif key == "list":
            self._lists = not self._lists
        elif self._paused:
            self._ways.tell("the test is paused; p goes on")
        elif self._asked is not None and key in ("yes", "no"):
            asked, self._asked = self._asked, None
            (asked.yes if key == "yes" else asked.no)()
        elif key in ("skip", "again", "walk", "bridge", "enter", "caution"):
            self._lists = False
            self._do_key(key)

    def _do_key(self, key: Key) -> None:
        if key == "enter" and self._asked is not None:
            self._ways.tell("answer with y for yes or n for no")
        elif key == "enter":
            self._confirm()
        elif key == "skip":
            self._ways.mark(f"step skipped: {self.spec.title}")
            self._ways.tell(f"{self.spec.title}: left out")
            self._leave("skipped")
        elif key == "walk":
            self._take_walk("the fuse walk comes once the bike is asleep")
        elif key == "bridge":
            self._turn_bridge()
        elif key == "again":
            self._again()
        else:
            self._shows_caution = not self._shows_caution

    def _turn_pause(self) -> None:
        """Nothing is asked and nothing goes on; or it goes on, from what the bike shows then."""
        self._paused = not self._paused
        self._ways.mark("paused" if self._paused else "resumed after a pause")
        if self._paused:
            return
        right = self._must_first()
        if right is not None and self._phase != "back":
            self._once_more()
        elif self._phase == "hold":
            self._held_from_s = self.history.now_s
        elif self._phase != "back":
            self._begin_look()

    def _confirm(self) -> None:
        if self._phase == "read":
            self._begin_act()
        elif self._phase == "back":
            self._end_back(noted=True)
            self._begin_look()
        elif self._phase == "act" and self.spec.question in BY_THE_BIKE:
            self._ways.tell(f"{self.spec.title}: Enter cannot shorten this wait; s leaves it out")
        elif self._phase == "act":
            self._confirm_deed()

    def _confirm_deed(self) -> None:
        """The tester has done it, and the test has not seen it."""
        spec = self.spec
        outcome = "" if spec.by_hand else "confirmed by hand"
        if spec.question != "slot_on" or self._dead_feed():
            self._settle_for("confirmed", self.history.now_s, outcome)
        elif self._risen(self._before, self.history.before(self.history.now_s, CALM_S)):
            # it may have come on at another time than now, and a mark would then name the wrong one
            self._ways.mark(f"on by hand, nobody saw when: {spec.title}")
            self._noted = True
            self._settle_for("confirmed", self.history.now_s, outcome)
        else:
            self._asked = Asked(
                f"no current has come on in this step. Is slot {spec.slot} switched on, and still draws nothing? "
                "(no: it goes off and on once more)",
                lambda: self._settle_for("confirmed", self.history.now_s, outcome),
                self._off_and_on,
            )

    def _off_and_on(self) -> None:
        """It goes off and on once more: it was on already, or is not yet."""
        on = self.history.before(self.history.now_s, CALM_S)
        self._again_after(switched_off([self.spec], known=True))
        self._was_on = on

    def _again(self) -> None:
        at = self._at
        if self._phase in ("act", "read") and math.isnan(self._held_from_s):
            earlier = [n for n in range(self._at) if self._steps[n] in self.shown]
            at = earlier[-1] if earlier else self._at
        self._take_again(at)

    def _take_again(self, at: int, *, as_it_is: bool = False) -> None:
        """Go back to a step, or begin this one again: what was noted of it does not count.

        Args:
            as_it_is: what it did is gone already, so that nothing has to be taken back.
        """
        gone = [one for one in self._steps[at : self._at + 1] if one.id in self.memory.outcomes]
        on = [one for one in gone if one.question == "slot_on" and self.memory.outcomes[one.id] in DONE]
        self._abandon()
        for one in gone:
            self._withdraw(one)
        spec = self._steps[at]
        tried = self.memory.outcomes.get(spec.id, "skipped") != "skipped"
        self._later, self._at = None, at
        self.memory.tries[spec.id] = self.memory.tries.get(spec.id, 0) + 1
        self._ways.mark(f"again: {spec.title} (the try before {self.history.now_s:.1f} s does not count)")
        self._ways.tell(f"{spec.title}: once more")
        for one in gone:
            self.memory.outcomes.pop(one.id)
        self._enter(self._undoing(spec, on) if tried and not as_it_is else None)

    def _undoing(self, spec: StepSpec, on: "list[StepSpec]") -> PutRight | None:
        """What is taken back before a step comes again."""
        if self.memory.key is False and spec.key:
            return None  # the key comes first, and then nothing is on
        return switched_off(on, known=True) if len(on) > 1 else undone(spec)

    def _go_to_number(self, number: int) -> None:
        shown = self.shown
        if not 0 < number <= len(shown):
            self._ways.tell(f"there is no step {number}; the last one is {len(shown)}")
            return
        self._lists = False
        self._go_to(self._steps.index(shown[number - 1]))

    def _go_to(self, at: int, *, as_it_is: bool = False) -> None:
        if at <= self._at:
            self._take_again(at, as_it_is=as_it_is)
            return
        self._note_due(now=True)
        self._abandon()
        for spec in self._steps[self._at : at]:
            if spec in self.shown and spec.id not in self.memory.outcomes:
                self.memory.outcomes[spec.id] = "skipped"
                self._ways.mark(f"step skipped: {spec.title}")
        self._at = at
        self._ways.tell(f"on to {self.spec.title}")
        self._enter()

    def _turn_bridge(self) -> None:
        """The shunt has just been bridged, or is free again."""
        on = not self.memory.bridged
        if on and not self.spec.key:
            self._ways.tell("b: the shunt is bridged only to start the engine, with the key on; nothing was noted")
            return
        text = BRIDGED if on else FREE
        done_s = self._ways.do(text) if self._by_itself else self.history.now_s
        if done_s is None:
            self._tester = True
            return
        self._ways.mark(text)
        self.memory.bridged = on
        if on:
            late = (
                "; if it was on before the start, the log is wrong: start the test over" if self._engine_tried else ""
            )
            self._ways.tell(f"the shunt is bridged: its current does not count until you press b again{late}")
            return
        self._ways.tell("the bridge is off: the current counts from now on")
        self._free_from_s = done_s
        if self._phase == "hold" and self.spec.question == "engine_on":
            self._held_from_s = max(done_s, self.history.now_s)

    @property
    def _engine_tried(self) -> bool:
        """Whether the start of the engine is behind."""
        return any(spec.question == "crank" for spec in self._steps[: self._at])

    def _move_bridged(self) -> bool:
        if self._by_itself and not self._tester:
            self._turn_bridge()
            return not self.memory.bridged
        if self.history.now_s - self._held_from_s >= self.spec.doubt_s and not self._doubted:
            self._doubted = True
            self._ways.tell(
                f"{self.spec.title}: is the bridge off the shunt? then press b; charging counts from then on"
            )
        return False

    def _take_walk(self, why: str) -> None:
        if not self.memory.walk and any(spec.walk for spec in self._steps):
            self.memory.walk = True
            self._ways.tell(why)
