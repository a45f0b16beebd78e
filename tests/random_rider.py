"""A rider played at random before the guided test: late, sometimes in the wrong order, sometimes once more."""

import math
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

import numpy as np
from rider_truth import DEAD

from benchlog.bench.guided.keys import Pressed
from benchlog.bench.live import LiveStep
from benchlog.core.errors import BenchlogError
from benchlog.standin import FAULTS, SimulatedInstall

#: What is played beside the test; those that break a limit by themselves are told by the truth.
ODD = (
    *("flashers", "brake_light", "fan", "fuel_pump", "pulsed_grips", "key_bounce", "kill_switch", "stall"),
    *("failed_crank", "several_cranks", "lamp_test", "idle_no_charge"),
)
LATEST_S = 300.0
#: A rider who has done what was asked, and sees no answer, presses Enter after so long, s.
PATIENCE_S = 40.0


class Ridden(Protocol):
    """A bench as its rider sees it: the screen, the clock, the bike under the hands."""

    step: LiveStep | None
    now_s: float
    install: SimulatedInstall

    def act(self, text: str) -> float:
        """Do it now."""

    def engine_runs(self) -> bool:
        """Whether a person would hear it."""


@dataclass
class Rider:
    """Does what the screen says, late; now and then something else first, or a step once more.

    Attributes:
        rng: the only source of chance. fault: of the bike; a rider sees that a device does not work.
        latest_s: the longest that a step is late. strange, again: how often a step begins with something else, and is
            repeated.
        on, key, runs: how the rider left devices, key and engine. story: what was done, with the time.
    """

    rng: np.random.Generator
    fault: str = ""
    latest_s: float = LATEST_S
    strange: float = 0.1
    again: float = 0.1
    on: set[int] = field(default_factory=set)
    key: bool = False
    zero: bool = False
    story: list[tuple[float, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Nothing is seen yet."""
        self._seen = ("", "")
        self._due_s = self._did_s = 0.0
        self._odd: str | None = None
        self._pressed: list[Pressed] = []
        self._repeats: set[str] = set()
        self._started = 0

    def idle_until_s(self, now_s: float) -> float:
        """Until when the rider does nothing, and nothing that was done is still on its way, s."""
        last_s = self.story[-1][0] if self.story else -math.inf
        return self._due_s if now_s > last_s + 10.0 and not self._pressed else now_s

    def next_s(self, now_s: float) -> float:
        """When the rider does something next, unless the screen or the bike changes before, s."""
        if self._pressed:
            return now_s
        return self._due_s if now_s < self._due_s else max(self._did_s + PATIENCE_S, now_s)

    def keys(self, _: Ridden) -> list[Pressed]:
        """What is pressed now."""
        pressed, self._pressed = self._pressed, []
        return pressed

    def __call__(self, bench: Ridden) -> None:
        """Look at the screen, and do what is due."""
        step = bench.step
        if step is None:
            return
        seen = (f"{step.id} {step.say}", step.ask)
        if seen != self._seen:
            fresh = not self._seen[0].startswith(f"{step.id} ")
            self._seen, self._did_s = seen, math.inf
            self._due_s = bench.now_s + self._late(step)
            if fresh:
                self._known = frozenset(self.on)
                self._odd = self._else(step) if self.rng.random() < self.strange else None
                if self.rng.random() < self.again and step.id not in self._repeats:
                    self._repeats.add(step.id)
        if bench.now_s < self._due_s:
            return
        if step.ask:
            self._answer(bench, step)
        elif self._odd is not None:
            self._do(bench, self._odd)
            self._odd, self._due_s = None, bench.now_s + self.rng.uniform(3.0, 40.0)
        else:
            self._take(bench, step)

    def _late(self, step: LiveStep) -> float:
        if step.ask:
            return float(self.rng.uniform(1.0, 30.0))
        quick = self.rng.random() < 0.5
        return float(self.rng.uniform(0.5, 5.0) if quick else self.rng.uniform(0.0, self.latest_s))

    def _else(self, step: LiveStep) -> str | None:
        """Something that is not asked for."""
        choices = ["key on", *(f"slot {n} on" for n in (1, 2, 3, 4)), "crank", "key off"]
        if step.id == "run" or step.id.startswith("sleep"):
            choices = ["key off" if self.key else "key on"]
        return str(self.rng.choice(choices))

    def _answer(self, bench: Ridden, step: LiveStep) -> None:
        """The truth, as far as a person at the bike knows it."""
        asked = step.ask
        if "the bike's own?" in asked:
            right = not self.on
        elif "nothing else?" in asked:
            right = self._newest() == [int(step.id.split("_")[1])]
        elif "draws nothing?" in asked:
            slot = int(step.id.split("_")[1])
            right = slot in self.on and (self.fault in DEAD or (self.fault == "slot_dead" and slot == 2))
        elif "key off?" in asked:
            right = not self.key
        elif "Start it again?" in asked:
            right = not bench.engine_runs() and self._started < 3
        else:
            raise AssertionError(f"a question that the rider does not know: {asked}")
        self.story.append((bench.now_s, f"{asked} {'y' if right else 'n'}"))
        self._pressed.append("yes" if right else "no")
        self._due_s = bench.now_s + 2.0

    def _newest(self) -> list[int]:
        """The circuits that were switched on since the last one was known."""
        return sorted(self.on - self._known)

    _known: frozenset[int] = frozenset()

    def _take(self, bench: Ridden, step: LiveStep) -> None:
        """What the screen says; Enter where it waits for that, or where nothing shows though it is done."""
        say = step.say
        if self._did_s is not math.inf:
            if bench.now_s - self._did_s > PATIENCE_S:
                self._impatient(bench, step)
            return
        if say.startswith(("Touch nothing for a moment", "Touch nothing until the zero")):
            return
        self._did_s = bench.now_s
        if step.waiting_for.startswith("Enter when you have read"):
            self._press("enter")
            self._did_s = math.inf
            self._due_s = bench.now_s + 2.0
        elif say.startswith("Switch off again:") or say.startswith("Switch off:"):
            for slot in [n for n in sorted(self.on) if f"Slot {n}:" in say or self._named(bench, n, say)]:
                self._do(bench, f"slot {slot} off")
            self._press("enter")
        elif say.startswith("Switch off again"):
            self._strangers_off(bench, step)
            self._press("enter")
        elif say.startswith("Turn the key on"):
            self._key_on_right(bench, step)
        elif say.startswith("Turn the key off"):
            self._do(bench, "key off")
        elif say.startswith("Stop the engine"):
            self._do(bench, "engine off")
            self._press("enter")
        else:
            self._usual(bench, step)

    def _named(self, bench: Ridden, slot: int, say: str) -> bool:
        return any(one.slot == slot and one.device in say for one in bench.install.circuits)

    def _strangers_off(self, bench: Ridden, step: LiveStep) -> None:
        """What was not asked for by now."""
        wanted = int(step.id.split("_")[1]) if step.id.startswith("slot_") else 99
        for slot in sorted(self.on):
            if slot >= wanted or step.id == "key_on" or slot not in self._known:
                self._do(bench, f"slot {slot} off")

    def _key_on_right(self, bench: Ridden, step: LiveStep) -> None:
        if step.id.startswith("slot_"):
            wanted = int(step.id.split("_")[1])
            for slot in [n for n in sorted(self.on) if n >= wanted]:
                self._do(bench, f"slot {slot} off")
        self._do(bench, "key on")

    def _usual(self, bench: Ridden, step: LiveStep) -> None:
        """The step's own deed."""
        if step.id in ("prepare", "fuses_in"):
            self._press("enter")
        elif step.id == "zero" and "reconnect" not in step.say:
            self._do(bench, "zero")
            self._press("enter")
        elif step.id == "zero_back":
            self._do(bench, "zero end")
            self._press("enter")
        elif step.id.startswith("slot_") and "is on: leave it on" not in step.say:
            slot = int(step.id.split("_")[1])
            self._do(bench, f"slot {slot} on")
        elif step.id == "crank" and step.say.startswith("Press the starter"):
            if not self.key:
                self._do(bench, "key on")
            self._do(bench, "crank")
            self._started += 1
        elif step.id.startswith("fuse_"):
            way = step.id.split("_")
            self._do(bench, f"fuse {way[1]} {way[2]}")
        elif step.waiting_for.endswith("s more") and step.id in self._repeats and step.id != "run":
            self._repeats.discard(step.id)
            self._press("again")

    def _impatient(self, bench: Ridden, step: LiveStep) -> None:
        """It is done and the screen still waits: Enter, or another start where the engine does not run."""
        self._did_s = bench.now_s
        if step.id in ("rest", "sleep", "sleep_again", "all_on") or step.waiting_for.endswith("s more"):
            return
        if step.id == "run" and not bench.engine_runs():
            self._press("again" if self._started < 3 else "skip")
            return
        if step.id == "crank" and self._started >= 3:
            self._press("skip")
            return
        self._press("enter")
        if step.id == "crank":
            self._did_s = math.inf

    def _press(self, key: Pressed) -> None:
        self._pressed.append(key)

    def _do(self, bench: Ridden, text: str) -> None:
        try:
            bench.act(text)
        except BenchlogError:
            return
        self.story.append((bench.now_s, text))
        word = text.split()
        if text in ("key on", "key off"):
            self.key = text == "key on"
        elif word[0] == "slot":
            (self.on.add if word[2] == "on" else self.on.discard)(int(word[1]))
            if word[2] == "off":
                self._known -= {int(word[1])}  # what comes on again is new


class Case(NamedTuple):
    """One session's seed, fault and behaviour; "" for none."""

    seed: int
    fault: str
    behaviour: str

    @property
    def words(self) -> str:
        """For a table."""
        return f"seed {self.seed}, {self.fault or 'no fault'}, {self.behaviour or 'no behaviour'}"


def cases(count: int, seed: int) -> list[Case]:
    """Each fault and each behaviour in turn, a third of the sessions without a fault."""
    rng = np.random.default_rng(seed)
    faults = [*FAULTS] * (count // len(FAULTS) + 1)
    found = []
    for n in range(count):
        fault = "" if n % 3 == 2 else faults[n - n // 3]
        behaviour = "" if rng.random() < 0.3 else ODD[n % len(ODD)]
        found.append(Case(seed + n, fault, behaviour))
    return found
