"""What marks mean: each text that a tester notes, read once into the event it stands for."""

import re
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class PlainEvent:
    """What happened to the bike or the logger as a whole; ``text`` as it is noted."""

    text: ClassVar[str]


@dataclass(frozen=True, slots=True)
class SlotEvent:
    """What happened to one circuit."""

    slot: int
    pattern: ClassVar[str]

    @property
    def text(self) -> str:
        """As it is noted."""
        return self.pattern.format(self.slot)


class KeyOn(PlainEvent):
    """The key was turned on."""

    text = "key on"


class KeyOff(PlainEvent):
    """The key was turned off."""

    text = "key off"


class Cranked(PlainEvent):
    """The starter began to turn."""

    text = "crank"


class EngineRuns(PlainEvent):
    """The engine runs by itself."""

    text = "running"


class EngineStopped(PlainEvent):
    """The engine was stopped."""

    text = "engine off"


class ZeroFrom(PlainEvent):
    """From here on no current flows through the logger's shunts."""

    text = "zero"


class ZeroTo(PlainEvent):
    """Up to here none flowed."""

    text = "zero end"


class ShuntBack(PlainEvent):
    """The shunt that was taken out of circuit for a zero is back in it."""

    text = "shunt back"


class ShuntBridged(PlainEvent):
    """A cable lies across the battery's shunts."""

    text = "shunt bridged"


class ShuntFree(PlainEvent):
    """The cable is off again."""

    text = "shunt free"


class SlotOn(SlotEvent):
    """A circuit was switched on."""

    pattern = "slot {} on"


class SlotOff(SlotEvent):
    """A circuit was switched off."""

    pattern = "slot {} off"


class SlotWithdrawn(SlotEvent):
    """The newest mark that this circuit was switched on was wrong: something else had come on."""

    pattern = "slot {} withdrawn"


class FuseOut(SlotEvent):
    """A circuit's fuse was pulled."""

    pattern = "fuse {} out"


class FuseIn(SlotEvent):
    """It was put back."""

    pattern = "fuse {} in"


Event = PlainEvent | SlotEvent

PLAIN: tuple[PlainEvent, ...] = (
    *(KeyOn(), KeyOff(), Cranked(), EngineRuns(), EngineStopped()),
    *(ZeroFrom(), ZeroTo(), ShuntBack(), ShuntBridged(), ShuntFree()),
)
BY_SLOT: tuple[type[SlotEvent], ...] = (SlotOn, SlotOff, SlotWithdrawn, FuseOut, FuseIn)
_PLAIN = {event.text: event for event in PLAIN}
_BY_SLOT = {kind.pattern.replace(" {}", ""): kind for kind in BY_SLOT}
_AGO = re.compile(r"(.+?),? (\d{1,4}(?:\.\d+)?) s ago")
_NUMBERED = re.compile(r"(\w+) ([0-9]{1,4}) (\w+)")


def plain(text: str) -> str:
    """A mark's text as it is read: in small letters, with one space between words."""
    return " ".join(text.lower().split())


def seconds_ago(text: str) -> tuple[str, float]:
    """What was noted, and how long before its mark it was, s: ``slot 3 on 20.1 s ago`` was noted late; else 0."""
    late = _AGO.fullmatch(plain(text))
    return (late[1], float(late[2])) if late and event_of(late[1]) is not None else (text, 0.0)


def event_of(text: str) -> Event | None:
    """The event that a mark's text stands for, whatever its case and spacing; None for free text."""
    read = plain(text)
    if (event := _PLAIN.get(read)) is not None:
        return event
    numbered = _NUMBERED.fullmatch(read)
    kind = _BY_SLOT.get(f"{numbered[1]} {numbered[3]}") if numbered else None
    return kind(int(numbered[2])) if numbered and kind else None
