"""A bike's season: every quantity's breaks, trend and limit, the charge, the days it can stand, and what to do."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta, tzinfo
from itertools import pairwise
from typing import Literal

import numpy as np

from benchlog.core.errors import BenchlogError
from benchlog.plan.batteries import CHEMISTRY
from benchlog.plan.model import Limits
from benchlog.season.breaks import FALSE_ALARMS, Break, LevelShift, found_steps, kind_of
from benchlog.season.charge import charge_of
from benchlog.season.forecast import PROVEN_P, Trend, crossing_of, trend_of
from benchlog.season.model import Part, Season, splits, starts_anew
from benchlog.season.series import LEAST_READINGS, Series, compared, day_of, moment_of, series_of
from benchlog.season.standing import standing_of
from benchlog.season.words import advise
from benchlog.store.kinds import Change
from benchlog.store.readings import QUANTITIES, Reading

TITLES = {
    "resting_voltage": "Resting voltage",
    "source_resistance": "Source resistance",
    "crank_minimum": "Cranking minimum",
    "off_state_drain": "Off-state drain",
    "charging_voltage": "Charging voltage",
}
# a found step and an entered change this far apart are one
_SAME_DAYS = 14.0
# a found break lies after a reading, which is kept before it; an entered one starts its own day
_SIDE: dict[bool, Literal["left", "right"]] = {True: "right", False: "left"}
# of a quantity that scatters from start to start, the median of so many is taken as the present value
_LATEST = {"source_resistance": 3, "crank_minimum": 3}


def season_of(
    readings: Iterable[Reading],
    changes: Iterable[Change | tuple[date, str]] = (),
    *,
    chemistry: str,
    capacity_ah: float,
    limits: Limits | None = None,
    today: date,
    bike: str = "",
    zone: tzinfo | None = None,
) -> Season:
    """Make the season of one bike.

    Args:
        readings: in any order; those after ``today`` are left out.
        changes: noted ones, or pairs of their day and words.
        chemistry: of the battery, as in a plan.
        capacity_ah: rated.
        limits: of the plan; None: no limits.
        today: the day that "now" means.
        zone: whose days ``today`` and those of the changes are; None: this computer's.

    Raises:
        BenchlogError: a chemistry, capacity, quantity or time that cannot be used; all faults at once.
    """
    known = [one for one in readings if one.at.tzinfo is None or one.at.astimezone(zone).date() <= today]
    every = sorted(
        (each if isinstance(each, Change) else Change(*each) for each in changes), key=lambda change: change.on
    )
    noted = [change for change in every if change.on <= today]
    _refuse(known, chemistry, capacity_ah)
    rng = np.random.default_rng(1)  # shuffles: the same readings give the same season
    series = {quantity: series_of(known, quantity) for quantity in QUANTITIES}
    long = sum(len(one) >= LEAST_READINGS for one in series.values())
    steps: dict[str, list[tuple[LevelShift, Series]]] = {}
    for quantity, one in series.items():
        steps[quantity] = _steps(one, _cuts(quantity, noted, zone), FALSE_ALARMS / max(long, 1), rng)
    breaks = _breaks(steps, noted, zone)
    parts = tuple(
        _part(quantity, known, series[quantity], breaks, limits or Limits(), today) for quantity in QUANTITIES
    )
    parts = _confirmed(parts, today)
    by_name = {part.quantity: part for part in parts}
    resting, drain = (_since(by_name[quantity]) for quantity in ("resting_voltage", "off_state_drain"))
    charge = charge_of(resting[-1], chemistry) if resting else None
    standing = None
    if charge is not None:
        allowed_ma = limits.off_state_drain_ma if limits else None
        standing = standing_of(charge, drain[-1] if drain else None, chemistry, capacity_ah, allowed_ma)
    return Season(
        bike=bike,
        chemistry=chemistry,
        capacity_ah=capacity_ah,
        today=today,
        parts=parts,
        breaks=tuple(breaks),
        charge=charge,
        standing=standing,
        advice=advise(parts, charge, standing, today, chemistry),
        later=tuple(change for change in every if change.on > today),
    )


def _refuse(readings: Sequence[Reading], chemistry: str, capacity_ah: float) -> None:
    faults = []
    if chemistry not in CHEMISTRY:
        faults.append(f"chemistry: must be one of {', '.join(CHEMISTRY)}, got {chemistry!r}")
    if not capacity_ah > 0:
        faults.append(f"capacity_ah: must be above 0, got {capacity_ah:g}")
    faults += sorted(
        {f"quantity: must be one of {', '.join(QUANTITIES)}, got {r.quantity!r}" for r in readings
         if r.quantity not in QUANTITIES}
    )  # fmt: skip
    if any(r.at.tzinfo is None for r in readings):
        faults.append("at: must carry a time zone, got one without; give UTC")
    if faults:
        raise BenchlogError("".join(["the season cannot be made:", *(f"\n  {fault}" for fault in faults)]))


def _cuts(quantity: str, noted: Sequence[Change], zone: tzinfo | None) -> list[float]:
    """Days since 1970 UTC at which a noted change starts the quantity afresh."""
    return [day_of(_start_of(change.on, zone)) for change in noted if starts_anew(change.what, quantity)]


def _start_of(on: date, zone: tzinfo | None) -> datetime:
    # a record of the same day is taken to be from after the change
    begins = datetime.combine(on, time(), zone)
    return begins.astimezone() if zone is None else begins


def _steps(
    series: Series, cuts: list[float], alpha: float, rng: np.random.Generator
) -> list[tuple[LevelShift, Series]]:
    """The steps found between the entered changes, each with the readings that it was found in."""
    edges = [0, *np.searchsorted(series.day, cuts).tolist(), len(series)]
    found: list[tuple[LevelShift, Series]] = []
    for start, stop in pairwise(edges):
        if stop - start < LEAST_READINGS:
            continue
        own, others = compared(series.part(start, stop))
        scaled = (own.day - own.day.mean()) / 365.25
        for step in found_steps(scaled, own.value, others.columns, alpha / (len(edges) - 1), rng):
            found.append((step, own))
    return found


def _breaks(
    steps: dict[str, list[tuple[LevelShift, Series]]], noted: Sequence[Change], zone: tzinfo | None
) -> list[Break]:
    """Noted changes, and found steps put together where their dates agree."""
    groups: list[tuple[float, float, dict[str, float], float]] = []  # after, before, steps, p
    each = sorted(
        (float(own.day[step.first - 1]), float(own.day[step.last]), quantity, step)
        for quantity, found in steps.items()
        for step, own in found
    )
    for after, before, quantity, step in each:
        if groups and after < groups[-1][1] and quantity not in groups[-1][2]:
            last = groups[-1]
            groups[-1] = (max(last[0], after), min(last[1], before), {**last[2], quantity: step.size},
                          min(last[3], step.p))  # fmt: skip
        else:
            groups.append((after, before, {quantity: step.size}, step.p))
    breaks = []
    for change in noted:
        at = _start_of(change.on, zone)
        day = day_of(at)
        same = [g for g in groups if g[0] - _SAME_DAYS <= day <= g[1] + _SAME_DAYS]
        groups = [g for g in groups if g not in same]
        merged = {quantity: size for g in same for quantity, size in g[2].items()}
        breaks.append(Break(at, at, merged, change.what, kind_of(merged) if merged else "",
                            min((g[3] for g in same), default=None), change.number))  # fmt: skip
    for after, before, sizes, p in groups:
        breaks.append(Break(moment_of(after), moment_of(before), sizes, "", kind_of(sizes), p))
    return sorted(breaks, key=lambda one: one.before)


def _part(
    quantity: str, readings: Sequence[Reading], series: Series, breaks: Sequence[Break], limits: Limits, today: date
) -> Part:
    own = tuple(sorted((r for r in readings if r.quantity == quantity), key=lambda r: r.at))
    cuts = [one for one in breaks if splits(one, quantity)]
    # readings within a break that could lie on either side of it belong to neither stretch
    starts = [0, *(int(np.searchsorted(series.day, day_of(b.before))) for b in cuts)]
    stops = [*(int(np.searchsorted(series.day, day_of(b.after), side=_SIDE[b.after < b.before])) for b in cuts), None]
    stretches = [series.part(start, stop) for start, stop in zip(starts, stops, strict=True)]
    trends = [trend_of(*compared(stretch)) for stretch in stretches]
    low, high = _limit(quantity, limits)
    since = cuts[-1].before if cuts else None
    latest = _latest(quantity, [r for r in own if since is None or r.at >= since - timedelta(seconds=1)])
    now = _now(latest)
    return Part(
        quantity=quantity,
        title=TITLES[quantity],
        unit=QUANTITIES[quantity],
        readings=own,
        limit=(low, high),
        since=since,
        now=now,
        trend=trends[-1],
        earlier=tuple(trend for trend in trends[:-1] if isinstance(trend, Trend)),
        crossing=crossing_of(trends[-1], now, low, high, today),
        now_of=len(latest),
    )


def _confirmed(parts: tuple[Part, ...], today: date) -> tuple[Part, ...]:
    """The parts with only those trends proven that are clear enough among so many quantities (Holm 1979).

    Five quantities at 5 % each would raise a false alarm in nearly a quarter of quiet seasons.
    """
    looked_at = sorted((part.trend.p, part.quantity) for part in parts if isinstance(part.trend, Trend))
    sure: set[str] = set()
    for rank, (p, quantity) in enumerate(looked_at):
        if p >= PROVEN_P / (len(looked_at) - rank):
            break
        sure.add(quantity)
    kept = []
    for part in parts:
        if isinstance(part.trend, Trend) and part.trend.proven and part.quantity not in sure:
            trend = replace(
                part.trend, proven=False, because="no trend proven: not significant among this many quantities"
            )
            part = replace(part, trend=trend, crossing=crossing_of(trend, part.now, *part.limit, today))
        kept.append(part)
    return tuple(kept)


def _limit(quantity: str, limits: Limits) -> tuple[float | None, float | None]:
    return {
        "resting_voltage": (limits.resting_min_v, None),
        "source_resistance": (None, limits.source_resistance_max_mohm),
        "crank_minimum": (limits.crank_min_v, None),
        "off_state_drain": (None, limits.off_state_drain_ma),
        "charging_voltage": (limits.charging_min_v, limits.charging_max_v),
    }[quantity]


def _latest(quantity: str, readings: Sequence[Reading]) -> list[Reading]:
    """The readings whose median is the present value."""
    return [r for r in readings if np.isfinite(r.value)][-_LATEST.get(quantity, 1) :]


def _now(latest: Sequence[Reading]) -> tuple[float, float] | None:
    if not latest:
        return None
    doubts = [r.uncertainty for r in latest if r.uncertainty is not None]
    return float(np.median([r.value for r in latest])), float(np.median(doubts)) if doubts else 0.0


def _since(part: Part) -> list[Reading]:
    """The readings since the last break."""
    return [r for r in part.readings if np.isfinite(r.value)
            and (part.since is None or r.at >= part.since - timedelta(seconds=1))]  # fmt: skip
