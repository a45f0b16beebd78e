"""Does the engine's speed end the charging, or a load? The former makes two states, the worse of which is judged."""

from dataclasses import replace

import numpy as np

from benchlog.analysis.charging import rises_slowly
from benchlog.analysis.coarse import runs
from benchlog.analysis.measurement import Measured
from benchlog.core.quantiles import median
from benchlog.core.uncertainty import Z_PROVEN
from benchlog.examine.context import LogContext
from benchlog.examine.running_points import RunningPoints

#: An alternator that gives less than this share of the load gives nothing, 1.
NEARLY_NOTHING = 0.1
#: No load of the bike's own that comes and goes by itself takes more than this, A (from memory).
GREATEST_LOAD_A = 15.0
#: How far around the begin of charging its course is looked at, s.
AROUND_S = 2.0


def _slowly(bench: LogContext, points: RunningPoints) -> bool:
    """Whether charging comes and goes with the engine's speed, rather than with a load that is switched."""
    role = "battery_a" if bench.has("battery_a") else "battery_v"
    edges = [
        float(points.start_s[at])
        for flags in (points.charged, points.uncharged)
        for first, end in runs(flags)
        for at in (first, end)
        if 0 < at < len(flags) - 1
    ]
    step_s = bench.true_step_s(role)
    around = (bench.log.trace(at - AROUND_S, at + AROUND_S, [role]) for at in sorted(set(edges)))
    return any(rises_slowly(trace, role, AROUND_S, step_s) for trace in around)


def _by_speed(points: RunningPoints) -> bool:
    """Whether no load can have ended the charging: the alternator gave nothing, or no load of a bike is as great.

    An alternator that gives nothing leaves the battery the whole load, as it was with the engine off.
    """
    with np.errstate(invalid="ignore"):
        own_a = points.amps - np.nan_to_num(points.load_a) if points.load_how else points.amps
        missing = (points.whole_a - points.amps)[points.uncharged]
    drawn, gained = (own_a[state & np.isfinite(own_a)] for state in (points.uncharged, points.charged))
    if len(drawn) and len(gained) and median(drawn) - median(gained) > GREATEST_LOAD_A:
        return True
    known = np.isfinite(missing)
    if not known.any():
        return False
    some_a, whole_a = median(missing[known]), median(points.whole_a[points.uncharged][known])
    least = max(0.5, NEARLY_NOTHING * whole_a)
    # where the load through the feed is known, what comes on with the engine is its own: ignition, pump, lamps
    return some_a <= least if points.load_how else abs(some_a) <= least


def judged(
    bench: LogContext, points: RunningPoints, whole: Measured, worse: Measured, words: str, room: float
) -> Measured:
    """The worse of two states where the engine's speed makes them; the mean where a load may.

    Args:
        whole: over all that counts. worse: the state that lies nearer to its limit, or further beyond it.
        words: what either state shows. room: from the worse one to its limit, in its unit; negative beyond.
    """
    if _by_speed(points) or _slowly(bench, points):
        return replace(worse, story=words, one_sided=whole.one_sided, remedy=whole.remedy)
    told = replace(whole, story=f"{whole.story}; {words}" if whole.story else words)
    if worse.u is not None and room >= Z_PROVEN * worse.u:
        return told
    return replace(
        told,
        one_sided=told.one_sided or "whether the engine's speed or a load that came on ended the charging is not known",
        remedy=told.remedy or 'a log at idle and another one revved, with "running" marked, would prove it',
    )
