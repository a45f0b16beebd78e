"""Which edge of a contact that bounces is the event, and which one energised the coil?"""

from collections.abc import Sequence
from typing import Literal

import numpy as np

from benchlog.analysis.levels import Crossing, Levels, crossings
from benchlog.core.quantiles import percentile
from benchlog.core.trace import Array

#: A key's contact bounces for up to this long, s (common practice, no source).
KEY_BOUNCE_S = 0.050
#: Edges this far apart still belong to one bounce, s: the inrush that comes with it may hold the line's voltage down.
REACH_S = 2 * KEY_BOUNCE_S
#: A coil's current hardly changes within this, s (its L/R is several ms; common practice, no source).
HARDLY_S = 0.002
#: A high state is looked for this long before a line falls, or after it rises, s.
BESIDE_S = {"low": 2.5, "high": 0.4}


def line_moves(time_s: Array, x: Array, at_s: float, to: Literal["high", "low"], low: float | None) -> list[Crossing]:
    """Passages of a line around one change, through half of the levels just beside that change.

    Args:
        time_s, x: single samples around the change, s and V.
        at_s: about when the line changes. to: which way.
        low: the line's low level over the log, which neither engine nor load moves; None if it has none.
    """
    good = np.isfinite(x)
    t, volts = time_s[good], x[good]
    if len(volts) < 4:
        return []
    floor = float(np.min(volts)) if low is None else low
    high = _high(t, volts, at_s, to, floor)
    if high is None or high - floor <= 1.0:
        return []
    return crossings(time_s, x, Levels(floor, high))


def _high(t: Array, volts: Array, at_s: float, to: Literal["high", "low"], floor: float) -> float | None:
    from_s, to_s = (at_s - BESIDE_S["low"], at_s) if to == "low" else (at_s, at_s + BESIDE_S["high"])
    beside = (t >= from_s) & (t <= to_s)
    part = volts[beside] if beside.any() else volts
    # spikes apart, and only of the upper state: pulses and a slow fall are in the lower half as well
    top = percentile(part, 98)
    upper = part[part > (floor + top) / 2]
    return percentile(upper, 75) if len(upper) else None


def event_edge(
    moves: Sequence[Crossing], at_s: float, to: Literal["high", "low"], pulsed: bool = False
) -> Crossing | None:
    """The edge that stands for one turn of the key, however often its contact bounces: the first one.

    Args:
        moves: of the line, in time order. at_s: about when. to: the new state.
        pulsed: the line is pulsed while it is up, so that it goes down with the last of its pulses.

    Returns:
        None where no passage goes that way.
    """
    wanted = [move for move in moves if move.to == to]
    if not wanted:
        return None
    found = min(wanted, key=lambda move: abs(move.time_s - at_s))
    if to == "low" and pulsed:
        return train(moves, found, within_s=float("inf"))[-1]
    back = [found]
    for move in reversed([move for move in moves if move.time_s < found.time_s]):
        if move.to != to:
            pause_s = back[-1].time_s - move.time_s
            if pause_s >= KEY_BOUNCE_S:
                break
            continue
        if not pulsed and found.time_s - move.time_s > REACH_S:
            break
        if back[-1].time_s - move.time_s >= REACH_S:
            break
        back.append(move)
    return back[-1]


def train(moves: Sequence[Crossing], first: Crossing, within_s: float = REACH_S) -> list[Crossing]:
    """The edges of one bounce in the direction of ``first``, itself included: those within ``within_s`` of it."""
    edges = [first]
    for move in moves:
        if move.time_s <= first.time_s:
            continue
        if move.time_s > first.time_s + within_s or move.time_s - edges[-1].time_s >= REACH_S:
            break
        if move.to == first.to:
            edges.append(move)
    return edges


def working_edge(moves: Sequence[Crossing], first: Crossing, moved_s: float) -> Crossing:
    """The edge from which the coil's current changed until the contact moved at ``moved_s``.

    That is the last one before, or one further back where all that lies between is shorter than what a coil notices.
    """
    edges = [edge for edge in train(moves, first) if edge.time_s <= moved_s] or [first]
    at = len(edges) - 1
    while at:
        back = [m for m in moves if edges[at - 1].time_s < m.time_s < edges[at].time_s and m.to != first.to]
        turned_s = back[-1].time_s if back else edges[at].time_s
        lost_s, held_s = edges[at].time_s - turned_s, turned_s - edges[at - 1].time_s
        if lost_s >= HARDLY_S or lost_s >= held_s:
            break
        at -= 1
    return edges[at]
