"""What marks mean: each text that a tester notes, read once into the event it stands for."""

import re
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class KeyOn:
    """The key was turned on."""

    text: ClassVar[str] = "key on"


@dataclass(frozen=True, slots=True)
class KeyOff:
    """The key was turned off."""

    text: ClassVar[str] = "key off"


@dataclass(frozen=True, slots=True)
class Cranked:
    """The starter began to turn."""

    text: ClassVar[str] = "crank"


@dataclass(frozen=True, slots=True)
class EngineRuns:
    """The engine runs by itself."""

    text: ClassVar[str] = "running"


@dataclass(frozen=True, slots=True)
class EngineStopped:
    """The engine was stopped."""

    text: ClassVar[str] = "engine off"


@dataclass(frozen=True, slots=True)
class ZeroFrom:
    """From here on no current flows through the logger's shunts."""

    text: ClassVar[str] = "zero"


@dataclass(frozen=True, slots=True)
class ZeroTo:
    """Up to here none flowed."""

    text: ClassVar[str] = "zero end"


@dataclass(frozen=True, slots=True)
class ShuntBridged:
    """A cable lies across the battery's shunts."""

    text: ClassVar[str] = "shunt bridged"


@dataclass(frozen=True, slots=True)
class ShuntFree:
    """The cable is off again."""

    text: ClassVar[str] = "shunt free"


@dataclass(frozen=True, slots=True)
class SlotOn:
    """A circuit was switched on."""

    slot: int

    @property
    def text(self) -> str:
        """As it is noted."""
        return f"slot {self.slot} on"


@dataclass(frozen=True, slots=True)
class SlotOff:
    """A circuit was switched off."""

    slot: int

    @property
    def text(self) -> str:
        """As it is noted."""
        return f"slot {self.slot} off"


@dataclass(frozen=True, slots=True)
class FuseOut:
    """A circuit's fuse was pulled."""

    slot: int

    @property
    def text(self) -> str:
        """As it is noted."""
        return f"fuse {self.slot} out"


@dataclass(frozen=True, slots=True)
class FuseIn:
    """It was put back."""

    slot: int

    @property
    def text(self) -> str:
        """As it is noted."""
        return f"fuse {self.slot} in"


PlainEvent = KeyOn | KeyOff | Cranked | EngineRuns | EngineStopped | ZeroFrom | ZeroTo | ShuntBridged | ShuntFree
SlotEvent = SlotOn | SlotOff | FuseOut | FuseIn
Event = PlainEvent | SlotEvent

PLAIN: tuple[PlainEvent, ...] = (
    *(KeyOn(), KeyOff(), Cranked(), EngineRuns(), EngineStopped()),
    *(ZeroFrom(), ZeroTo(), ShuntBridged(), ShuntFree()),
)
BY_SLOT: tuple[type[SlotEvent], ...] = (SlotOn, SlotOff, FuseOut, FuseIn)
_PLAIN = {event.text: event for event in PLAIN}
_BY_SLOT = {kind(0).text.replace(" 0 ", " "): kind for kind in BY_SLOT}
_NUMBERED = re.compile(r"(\w+) (\d{1,9}) (\w+)")


def plain(text: str) -> str:
    """A mark's text as it is read: in small letters, with one space between words."""
    return " ".join(text.lower().split())


def event_of(text: str) -> Event | None:
    """The event that a mark's text stands for, whatever its case and spacing; None for free text."""
    read = plain(text)
    if (event := _PLAIN.get(read)) is not None:
        return event
    numbered = _NUMBERED.fullmatch(read)
    kind = _BY_SLOT.get(f"{numbered[1]} {numbered[3]}") if numbered else None
    return kind(int(numbered[2])) if numbered and kind else None
