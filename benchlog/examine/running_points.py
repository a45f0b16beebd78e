"""The running engine in points of 0.2 s: voltage, current, load through the feed, and where the battery is charged."""

import math
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.charging import lasting_states, steadied
from benchlog.analysis.coarse import coarse
from benchlog.analysis.fed import KEPT_SHARE, LIVE_SHARE, fed_a
from benchlog.analysis.running import RAISED_V, Flags, Running, least_a
from benchlog.core.quantiles import median
from benchlog.core.spread import robust_sigma
from benchlog.core.trace import Array
from benchlog.core.uncertainty import combine
from benchlog.examine.charger import SLOW_POINT_S
from benchlog.examine.context import LogContext
from benchlog.examine.timeline import ENGINE_ROLES

POINT_S = 0.2
#: The alternator comes up and the battery's voltage settles for this long after the start, s.
RISE_S = 2.0
#: The alternator coasts and the voltage falls for this long as the engine is stopped, s.
COAST_S = 0.5
#: An engine that ran for less has shown nothing of its alternator, which may take a moment to begin, s (common
#: practice, no source).
BRIEF_S = 2.5
BY_FALLS = ", by what the feed and the return lose"


@dataclass(frozen=True, slots=True)
class RunningPoints:
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
        return 3 * robust_sigma(steps[steps > 0]) / math.sqrt(2)

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
        return median(gaps) if len(gaps) else 0.0


def running_points(bench: LogContext) -> RunningPoints | None:
    """Every run's points, end to end; None where the engine ran too briefly for them."""
    roles = [role for role in ENGINE_ROLES if bench.has(role)]
    accuracy = bench.accuracy.get("battery_a")
    least = least_a(combine(accuracy.change_u(10.0), accuracy.level_u(0.0)) if accuracy else 0.1)
    load_s, load_a, load_how = _load(bench)
    found: list[RunningPoints] = []
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
        found.append(
            RunningPoints(part.start_s, part.end_s, volts, amps, load, over, load_how, charged, uncharged, whole_a)
        )
    if not found:
        return None
    joined = {
        name: np.concatenate([getattr(one, name) for one in found])
        for name in ("start_s", "end_s", "volts", "amps", "load_a", "charged", "uncharged", "whole_a")
    }
    over = {role: sum(one.over.get(role, 0) for one in found) for role in ("battery_v", "battery_a")}
    points = RunningPoints(**joined, over=over, load_how=load_how)
    return points if points.lasts_s(np.ones(len(points.volts), dtype=bool)) >= BRIEF_S else None


def _states(run: Running, start: Array, end: Array, volts: Array, amps: Array, least: float) -> tuple[Flags, Flags]:
    """Where the battery is charged for 5 s and more, and where it is not."""
    v, a = steadied(volts, start), steadied(amps, start)
    with np.errstate(invalid="ignore"):
        by_volts = np.isfinite(v) & math.isfinite(run.before_v)
        flags = np.where(np.isfinite(a), a > least, ~(v > run.before_v + RAISED_V))
    uncharged, charged = lasting_states(flags, np.isfinite(a) | by_volts, start, end)
    return charged, uncharged


def _load(bench: LogContext) -> tuple[Array, Array, str]:
    """The load through the feed over the log, A, from its best witness: times, load, and in words what shows it."""
    table = coarse(bench.overview, bench.log.start_s, bench.log.end_s, SLOW_POINT_S, ENGINE_ROLES)
    load = np.full(len(table), np.nan)
    for a, b in bench.story.on:
        starts = [c.from_s for c in bench.story.cranks if a <= c.from_s <= b]
        starts += [r.from_s for r in bench.story.running if a <= r.from_s <= b]
        here = table.inside(a, b)
        fed = fed_a(table.cut(here), a, min([b, *starts]))
        if fed is not None:
            load[here] = fed / KEPT_SHARE
    if "feed_v" in table.low and "battery_v" in table.mean:
        with np.errstate(invalid="ignore"):
            # where the feed was lost for a moment, its distance from the battery is no drop of a load's
            load[table.low["feed_v"] < LIVE_SHARE * table.mean["battery_v"]] = np.nan
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
