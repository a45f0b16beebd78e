"""What the tester sees, and the keys that say something to the test."""

from dataclasses import dataclass
from typing import Literal

from benchlog.bench.live import LiveStep

Key = Literal["enter", "skip", "again", "walk", "bridge"]


@dataclass(frozen=True, slots=True)
class View:
    """What the tester sees now.

    Attributes:
        step: number, title, what to do and what is waited for. read_first: the caution stands alone.
        by_itself: the stand-in does the steps. can_walk: ``w`` is offered.
        silent_s: for how long no line has come, s of wall clock; 0 while they come.
        bridge: ``offered`` where ``b`` says that the shunt is bridged, ``on`` while it is.
    """

    step: LiveStep
    read_first: bool
    by_itself: bool
    can_walk: bool
    silent_s: float = 0.0
    bridge: Literal["", "offered", "on"] = ""
