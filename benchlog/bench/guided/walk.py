"""Runs through the steps: takes in samples and keys, and shows where it stands. Knows the stream's time only."""

import math
from collections.abc import Sequence

from benchlog.bench.guided.at_step import OR_ENTER
from benchlog.bench.guided.keyed import Keyed
from benchlog.bench.guided.right import PutRight
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.stepping import FIRST_LOOK_S
from benchlog.bench.guided.view import Key, View
from benchlog.bench.live import READ_FIRST, LiveStep
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Trace


class Walk(Keyed):
    """One run through the steps.

    Give it samples and keys with ``advance``; it moves on, and through ``ways`` marks and tells.
    """

    def view(self) -> View:
        """What the tester sees now."""
        spec, shown = self.spec, self.shown
        number = next((n for n, one in enumerate(shown, start=1) if one is spec), len(shown))
        say, waiting = self._said(spec)
        helped = self._by_itself and not self._tester
        if helped:
            waiting = "the stand-in" if waiting.startswith("Enter") else waiting.removesuffix(OR_ENTER)
        hint = spec.doubt if self._doubted and self._phase in ("act", "read") else ""
        if hint and spec.question not in ("told", "rested", "asleep"):
            hint += f" (s leaves {'it' if spec.key or spec.question == 'key_on' else 'this'} out; the test waits)"
        step = LiveStep(
            number,
            len(shown),
            spec.id,
            spec.title,
            say,
            spec.caution,
            "" if self.finished else waiting,
            hint,
            "" if self._asked is None else self._asked.text,
            self._paused,
        )
        return View(
            step,
            read_first=self._phase == "read" or self._shows_caution,
            by_itself=helped,
            can_walk=not self.memory.walk and any(one.walk for one in self._steps),
            bridge="on" if self.memory.bridged else "offered" if spec.question == "crank" else "",
            paused=self._paused,
            typed=self._typed,
            steps=self.listed if self._lists else (),
        )

    def _said(self, spec: StepSpec) -> tuple[str, str]:
        """What the tester does, and what the test waits for."""
        say, waiting = spec.say, self._waiting or spec.waiting_for
        if self._right is not None:
            say, waiting = self._right.say, "a sign of it, or Enter" if self._right.question else "Enter, once it is so"
        elif self._phase == "look":
            say, waiting = "Touch nothing for a moment.", "two seconds of calm"
        elif self._phase == "hold":
            left = f"{max(math.ceil(self._left_s()), 0)} s more"
            say, waiting = spec.hold_say or say, "b, once the bridge is off" if self._waits_for_bridge else left
        elif self._phase == "read":
            waiting = READ_FIRST
        if self.memory.bridged and self._engine_tried and self._right is None:
            say = spec.bridged_say or f"Take the bridge off the shunt, then press b. {say}"
        if self._unknown and not self._begun:
            say, waiting = "Touch nothing yet: the test first checks the state of the bike.", "two seconds of data"
        return say, waiting

    def advance(self, trace: Trace, keys: Sequence[Key] = ()) -> None:
        """Take in new samples and keys, and move on as far as they carry."""
        if self.history.add(self._measured(trace)):
            self._ways.tell("the logger's clock restarted; this step starts over")
            self._begun = False
            self._free_from_s = -math.inf
            self._begin_following()
        if math.isnan(self.history.now_s):
            return
        if not self._begun:
            if self._unknown and self.history.now_s - self.history.first_s < FIRST_LOOK_S:
                # a step asked for before the levels are known would leave no level to tell it from
                self._early += keys
                return
            self._begun = True
            self._enter()
        self._follow()
        early, self._early = self._early, []
        for key in (*early, *keys):
            if not self.finished:
                self._press(key)
        at = self._at
        # every step is shown once, however fast the stream
        while not self._paused and not self.finished and self._at == at and self._move():
            pass
        self._note_due()

    def _measured(self, trace: Trace) -> Trace:
        """The samples without the currents that a bridge takes past the shunt, so that no question looks at them."""
        return trace.hiding(SHUNT_ROLES, (trace.time_s < self._free_from_s) | self.memory.bridged)

    def _next(self) -> None:
        self._note_due(now=True)
        if self._by_itself and self.memory.bridged and self.spec.question == "engine_on":
            self._turn_bridge()
        self._at += 1
        while not self.finished and self.spec.walk and not self.memory.walk:
            self._at += 1
        self._shows_caution = False
        if self.finished:
            self.memory.step = ""

    def _go_on(self, right: PutRight | None = None) -> None:
        self._next()
        self._enter(right)
