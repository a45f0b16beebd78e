"""A simulated bike that runs on and is acted on: the same circuit, looked at window after window."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.core.errors import BenchlogError
from benchlog.core.events import SlotOff, SlotOn, plain
from benchlog.core.trace import Array
from benchlog.standin.channels import at_logger
from benchlog.standin.deeds import deeds_of, still_to_come
from benchlog.standin.install import SimulatedInstall
from benchlog.standin.logger import DrawnErrors, LoggerSpec, draw, read
from benchlog.standin.script import Action, Script, action_of
from benchlog.standin.timeline import SimulatedTimeline, timeline_of

#: How long an action is kept for what it leaves behind, s. The slowest is surface charge: 0.2 V falling with
#: 90 s, which after this long is below a nanovolt.
REMEMBERED_S = 1800.0
#: A course of events is worked out this far ahead, so that not every window needs a new one, s.
AHEAD_S = 30.0
KNOWN = (
    "key on, key off, slot N on, slot N off, all on, all off, fuse N out, fuse N in, crank, running, engine off, "
    "zero, zero end, shunt bridged, shunt free"
)


class CannotDo(BenchlogError):
    """Something that cannot be done to the simulated bike now. The text says why, on one line."""


@dataclass(frozen=True, slots=True)
class Window:
    """Samples that follow one another, as the logger reads them.

    Attributes:
        time_s: s since the first sample.
        values: role -> canonical unit and sign, NaN where over range.
        over: role -> True where over range; only roles that have any.
    """

    time_s: Array
    values: Mapping[str, Array]
    over: Mapping[str, npt.NDArray[np.bool_]]


class LiveBike:
    """One bike with its install and logger, key off and devices switched off at first.

    Args:
        install: true parameters.
        spec: the logger; its own errors are drawn from ``rng``.
        rng: the only source of chance.
    """

    def __init__(self, install: SimulatedInstall, spec: LoggerSpec, rng: np.random.Generator) -> None:
        self.install, self.spec = install, spec
        self.drawn: Mapping[str, DrawnErrors] = {channel.role: draw(channel, rng) for channel in spec.channels}
        self._rng = rng
        self._sent = 0
        self._actions: list[Action] = []
        self._last_s = 0.0
        self._line: SimulatedTimeline | None = None
        #: role -> what its clip reads while it hangs elsewhere, V
        self.moved_clips: dict[str, Callable[[], float]] = {}

    @property
    def line(self) -> SimulatedTimeline:
        """The course of events up to the newest sample and a little beyond."""
        return self._line_until(self.time_s)

    def let_pass(self, seconds: float) -> None:
        """Let time go by without reading its samples."""
        self._sent += round(seconds * self.spec.rate_hz)

    def become(self, install: SimulatedInstall) -> None:
        """Go on as another install, to which the same was done."""
        self.install, self._line = install, None

    @property
    def time_s(self) -> float:
        """The newest sample's time, s; 0 before the first."""
        return max(self._sent - 1, 0) / self.spec.rate_hz

    @property
    def remembered(self) -> tuple[Action, ...]:
        """What was done and still matters, oldest first."""
        return tuple(self._actions)

    def act(self, text: str) -> float:
        """Do what a mark's text says, between the newest sample and the next one.

        Returns:
            When it was done, or will be where the rider does something else before (``deeds``), s.

        Raises:
            CannotDo: not understood, no such slot, or it makes no sense now (cranking with the key off).
        """
        at = done = self._next_instant()
        asked = plain(text)
        slots = [circuit.slot for circuit in self.install.circuits]
        every = {"all on": [SlotOn(slot).text for slot in slots], "all off": [SlotOff(slot).text for slot in slots]}
        wanted = every.get(asked, [asked])
        for one in wanted:
            action = action_of(one, at)
            if action is None:
                raise CannotDo(f'"{text.strip()[:60]}" is not understood; known are {KNOWN}')
            self._refuse_senseless(action)
            dropped = still_to_come(action, self._actions)
            if dropped:
                self._actions = [act for act in self._actions if act not in dropped]
                self._line = None
            if action.do != "running" and not self._is_so(action):
                deeds = deeds_of(self.install, action, self._actions)
                self._actions += deeds
                self._last_s, self._line = at, None
                done, at = next(deed.time_s for deed in deeds if deed.do == action.do), self._next_instant()
        return done

    def samples(self, count: int) -> Window:
        """The next ``count`` samples."""
        time = np.arange(self._sent, self._sent + count) / self.spec.rate_hz
        if count == 0:
            return Window(time, {role: np.zeros(0) for role in self.spec.roles}, {})
        line = self._line_until(float(time[-1]))
        self._sent += count
        reached = at_logger(line, time, self.spec.roles)
        reached |= {role: np.full(count, reads()) for role, reads in self.moved_clips.items()}
        values: dict[str, Array] = {}
        over: dict[str, npt.NDArray[np.bool_]] = {}
        for channel in self.spec.channels:
            values[channel.role], beyond = read(channel, self.drawn[channel.role], reached[channel.role], self._rng)
            if beyond.any():
                over[channel.role] = beyond > 0
        return Window(time, values, over)

    def _next_instant(self) -> float:
        """A time after the newest sample and the last action, and before the next sample."""
        following = self._sent / self.spec.rate_hz
        share = float(self._rng.uniform(0.05, 0.95)) if self.spec.random_phase else 0.5
        at = max(following - share / self.spec.rate_hz, 0.0)
        if at <= self._last_s and self._actions:
            at = max((self._last_s + following) / 2, float(np.nextafter(self._last_s, np.inf)))
        return at

    def _is_so(self, action: Action) -> bool:
        """Whether this is the state already, so that nothing changes."""
        line, now = self._line_until(self.time_s), np.array([np.inf])
        if action.do in ("key on", "key off"):
            return bool(line.key.at(now)[0]) == (action.do == "key on")
        if action.do in ("zero", "zero end"):
            return bool(line.zero.at(now)[0]) == (action.do == "zero")
        if action.do in ("shunt bridged", "shunt free"):
            return bool(line.bridged.at(now)[0]) == (action.do == "shunt bridged")
        thing = action.do.split()[0]
        if thing not in ("slot", "fuse"):
            return False
        own = [act.do for act in self._actions if act.slot == action.slot and act.do.startswith(thing)]
        return (own[-1] if own else {"slot": "slot off", "fuse": "fuse in"}[thing]) == action.do

    def _refuse_senseless(self, action: Action) -> None:
        slots = [circuit.slot for circuit in self.install.circuits]
        if action.slot is not None and action.slot not in slots:
            listed = ", ".join(str(slot) for slot in slots) or "none"
            raise CannotDo(f"there is no slot {action.slot} on this bike; its slots are: {listed}")
        if action.do != "crank":
            return
        line, at = self._line_until(self.time_s), action.time_s
        running = any(start <= at < stop for start, stop in line.runs)
        if not line.key.at(np.array([at]))[0]:
            raise CannotDo("the key is off; turn it on before you crank")
        again = any(act.do == "crank" and act.time_s > at for act in self._actions)
        if running or again or any(start <= at < stop for start, stop in line.cranks):
            raise CannotDo(
                "the engine runs already; type engine off to stop it first"
                if running
                else "the starter turns already; wait until the engine runs"
            )

    def _line_until(self, until_s: float) -> SimulatedTimeline:
        """The course of events, good until ``until_s`` at least."""
        if self._line is None or until_s >= self._line.end_s - self.install.crank_s:
            self._forget()
            script = Script(until_s + AHEAD_S, tuple(self._actions))
            self._line = timeline_of(self.install, script, from_s=self.time_s - REMEMBERED_S)
        return self._line

    def _forget(self) -> None:
        """Of what is long past keep the last of each kind, which still says how things stand."""
        long_past = self.time_s - REMEMBERED_S
        last = {(act.do, act.slot): act for act in self._actions if act.time_s < long_past}
        recent = [act for act in self._actions if act.time_s >= long_past]
        first_on = next((act for act in self._actions if act.do == "key on"), None)  # a latching contact's closing
        kept = {id(act) for act in (*last.values(), *recent, first_on) if act is not None}
        self._actions = [act for act in self._actions if id(act) in kept]
