"""What does the battery get while the engine runs: is it charged throughout, and over which stretches is it not?"""

import numpy as np

from benchlog.analysis.coarse import BUNCHED, runs
from benchlog.analysis.running import LASTS_S, SHORT_GAP_S, Flags, bridged
from benchlog.analysis.switched import hold_state
from benchlog.core.quantiles import known_medians, median, percentile
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Array, Trace
from benchlog.core.uncertainty import Mean, block_mean

#: Points are steadied over this long before they count as charged or not, s: a flasher's cycle.
STEADIED_S = 1.0
#: What lasts longer than this is the level's own course: idle and revs, a battery that fills, s.
COURSE_S = 5.0
#: A load that is off for less than this is pulsed, and one that is on for less is inrush, s.
PULSED_S, INRUSH_S = 2.5, 2.0
#: A current that takes longer than this from a quarter to three quarters of its way follows the engine's speed, s;
#: a load is switched within it (common practice, no source).
SWITCHED_S = 0.15
#: Packets of rows come no further apart than this, s; what does is a part left out (from memory).
PAUSE_S = 10.0
#: Cycles are alike if their lengths scatter by less than this share; so many make a mean over whole ones, where they
#: stand out of the noise by this factor.
ALIKE, FEWEST_CYCLES, OVER_NOISE = 0.35, 2, 6.0


def steadied(x: Array, start_s: Array, over_s: float = STEADIED_S) -> Array:
    """The median of the points around each one; NaN stays NaN."""
    if len(x) < 3:
        return x
    half = min(round(over_s / 2 / _step_s(start_s)), len(x))
    if half < 1:
        return x
    padded = np.pad(x, half, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    return np.where(np.isfinite(x), known_medians(around), np.nan)


def _step_s(start_s: Array) -> float:
    """The usual time between points, s; of stamps that come in packets the mean, which longer pauses do not move."""
    steps = np.diff(start_s)
    usual, near = median(steps), steps[steps <= PAUSE_S]
    mean = float(np.mean(near)) if len(near) else usual
    return mean if usual < BUNCHED * mean else usual


def lasting_states(flags: Flags, known: Flags, start_s: Array, end_s: Array) -> tuple[Flags, Flags]:
    """Where a state lasts 5 s, and where its contrary does; short interruptions of either are bridged.

    Where the two come in turns of less than 2 s neither lasts.

    Args:
        flags: the state at each point. known: where it was read at all; other points belong to neither.
    """
    held, other = (_long(bridged(one & known, start_s, SHORT_GAP_S), start_s, end_s) for one in (flags, ~flags))
    return held & ~other, other & ~held


def _long(flags: Flags, start_s: Array, end_s: Array) -> Flags:
    long = np.zeros(len(flags), dtype=bool)
    for first, end in runs(flags):
        if end_s[end - 1] - start_s[first] >= LASTS_S:
            long[first:end] = True
    return long


def rises_slowly(trace: Trace, role: str, half_s: float, true_step_s: float = 0.0) -> bool:
    """Whether a change in the middle of a stretch takes its time, as an engine's speed does and a switch does not.

    Args:
        trace: single samples around the change. half_s: how far from its middle the levels are taken, s.
        true_step_s: how fast the logger really sees, s, where that is slower than its rows.

    Returns:
        False too where the samples lie too far apart to tell.
    """
    valid = np.isfinite(trace.values[role])
    t, x = trace.time_s[valid], trace.values[role][valid]
    if len(t) < 8:
        return False
    step = median(np.diff(t))
    x = steadied(x, t, min(0.05, 5 * step))
    if t[-1] - t[0] <= half_s:
        return False
    middle = (t[0] + t[-1]) / 2
    low, high = median(x[t < middle - half_s / 2]), median(x[t > middle + half_s / 2])
    if high == low:
        return False
    way = (x - low) / (high - low)
    # a median has samples at either side, so that there are some of both
    old, new = np.flatnonzero(way < 0.25), np.flatnonzero(way > 0.75)
    # the passage itself: from the last point near the old level to the first behind it near the new one
    later = new[new > old[-1]]
    reached = later[0] if len(later) else new[0]
    left = old[old < reached]
    return len(left) > 0 and float(t[reached] - t[left[-1]]) > max(SWITCHED_S, 2.5 * max(step, true_step_s))


def without_pulses(load: Array, start_s: Array) -> Array:
    """A load's level with the pauses of pulsed circuits filled and inrush taken off; as long as ``load``."""
    if len(load) < 2:
        return load
    step = _step_s(start_s)
    filled = _extreme(_extreme(load, PULSED_S / step, np.fmax), PULSED_S / step, np.fmin)
    return _extreme(_extreme(filled, INRUSH_S / step, np.fmin), INRUSH_S / step, np.fmax)


def _extreme(x: Array, width: float, of: np.ufunc) -> Array:
    """The rolling maximum or minimum over an odd number of points about ``width`` wide."""
    half = min(int(width / 2), len(x))
    padded = np.pad(x, half, mode="edge")
    return np.asarray(of.reduce(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1))


def course_mean(x: Array, start_s: Array) -> Mean:
    """The mean over a stretch whose level has a course of its own, as a battery's that is being charged.

    The mean of a course is a fact of the stretch, however far its level goes meanwhile: only what scatters around it
    leaves the mean in doubt. Blocks of the level itself would take idle and revs for noise.

    Args:
        x: valid points at even steps, at least one. start_s: of each point, s.
    """
    course = steadied(x, start_s, min(COURSE_S, float(start_s[-1] - start_s[0]) / 4))
    scatter = block_mean(x - course)
    return Mean(float(np.mean(x)), scatter.u)


def whole_cycles(x: Array) -> slice:
    """The part of a stretch that holds whole cycles, where something switches itself on and off in it; else all.

    Args:
        x: valid points at even steps, at least two.
    """
    everything = slice(0, len(x))
    low, high = percentile(x, 5), percentile(x, 95)
    noise = robust_noise(x)
    if high - low <= OVER_NOISE * noise:
        return everything
    up = hold_state(x, low + 0.4 * (high - low), low + 0.6 * (high - low))
    edges = np.flatnonzero(up[1:] & ~up[:-1]) + 1
    lengths = np.diff(edges)
    if len(lengths) < FEWEST_CYCLES or float(np.std(lengths)) > ALIKE * float(np.mean(lengths)):
        return everything
    if max(edges[0], len(x) - edges[-1]) > (1 + ALIKE) * float(np.mean(lengths)):
        return everything  # it went on and off over a part only
    return slice(int(edges[0]), int(edges[-1]))
