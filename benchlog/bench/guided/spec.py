"""What a step of the guided test is."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Undo:
    """How a step is taken back before it is taken again.

    Attributes:
        say: what the tester does. mark: what that is in the log, and for a stand-in. question: what shows it.
    """

    say: str
    mark: str
    question: str


@dataclass(frozen=True, slots=True)
class StepSpec:
    """One step.

    Attributes:
        id, title, say: what it is; ``say`` is what the tester does, short and imperative.
        question: what shows that it is done (a key of ``watch.QUESTIONS``).
        waiting_for: the same in words.
        mark: noted in the log as it is done, and what a stand-in is asked to do; "" for none.
        end_mark: noted, and asked for, once the step has lasted.
        caution: shown, and to be read, before the step.
        doubt: what may be wrong where nothing is seen.
        hold_say: what the tester does while it lasts; "" where ``say`` still holds.
        bridged_say: what the tester does instead where the shunt is still bridged; "" where the bridge comes off first.
        unseen: what it means where it was done and nothing was seen of it; "" where that is odd.
        hold_s: how long the step lasts once it is done, s. need_s: what ``question`` itself waits for, s.
        doubt_s: when ``doubt`` is said, s. bike_s: the longest wait for what the bike does by itself, s; a person is
            waited for without end.
        by_hand: only the tester can tell; without that it was not done.
        slot, planned_a, tolerance: of its circuit; 0 where there is none. ``tolerance`` is a share of ``planned_a``.
        key: the key must be on (True) or off (False) for it.
        walk: part of the fuse walk, which is taken only where a drain was found or the tester asks.
        undo: None where it can simply be done again.
    """

    id: str
    title: str
    say: str
    question: str
    waiting_for: str
    mark: str = ""
    end_mark: str = ""
    caution: str = ""
    doubt: str = ""
    hold_say: str = ""
    bridged_say: str = ""
    unseen: str = ""
    hold_s: float = 0.0
    need_s: float = 0.0
    doubt_s: float = 20.0
    bike_s: float = math.inf
    by_hand: bool = False
    slot: int = 0
    planned_a: float = 0.0
    tolerance: float = 0.0
    key: bool = False
    walk: bool = False
    undo: Undo | None = None
