"""When was the key turned? From marks, else the lines that follow the key, else the battery's own current."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from benchlog.analysis.coarse import Coarse, runs
from benchlog.analysis.cranking import Crank
from benchlog.analysis.switched import SwitchedLine, drop_short, hold_state, without_chatter
from benchlog.core.events import Cranked, EngineRuns, KeyOff, KeyOn, SlotOn
from benchlog.core.trace import Mark

#: A dwell shorter than this is chatter, s.
SHORTEST_DWELL_S = 0.050
#: A mark is written by hand; the line's own change within this time is the event, s.
MARK_REACH_S = 5.0
#: How well a mark alone places an event, s (common practice, no source).
MARK_HALF_WIDTH_S = 1.0
#: Nobody turns a key back within this, s, nor forgets more turns than this between two marks (common practice).
BY_HAND_S, MOST_UNMARKED = 0.15, 8
#: A bike with the key on draws at least this more than with it off, A (common practice, no source).
KEY_ON_A = 0.5

#: A battery above this voltage is charged, V; one that is charged no longer falls by so much at once, V; how long
#: before its current died away its voltage is looked at, s (common practice, no source).
CHARGED_V, CHARGE_GONE_V, CHARGED_BEFORE_S = 13.2, 0.3, 2.0

Source = Literal["marks", "key_v", "trigger_v", "feed_v", "battery_a", "battery_v", "none"]


@dataclass(frozen=True, slots=True)
class Turn:
    """The key was turned, as far as a coarse look tells.

    Attributes:
        time_s: s. half_width_s: how well it is known, s.
        to: the new state. role: the line to look at closely for the instant; None where there is none.
    """

    time_s: float
    half_width_s: float
    to: Literal["on", "off"]
    role: str | None


@dataclass(frozen=True, slots=True)
class KeyState:
    """The key's story over one log.

    Attributes:
        source: what it was read from.
        starts_on: state at the log's first sample; None where nothing tells.
        turns: in time order, alternating.
        sure: False where a line that is up throughout may only mean a log taken with the key on.
        marks_contradict: the key was noted, but other marks need it on where it was noted off; the notes are not used.
    """

    source: Source
    starts_on: bool | None
    turns: tuple[Turn, ...]
    sure: bool
    marks_contradict: bool = False

    def spans(self, start_s: float, end_s: float) -> list[tuple[bool, float, float]]:
        """``(on, from_s, to_s)`` of each stretch of one state over the log; empty where the state is not known."""
        if self.starts_on is None:
            return []
        edges = [start_s, *(turn.time_s for turn in self.turns), end_s]
        states = [self.starts_on, *(turn.to == "on" for turn in self.turns)]
        return [(on, a, b) for on, a, b in zip(states, edges[:-1], edges[1:], strict=True) if b > a]


def key_state(
    table: Coarse, lines: dict[str, SwitchedLine], marks: Sequence[Mark], cranks: Sequence[Crank]
) -> KeyState:
    """Read the key's state from the best source that the log has.

    Args:
        table: the whole log, coarse.
        lines: role -> states of the switched lines that are logged.
        marks: what the tester noted.
        cranks: a line that drops during one of them (many bikes cut the lamps) is no key event.
    """
    noted = [mark for mark in marks if isinstance(mark.event, KeyOn | KeyOff)]
    if noted:
        marked = _from_marks(noted, table, lines, cranks)
        if not _contradicted(marked, marks, table):
            return marked
        # a line that stays still is no better: nobody cranks a bike whose key is off throughout
        moving = {role: line for role, line in lines.items() if line.moves}
        return replace(_unmarked(table, moving, cranks), marks_contradict=True)
    return _unmarked(table, lines, cranks)


def _unmarked(table: Coarse, lines: dict[str, SwitchedLine], cranks: Sequence[Crank]) -> KeyState:
    """The key's state as the lines, or the battery's own readings, tell it."""
    order: tuple[Literal["key_v", "trigger_v", "feed_v"], ...] = ("key_v", "trigger_v", "feed_v")
    for role in order:
        if role in lines:
            up = _without_cranks(lines[role].up, table, cranks)
            sure = role == "key_v" or bool(up.any() and not up.all()) or not up.any()
            return KeyState(role, bool(up[0]), turns_of(up, table, role), sure)
    if "battery_a" in table.mean:
        up = _drawing(table)
        return KeyState("battery_a", bool(up[0]), turns_of(up, table, "battery_a"), sure=True)
    if "battery_v" in table.mean:
        up = _disturbed(table)
        return KeyState("battery_v", bool(up[0]), turns_of(up, table, None), sure=True)
    if "drain_a" in table.mean:
        return KeyState("none", False, (), sure=False)
    return KeyState("none", None, (), sure=False)


def turns_of(up: np.ndarray, table: Coarse, role: str | None) -> tuple[Turn, ...]:
    """The changes of a state, each half way between the points around it."""
    t = table.time_s
    turns = []
    for at in np.flatnonzero(up[1:] != up[:-1]) + 1:
        middle = float((t[at - 1] + t[at]) / 2)
        half = float(table.end_s[at] - table.start_s[at - 1]) / 2
        turns.append(Turn(middle, half, "on" if up[at] else "off", role))
    return tuple(turns)


def _without_cranks(up: np.ndarray, table: Coarse, cranks: Sequence[Crank]) -> np.ndarray:
    kept = without_chatter(up, table.start_s, SHORTEST_DWELL_S)
    for crank in cranks:
        for first, end in runs(~kept):
            begins, ends = table.start_s[first], table.start_s[min(end, len(kept) - 1)]
            if first > 0 and end < len(kept) and begins > crank.from_s - 1.0 and ends < crank.to_s + 1.5:
                kept[first:end] = True
    return kept


def _from_marks(
    noted: Sequence[Mark], table: Coarse, lines: dict[str, SwitchedLine], cranks: Sequence[Crank]
) -> KeyState:
    changes = {
        role: turns_of(_without_cranks(line.up, table, cranks), table, role)
        for role, line in lines.items()
        if line.moves
    }
    if not changes and "battery_a" in table.mean:
        # the bike's own load shows the key-on; after the key-off it may stay awake, so that is left to the mark
        drawn = turns_of(_drawing(table), table, "battery_a")
        changes["battery_a"] = tuple(turn for turn in drawn if turn.to == "on")
    turns: list[Turn] = []
    state: str | None = None
    for mark in noted:
        to: Literal["on", "off"] = "on" if isinstance(mark.event, KeyOn) else "off"
        if to == state:
            continue
        state = to
        turns.append(_nearest(mark, to, changes, turns[-1].time_s if turns else -math.inf))
    turns = _with_lines(turns, changes)
    return KeyState("marks", turns[0].to == "off", tuple(turns), sure=True)


def _contradicted(marked: KeyState, marks: Sequence[Mark], table: Coarse) -> bool:
    """Whether something was noted that needs the key, well within a stretch that has it off: a turn was not noted."""
    needs = [mark.time_s for mark in marks if isinstance(mark.event, Cranked | EngineRuns | SlotOn)]
    off = [(a, b) for on, a, b in marked.spans(float(table.start_s[0]), float(table.end_s[-1])) if not on]
    return any(a + MARK_REACH_S < at_s < b - MARK_REACH_S for a, b in off for at_s in needs)


def _with_lines(turns: list[Turn], changes: dict[str, tuple[Turn, ...]]) -> list[Turn]:
    """Add what a line shows before, between and after the marks: turns that nobody noted, or noted wrongly.

    The first of the lines that is logged tells, and only where it follows the marks there are, so that a trigger which
    the key does not switch adds nothing. Between the marks a pair of turns is a hand's: it takes its time, and comes a
    few times only, which a trigger that is pulsed does not.
    """
    turns = sorted(turns, key=lambda turn: turn.time_s)
    for role in ("key_v", "trigger_v", "feed_v"):
        line = changes.get(role, ())
        if not line or any(turn.role != role for turn in turns):
            continue
        # every turn is the line's own, so what follows it closely is the next one; a contact has more than the key
        near_s = MARK_REACH_S if role == "feed_v" else BY_HAND_S
        after = [turn for turn in line if turn.time_s > turns[-1].time_s + near_s]
        before = [turn for turn in line if turn.time_s < turns[0].time_s - MARK_REACH_S]
        if role == "feed_v" and len(after) != 1:
            after = []  # a feed that comes and goes is the contact's affair; one that goes for good went with the key
        if role != "feed_v":
            turns = _unmarked_between(turns, line)
        if after and after[0].to != turns[-1].to:
            turns = [*turns, *after]
        if before and before[-1].to != turns[0].to:
            turns = [*before, *turns]
        break
    return turns


def _unmarked_between(turns: list[Turn], line: tuple[Turn, ...]) -> list[Turn]:
    """The turns, and the pairs that a line shows between them though nobody marked them."""
    found = turns[:1]
    for before, after in pairwise(turns):
        extra = [turn for turn in line if before.time_s < turn.time_s < after.time_s]
        times = [before.time_s, *(turn.time_s for turn in extra), after.time_s]
        paired = extra and len(extra) % 2 == 0 and extra[0].to == after.to
        if paired and len(extra) <= MOST_UNMARKED and min(b - a for a, b in pairwise(times)) >= BY_HAND_S:
            found += extra
        found.append(after)
    return found


def _nearest(mark: Mark, to: Literal["on", "off"], changes: dict[str, tuple[Turn, ...]], after_s: float) -> Turn:
    """The change that a mark means: the nearest, after the one that the mark before it meant; else the mark itself."""
    for role in ("key_v", "trigger_v", "feed_v", "battery_a"):
        near = [
            turn
            for turn in changes.get(role, ())
            if turn.to == to and abs(turn.time_s - mark.time_s) <= MARK_REACH_S and turn.time_s > after_s
        ]
        if near:
            return min(near, key=lambda turn: abs(turn.time_s - mark.time_s))
    return Turn(mark.time_s, MARK_HALF_WIDTH_S, to, None)


def _drawing(table: Coarse) -> np.ndarray:
    """States from the battery's current: it draws well above its calm level, or charges."""
    amps = table.mean["battery_a"].copy()
    amps[~np.isfinite(amps)] = np.where(table.over["battery_a"][~np.isfinite(amps)] > 0, 1e3, np.nan)
    calm = np.abs(amps[np.isfinite(amps)])
    if not len(calm):
        return np.zeros(len(amps), dtype=bool)
    base = float(np.min(calm)) if calm.min() < KEY_ON_A else 0.0
    # where it was not measured, nobody saw the key being turned
    known = np.maximum.accumulate(np.where(np.isfinite(amps), np.arange(len(amps)), -1))
    size = np.where(known >= 0, np.abs(amps[known]), base)
    up = _held_by_voltage(hold_state(size, base + 0.6 * KEY_ON_A, base + KEY_ON_A), table)
    return drop_short(up, table.start_s, 1.0)


def _held_by_voltage(up: np.ndarray, table: Coarse) -> np.ndarray:
    """A full battery takes next to nothing from a running engine: until its voltage falls, the key is still on."""
    if "battery_v" not in table.mean:
        return up
    volts, held = table.mean["battery_v"], up.copy()
    for first, end in runs(~up):
        if first == 0:
            continue
        begin = int(np.searchsorted(table.start_s, table.start_s[first] - CHARGED_BEFORE_S))
        since = np.where(np.isfinite(volts[begin:end]), volts[begin:end], -np.inf)
        with np.errstate(invalid="ignore"):
            fallen = since < np.maximum.accumulate(since) - CHARGE_GONE_V
            charged = (since > CHARGED_V) & ~np.maximum.accumulate(fallen & (np.arange(len(since)) >= first - begin))
        held[first:end] |= charged[first - begin :]
    return held


def _disturbed(table: Coarse) -> np.ndarray:
    """States from the battery's voltage alone: from its first to its last clear departure from a steady course."""
    volts = table.mean["battery_v"]
    flags = np.zeros(len(volts), dtype=bool)
    swing = table.high["battery_v"] - table.low["battery_v"]
    step = np.abs(np.diff(volts, prepend=volts[:1]))
    with np.errstate(invalid="ignore"):
        moved = np.flatnonzero(np.fmax(step, swing) > 0.15)
    if len(moved):
        flags[moved[0] : moved[-1] + 1] = True
    return flags
