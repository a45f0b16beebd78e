"""When does the starter turn?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse, runs, spacing_s
from benchlog.analysis.crank_levels_before import level_before, median_before, points_in, recovered_at, valid
from benchlog.core.quantiles import median
from benchlog.core.trace import Array

# What a starter does, common practice, no source: the least dip, V (deeper where no current is logged, less beside a
# starter's current), the least extra current, A, and how long it turns, s.
LEAST_DIP_V, LEAST_DIP_ALONE_V, LEAST_DIP_BESIDE_V = 0.8, 1.5, 0.5
LEAST_STARTER_A, SHORTEST_S, LONGEST_S = 25.0, 0.15, 20.0
# A starter current this small beside such a dip means that the shunt was bypassed, A.
BYPASSED_A = 3.0
#: Nobody cranks this soon after turning the key on, s; a bike with the key on draws at least so much, A.
AFTER_KEY_ON_S, LEAST_KEY_ON_A = 0.3, 0.3
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
    volts, t, step = table.mean["battery_v"], table.time_s, spacing_s(table.time_s)
    amps = table.mean.get("battery_a")
    cranks: list[Crank] = []
    position = 0
    dips = _dips(table)
    for first, _ in dips:
        if first < position or first == 0:
            continue
        # nothing of an earlier crank belongs to the level before this one
        before_v = median_before(t, volts, first, position)
        end = _own_end(volts, t, first, recovered_at(volts, step, first, before_v - 0.4 * LEAST_DIP_V), before_v)
        later = _deeper(dips, volts, t, first, end, before_v)
        if later is not None:
            position = later  # key and loads came on, or the engine stalled: the starter turned only later in this dip
            continue
        since, position = position, end
        if end <= first:
            continue  # one sample dipped, its point's mean did not
        if end >= len(t):
            continue  # it never recovers: a load, or the end of the log
        begins, lasted = float(table.start_s[first]), float(table.start_s[end] - table.start_s[first])
        if _is_inrush(begins, key_on_s) or lasted + step < SHORTEST_S or lasted > LONGEST_S:
            continue  # what is left of such a dip is no crank either
        # an engine that stumbles or stalls lets go of what it had raised: that is no starter's doing
        depth = min(before_v, CHARGED_V) - float(valid(volts[first:end]).min(initial=np.inf))
        before_a = np.nan if amps is None else median_before(t, amps, first, since)
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


def _dips(table: Coarse) -> list[tuple[int, int]]:
    """Points well below the level before them."""
    # a stout battery dips little; its current tells then
    least_v = LEAST_DIP_BESIDE_V if "battery_a" in table.mean else LEAST_DIP_V
    with np.errstate(invalid="ignore"):
        return runs(table.low["battery_v"] < level_before(table.time_s, table.mean["battery_v"]) - least_v)


def _is_inrush(begins_s: float, key_on_s: Sequence[float]) -> bool:
    """Whether a dip begins as the key is turned on."""
    return any(begins_s - AFTER_KEY_ON_S < rise_s < begins_s + AFTER_KEY_ON_S / 2 for rise_s in key_on_s)


def _cut_until(table: Coarse, first: int, end: int, before_v: float) -> int:
    """Where a line that the crank cut is back, if that is later: on a dead battery the dip may fade before it."""
    latest = int(np.searchsorted(table.start_s, table.start_s[first] + LONGEST_S))
    for role in ("key_v", "trigger_v"):
        if role not in table.mean:
            continue
        line = table.mean[role]
        was = valid(line[int(np.searchsorted(table.start_s, table.start_s[first] - 1.0)) : first])
        if not len(was) or not median(was) > 0.5 * before_v or not line[end] < 0.35 * median(was):
            continue
        with np.errstate(invalid="ignore"):
            back = np.flatnonzero(line[end:latest] > 0.7 * median(was))
        if len(back):
            end += int(back[0])
    return end


def _own_end(volts: Array, t: Array, first: int, end: int, before_v: float) -> int:
    """Where the starter let go, however slowly a cold or weak battery recovers after it.

    Half of the dip's depth over its first second comes back at once as the starter lets go; what a load took stays.
    """
    begun = volts[first : min(end, int(np.searchsorted(t, t[first] + 1.0)))]
    begun = begun[np.isfinite(begun)]
    if not len(begun):
        return end
    depth = before_v - median(begun)
    if depth < LEAST_DIP_ALONE_V:
        return end  # too shallow to tell a starter's share from a load's
    return min(recovered_at(volts, spacing_s(t), first, before_v - 0.5 * depth), end)


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
        was, down, back = valid(line[earlier]), valid(line[first:end]), valid(line[soon])
        if not (len(was) and len(down) and len(back)):
            continue
        up = median(was)
        if up > 0.5 * before_v and down.min() < 0.35 * up and back.max() > 0.7 * up:
            return True
    fired = valid(table.mean["battery_v"][later])
    return bool(fired.max(initial=0.0) > before_v + LEAST_DIP_BESIDE_V)


def _load_came_on(amps: Array, t: Array, first: int, end: int, before_a: float) -> bool:
    """Whether a good part of the current stays: the inrush of a load, where a starter lets go of all."""
    after = amps[end + 1 : int(np.searchsorted(t, t[end] + 1.0))]
    after, inside = after[np.isfinite(after)], amps[first:end]
    if not len(after) or not np.isfinite(inside).all():
        return False
    before_a = max(before_a, 0.0)
    stays = median(after) - before_a
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
    rise, peak = median(inside) - before_a, float(inside.max()) - before_a
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
            ohm = valid((crank.before_v - part.mean["battery_v"][strong]) / rise[strong])
            if len(ohm):
                return SLOW_FACTOR * float(np.clip(median(ohm), *OHM_BOUNDS))
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
        before = median_before(table.time_s, amps, first, position)
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
            before = volts[max(begin - points_in(t, begin, 0.6), first) : max(begin - 1, first + 1)]
            before = before[np.isfinite(before)]
            # between two strokes of one crank the voltage is never steady
            if not len(before) or not float(np.ptp(before)) < 0.5 * LEAST_DIP_V:
                continue
            # the first point of a dip holds some of what was before it
            lowest = valid(volts[begin : begin + 3]).min(initial=np.inf)
            level = median(before)
            # a starter takes more than a good part of what the loads before it took; as it turns it takes no more
            if lowest < level - max(0.5 * LEAST_DIP_V, 0.5 * (before_v - level)):
                return begin
    return None
