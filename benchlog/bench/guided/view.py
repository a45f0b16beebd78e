"""What the tester sees, and the keys that say something to the test."""

from dataclasses import dataclass
from typing import Literal

from benchlog.bench.live import LiveStep

Word = Literal["enter", "skip", "again", "walk", "bridge", "pause", "list", "caution", "yes", "no"]
Digit = Literal["0", "1", "2", "3", "4", "5", "6", "7", "8", "9"]
Key = Word | Digit
#: How a step stands in the list of steps.
Standing = Literal["done", "by hand", "not seen", "cut short", "left out", "now", "to come"]


@dataclass(frozen=True, slots=True)
class ListedStep:
    """One line of the list of steps.

    Attributes:
        number: from 1. title: as the step has it. standing: how it stands with it now.
    """

    number: int
    title: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class View:
    """What the tester sees now.

    Attributes:
        step: number, title, what to do and what is waited for. read_first: the caution stands alone.
        by_itself: the stand-in does the steps. can_walk: ``w`` is offered.
        silent_s: for how long no line has come, s of wall clock; 0 while they come.
        paused: nothing is asked and nothing goes on. typed: the number of a step, as far as it is typed.
        steps: the list of steps, where it is asked for; else empty.
        bridge: ``offered`` where ``b`` says that the shunt is bridged, ``on`` while it is.
    """

    step: LiveStep
    read_first: bool
    by_itself: bool
    can_walk: bool
    silent_s: float = 0.0
    bridge: Literal["", "offered", "on"] = ""
    paused: bool = False
    typed: str = ""
    steps: tuple[ListedStep, ...] = ()
