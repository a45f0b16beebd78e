"""The checks while the engine runs: charging voltage and balance."""

import math
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.charging import (
    lasting_states,
    rises_slowly,
    steadied,
    whole_cycles,
    without_pulses,
)
from benchlog.analysis.coarse import coarse, runs
from benchlog.analysis.fed import KEPT_SHARE, fed_a
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.running import LASTS_S, RAISED_V, Flags, Running, least_a
from benchlog.examine.bench import Bench
from benchlog.examine.story import ENGINE_ROLES, SLOW_POINT_S
from benchlog.trace import Array
from benchlog.uncertainty import Mean, block_mean, combine

POINT_S = 0.2
#: The alternator comes up and the battery's voltage settles for this long after the start, s.
RISE_S = 2.0
#: The alternator coasts and the voltage falls for this long as the engine is stopped, s.
COAST_S = 0.5
#: Loads count as on, for the balance, above this share of the greatest load seen while running.
NEARLY_ALL = 0.9
#: An alternator that gives less than this share of the load gives nothing, 1.
NEARLY_NOTHING = 0.1
#: No load of the bike's own that comes and goes by itself takes more than this, A (from memory).
GREATEST_LOAD_A = 15.0
#: Less than this share of the planned load is none, 1.
LEAST_LOAD = 0.02
#: A load that is read off small voltages is steadied over this long, s.
STEADY_LOAD_S = 3.0
BY_FALLS = ", by what the feed and the return lose"
#: How far around the begin of charging its course is looked at, s.
AROUND_S = 2.0
#: A voltage that rose by this much over the run, V, with such a current into the battery, A, still rises.
ROSE_V, TAKEN_A = 0.15, 1.0


@dataclass(frozen=True, slots=True)
class _Points:
    """The running engine in points of 0.2 s, one run after another.

    Attributes:
        start_s, end_s: of each point. volts, amps, load_a: means; NaN where not read. over: role -> samples over range.
        load_how: what the load through the feed was taken from; "" where nothing shows it.
        charged, uncharged: stretches of 5 s and more of either.
        whole_a: the load as it was with the engine off, A; NaN where not known.
    """

    start_s: Array
    end_s: Array
    volts: Array
    amps: Array
    load_a: Array
    over: dict[str, int]
    load_how: str
    charged: Flags
    uncharged: Flags
    whole_a: Array

    @property
    def load_noise_a(self) -> float:
        """How far a load that is read off small voltages scatters, A; pulses of a measured current are no noise."""
        steps = np.abs(np.diff(self.load_a[np.isfinite(self.load_a)]))
        if not self.load_how.startswith(BY_FALLS) or not steps.any():
            return 0.0
        return 3 * 1.4826 * float(np.median(steps[steps > 0])) / math.sqrt(2)

    @property
    def both(self) -> bool:
        """Whether the battery was charged over some stretches, and not over others."""
        return bool(self.charged.any() and self.uncharged.any())

    def lasts_s(self, keep: Flags) -> float:
        """How long the points kept last, s."""
        return float((self.end_s - self.start_s)[keep].sum()) + float(keep.sum() * self._between_s)

    @property
    def _between_s(self) -> float:
        gaps = self.start_s[1:] - self.end_s[:-1]
        return float(np.median(gaps)) if len(gaps) else 0.0


def examine_charging(bench: Bench) -> dict[str, Finding]:
    """Findings for ``charging_voltage`` and ``charging_balance``."""
    if not bench.story.running:
        why = (
            "after cranking neither the alternator's current nor a raised voltage shows for 5 s; "
            'mark "running" if the engine ran'
            if bench.story.cranks
            else "the engine does not run in this log; start it while it records"
        )
        why += bench.bridged_in(*bench.story.on)
        return {"charging_voltage": Unseen(why), "charging_balance": Unseen(why)}
    points = _points(bench)
    return {"charging_voltage": _voltage(bench, points), "charging_balance": _balance(bench, points)}


def _points(bench: Bench) -> _Points | None:
    roles = [role for role in ENGINE_ROLES if bench.has(role)]
    accuracy = bench.accuracy.get("battery_a")
    least = least_a(combine(accuracy.change_u(10.0), accuracy.level_u(0.0)) if accuracy else 0.1)
    load_s, load_a, load_how = _load(bench)
    found: list[_Points] = []
    for run in bench.story.running:
        rise = min(RISE_S, (run.to_s - run.from_s) / 3)
        # a key-off that a line or mark shows is known no finer than the samples; any other end fades out
        by_line = bench.story.source not in ("battery_a", "battery_v")
        fades = 0.0 if by_line and any(run.to_s == b for _, b in bench.story.on) else COAST_S
        part = coarse(
            bench.overview, run.from_s + rise, run.to_s - max(2 * bench.overview.step_s, fades), POINT_S, roles
        )
        if not len(part):
            continue
        nothing = np.full(len(part), np.nan)
        volts, amps = part.mean.get("battery_v", nothing), part.mean.get("battery_a", nothing)
        load = np.interp(part.time_s, load_s, load_a, left=np.nan, right=np.nan) if len(load_s) else nothing
        if "feed_a" in part.mean:
            load = part.mean["feed_a"]
        charged, uncharged = _states(run, part.start_s, part.end_s, volts, amps, least)
        over = {role: int(part.over[role].sum()) for role in ("battery_v", "battery_a") if role in part.over}
        more_a = load - run.before_fed_a / KEPT_SHARE if load_how else np.zeros(len(part))
        whole_a = run.before_a + more_a
        found.append(_Points(part.start_s, part.end_s, volts, amps, load, over, load_how, charged, uncharged, whole_a))
    if not found:
        return None
    joined = {
        name: np.concatenate([getattr(one, name) for one in found])
        for name in ("start_s", "end_s", "volts", "amps", "load_a", "charged", "uncharged", "whole_a")
    }
    over = {role: sum(one.over.get(role, 0) for one in found) for role in ("battery_v", "battery_a")}
    return _Points(**joined, over=over, load_how=load_how)


def _states(run: Running, start: Array, end: Array, volts: Array, amps: Array, least: float) -> tuple[Flags, Flags]:
    """Where the battery is charged for 5 s and more, and where it is not."""
    v, a = steadied(volts, start), steadied(amps, start)
    with np.errstate(invalid="ignore"):
        by_volts = np.isfinite(v) & math.isfinite(run.before_v)
        flags = np.where(np.isfinite(a), a > least, ~(v > run.before_v + RAISED_V))
    uncharged, charged = lasting_states(flags, np.isfinite(a) | by_volts, start, end)
    return charged, uncharged


def _load(bench: Bench) -> tuple[Array, Array, str]:
    """The load through the feed over the log, A, from its best witness: times, load, and in words what shows it."""
    table = coarse(bench.overview, bench.log.start_s, bench.log.end_s, SLOW_POINT_S, ENGINE_ROLES)
    load = np.full(len(table), np.nan)
    for a, b in bench.story.on:
        starts = [c.from_s for c in bench.story.cranks if a <= c.from_s <= b]
        starts += [r.from_s for r in bench.story.running if a <= r.from_s <= b]
        fed = fed_a(table, a, min([b, *starts]))
        here = (table.start_s >= a) & (table.end_s <= b)
        if fed is not None:
            load[here] = fed[here] / KEPT_SHARE
    known = np.isfinite(load)
    if not known.any():
        return np.empty(0), np.empty(0), ""
    how = (
        ""
        if bench.has("feed_a")
        else ", by the circuits' own currents"
        if any(role.startswith("slot") and role.endswith("_a") for role in bench.overview.bands)
        else BY_FALLS
    )
    return table.time_s[known], load[known], how or " "


def _dark(bench: Bench) -> str | None:
    """Why a pass is not proven where the engine may have turned without charging; None where it surely did not."""
    stretches = [stretch for run in bench.story.running for stretch in run.dark]
    if not stretches:
        return None
    named = " and ".join(f"{a:.0f} to {b:.0f} s" for a, b in stretches)
    return f"from {named} the engine may have idled without charging, or stood"


def _slowly(bench: Bench, points: _Points) -> bool:
    """Whether charging comes and goes with the engine's speed, rather than with a load that is switched."""
    role = "battery_a" if bench.has("battery_a") else "battery_v"
    edges = [
        float(points.start_s[at])
        for flags in (points.charged, points.uncharged)
        for first, end in runs(flags)
        for at in (first, min(end, len(flags) - 1))
        if 0 < at < len(flags) - 1
    ]
    return any(
        rises_slowly(bench.log.trace(at - AROUND_S, at + AROUND_S, [role]), role, AROUND_S) for at in sorted(set(edges))
    )


def _by_speed(points: _Points) -> bool:
    """Whether no load can have ended the charging: the alternator gave nothing, or no load of a bike is as great.

    An alternator that gives nothing leaves the battery the whole load, as it was with the engine off.
    """
    with np.errstate(invalid="ignore"):
        own_a = points.amps - (np.nan_to_num(points.load_a) if points.load_how else 0.0)
        missing = (points.whole_a - points.amps)[points.uncharged]
    drawn, gained = (own_a[state & np.isfinite(own_a)] for state in (points.uncharged, points.charged))
    if len(drawn) and len(gained) and np.median(drawn) - np.median(gained) > GREATEST_LOAD_A:
        return True
    known = np.isfinite(missing)
    if not known.any():
        return False
    some_a, whole_a = float(np.median(missing[known])), float(np.median(points.whole_a[points.uncharged][known]))
    least = max(0.5, NEARLY_NOTHING * whole_a)
    # where the load through the feed is known, what comes on with the engine is its own: ignition, pump, lamps
    return some_a <= least if points.load_how else abs(some_a) <= least


def _judged(
    bench: Bench, points: _Points, whole: Measured, parts: tuple[Measured, Measured], words: str, outside: bool
) -> Measured:
    """The worse of two states where the engine's speed makes them; the mean where a load may.

    Args:
        whole: over all that counts. parts: uncharged and charged. outside: the worse one breaks its limit.
    """
    told = replace(whole, story=f"{whole.story}; {words}" if whole.story else words)
    if not outside:
        return told
    if _by_speed(points) or _slowly(bench, points):
        return replace(parts[0], story=words)
    return replace(
        told,
        only_fails=told.only_fails
        or "whether the engine's speed or a load that came on ended the charging is not known",
        remedy=told.remedy or 'a log at idle and another one revved, with "running" marked, would prove it',
    )


def _voltage(bench: Bench, points: _Points | None) -> Finding:
    if not bench.has("battery_v"):
        return Unseen("battery_v is not logged")
    if points is None or np.isfinite(points.volts).sum() < 4:
        return Unseen("the engine ran too briefly; let it run for 20 s or more")
    known = np.isfinite(points.volts)
    whole = _mean_voltage(bench, points, known)
    rising = _rising(bench, points, whole)
    dark = _dark(bench)
    whole = replace(
        whole,
        only_fails=dark,
        remedy='mark "running" and "engine off" as they happen' if dark else None,
        doubt=whole.doubt or rising,
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
        return replace(high, story=words)
    return _judged(bench, points, whole, (low, high), words, outside=below < 0)


def _mean_voltage(bench: Bench, points: _Points, keep: Flags) -> Measured:
    mean = block_mean(points.volts[keep])
    accuracy = bench.accuracy.get("battery_v")
    over = points.over["battery_v"]
    at = np.flatnonzero(keep)
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=float(points.start_s[at[0]]),
        to_s=float(points.end_s[at[-1]]),
        story=f"mean over {points.lasts_s(keep):.0f} s of running",
        doubt=f"{over} samples of battery_v were over range while running" if over else None,
    )


def _rising(bench: Bench, points: _Points, whole: Measured) -> str | None:
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


def _balance(bench: Bench, points: _Points | None) -> Finding:
    if not bench.has("battery_a"):
        return Unseen("battery_a is not logged")
    if points is None:
        return Unseen("the engine ran too briefly; let it run for 20 s or more")
    known = np.isfinite(points.amps)
    keep, on = _all_on(bench, points, known)
    bridged = bench.bridged_in(*((run.from_s, run.to_s) for run in bench.story.running))
    if bridged and points.lasts_s(keep) < LASTS_S:
        return Unseen(
            "the engine ran too briefly with the loads on and the shunt free; take the bridge off and let it run for "
            f"20 s or more after that{bridged}"
        )
    if keep.sum() < 4:
        return Unseen("the engine ran too briefly with the loads on; let it run for 20 s or more")
    counted = known if bridged else np.ones(len(known), dtype=bool)
    dark = _dark(bench)
    whole = replace(
        _mean_balance(bench, points, keep, counted, on + bridged),
        only_fails=dark,
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
    outside = least is not None and low.value is not None and low.value < least
    return _judged(bench, points, replace(whole, story=""), (low, high), words, outside)


def _all_on(bench: Bench, points: _Points, known: Flags) -> tuple[Flags, str]:
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
    top_v = float(np.median(top[np.isfinite(top)])) if np.isfinite(top).any() else math.nan
    share = np.fmin(np.where(np.isfinite(points.volts), points.volts / top_v, 1.0), 1.0)
    keep = known & (level >= NEARLY_ALL * most * np.where(np.isfinite(share), share, 1.0) - points.load_noise_a)
    shown = float(np.mean(load[keep])) if keep.any() else most
    return keep, f"with {shown:.1f} A of the planned {planned:.1f} A on{points.load_how.rstrip()}"


def _mean_balance(bench: Bench, points: _Points, keep: Flags, counted: Flags, story: str) -> Measured:
    mean = _over_cycles(points.amps[keep])
    accuracy = bench.accuracy.get("battery_a")
    over = points.over["battery_a"]
    at = np.flatnonzero(counted)
    return Measured(
        value=-mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=float(points.start_s[at[0]]),
        to_s=float(points.end_s[at[-1]]),
        story=story,
        doubt=f"{over} samples of battery_a were over range while running" if over else None,
    )


def _over_cycles(x: Array) -> Mean:
    """The mean over whole cycles where a fan or the like comes and goes."""
    return block_mean(x[whole_cycles(x)])
