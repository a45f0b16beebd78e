"""Voltages and the balance that a meter shows at rest, while cranking and with the engine running."""

from collections.abc import Sequence

from benchlog.analysis.measurement import Finding, NotEvaluated
from benchlog.meter.loads import OVER
from benchlog.meter.proof import lasting, measured
from benchlog.meter.reading import MeterReading
from benchlog.plan.batteries import REST_H
from benchlog.plan.limits import PlannedLimit, settled_s
from benchlog.plan.model import Plan

_TOO_SLOW = "a hand meter is too slow for the dip as the starter takes hold"
_FAST_LOG = "a log at 200 samples a second or more would prove it"
_WHICH_ON = "whether every circuit was on is not noted"


def feed_off(readings: Sequence[MeterReading], plan: Plan, limit: PlannedLimit | None) -> list[Finding]:
    """``feed_off_voltage``, V; a block with capacitors on it falls for a while, so an early reading accuses nobody."""
    need_s = settled_s(plan)
    found: list[Finding] = []
    for one in _in(readings, "feed_v", "asleep"):
        level = one.level
        if level is None:
            found.append(NotEvaluated(OVER))
            continue
        early = one.waited_s is None or one.waited_s < need_s
        above = limit is not None and limit.max is not None and level.high > limit.max
        why = f"it was not noted to be read {lasting(need_s)} or more after the key-off (waited_s), and may still fall"
        found.append(measured(level, [one], "one reading", disqualified=why if early and above else None))
    return found


def resting(readings: Sequence[MeterReading]) -> list[Finding]:
    """``resting_voltage``, V, of a battery that has rested for a night."""
    return [_rested(one) for one in _in(readings, "battery_v", "asleep")]


def _rested(one: MeterReading) -> Finding:
    if one.level is None:
        return NotEvaluated(OVER)
    need = f"{REST_H:g} hours without load or charge are needed (waited_s)"
    if one.waited_s is None:
        why: str | None = f"how long the battery had rested is not noted; {need}"
    elif one.waited_s < REST_H * 3600:
        why = f"the battery had rested for {lasting(one.waited_s)}; {need}"
    else:
        why = None
    story = "" if one.waited_s is None else f"after {lasting(one.waited_s)} of rest"
    return measured(one.level, [one], story, disqualified=why)


def charging(readings: Sequence[MeterReading]) -> list[Finding]:
    """``charging_voltage``, V."""
    return [
        NotEvaluated(OVER) if one.level is None else measured(one.level, [one], "one reading, engine running")
        for one in _in(readings, "battery_v", "running")
    ]


def balance(readings: Sequence[MeterReading]) -> list[Finding]:
    """``charging_balance``, A into the battery."""
    found: list[Finding] = []
    for one in _in(readings, "battery_a", "running"):
        if one.level is None:
            found.append(NotEvaluated(OVER))
            continue
        unknown = None if one.loads_on else _WHICH_ON
        remedy = None if one.loads_on else "a reading with every circuit on (loads_on = true) would prove it"
        found.append(measured(-one.level, [one], "one reading", one_sided=unknown, remedy=remedy))
    return found


def cranking(readings: Sequence[MeterReading]) -> list[Finding]:
    """``crank_minimum``, V: the lowest that the meter kept; the true one lies below."""
    found: list[Finding] = []
    for one in _in(readings, "battery_v", "cranking"):
        shown = one.lowest or one.now
        if shown is None:
            found.append(NotEvaluated(OVER))
            continue
        kept = "the lowest that the meter kept" if one.lowest else "one reading"
        found.append(measured(shown, [one], kept, one_sided=_TOO_SLOW, remedy=_FAST_LOG))
    return found


def _in(readings: Sequence[MeterReading], quantity: str, state: str) -> list[MeterReading]:
    return [one for one in readings if one.quantity == quantity and one.state == state]
