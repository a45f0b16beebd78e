"""The drain from a meter: a single reading may lie between two wake-ups, or in one."""

from collections.abc import Sequence
from dataclasses import replace

from benchlog.analysis.measurement import Finding, NotEvaluated
from benchlog.core.numbers import number
from benchlog.core.uncertainty import rectangular
from benchlog.meter.proof import lasting, measured
from benchlog.meter.reading import Bounds, MeterReading
from benchlog.plan.limits import settled_s
from benchlog.plan.model import Plan

#: A lowest value that was kept for less than this may still lie within one wake-up (common practice, no source).
LEAST_WATCH_S = 60.0
_SINGLE = "a single reading cannot exclude that something wakes now and then"
_AVERAGE = "an average over 10 minutes or more, with lowest and highest kept and no OL, would prove it"
_BLOWN = (
    "it cannot be told from zero, and no reading shows that current gets through the meter, whose fuse may be blown"
)
_LOAD = "the same jack with any load on, read once, would prove it"


def drains(readings: Sequence[MeterReading], plan: Plan) -> list[Finding]:
    """``off_state_drain``, mA, from each reading of the sleeping bike's current."""
    asleep = [one for one in readings if one.state == "asleep" and one.quantity in ("drain_a", "battery_a")]
    return [_drain(one, readings, settled_s(plan)) for one in asleep]


def _drain(one: MeterReading, readings: Sequence[MeterReading], need_s: float) -> Finding:
    if one.now is None:
        return NotEvaluated("the meter was over range; choose a larger range, and read again with the bike asleep")
    if one.waited_s is not None and one.waited_s < need_s:
        when, need = lasting(one.waited_s), lasting(need_s)
        return NotEvaluated(f"it was read {when} after the key-off, maybe not asleep; read again after {need} or more")
    now = one.now.in_units(1000.0)
    lowest = None if one.lowest is None else one.lowest.in_units(1000.0)
    averaged = one.averaged_s >= need_s and not one.over
    high = now.high + (_one_more_wake(one, now, lowest) if averaged else 0.0)
    fails_from = lowest.low if lowest is not None and one.watched_s >= LEAST_WATCH_S else min(0.0, now.low)
    found = measured(
        Bounds(now.value, fails_from, high),
        [one],
        _story(one, lowest),
        disqualified=_unknown_wait(one, need_s) or _below_zero(now),
        one_sided=None if averaged else _why_single(one, need_s),
        remedy=None if averaged else _AVERAGE,
    )
    # what lies below the value says whether it fails, not how well it is known
    u = None if found.u is None else rectangular(high - now.value)
    found = replace(found, u=u, watched_s=one.averaged_s)
    if averaged and now.low <= 0 and not _lets_current_through(one, readings):
        return replace(found, one_sided=_BLOWN, remedy=_LOAD, needs_load_step=True)
    return found


def _one_more_wake(one: MeterReading, now: Bounds, lowest: Bounds | None) -> float:
    """What one wake-up more in the average would have added, mA: at most all that lies above the base."""
    if lowest is None or 0 < one.watched_s < one.averaged_s:
        return max(now.value, 0.0)
    return max(now.value - lowest.low, 0.0)


def _lets_current_through(one: MeterReading, readings: Sequence[MeterReading]) -> bool:
    same = [other for other in readings if other.quantity == one.quantity]
    shown = [each for other in same for each in (other.now, other.highest) if each is not None]
    return any(each.low > 0 for each in shown)


def _unknown_wait(one: MeterReading, need_s: float) -> str | None:
    if one.waited_s is not None:
        return None
    return f"how long after the key-off it was read is not noted; {lasting(need_s)} or more are needed (waited_s)"


def _below_zero(now: Bounds) -> str | None:
    return "it reads below zero, which no drain is: look at the leads, and for a charger" if now.high < 0 else None


def _why_single(one: MeterReading, need_s: float) -> str:
    if one.over:
        return "the meter was over range while it watched, so what woke there is not known"
    if one.averaged_s > 0:
        return f"the average covers {lasting(one.averaged_s)}, of {lasting(need_s)} or more that are needed"
    return _SINGLE


def _story(one: MeterReading, lowest: Bounds | None) -> str:
    parts = [f"averaged over {lasting(one.averaged_s)}" if one.averaged_s else "one reading"]
    if lowest is not None:
        watched = f" over {lasting(one.watched_s)}" if one.watched_s else ""
        parts.append(f"the lowest{watched} {number(lowest.value)} mA")
    if one.highest is not None:
        parts.append(f"the highest {number(one.highest.value * 1000)} mA")
    return ", ".join(parts)
