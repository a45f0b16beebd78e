"""The checks while the engine runs: charging voltage and balance."""

import math
from dataclasses import replace

import numpy as np

from benchlog.analysis.charging import course_mean, steadied, whole_cycles, without_pulses
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.running import LASTS_S, Flags
from benchlog.core.quantiles import median
from benchlog.core.trace import Array
from benchlog.core.uncertainty import block_mean, combine, rectangular
from benchlog.examine.context import LogContext
from benchlog.examine.parted import level_parts
from benchlog.examine.running_points import BY_FALLS, RISE_S, RunningPoints, running_points
from benchlog.examine.uncharged import judged

#: Loads count as on, for the balance, above this share of the greatest load seen while running.
NEARLY_ALL = 0.9
#: Less than this share of the planned load is none, 1.
LEAST_LOAD = 0.02
#: A load that is read off small voltages is steadied over this long, s.
STEADY_LOAD_S = 3.0
#: A voltage that rose by this much over the run, V, with such a current into the battery, A, still rises.
ROSE_V, TAKEN_A = 0.15, 1.0


def examine_charging(bench: LogContext) -> dict[str, Finding]:
    """Findings for ``charging_voltage`` and ``charging_balance``."""
    if not bench.story.running:
        why = (
            "after cranking neither the alternator's current nor a raised voltage shows for 5 s; "
            'mark "running" if the engine ran'
            if bench.story.cranks
            else "the engine does not run in this log; start it while it records"
        )
        why += bench.bridged_in(*bench.story.on)
        return {"charging_voltage": NotEvaluated(why), "charging_balance": NotEvaluated(why)}
    points = running_points(bench)
    return {"charging_voltage": _voltage(bench, points), "charging_balance": _balance(bench, points)}


def _dark(bench: LogContext) -> str | None:
    """Why a pass is not proven where the engine may have turned without charging; None where it surely did not."""
    stretches = [stretch for run in bench.story.running for stretch in run.dark]
    if not stretches:
        return None
    named = " and ".join(f"{a:.0f} to {b:.0f} s" for a, b in stretches)
    return f"from {named} the engine may have idled without charging, or stood"


def _voltage(bench: LogContext, points: RunningPoints | None) -> Finding:
    if not bench.has("battery_v"):
        return NotEvaluated("battery_v is not logged")
    if points is None or np.isfinite(points.volts).sum() < 4:
        return NotEvaluated("the engine ran too briefly; let it run for 20 s or more")
    known = np.isfinite(points.volts)
    whole = _mean_voltage(bench, points, known)
    rising = _rising(bench, points, whole)
    dark = _dark(bench)
    whole = replace(
        whole,
        one_sided=dark,
        remedy='mark "running" and "engine off" as they happen' if dark else None,
        disqualified=whole.disqualified or rising,
    )
    if not points.both or (points.uncharged & known).sum() < 4 or (points.charged & known).sum() < 4:
        return whole
    low, high = (_mean_voltage(bench, points, known & state) for state in (points.uncharged, points.charged))
    words = (
        f"{low.value:.2f} V over {points.lasts_s(points.uncharged):.0f} s in which the battery was not charged, "
        f"{high.value:.2f} V over {points.lasts_s(points.charged):.0f} s in which it was"
    )
    limits = bench.plan.limits
    least, most = limits.charging_min_v, limits.charging_max_v
    below = math.inf if least is None or low.value is None else low.value - least
    above = math.inf if most is None or high.value is None else most - high.value
    if above < min(below, 0.0):
        return replace(high, story=words)  # no load raises the voltage
    worse, room = (high, above) if above < below else (low, below)
    u = _mean_voltage(bench, points, known, by_load=True).u
    return judged(bench, points, replace(whole, u=u, parts=None), worse, words, room)


def _mean_voltage(bench: LogContext, points: RunningPoints, keep: Flags, by_load: bool = False) -> Measured:
    """The mean over the points kept; a course that a load makes by coming and going is chance, as scatter is."""
    mean = block_mean(points.volts[keep]) if by_load else course_mean(points.volts[keep], points.start_s[keep])
    accuracy = bench.accuracy.get("battery_v")
    over = points.over["battery_v"]
    at = np.flatnonzero(keep)
    return Measured(
        value=mean.value,
        u=None
        if accuracy is None
        else combine(mean.u, accuracy.level_u(mean.value), _by_begin(bench, points, keep, points.volts)),
        from_s=float(points.start_s[at[0]]),
        to_s=float(points.end_s[at[-1]]),
        story=f"mean over {points.lasts_s(keep):.0f} s of running",
        disqualified=f"{over} samples of battery_v were over range while running" if over else None,
        parts=level_parts(mean.u, accuracy, mean.value, points.lasts_s(keep)),
    )


def _rising(bench: LogContext, points: RunningPoints, whole: Measured) -> str | None:
    """Why a low mean says nothing of the regulator: an empty battery takes all that the alternator gives."""
    least = bench.plan.limits.charging_min_v
    known = np.isfinite(points.volts)
    if points.uncharged.any():
        return None
    v, a = points.volts[known], points.amps[known]
    third = len(v) // 3
    if least is None or whole.value is None or whole.value >= least or third < 2:
        return None
    first_v, last_v = float(np.mean(v[:third])), float(np.mean(v[-third:]))
    taken_a = -float(np.mean(a[-third:]))  # NaN where not read
    if not (last_v - first_v > ROSE_V and taken_a > TAKEN_A):
        return None
    return (
        f"the voltage still rose, from {first_v:.2f} V to {last_v:.2f} V, as {taken_a:.1f} A went into the battery; "
        "charge the battery, or let the engine run until the voltage is steady"
    )


def _balance(bench: LogContext, points: RunningPoints | None) -> Finding:
    if not bench.has("battery_a"):
        return NotEvaluated("battery_a is not logged")
    if points is None:
        return NotEvaluated("the engine ran too briefly; let it run for 20 s or more")
    known = np.isfinite(points.amps)
    keep, on = _all_on(bench, points, known)
    bridged = bench.bridged_in(*((run.from_s, run.to_s) for run in bench.story.running))
    if bridged and points.lasts_s(keep) < LASTS_S:
        return NotEvaluated(
            "the engine ran too briefly with the loads on and the shunt free; take the bridge off and let it run for "
            f"20 s or more after that{bridged}"
        )
    if keep.sum() < 4:
        return NotEvaluated("the engine ran too briefly with the loads on; let it run for 20 s or more")
    counted = known if bridged else np.ones(len(known), dtype=bool)
    dark = _dark(bench)
    whole = replace(
        _mean_balance(bench, points, keep, counted, on + bridged),
        one_sided=dark,
        remedy='mark "running" and "engine off" as they happen' if dark else None,
    )
    parts = [keep & points.uncharged, keep & points.charged]
    if min(part.sum() for part in parts) < 4:
        return whole
    low, high = (_mean_balance(bench, points, part, part, on + bridged) for part in parts)
    words = (
        f"{on + bridged}; "
        f"{low.value:+.1f} A over {points.lasts_s(parts[0]):.0f} s in which the battery was not charged, "
        f"{high.value:+.1f} A over {points.lasts_s(parts[1]):.0f} s in which it was"
    ).replace(" -", " −")
    least = bench.plan.limits.charging_balance_min_a
    room = math.inf if least is None or low.value is None else low.value - least
    u = _mean_balance(bench, points, keep, counted, "", by_load=True).u
    return judged(bench, points, replace(whole, story="", u=u, parts=None), low, words, room)


def _by_begin(bench: LogContext, points: RunningPoints, keep: Flags, values: Array) -> float:
    """Standard uncertainty of a mean from where the runs are taken to begin: a battery takes most at first.

    Where an engine begins to run is known no better than how long it takes to rise; the mean is off by as much as it
    moves when so much more is left out.
    """
    first = np.zeros(len(keep), dtype=bool)
    for run in bench.story.running:
        inside = np.flatnonzero((points.start_s >= run.from_s) & (points.start_s < run.to_s))
        if len(inside):
            first |= (points.start_s >= run.from_s) & (points.start_s < points.start_s[inside[0]] + RISE_S)
    later = keep & ~first & np.isfinite(values)
    if later.sum() < 4:
        return 0.0
    return rectangular(abs(float(np.mean(values[later])) - float(np.mean(values[keep & np.isfinite(values)]))))


def _all_on(bench: LogContext, points: RunningPoints, known: Flags) -> tuple[Flags, str]:
    """The points with as many loads on as ever while running, and how many these are."""
    if not points.load_how:
        return known, "how many loads were on is not known"
    planned = bench.plan.planned_load_a
    load = np.nan_to_num(points.load_a)
    by_falls = points.load_how.startswith(BY_FALLS)
    level = steadied(load, points.start_s, STEADY_LOAD_S) if by_falls else without_pulses(load, points.start_s)
    most = float(level[known].max(initial=0.0))
    if most <= LEAST_LOAD * planned:
        return known, "with no load through the feed"
    # lamps and heaters draw less where the battery is not charged, and are on all the same
    top = points.volts[known & (level >= NEARLY_ALL * most - points.load_noise_a)]
    top_v = median(top[np.isfinite(top)]) if np.isfinite(top).any() else math.nan
    share = np.fmin(points.volts / top_v, 1.0)  # 1 where a voltage was not read
    keep = known & (level >= NEARLY_ALL * most * share - points.load_noise_a)
    shown = float(np.mean(load[keep])) if keep.any() else most
    return keep, f"with {shown:.1f} A of the planned {planned:.1f} A on{points.load_how.rstrip()}"


def _mean_balance(
    bench: LogContext, points: RunningPoints, keep: Flags, counted: Flags, story: str, by_load: bool = False
) -> Measured:
    """As ``_mean_voltage``, over whole cycles where a fan or the like comes and goes."""
    amps, start_s = points.amps[keep], points.start_s[keep]
    cycles = whole_cycles(amps)
    mean = block_mean(amps[cycles]) if by_load else course_mean(amps[cycles], start_s[cycles])
    accuracy = bench.accuracy.get("battery_a")
    over = points.over["battery_a"]
    at = np.flatnonzero(counted)
    return Measured(
        value=-mean.value,
        u=None
        if accuracy is None
        else combine(mean.u, accuracy.level_u(mean.value), _by_begin(bench, points, keep, points.amps)),
        from_s=float(points.start_s[at[0]]),
        to_s=float(points.end_s[at[-1]]),
        story=story,
        parts=level_parts(mean.u, accuracy, mean.value, points.lasts_s(keep)),
        disqualified=f"{over} samples of battery_a were over range while running" if over else None,
    )
