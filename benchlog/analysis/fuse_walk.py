"""What does each circuit draw with the key off? From the steps of the drain as its fuse is pulled and put back."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, runs
from benchlog.core.events import FuseIn, FuseOut
from benchlog.core.quantiles import median
from benchlog.core.spread import robust_noise, robust_spread
from benchlog.core.trace import Array, Mark
from benchlog.core.uncertainty import combine, rectangular, t_inflation

#: A mark is set by hand, so the fuse may be moved this long before or after it, s, but never more than this share of
#: the time that the fuse is out.
HAND_S, HAND_SHARE = 2.0, 0.2
#: What is looked at before and after a pull, s, and the longest start-up of a device that gets its fuse back, s.
LOOK_S, START_UP_S = 60.0, 300.0
#: A device has started up once the current stays at its later level for this long, s; a level has so many points.
CALM_S, FEWEST_POINTS = 2.0, 4
#: So many wake-ups are missing while a fuse is out before they are its circuit's: regular ones, and any.
MISSING_REGULAR, MISSING_ANY = 1.5, 3.0
#: Wake-ups whose intervals scatter by less than this share are regular.
REGULAR = 0.2


@dataclass(frozen=True, slots=True)
class Pull:
    """One fuse out, s; ``in_s`` is None where the log ends, or the next mark of it comes, without it going back in."""

    slot: int
    out_s: float
    in_s: float | None

    def ends_s(self, end_s: float) -> float:
        """When it went back in, or ``end_s``."""
        return end_s if self.in_s is None else self.in_s


@dataclass(frozen=True, slots=True)
class Draw:
    """What one circuit draws with the key off.

    Attributes:
        amps: steady current, A. type_a_u: its standard uncertainty from scatter and drift, A.
    """

    amps: float
    type_a_u: float


@dataclass(frozen=True, slots=True)
class _Level:
    value: float
    u: float
    middle_s: float
    rise_per_s: float


def pulls_of(marks: Sequence[Mark]) -> list[Pull]:
    """Each ``fuse N out`` with the ``fuse N in`` that follows it, in time order."""
    out: dict[int, float] = {}
    found: list[Pull] = []
    for mark in marks:
        match mark.event:
            case FuseOut(slot):
                out.setdefault(slot, mark.time_s)
            case FuseIn(slot) if slot in out:
                found.append(Pull(slot, out.pop(slot), mark.time_s))
    found += [Pull(slot, at, None) for slot, at in out.items()]
    return sorted(found, key=lambda pull: pull.out_s)


def started_up_s(table: Coarse, role: str, in_s: float, until_s: float) -> float:
    """When the circuit that got its fuse back at ``in_s`` had started up, at most ``until_s``, s.

    Its inrush and start-up are no drain and no wake-up; what it still draws after 300 s is.
    """
    part = table.part(in_s, until_s)
    x = part.mean[role]
    good = np.isfinite(x)
    x, start, end = x[good], part.start_s[good], part.end_s[good]
    least = min(in_s + HAND_S, until_s)
    if len(x) < FEWEST_POINTS:
        return until_s
    level = median(x[len(x) // 2 :])
    band = max(5 * robust_noise(x[len(x) // 2 :]), 0.1 * abs(level), 5e-5)
    for first, stop in runs(np.abs(x - level) <= band):
        if end[stop - 1] - start[first] >= CALM_S or stop == len(x):
            return float(min(max(start[first], least), in_s + START_UP_S, until_s))
    return min(in_s + START_UP_S, until_s)


def draw_of(
    table: Coarse, role: str, pull: Pull, before_from_s: float, after: tuple[float, float] | None
) -> Draw | None:
    """The step of the drain while one fuse is out, against the mean of before and after, so that a trend cancels.

    Args:
        table: points of about 0.1 s. role: the current channel.
        pull: with the end of what is looked at as ``in_s``.
        before_from_s: from when the current before it may be used, s.
        after: the stretch after it was put back and had started up, s; None where there is none.

    Returns:
        None where one of the stretches is too short to tell.
    """
    if pull.in_s is None:
        return None
    hand_s = min(HAND_S, HAND_SHARE * (pull.in_s - pull.out_s))
    before = _level(table, role, max(before_from_s, pull.out_s - LOOK_S), pull.out_s - hand_s)
    out = _level(table, role, pull.out_s + hand_s, pull.in_s - hand_s)
    if before is None or out is None:
        return None
    again = None if after is None else _level(table, role, after[0], min(after[1], after[0] + LOOK_S))
    if again is None:
        # nothing after it tells of a trend but what came before
        trend = before.rise_per_s * (out.middle_s - before.middle_s)
        return Draw(before.value - out.value, combine(before.u, out.u, rectangular(abs(trend))))
    drift = again.value - before.value
    share = (out.middle_s - before.middle_s) / (again.middle_s - before.middle_s)
    u = combine((1 - share) * before.u, share * again.u, out.u, rectangular(abs(drift) / 2))
    return Draw(before.value + share * drift - out.value, u)


def _level(table: Coarse, role: str, from_s: float, to_s: float) -> _Level | None:
    """Mean of the middle half of the points, so that wake-ups do not count, and its uncertainty."""
    part = table.part(from_s, to_s)
    good = np.isfinite(part.mean[role]) & (part.over[role] == 0)
    x, t = part.mean[role][good], part.time_s[good]
    if len(x) < FEWEST_POINTS:
        return None
    parts = np.array_split(x, min(8, len(x) // 2))
    means = np.array([_middle(part) for part in parts])
    # by the median, so that a wake-up in one part does not count either
    apart = robust_spread(means) if len(means) > 2 else float(np.ptp(means))
    scatter = t_inflation(apart / math.sqrt(len(means)), len(means) - 1)
    half = len(x) // 2
    lasts = float(t[-1] - t[0])
    rise = (_middle(x[half:]) - _middle(x[:half])) / (lasts / 2) if lasts > 0.0 else 0.0
    return _Level(_middle(x), scatter, float(t.mean()), rise)


def _middle(x: Array) -> float:
    ordered = np.sort(x)
    cut = len(x) // 4
    return float(ordered[cut : len(x) - cut].mean())


def missing_wakeups(wakeups: Sequence[tuple[float, float]], seen_s: float, out_s: float, wakes_out: int) -> bool:
    """Whether wake-ups stay away while a fuse is out.

    Args:
        wakeups: ``(from_s, to_s)`` of each with the fuse in. seen_s: how long that was watched, s.
        out_s: how long the fuse was out, s. wakes_out: how many came then.
    """
    if len(wakeups) < 2 or wakes_out or seen_s <= 0.0:
        return False
    apart = np.diff([begin for begin, _ in wakeups])
    usual = median(apart)
    # where others lie between two, their interval is a multiple of the usual one
    off = np.abs(apart / usual - np.maximum(np.round(apart / usual), 1)) if usual > 0.0 else np.ones(1)
    regular = len(wakeups) >= 3 and float(np.max(off)) < REGULAR
    if regular:
        return out_s / usual >= MISSING_REGULAR
    return len(wakeups) / seen_s * out_s >= MISSING_ANY
