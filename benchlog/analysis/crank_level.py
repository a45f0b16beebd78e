"""How low does the battery fall while the starter turns, and does the feed hold?"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import runs
from benchlog.core.quantiles import median, medians
from benchlog.core.spread import MEDIAN_U, robust_noise
from benchlog.core.stamps import steps_in
from benchlog.core.trace import Array, Trace

HELD_S = 0.010
#: Rows are bunched where their usual step is below this share of the mean one; fewer rows tell nothing.
BUNCHED_SHARE, LEAST_ROWS = 0.2, 8


@dataclass(frozen=True, slots=True)
class Held:
    """The lowest level that a signal stays at or below for some time.

    Attributes:
        level: V; half_width: how far the samples' spacing leaves it open, V.
        upper: the level of a stretch of samples that surely lasts as long, V.
        time_s: when the stretch begins. gap_s: the widest step between its samples.
    """

    level: float
    half_width: float
    upper: float
    time_s: float
    gap_s: float


def held_minimum(trace: Trace, role: str = "battery_v", held_s: float = HELD_S) -> Held | None:
    """The lowest level that the signal stays at or below for ``held_s``.

    The lowest run of samples that spans ``held_s`` gives an upper bound, the lowest that any stretch of
    ``held_s`` can hold a lower bound; the truth lies between. Where samples lie further apart than that,
    two neighbours are the run and nothing bounds the level from below.

    Args:
        trace: the samples over the crank.

    Returns:
        None without two valid samples, or where they do not span ``held_s``.
    """
    x = trace.values[role]
    valid = np.isfinite(x)
    t, x = trace.time_s[valid], x[valid]
    if len(x) < 2 or t[-1] - t[0] < held_s:
        return None
    hair = 1e-6 * held_s
    # run i .. last[i] spans held_s from sample i on
    last = np.searchsorted(t, t + held_s - hair)
    first = np.flatnonzero(last < len(t))
    highest = _highest(x, first, last[first])
    at = int(np.argmin(highest))
    upper = float(highest[at])
    run = t[first[at] : last[first[at]] + 1]
    # a stretch that begins just after sample i - 1 holds the samples i .. inside[i]
    begin = np.arange(1, len(t))
    inside = np.searchsorted(t, t[:-1] + held_s + hair) - 1
    some = inside >= begin
    lower = float(_highest(x, begin[some], inside[some]).min()) if some.any() else upper
    return Held((upper + lower) / 2, (upper - lower) / 2, upper, float(run[0]), float(np.diff(run).max()))


def until_recovery(trace: Trace) -> Trace:
    """The crank without what follows a lost feed's return: the loads draw their inrush then, the starter nothing.

    Args:
        trace: ``battery_v`` and, where logged, ``feed_v`` over one crank.
    """
    if "feed_v" not in trace.values:
        return trace
    with np.errstate(invalid="ignore"):
        lost = np.flatnonzero(trace.values["feed_v"] < 0.5 * trace.values["battery_v"])
    if not len(lost) or lost[0] == 0:
        return trace
    return trace.between(float(trace.time_s[0]), float(trace.time_s[lost[-1]]))


def without_noise(trace: Trace, role: str, over_s: float) -> tuple[Trace, float]:
    """The signal as the median of the samples around each one, and what noise is left of it.

    The lowest 10 ms of a noisy signal are neither those of the signal nor unbiased: at a few samples each they lie
    below, at many above. A median keeps edges and levels that last longer than half of its width, and takes spikes off.

    Args:
        over_s: width of the median, s; one sample alone where the samples lie further apart than a third of it.

    Returns:
        The trace without its missing samples, and the standard deviation of the noise left, in the channel's unit.
    """
    valid = np.isfinite(trace.values[role])
    t, x = trace.time_s[valid], trace.values[role][valid]
    noise = _noise(x)
    if len(t) > 1:
        half = steps_in(over_s, median(np.diff(t))) // 2
        if half and len(x) > 2 * half:
            around = np.lib.stride_tricks.sliding_window_view(np.pad(x, half, mode="edge"), 2 * half + 1)
            x, noise = medians(around), MEDIAN_U * noise / np.sqrt(2 * half + 1)
    return Trace(t, {role: x}, {}), float(noise)


def evenly(trace: Trace) -> Trace:
    """The same rows at the pace at which they were read, where packets of them share about one stamp.

    Only how long a stretch of rows lasts is right then: each stamp may lie a packet's length off.
    """
    steps = np.diff(trace.time_s)
    if len(steps) < LEAST_ROWS or not median(steps) < BUNCHED_SHARE * float(np.mean(steps)):
        return trace
    last = np.append(np.flatnonzero(steps > float(np.mean(steps))), len(steps))
    even = np.interp(np.arange(len(trace.time_s)), last, trace.time_s[last])
    pace_s = (trace.time_s[last[-1]] - trace.time_s[last[0]]) / (last[-1] - last[0])
    before = np.arange(last[0])
    even[: last[0]] = trace.time_s[last[0]] - (last[0] - before) * pace_s
    return Trace(even, trace.values, trace.over)


def one_a_reading(trace: Trace, role: str, step_s: float) -> Trace:
    """One row for each reading of a channel whose readings stand for ``step_s``, where that is longer than a row."""
    known = np.isfinite(trace.values[role])
    t, x = trace.time_s[known], trace.values[role][known]
    if len(t) < 3 or step_s < 1.5 * median(np.diff(t)):
        return Trace(t, {role: x}, {})
    new = np.concatenate(([True], np.diff(x) != 0))
    since = t - t[np.maximum.accumulate(np.where(new, np.arange(len(t)), 0))]
    # a reading that comes out alike twice stands twice as long
    stood = np.maximum(np.floor(since / step_s - 0.25), 0)  # a row or two longer is no second reading
    new[1:] |= np.diff(stood) > 0.0
    return Trace(t[new], {role: x[new]}, {})


def between(trace: Trace, role: str, from_s: float, to_s: float) -> float:
    """How far a signal moves between neighbouring samples over a stretch: the median of their differences."""
    x = trace.between(from_s, to_s).values[role]
    steps = np.abs(np.diff(x[np.isfinite(x)]))
    return median(steps) if len(steps) else 0.0


def _noise(x: Array) -> float:
    """Noise of single samples from their second differences, which a smooth course hardly has."""
    if len(x) < 5:
        return 0.0
    return robust_noise(x, order=2)


def widest_gap_s(trace: Trace, role: str, from_s: float, to_s: float) -> float:
    """The widest step between valid samples over a stretch, its ends included, s."""
    t = trace.time_s[np.isfinite(trace.values[role])]
    first = max(int(np.searchsorted(t, from_s, side="right")) - 1, 0)
    steps = np.diff(t[first : int(np.searchsorted(t, to_s)) + 1])
    return float(steps.max()) if len(steps) else float("inf")


def _highest(x: Array, first: npt.NDArray[np.int64], last: npt.NDArray[np.int64]) -> Array:
    """The maximum of ``x[first] .. x[last]`` for each pair, by maxima over runs of powers of two."""
    level = np.int64(0)
    size = np.frexp(last - first + 1)[1] - 1  # the largest power of two that fits
    found = np.empty(len(first))
    table = x
    while True:
        now = size == level
        half = 1 << int(level)
        found[now] = np.maximum(table[first[now]], table[last[now] - half + 1])
        level += 1
        if not (size >= level).any():
            return found
        table = np.maximum(table[:-half], table[half:])


def longest_loss(trace: Trace) -> tuple[float, float, float]:
    """The longest time that ``feed_v`` lies below half of ``battery_v``.

    Returns:
        ``(loss_s, from_s, width_s)``; ``width_s`` is the step between samples at its two ends, together.
        A loss that runs to an end of the trace counts to its last sample. ``(0, start, step)`` if there is none.
    """
    feed, battery = trace.values["feed_v"], trace.values["battery_v"]
    known = np.isfinite(battery)
    valid = np.isfinite(feed)
    if not known.any() or not valid.any():
        return 0.0, float(trace.time_s[0]) if len(trace) else 0.0, np.inf
    t = trace.time_s[valid]
    # the battery may be sampled less often than the feed
    beside = np.interp(t, trace.time_s[known], battery[known])
    ratio = feed[valid] / np.maximum(beside, 0.1)
    step = median(np.diff(t)) if len(t) > 1 else np.inf
    best = (0.0, float(t[0]), step)
    for first, end in runs(ratio < 0.5):
        begin = _half_crossing(t, ratio, first) if first else float(t[0])
        stop = _half_crossing(t, ratio, end) if end < len(t) else float(t[-1])
        if stop - begin > best[0]:
            widths = (t[first] - t[first - 1] if first else step) + (t[end] - t[end - 1] if end < len(t) else step)
            best = (stop - begin, begin, float(widths) / 2)
    return best


def _half_crossing(t: Array, ratio: Array, after: int) -> float:
    share = (0.5 - ratio[after - 1]) / (ratio[after] - ratio[after - 1])
    return float(t[after - 1] + share * (t[after] - t[after - 1]))
