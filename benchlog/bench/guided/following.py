"""What a person does out of order: noted in the log, put right or asked about, and never taken for another step."""

import math
from collections.abc import Callable

import numpy as np

from benchlog.analysis.cranking import LEAST_DIP_V
from benchlog.analysis.key_state import KEY_ON_A
from benchlog.analysis.running import LEAST_SHARE_A, RAISED_V
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided import watch
from benchlog.bench.guided.at_step import STANDS_S
from benchlog.bench.guided.block import block_load
from benchlog.bench.guided.history import History
from benchlog.bench.guided.right import Asked, PutRight, engine_off, stranger_off
from benchlog.bench.guided.stepping import Stepping
from benchlog.bench.guided.watch import LEAST_SHARE
from benchlog.bench.guided.watch_drain import LINES, NAMES
from benchlog.core.events import Cranked, EngineStopped, KeyOff, KeyOn

#: A line that the key switches has turned once it has stayed there for so long, s.
STAYS_S = 1.2
#: The starter may take a line with it for so long, s.
AFTER_START_S = 4.0
#: No battery at rest stands above this, V (common practice, no source).
REST_V = 12.8
#: An engine has stopped once nothing of the alternator has been seen for so long, s.
STOPPED_S = 3.0


class KeyLine:
    """Follows the line that the key switches, whatever step the test is at."""

    def __init__(self) -> None:
        """Nothing is known yet."""
        self._on: bool | None = None

    def role(self, history: History) -> str:
        """The line that tells best."""
        return next((role for role in LINES if role in history.roles), "battery_a")

    def turned(self, history: History) -> bool | None:
        """To which state it has just turned; None where it has not. What it begins with is no turn."""
        role = self.role(history)
        t, x = history.points(role, history.now_s - STAYS_S - 0.15)
        if len(t) < 2 or t[-1] - t[0] < STAYS_S - 0.25 or not np.isfinite(x).all():
            return None
        up = np.abs(x) > KEY_ON_A if role == "battery_a" else x > UP_ABOVE_V
        if up.any() != up.all():
            return None
        before, self._on = self._on, bool(up.all())
        return None if before is None or before is self._on else self._on

    def again(self) -> None:
        """The turn that was just told did not count yet: tell it once more while it lasts."""
        self._on = not self._on


class Following(Stepping):
    """Steps whose person may do anything at any time."""

    def _begin_run(self) -> None:
        super()._begin_run()
        self._begin_following()

    def _begin_following(self) -> None:
        self._line = KeyLine()
        self._paused = self._has_asked = False

    def _reset(self) -> None:
        super()._reset()
        self._has_asked = False

    def _next(self) -> None:
        """Move to the next step, without beginning it."""
        raise NotImplementedError

    def _go_to(self, at: int, *, as_it_is: bool = False) -> None:
        """Go to a step of the list, back or on; ``as_it_is``: nothing has to be taken back for it."""
        raise NotImplementedError

    def _follow(self) -> bool:
        """Look for what was done out of order; True where that changed the step."""
        if self._by_itself or self.finished:
            return False
        turned = self._line.turned(self.history)
        if turned is not None and self._stray_turn(turned):
            return True
        if self._paused or self._asked is not None or self._phase == "back":
            return False
        return self._early_start() or self._engine_lost() or self._came_with_key()

    def _stray_turn(self, on: bool) -> bool:
        key, question = self.memory.key, self._right.question if self._right is not None else self.spec.question
        if on is key or (key is None and not on):
            return False
        if not self._paused and self._phase != "hold" and question == ("key_on" if on else "key_off"):
            return False  # the step itself sees it
        if not on and self._starting():
            self._line.again()
            return False
        draws_a = self.history.newest("battery_a")
        line = NAMES.get(self._line.role(self.history), "the current")
        if not on and self._line.role(self.history) != "key_v" and abs(draws_a) > KEY_ON_A and not self._paused:
            self._asked = Asked(
                f"{line} fell, though the bike still draws {draws_a:.1f} A: did you turn the key off?",
                lambda: self._take_turn(False),
                lambda: self._ways.mark(f"{line} fell, key on"),
                lambda: watch.key_is_on(self.history),
            )
            return False
        self._take_turn(on)
        return True

    def _take_turn(self, on: bool) -> None:
        """The key was turned though nobody asked for it."""
        spec, text = self.spec, KeyOn.text if on else KeyOff.text
        self._note_due()
        self._ways.mark(text)
        self._turned(text)
        if self._paused or (self._phase != "back" and on is spec.key):
            return
        self._stray(f"{text}, at {spec.title}")
        after = self._steps[self._at + 1 : self._at + 2]
        if not on and self._phase == "hold" and after and after[0].question == "key_off":
            lasted_s = self.history.now_s - self._held_from_s
            self._cut_short(f"the key was turned off after {lasted_s:.0f} s of {spec.hold_s:.0f} s")
            self._next()
            self._taken_early("the key was turned off")
            return
        self._ways.tell(f"{spec.title}: the key was turned {'on' if on else 'off'}; the step comes again")
        self._once_more()

    def _cut_short(self, why: str) -> None:
        self.memory.outcomes[self.spec.id] = "cut short"
        self._ways.tell(f"{self.spec.title}: {why}; only that much is judged (its number takes it again)")

    def _once_more(self, right: PutRight | None = None) -> None:
        """The step again, or the next one where this step's own deed stands."""
        question = self.spec.question
        if self._phase == "hold" and (question == "slot_on" or (question == "key_on" and self.memory.key)):
            self._go_on(right)
        else:
            self._again_after(right)

    def _starting(self) -> bool:
        """Whether the starter has just turned: many bikes cut the lamps for it, and what hangs on them."""
        t, low = self.history.points("battery_v", self.history.now_s - AFTER_START_S, what="low")
        # an engine that stops takes the voltage down as well, though never below what a battery at rest has
        usual = min(self.history.level("battery_v", self.history.now_s - 3 * AFTER_START_S), REST_V)
        return bool(len(t) and np.nanmin(low) < usual - LEAST_DIP_V)

    def _came_with_key(self) -> bool:
        """Whether a device may have come on with the key; asked as the step ends, and once."""
        spec = self.spec
        if spec.question != "key_on" or self._phase != "hold" or self._left_s() > STANDS_S / 2 or self._has_asked:
            return False
        self._has_asked = True
        slots = [one.planned_a for one in self._steps if one.question == "slot_on"]
        came = block_load(self.history, self._before, self._held_from_s + STANDS_S) if slots else None
        if came is None or came.amps < LEAST_SHARE * min(slots):
            return False
        text = f"{came.amps:.1f} A came on with the key"
        if came.of_block:
            text = f"{text}, and the fuse block carries current with every device off"
        self._asked = Asked(
            f"{text}; is that the bike's own?",
            lambda: None,
            lambda: self._go_on(stranger_off("every added device that is on")),
        )
        return True

    def _early_start(self) -> bool:
        spec = self.spec
        if not spec.key or self.memory.key is not True or spec.question in ("crank", "engine_on", "key_off"):
            return False
        if watch.cranking_since(self._sight()) is None:
            return False
        self._ways.mark(Cranked.text)
        self._stray(f"the starter turned, at {spec.title}")
        self._ways.tell(f"{spec.title}: the starter turned before its time; it comes later, with all loads on")
        self._once_more(engine_off())
        return True

    def _engine_lost(self) -> bool:
        spec, before = self.spec, self.memory.before_crank
        seen = self.memory.outcomes.get(spec.id) == "seen"
        if spec.question != "engine_on" or self._phase != "hold" or not seen or self.memory.bridged or before is None:
            return False
        lasted_s = self.history.now_s - self._held_from_s
        if lasted_s < STOPPED_S or not self._no_alternator(before.of("battery_v"), before.of("battery_a")):
            return False
        crank = next((n for n, one in enumerate(self._steps) if one.question == "crank"), None)
        if crank is None:
            return False
        self._asked = Asked(
            f"the engine seems to have stopped after {lasted_s - STOPPED_S:.0f} s of {spec.hold_s:.0f} s. "
            "Start it again? (no, if it runs, or if that is enough)",
            self._start_again(crank),
            lambda: self.memory.outcomes.__setitem__(spec.id, "confirmed"),
            lambda: not self._no_alternator(before.of("battery_v"), before.of("battery_a")),
        )
        return True

    def _start_again(self, crank: int) -> Callable[[], None]:
        def begin() -> None:
            self._ways.mark(EngineStopped.text)
            self._stray("the engine stopped")
            self._go_to(crank, as_it_is=True)

        return begin

    def _no_alternator(self, volts: float, amps: float) -> bool:
        """Whether nothing shows that the alternator gives anything; the levels with the engine off tell."""
        t, v = self.history.points("battery_v", self.history.now_s - STOPPED_S)
        _, a = self.history.points("battery_a", self.history.now_s - STOPPED_S)
        if not len(t) or math.isnan(volts) or not np.all(v < volts + 0.6 * RAISED_V):
            return False
        return bool(not len(a) or math.isnan(amps) or np.all(amps - a < LEAST_SHARE_A))
