"""Is a switched line pulsed, as a dimmed lamp or a flasher is, rather than switched by the key?"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchlog.analysis.coarse import runs
from benchlog.analysis.levels import Levels, crossings
from benchlog.core.quantiles import median
from benchlog.core.trace import Array, Trace

#: Up for a smaller share of the time, a line is tested by short pulses and not fed, 1 (common practice, no source).
LEAST_DUTY = 0.08
#: Down for a smaller share, it is spiked and not pulsed, 1.
LEAST_PAUSE = 0.08
#: Pulses that last shorter than this in all are the bounce of one contact; and the slowest pulses (0.4 Hz), s.
SHORTEST_TRAIN_S, LONGEST_CYCLE_S = 0.25, 2.5
#: No hand turns a key to and fro in less than this, s; nor so evenly, ± share of the cycle, over so many cycles.
BY_HAND_S, EVEN_SHARE, EVEN_CYCLES = 1.0, 0.1, 6
#: Pulses faster than the samples show as states that last for a few samples each.
ALIASED_POINTS, ALIASED_CYCLES = 5, 10
#: A rate is given for cycles of so many samples at least.
LEAST_ROWS = 8


@dataclass(frozen=True, slots=True)
class Pulses:
    """A train of pulses on one line.

    Attributes:
        duty: share of the time that the line is up, 1.
        hz: pulses a second, as sampled; NaN where a cycle has few samples only.
        pause_s: the longest time between two pulses that the samples show, s.
        from_s, to_s: the stretch that was looked at, s.
    """

    duty: float
    hz: float
    pause_s: float
    from_s: float
    to_s: float


def pulsed_points(low: Array, high: Array, mean: Array, levels: Levels, start_s: Array) -> np.ndarray:
    """True for each point that holds both states and belongs to a train of such points.

    Args:
        low, high, mean: of the samples behind each point, V. levels: of the two states.
        start_s: of each point, s.
    """
    with np.errstate(invalid="ignore"):
        share = (mean - levels.low) / levels.amplitude
        both = (low <= levels.at(0.4)) & (high >= levels.at(0.6)) & (share >= LEAST_DUTY) & (share <= 1 - LEAST_PAUSE)
    kept = np.zeros(len(both), dtype=bool)
    # slow pulses leave points of one state between those with both; a train begins and ends with both
    for first, end in runs(_bridged(both, start_s, LONGEST_CYCLE_S / 10)):
        ends_s = start_s[end] if end < len(start_s) else start_s[-1]
        held = both[first:end]
        if ends_s - start_s[first] >= SHORTEST_TRAIN_S and held.sum() >= max(4, 0.3 * (end - first)):
            kept[first:end] = True
    return kept


def steady_cycles(up: np.ndarray, start_s: Array) -> np.ndarray:
    """True for each point inside a train of states that change too fast or too evenly for a hand on the key."""
    found = np.zeros(len(up), dtype=bool)
    high = runs(up)
    if len(high) < EVEN_CYCLES:
        return found
    rises = np.array([first for first, _ in high])
    step_s = median(np.diff(start_s))
    cycle_s, points = np.diff(start_s[rises]), np.diff(rises)
    near = np.array([median(cycle_s[max(at - 2, 0) : at + 3]) for at in range(len(cycle_s))])
    even = (cycle_s <= LONGEST_CYCLE_S) & (np.abs(cycle_s - near) <= EVEN_SHARE * near + 2 * step_s)
    # where two points are a large part of a cycle, everything would be even
    even &= (cycle_s <= BY_HAND_S) | (2 * step_s <= EVEN_SHARE * near)
    aliased = (points <= ALIASED_POINTS) & (step_s >= SHORTEST_TRAIN_S / 5)
    for flags, least in ((even, EVEN_CYCLES - 1), (aliased, ALIASED_CYCLES)):
        for first, end in runs(flags):
            train = slice(rises[first], high[min(end, len(high) - 1)][1])
            # states of one sample each may be short pulses that it happened to meet
            alone = median([b - a for a, b in high[first : end + 1]]) <= 1
            if end - first >= least and np.mean(up[train]) >= (2 * LEAST_DUTY if alone else LEAST_DUTY):
                found[train] = True
    return found


def pulses_of(trace: Trace, role: str, levels: Levels) -> Pulses | None:
    """Duty and rate of the pulses that a stretch of single samples shows; None where it shows none."""
    x = trace.values[role]
    good = np.isfinite(x)
    moves = crossings(trace.time_s, x, levels)
    rises = [move.time_s for move in moves if move.to == "high"]
    if len(rises) < 3:
        return None
    t = trace.time_s[good]
    duty = float(np.mean(x[good] >= levels.at(0.5)))
    cycle_s = median(np.diff(rises))
    if duty > 1 - LEAST_PAUSE:
        return None  # spikes
    slow = cycle_s < LEAST_ROWS * median(np.diff(t))
    pauses = [b.time_s - a.time_s for a, b in pairwise(moves) if a.to == "low"]
    return Pulses(duty, float("nan") if slow else 1 / cycle_s, max(pauses), float(t[0]), float(t[-1]))


def _bridged(flags: np.ndarray, start_s: Array, longest_s: float) -> np.ndarray:
    """The same flags, with pauses up to ``longest_s`` filled."""
    filled = flags.copy()
    for first, end in runs(~flags):
        if first > 0 and end < len(flags) and start_s[end] - start_s[first] <= longest_s:
            filled[first:end] = True
    return filled
