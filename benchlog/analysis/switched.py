"""When is a voltage line up, and when down? Coarse states of trigger, key line and feed over a whole log."""

from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, runs
from benchlog.analysis.levels import Levels, state_levels
from benchlog.analysis.pulsing import pulsed_points, steady_cycles
from benchlog.core.quantiles import known_median, median
from benchlog.core.trace import Array

#: A switched 12 V line moves at least this far between its states, V (common practice, no source).
LEAST_SWING_V = 3.0
#: A line that never moves counts as up above this level, V.
UP_ABOVE_V = 5.0
#: A line in whose lower state it still stands beside the battery by this share of it, and never falls to
#: ``UP_ABOVE_V``, was never off: the battery moved, from a crank to the charging after it.
BESIDE_BATTERY = 0.85
#: No state of a 12 V line lies outside this: a coil without suppression, a load dump or an ignition spike
#: leaves it for moments (the pulses of ISO 7637-2), and may be rare or in every point.
PLAUSIBLE_V = (-1.0, 18.0)
#: Where samples lie no further apart than this, s, one alone is no dwell of the key.
LONGEST_ALONE_S = 0.2


@dataclass(frozen=True, slots=True)
class SwitchedLine:
    """The states of one switched line.

    Attributes:
        role: the channel.
        levels: None where it has one level only.
        up: True for each point of the coarse table where the line is up; throughout where it is pulsed.
        moves: whether it has both states.
        pulsed: True for each point that belongs to a train of pulses.
    """

    role: str
    levels: Levels | None
    up: np.ndarray
    moves: bool
    pulsed: np.ndarray


def line_state(table: Coarse, role: str) -> SwitchedLine | None:
    """States of one voltage channel, with hysteresis between 40 % and 60 % of its swing.

    Returns:
        None where the log has no such channel or no valid sample in it.
    """
    if role not in table.mean or not np.isfinite(table.mean[role]).any():
        return None
    low, high, x = (np.clip(part[role], *PLAUSIBLE_V) for part in (table.low, table.high, table.mean))
    none = np.zeros(len(table), dtype=bool)
    within = state_levels(np.concatenate((low, high)))
    if within is None or within.amplitude < LEAST_SWING_V:
        steady = known_median(x)
        return SwitchedLine(role, None, np.full(len(table), steady > UP_ABOVE_V), moves=False, pulsed=none)
    # spikes in every point move the extremes, not the means; pulses the means, not the extremes
    by_mean = state_levels(x)
    levels = within if by_mean is None or by_mean.amplitude < LEAST_SWING_V else by_mean
    pulsed = pulsed_points(low, high, x, within, table.start_s)
    up = hold_state(x, levels.at(0.4), levels.at(0.6)) | pulsed
    pulsed |= steady_cycles(up, table.start_s)
    up |= pulsed
    if not up.all() and _follows_battery(table, low, x, ~up):
        return SwitchedLine(role, None, np.ones(len(table), dtype=bool), moves=False, pulsed=none)
    return SwitchedLine(role, levels, up, moves=bool(up.any() and not up.all()), pulsed=pulsed)


def _follows_battery(table: Coarse, low: Array, x: Array, down: np.ndarray) -> bool:
    """Whether a line that seems down there only went with the battery."""
    if "battery_v" not in table.mean or not np.nanmin(low) > UP_ABOVE_V:
        return False
    return known_median(x[down] - BESIDE_BATTERY * table.mean["battery_v"][down]) > 0.0  # of nothing read, NaN: no


def hold_state(x: np.ndarray, lower: float, upper: float) -> np.ndarray:
    """True above ``upper``, False below ``lower``, else as before; the first undecided samples as the first decided."""
    above = x >= upper
    decided = above | (x <= lower)
    if not decided.any():
        return above
    last = np.maximum.accumulate(np.where(decided, np.arange(len(x)), 0))
    return above[np.maximum(last, np.argmax(decided))]


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


def without_chatter(up: np.ndarray, time_s: np.ndarray, shortest_s: float) -> np.ndarray:
    """The same states without dwells that no key makes: shorter than ``shortest_s``, or of one sample of a fast log.

    One sample alone does not show that a state lasted as long as the step; beyond 0.2 s it may be all there is of it.
    """
    step_s = median(np.diff(time_s))
    return drop_short(up, time_s, max(shortest_s, 1.5 * step_s) if step_s <= LONGEST_ALONE_S else shortest_s)
