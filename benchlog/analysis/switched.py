"""When is a voltage line up, and when down? Coarse states of trigger, key line and feed over a whole log."""

from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, runs
from benchlog.analysis.levels import Levels, state_levels

#: A switched 12 V line moves at least this far between its states, V (common practice, no source).
LEAST_SWING_V = 3.0
#: A line that never moves counts as up above this level, V.
UP_ABOVE_V = 5.0


@dataclass(frozen=True, slots=True)
class Line:
    """The states of one switched line.

    Attributes:
        role: the channel.
        levels: None where it has one level only.
        up: True for each point of the coarse table where the line is up.
        moves: whether it has both states.
    """

    role: str
    levels: Levels | None
    up: np.ndarray
    moves: bool


def line_state(table: Coarse, role: str) -> Line | None:
    """States of one voltage channel, with hysteresis between 40 % and 60 % of its swing.

    Returns:
        None where the log has no such channel or no valid sample in it.
    """
    if role not in table.mean or not np.isfinite(table.mean[role]).any():
        return None
    x = table.mean[role]
    extremes = np.concatenate((table.low[role], table.high[role], x))
    levels = state_levels(extremes)
    if levels is None or levels.amplitude < LEAST_SWING_V:
        steady = float(np.nanmedian(x))
        return Line(role, None, np.full(len(table), steady > UP_ABOVE_V), moves=False)
    up = hold_state(x, levels.at(0.4), levels.at(0.6))
    return Line(role, levels, up, moves=bool(up.any() and not up.all()))


def hold_state(x: np.ndarray, lower: float, upper: float) -> np.ndarray:
    """True above ``upper``, False below ``lower``, else as before; the first undecided samples as the first decided."""
    decided = np.where(x >= upper, 1, np.where(x <= lower, 0, -1))
    index = np.where(decided >= 0, np.arange(len(x)), -1)
    last = np.maximum.accumulate(index)
    first = int(np.argmax(decided >= 0)) if (decided >= 0).any() else 0
    return np.asarray(decided[np.where(last < 0, first, last)] == 1)


def drop_short(up: np.ndarray, time_s: np.ndarray, shortest_s: float) -> np.ndarray:
    """The same states without changes that last less than ``shortest_s``."""
    kept = up.copy()
    for wanted in (False, True):
        for first, end in runs(kept == wanted):
            if first == 0 or end == len(kept):
                continue
            if time_s[end] - time_s[first] < shortest_s:
                kept[first:end] = not wanted
    return kept
