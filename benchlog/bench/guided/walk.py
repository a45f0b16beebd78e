"""Runs through the steps: what comes next, and what keys say. Knows the stream's time only, no clock."""

import math
from collections.abc import Sequence

from benchlog.analysis.bridge import BRIDGED, FREE
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.stepping import FIRST_LOOK_S, OR_ENTER, Stepping
from benchlog.bench.guided.view import Key, View
from benchlog.bench.live import LiveStep
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Trace


class Walk(Stepping):
    """One run through the steps.

    Give it samples and keys with ``advance``; it moves on, and through ``ways`` marks and tells.
    """

    @property
    def shown(self) -> tuple[StepSpec, ...]:
        """The steps of this run: those of the fuse walk only where it is taken."""
        return tuple(spec for spec in self._steps if not spec.walk or self.memory.walk)

    def view(self) -> View:
        """What the tester sees now."""
        spec, shown = self.spec, self.shown
        number = next((n for n, one in enumerate(shown, start=1) if one is spec), len(shown))
        say, waiting = spec.say, self._waiting or spec.waiting_for
        if self._phase == "back":
            say, waiting = self._back_say(), "a sign of it, or Enter"
        elif self._phase == "hold":
            left = f"{max(math.ceil(self._left_s()), 0)} s more"
            say, waiting = spec.hold_say or say, "b, once the bridge is off" if self._waits_for_bridge else left
        elif self._phase == "read":
            waiting = "Enter when you have read the caution"
        if self.memory.bridged and self._engine_tried and self._phase != "back":
            say = spec.bridged_say or f"Take the bridge off the shunt, then press b. {say}"
        if self._resumed and not self._begun:
            say, waiting = (
                "Touch nothing yet: the test first checks the state of the bike.",
                "two seconds of data",
            )
        helped = self._by_itself and not self._tester
        if helped:
            waiting = "the stand-in" if waiting.startswith("Enter") else waiting.removesuffix(OR_ENTER)
        return View(
            LiveStep(number, len(shown), spec.id, spec.title, say, spec.caution, "" if self.finished else waiting),
            read_first=self._phase == "read",
            by_itself=helped,
            can_walk=not self.memory.walk and any(one.walk for one in self._steps),
            bridge="on" if self.memory.bridged else "offered" if spec.question == "crank" else "",
        )

    def advance(self, trace: Trace, keys: Sequence[Key] = ()) -> None:
        """Take in new samples and keys, and move on as far as they carry."""
        if self.history.add(self._measured(trace)):
            self._ways.tell("the logger's clock restarted; this step starts over")
            self._begun = False
            self._free_from_s = -math.inf
        if math.isnan(self.history.now_s):
            return
        if not self._begun:
            if self._resumed and self.history.now_s - self.history.first_s < FIRST_LOOK_S:
                # a step asked for before the levels are known would leave no level to tell it from
                self._early += keys
                return
            self._begun = True
            self._enter()
        early, self._early = self._early, []
        for key in (*early, *keys):
            if not self.finished:
                self._press(key)
        at = self._at
        # every step is shown once, however fast the stream
        while not self.finished and self._at == at and self._move():
            pass
        self._note_due()

    def _measured(self, trace: Trace) -> Trace:
        """The samples without the currents that a bridge takes past the shunt, so that no question looks at them."""
        return trace.hiding(SHUNT_ROLES, (trace.time_s < self._free_from_s) | self.memory.bridged)

    @property
    def _engine_tried(self) -> bool:
        """Whether the start of the engine is behind."""
        return any(spec.question == "crank" for spec in self._steps[: self._at])

    def _go_on(self) -> None:
        self._note_due(now=True)
        if self._by_itself and self.memory.bridged and self.spec.question == "engine_on":
            self._turn_bridge()
        self._at += 1
        while not self.finished and self.spec.walk and not self.memory.walk:
            self._at += 1
        if self.finished:
            self.memory.step = ""
        self._enter()

    def _press(self, key: Key) -> None:
        if key == "enter":
            self._confirm()
        elif key == "skip":
            self._ways.mark(f"step skipped: {self.spec.title}")
            self._ways.tell(f"{self.spec.title}: skipped")
            self._leave("skipped")
        elif key == "walk":
            self._take_walk("the fuse walk comes once the bike is asleep")
        elif key == "bridge":
            self._turn_bridge()
        else:
            self._again()

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

    def _move_bridged(self) -> bool:
        if self._by_itself and not self._tester:
            self._turn_bridge()
            return not self.memory.bridged
        waited_s = self.history.now_s - self._held_from_s
        if waited_s >= self.spec.wait_s:
            self._ways.tell(
                f"{self.spec.title}: b was not pressed within {self.spec.wait_s:.0f} s; the test continues, and no "
                f"current counts until it is (a repeats the step)"
            )
            self._leave("not seen")
            return True
        if waited_s >= self.spec.doubt_s and not self._doubted:
            self._doubted = True
            self._ways.tell(
                f"{self.spec.title}: is the bridge off the shunt? then press b; charging counts from then on"
            )
        return False

    def _confirm(self) -> None:
        if self._phase == "read":
            self._begin_act()
        elif self._phase == "back":
            self._end_back(noted=True)
        elif self._phase == "act" and self.spec.question in ("rested", "asleep"):
            self._ways.tell(f"{self.spec.title}: Enter cannot shorten this wait; s skips it")
        elif self._phase == "act":
            self._settle_for("confirmed", self.history.now_s, "" if self.spec.by_hand else "confirmed by hand")

    def _again(self) -> None:
        if self._phase in ("act", "read") and math.isnan(self._held_from_s):
            earlier = [n for n in range(self._at) if self._steps[n] in self.shown]
            self._at = earlier[-1] if earlier else self._at
        spec = self.spec
        noted = self._later is None or self._later[1] != spec.mark
        self._later = None if not noted else self._later
        self.memory.tries[spec.id] = self.memory.tries.get(spec.id, 0) + 1
        if noted:
            self._ways.mark(f"again: {spec.title} (the try before {self.history.now_s:.1f} s does not count)")
        self._ways.tell(f"{spec.title}: once more")
        tried = self.memory.outcomes.pop(spec.id, "skipped") != "skipped"
        self._enter(back=tried and spec.undo is not None)

    def _take_walk(self, why: str) -> None:
        if not self.memory.walk and any(spec.walk for spec in self._steps):
            self.memory.walk = True
            self._ways.tell(why)
