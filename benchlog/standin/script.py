"""What the tester does to the bike, and when."""

from dataclasses import dataclass, replace
from typing import Literal

from benchlog.core.events import (
    Cranked,
    EngineRuns,
    EngineStopped,
    Event,
    FuseIn,
    FuseOut,
    KeyOff,
    KeyOn,
    ShuntBack,
    ShuntBridged,
    ShuntFree,
    SlotEvent,
    SlotOff,
    SlotOn,
    ZeroFrom,
    ZeroTo,
    event_of,
)

Do = Literal[
    "key on",
    "key off",
    "slot on",
    "slot off",
    "fuse out",
    "fuse in",
    "crank",
    "running",
    "engine off",
    "zero",
    "zero end",
    "shunt bridged",
    "shunt free",
    "note",
]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done at ``time_s`` (s from the first sample).

    ``running`` does nothing but note that the engine runs; ``zero`` to ``zero end`` takes
    every current channel out of circuit; ``shunt bridged`` to ``shunt free`` has a cable across the battery's shunts;
    ``note`` writes ``text``.
    """

    time_s: float
    do: Do
    slot: int | None = None
    mark: bool = True
    text: str = ""

    @property
    def marked_as(self) -> str:
        """The text of its mark."""
        if self.do == "note":
            return self.text
        if self.slot is not None:
            thing, state = self.do.split()
            return f"{thing} {self.slot} {state}"
        return self.do


@dataclass(frozen=True, slots=True)
class Script:
    """Actions over a log of ``end_s`` s.

    Attributes:
        on: slots whose device is switched on from the start.
        mark_late_s: how long after an action its mark is set.
    """

    end_s: float
    actions: tuple[Action, ...] = ()
    on: frozenset[int] = frozenset()
    mark_late_s: float = 0.0

    def shifted(self, by_s: float) -> "Script":
        """The same, each action ``by_s`` s later."""
        return replace(self, actions=tuple(replace(act, time_s=act.time_s + by_s) for act in self.actions))

    def unmarked(self) -> "Script":
        """The same, with no marks."""
        return replace(self, actions=tuple(replace(act, mark=False) for act in self.actions))

    def times(self, do: Do) -> list[float]:
        """When this is done, s."""
        return sorted(act.time_s for act in self.actions if act.do == do)


def acceptance_script(
    slots: tuple[int, ...] = (1, 2, 3, 4),
    *,
    rest_s: float = 30.0,
    slot_every_s: float = 4.0,
    all_on_s: float = 10.0,
    crank: bool = True,
    running_s: float = 25.0,
    settle_s: float = 300.0,
    marks: bool = True,
) -> Script:
    """Rest, key on, each slot on in turn, all on, crank, running, key off, settle. Slots stay switched on."""
    now = rest_s
    actions = [Action(now, "key on")]
    for slot in slots:
        now += slot_every_s
        actions.append(Action(now, "slot on", slot))
    now += all_on_s
    if crank:
        actions.append(Action(now, "crank"))
        actions.append(Action(now + 2.5, "running"))
        now += 2.5 + running_s
    actions.append(Action(now, "key off"))
    script = Script(now + settle_s, tuple(actions))
    return script if marks else script.unmarked()


def parked_script(hours: float) -> Script:
    """The key stays off throughout."""
    return Script(hours * 3600.0)


def key_cycles(
    count: int,
    *,
    rest_s: float = 10.0,
    on_s: float = 5.0,
    off_s: float = 8.0,
    settle_s: float = 200.0,
    on: tuple[int, ...] = (1, 2, 3, 4),
    marks: bool = False,
) -> Script:
    """The key turned on and off ``count`` times with the devices in ``on`` switched on; then settle."""
    actions: list[Action] = []
    now = rest_s
    for _ in range(count):
        actions += [Action(now, "key on", mark=marks), Action(now + on_s, "key off", mark=marks)]
        now += on_s + off_s
    return Script(now - off_s + settle_s, tuple(actions), frozenset(on))


_BY_EVENT: dict[type[Event], Do] = {
    KeyOn: "key on",
    KeyOff: "key off",
    Cranked: "crank",
    EngineRuns: "running",
    EngineStopped: "engine off",
    ZeroFrom: "zero",
    ZeroTo: "zero end",
    ShuntBack: "zero end",
    ShuntBridged: "shunt bridged",
    ShuntFree: "shunt free",
    SlotOn: "slot on",
    SlotOff: "slot off",
    FuseOut: "fuse out",
    FuseIn: "fuse in",
}


def action_of(text: str, time_s: float) -> Action | None:
    """What a mark's text tells to do, done at ``time_s``; None where it tells nothing. Case and spaces do not count."""
    event = event_of(text)
    if event is None:
        return None
    return Action(time_s, _BY_EVENT[type(event)], event.slot if isinstance(event, SlotEvent) else None)
