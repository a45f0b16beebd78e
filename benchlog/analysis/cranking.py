"""When does the starter turn, how low does the battery fall, and does the feed hold?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse, runs
from benchlog.trace import Array, Trace

# What a starter does, common practice, no source: the least dip, V (deeper where no current is logged),
# the least extra current, A, and how long it turns, s.
LEAST_DIP_V = 0.8
LEAST_DIP_ALONE_V = 1.5
LEAST_DIP_BESIDE_V = 0.5
LEAST_STARTER_A = 25.0
SHORTEST_S, LONGEST_S = 0.15, 20.0
# A starter current this small beside such a dip means that the shunt was bypassed, A.
BYPASSED_A = 3.0
#: Nobody cranks this soon after turning the key on, s; a bike with the key on draws at least so much, A.
AFTER_KEY_ON_S = 0.3
LEAST_KEY_ON_A = 0.3
HELD_S = 0.010
#: A battery that is not charged stands below this, V (common practice, no source).
CHARGED_V = 13.3
#: Where something else shows a crank too, so much more current is a starter's, A: loads are cut while it turns.
BORNE_OUT_A = 6.0
#: After an inrush more than this share of its peak stays, and so much, A; a pump that primes anew takes less.
STAYS_SHARE, STAYS_A = 0.15, 1.0
#: The engine that the starter turned shows within this of its end, s.
FIRES_S = 3.5
#: How far a mark of the crank may lie from what it marks, s.
MARK_BEFORE_S, MARK_LATE_S = 2.0, 4.0
#: Between two strokes of a slow single the starter draws little for less than this, s (common practice, no source).
STROKE_S = 0.3
#: A battery's own resistance where no crank shows it, Ω, what a crank may show of it, and by how much the first seconds
#: raise it (from memory).
LINE_OHM, OHM_BOUNDS, SLOW_FACTOR = 0.03, (0.005, 0.1), 1.5


@dataclass(frozen=True, slots=True)
class Crank:
    """One turn of the starter, s; ``before_v`` and ``before_a`` are the levels just before it (NaN if not logged)."""

    from_s: float
    to_s: float
    before_v: float
    before_a: float


def find_cranks(table: Coarse, key_on_s: Sequence[float] = (), marked_s: Sequence[float] = ()) -> list[Crank]:
    """Dips of ``battery_v`` that a starter makes: deep, short, and with a starter's current or none seen at all.

    A dip with a current in between is a load, and one that begins as the key is turned on is inrush.
    Where the current is not logged the dip must be deeper.

    Args:
        table: points of 20 to 100 ms; slower logs as they are.
        key_on_s: when a switched line came up, s. marked_s: when the tester noted a crank, s.
    """
    if len(table) < 4:
        return []
    if "battery_v" not in table.mean:
        return _by_current(table, key_on_s) if "battery_a" in table.mean else []
    volts, lows, t = table.mean["battery_v"], table.low["battery_v"], table.time_s
    amps = table.mean.get("battery_a")
    cranks: list[Crank] = []
    reference = _level_before(t, volts)
    with np.errstate(invalid="ignore"):
        # a stout battery dips little; its current tells then
        deep = lows < reference - (LEAST_DIP_V if amps is None else LEAST_DIP_BESIDE_V)
    position = 0
    dips = runs(deep)
    for first, _ in dips:
        if first < position or first == 0:
            continue
        # nothing of an earlier crank belongs to the level before this one
        before_v = _median_before(t, volts, first, position)
        end = _own_end(volts, t, first, _recovered(volts, t, first, before_v - 0.4 * LEAST_DIP_V), before_v)
        later = _deeper(dips, volts, t, first, end, before_v)
        if later is not None:
            position = later  # key and loads came on, or the engine stalled: the starter turned only later in this dip
            continue
        since, position = position, end
        if end >= len(t):
            continue  # it never recovers: a load, or the end of the log
        begins = float(table.start_s[first])
        if any(begins - AFTER_KEY_ON_S < rise_s < begins + AFTER_KEY_ON_S / 2 for rise_s in key_on_s):
            continue  # inrush, and what is left of this dip is no crank either
        lasted = float(table.start_s[end] - table.start_s[first])
        step = float(np.median(np.diff(t)))
        if lasted + step < SHORTEST_S or lasted > LONGEST_S:
            continue
        # an engine that stumbles or stalls lets go of what it had raised: that is no starter's doing
        depth = min(before_v, CHARGED_V) - float(_valid(volts[first:end]).min(initial=np.inf))
        before_a = np.nan if amps is None else _median_before(t, amps, first, since)
        inside = None if amps is None else amps[first:end]
        borne_out = _borne_out(table, first, end, before_v, marked_s)
        if not borne_out and amps is not None and _load_came_on(amps, t, first, end, before_a):
            continue
        if _by_starter(depth, before_a, inside, bool(key_on_s), borne_out):
            position = _cut_until(table, first, end, before_v)
            # what comes back after a line that was cut draws its inrush, which is no longer the starter's
            ends = float(table.end_s[end] if position == end else table.start_s[position])
            cranks.append(Crank(begins, ends, before_v, before_a))
    return cranks


def _cut_until(table: Coarse, first: int, end: int, before_v: float) -> int:
    """Where a line that the crank cut is back, if that is later: on a dead battery the dip may fade before it."""
    latest = int(np.searchsorted(table.start_s, table.start_s[first] + LONGEST_S))
    for role in ("key_v", "trigger_v"):
        if role not in table.mean:
            continue
        line = table.mean[role]
        was = _valid(line[int(np.searchsorted(table.start_s, table.start_s[first] - 1.0)) : first])
        if not len(was) or not np.median(was) > 0.5 * before_v or not line[end] < 0.35 * np.median(was):
            continue
        with np.errstate(invalid="ignore"):
            back = np.flatnonzero(line[end:latest] > 0.7 * np.median(was))
        if len(back):
            end += int(back[0])
    return end


def _recovered(volts: Array, t: Array, first: int, level: float) -> int:
    """The first point from which the voltage stays above a level; behind the last one where it never does."""
    recovered = np.flatnonzero(volts[first:] > level)
    return first + int(_lasting(recovered, t, first)) if len(recovered) else len(t)


def _own_end(volts: Array, t: Array, first: int, end: int, before_v: float) -> int:
    """Where the starter let go, however slowly a cold or weak battery recovers after it.

    Half of the dip's depth over its first second comes back at once as the starter lets go; what a load took stays.
    """
    begun = volts[first : min(end, int(np.searchsorted(t, t[first] + 1.0)))]
    begun = begun[np.isfinite(begun)]
    if not len(begun):
        return end
    depth = before_v - float(np.median(begun))
    if depth < LEAST_DIP_ALONE_V:
        return end  # too shallow to tell a starter's share from a load's
    return min(_recovered(volts, t, first, before_v - 0.5 * depth), end)


def _borne_out(table: Coarse, first: int, end: int, before_v: float, marked_s: Sequence[float]) -> bool:
    """Whether more than the battery shows a crank: a line that it cuts, the engine that runs then, or a mark."""
    begins, ends = float(table.start_s[first]), float(table.start_s[end])
    if any(begins - MARK_BEFORE_S <= mark_s <= begins + MARK_LATE_S for mark_s in marked_s):
        return True
    earlier = slice(int(np.searchsorted(table.start_s, begins - 1.0)), first)
    soon = slice(end, int(np.searchsorted(table.start_s, begins + LONGEST_S)) + 1)
    later = slice(end, int(np.searchsorted(table.start_s, ends + FIRES_S)))
    for role in ("key_v", "trigger_v", "feed_v"):
        if role not in table.mean:
            continue
        line = table.mean[role]
        was, down, back = _valid(line[earlier]), _valid(line[first:end]), _valid(line[soon])
        if not (len(was) and len(down) and len(back)):
            continue
        up = float(np.median(was))
        if up > 0.5 * before_v and down.min() < 0.35 * up and back.max() > 0.7 * up:
            return True
    fired = _valid(table.mean["battery_v"][later])
    return bool(fired.max(initial=0.0) > before_v + LEAST_DIP_BESIDE_V)


def _valid(x: Array) -> Array:
    return x[np.isfinite(x)]


def _load_came_on(amps: Array, t: Array, first: int, end: int, before_a: float) -> bool:
    """Whether a good part of the current stays: the inrush of a load, where a starter lets go of all."""
    after = amps[end + 1 : int(np.searchsorted(t, t[end] + 1.0))]
    after, inside = after[np.isfinite(after)], amps[first:end]
    if not len(after) or not np.isfinite(inside).all():
        return False
    before_a = max(before_a, 0.0)
    stays = float(np.median(after)) - before_a
    return stays > max(STAYS_A, STAYS_SHARE * (float(inside.max()) - before_a))


def _by_starter(depth_v: float, before_a: float, inside: Array | None, lines_known: bool, borne_out: bool) -> bool:
    """Whether a dip of this depth, with these currents before and in it, is a starter's.

    Args:
        borne_out: something else shows a crank, so that a weak battery's little current will do.
    """
    if inside is None:
        return depth_v >= LEAST_DIP_ALONE_V
    if not np.isfinite(inside).all():
        return depth_v >= LEAST_DIP_V  # beyond the channel's range, or lost
    before_a = max(before_a, 0.0)  # what went into the battery before is not the starter's
    rise, peak = float(np.median(inside)) - before_a, float(inside.max()) - before_a
    if borne_out and depth_v >= LEAST_DIP_BESIDE_V and peak >= BORNE_OUT_A:
        return True
    if depth_v < LEAST_DIP_V and not peak >= LEAST_STARTER_A:
        return False
    if abs(rise) > BYPASSED_A and peak < LEAST_STARTER_A:
        return False
    if not lines_known and rise > BYPASSED_A and before_a < LEAST_KEY_ON_A:
        return False  # from nothing at once: the key is turned on, nobody cranks yet
    return not (abs(rise) <= BYPASSED_A and depth_v < LEAST_DIP_ALONE_V)


def line_ohm(table: Coarse, crank: Crank) -> float:
    """How far the battery's voltage falls with its own current, over some seconds, as this crank shows it, Ω.

    Args:
        table: points of 20 to 100 ms.
    """
    part = table.part(crank.from_s, crank.to_s)
    if {"battery_v", "battery_a"} <= set(part.mean) and np.isfinite(crank.before_a) and len(part):
        rise = part.mean["battery_a"] - crank.before_a
        strong = np.nan_to_num(rise) > LEAST_STARTER_A
        if strong.any():
            ohm = _valid((crank.before_v - part.mean["battery_v"][strong]) / rise[strong])
            if len(ohm):
                return SLOW_FACTOR * float(np.clip(np.median(ohm), *OHM_BOUNDS))
    return SLOW_FACTOR * LINE_OHM


def _by_current(table: Coarse, key_on_s: Sequence[float]) -> list[Crank]:
    """Where no voltage is logged: a starter's current, or one beyond the channel's range, that ends again."""
    amps = np.where(table.over["battery_a"] > 0, np.inf, table.mean["battery_a"])
    cranks = []
    with np.errstate(invalid="ignore"):
        strong = amps > LEAST_STARTER_A
    strong = _strokes_joined(strong, table.start_s)
    position = 0
    for first, end in runs(strong):
        if first == 0 or end >= len(table):
            continue
        begins = float(table.start_s[first])
        lasted = float(table.start_s[end] - table.start_s[first])
        before = _median_before(table.time_s, amps, first, position)
        position = end
        if any(begins - AFTER_KEY_ON_S < rise_s < begins + AFTER_KEY_ON_S / 2 for rise_s in key_on_s):
            continue
        if SHORTEST_S <= lasted <= LONGEST_S and not before < LEAST_KEY_ON_A:
            cranks.append(Crank(begins, float(table.end_s[end]), np.nan, before))
    return cranks


def _strokes_joined(strong: npt.NDArray[np.bool_], t: Array) -> npt.NDArray[np.bool_]:
    """Past a stroke the starter draws next to nothing for a moment: that ends no crank."""
    joined = strong.copy()
    for first, end in runs(~strong):
        if first > 0 and end < len(strong) and t[end] - t[first] < STROKE_S:
            joined[first:end] = True
    return joined


def _deeper(dips: list[tuple[int, int]], volts: Array, t: Array, first: int, end: int, before_v: float) -> int | None:
    """Where a further, deeper dip begins inside a long one."""
    for begin, _ in dips:
        if first < begin < end and t[begin] - t[first] > 1.0:
            before = volts[max(begin - _points(t, begin, 0.6), first) : max(begin - 1, first + 1)]
            before = before[np.isfinite(before)]
            # between two strokes of one crank the voltage is never steady
            if not len(before) or not float(np.ptp(before)) < 0.5 * LEAST_DIP_V:
                continue
            # the first point of a dip holds some of what was before it
            lowest = _valid(volts[begin : begin + 3]).min(initial=np.inf)
            level = float(np.median(before))
            # a starter takes more than a good part of what the loads before it took; as it turns it takes no more
            if lowest < level - max(0.5 * LEAST_DIP_V, 0.5 * (before_v - level)):
                return begin
    return None


def _points(t: Array, at: int, span_s: float) -> int:
    return max(at - int(np.searchsorted(t, t[at] - span_s)), 2)


def _median_before(t: Array, x: Array, at: int, since: int = 0) -> float:
    """Median of the valid points of the 2 s before a point, none before ``since``; NaN where there is none."""
    earlier = x[max(at - _points(t, at, 2.0), since if since < at else at - 1, 0) : at]
    earlier = earlier[np.isfinite(earlier)]
    return float(np.median(earlier)) if len(earlier) else np.nan


def _level_before(t: Array, volts: Array) -> Array:
    """The level before each point: enough to find a dip, whose own reference is then taken closely.

    The mean of the 2 s before, or of the 0.3 s before where that is higher: it has just come back from a crank.
    """
    step = float(np.median(np.diff(t))) or 1.0
    widths = (int(np.clip(seconds / step, 2, 40)) for seconds in (2.0, 0.3))
    long, short = (_mean_before(volts, width) for width in widths)
    return np.asarray(np.fmax(long, short))


def _mean_before(volts: Array, width: int) -> Array:
    good = np.isfinite(volts)
    total = np.concatenate(([0.0], np.cumsum(np.where(good, volts, 0.0))))
    count = np.concatenate(([0], np.cumsum(good)))
    at = np.arange(len(volts))
    back = np.maximum(at - width, 0)
    held = count[at] - count[back]
    mean = np.full(len(volts), np.nan)
    np.divide(total[at] - total[back], held, out=mean, where=held > 0)
    return mean


def _lasting(recovered: np.ndarray, t: Array, first: int) -> int:
    """Offset of the first recovery that lasts 0.3 s, so that ripple between two strokes does not end the crank."""
    step = float(np.median(np.diff(t))) or 1.0
    need = max(int(0.3 / step), 1)
    for offset in recovered:
        stretch = recovered[(recovered >= offset) & (recovered < offset + need)]
        if len(stretch) >= min(need, len(t) - first - offset):
            return int(offset)
    return int(recovered[-1])


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
    if len(t) > 2:
        half = int(over_s / float(np.median(np.diff(t))) * (1 + 1e-9)) // 2
        if half and len(x) > 2 * half:
            around = np.lib.stride_tricks.sliding_window_view(np.pad(x, half, mode="edge"), 2 * half + 1)
            # standard error of a median of so many, JCGM 100 has none; asymptotic for normal noise
            x, noise = np.median(around, axis=1), 1.2533 * noise / np.sqrt(2 * half + 1)
    return Trace(t, {role: x}, {}), float(noise)


def _noise(x: Array) -> float:
    """Noise of single samples from their second differences, which a smooth course hardly has."""
    if len(x) < 5:
        return 0.0
    return 1.4826 * float(np.median(np.abs(np.diff(x, 2)))) / float(np.sqrt(6))


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
    step = float(np.median(np.diff(t))) if len(t) > 1 else np.inf
    best = (0.0, float(t[0]) if len(t) else 0.0, step)
    for first, end in runs(ratio < 0.5):
        begin = _half_crossing(t, ratio, first) if first else float(t[0])
        stop = _half_crossing(t, ratio, end) if end < len(t) else float(t[-1])
        if stop - begin > best[0]:
            widths = (t[first] - t[first - 1] if first else step) + (t[end] - t[end - 1] if end < len(t) else step)
            best = (stop - begin, begin, float(widths) / 2)
    return best


def _half_crossing(t: Array, ratio: Array, after: int) -> float:
    rise = ratio[after] - ratio[after - 1]
    share = (0.5 - ratio[after - 1]) / rise if rise else 0.5
    return float(t[after - 1] + share * (t[after] - t[after - 1]))
