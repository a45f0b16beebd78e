"""The key-off checks: drain, settling, feed voltage and resting voltage."""

import math
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import coarse
from benchlog.analysis.drain import Drain, Settled, drain, settle
from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.batteries import days_until
from benchlog.examine.bench import Bench
from benchlog.numbers import number
from benchlog.uncertainty import block_mean, combine, rectangular

POINT_S = 0.1
#: How long a stretch must stay settled where the plan names no settling time, s.
DEFAULT_SETTLED_S = 60.0
#: The stretch before the first key-on that stands for the rested battery, s.
RESTED_S = 600.0
#: The alternator turns on for about this long after the key-off, which hides it where only the battery is logged, s.
COAST_S = 2.0
#: The feed may follow the key by about this much, s.
RELAY_S = 0.5
#: A current that fell this long before the log's end was not yet settled until then, s.
LEAST_AFTER_S = 10.0
#: Less drift than this over the stretch is none, V.
LEAST_DRIFT_V = 0.005
#: A gap in the log above this share of the stretch leaves its mean unproven.
LARGEST_GAP = 0.1


@dataclass(frozen=True, slots=True)
class OffSpan:
    """One key-off span.

    Attributes:
        from_s, to_s: s. opens: it opens the log, so no key-off was seen.
        settled: None where nothing tells when it settled. role: the channel that tells.
    """

    from_s: float
    to_s: float
    opens: bool
    settled: Settled | None
    role: str | None


@dataclass(frozen=True, slots=True)
class OffState:
    """Findings of the key-off spans, with the drain behind them for comparing two logs."""

    findings: dict[str, Finding]
    drain: Drain | None
    role: str | None


def examine_off_state(bench: Bench) -> OffState:
    """Findings for ``off_state_drain``, ``settle_time``, ``feed_off_voltage`` and ``resting_voltage``."""
    roles = [role for role in ("drain_a", "battery_a") if bench.has(role)]
    spans = _spans(bench, roles or ["feed_v"])
    role, worst, finding = _drain(bench, bool(roles), spans)
    return OffState(
        {
            "off_state_drain": finding,
            "settle_time": _settle_time(bench, bool(roles), spans, finding),
            "feed_off_voltage": _feed_off(bench, spans),
            "resting_voltage": _resting(bench, spans),
        },
        worst,
        role,
    )


def needed_s(bench: Bench) -> float:
    """How long a key-off stretch must stay settled to count, s."""
    return bench.plan.limits.settle_max_s or DEFAULT_SETTLED_S


def _spans(bench: Bench, roles: list[str]) -> list[OffSpan]:
    """The key-off spans, each settled by the finest channel that is not over range at its end."""
    spans = []
    for from_s, to_s in bench.story.off:
        found: tuple[Settled | None, str | None] = (None, None)
        for role in roles:
            if not bench.has(role):
                continue
            table = coarse(bench.overview, from_s, to_s, POINT_S, [role])
            settled = settle(table, role, bench.resolution(role), key_on_follows=to_s < bench.log.end_s)
            if settled is not None and (found[0] is None or not math.isfinite(found[0].base_a)):
                found = (settled, role)
        spans.append(OffSpan(from_s, to_s, from_s <= bench.log.start_s, *found))
    return spans


def _no_key_off(bench: Bench) -> str:
    if bench.story.source == "none":
        return "the log has no channel that shows the key's state"
    return "the log holds no stretch with the key off; record one after turning the key off"


def _too_short(bench: Bench, spans: list[OffSpan]) -> str:
    need = needed_s(bench)
    longest = max((span.settled.lasts_s for span in spans if span.settled), default=0.0)
    if longest >= need:
        return "the settled key-off stretch holds too few valid samples; check the channel and record again"
    return (
        f"no key-off stretch stayed settled for {need:.0f} s (the longest for {longest:.0f} s); "
        f"record at least {max(need - longest, 1):.0f} s longer with the key off"
    )


def _drain(bench: Bench, logged: bool, spans: list[OffSpan]) -> tuple[str | None, Drain | None, Finding]:
    if not logged:
        return None, None, Unseen("neither drain_a nor battery_a is logged")
    if not spans:
        return None, None, Unseen(_no_key_off(bench))
    need = needed_s(bench)
    measured = []
    for span in spans:
        if span.settled is None or span.role is None or span.settled.lasts_s < need:
            continue
        figure = drain(bench.overview, span.role, span.settled, bench.accuracy.get(span.role))
        if figure is not None:
            measured.append((figure, span.settled, span.role))
    if not measured:
        return None, None, Unseen(_too_short(bench, spans))
    worst, settled, role = max(measured, key=lambda entry: entry[0].mean_a)
    return (
        role,
        worst,
        Measured(
            value=worst.mean_a * 1000,
            u=None if worst.u is None else worst.u * 1000,
            from_s=settled.from_s,
            to_s=settled.to_s,
            story=_drain_story(bench, worst, settled),
            doubt=_drain_doubt(worst),
            only_fails=f"{worst.over} samples of {role} were over range in that stretch, so the drain is larger"
            if worst.over
            else _bypass_doubt(bench, role, worst),
        ),
    )


def _drain_story(bench: Bench, figure: Drain, settled: Settled) -> str:
    a_day = number(figure.mean_a * 24 * 1000)
    lasts = f"{settled.lasts_s / 3600:.1f} h" if settled.lasts_s > 7200 else f"{settled.lasts_s:.0f} s"
    parts = [f"averaged over {lasts}", f"{number(figure.base_a * 1000)} mA between wake-ups"]
    if figure.wakeups:
        count = f"{figure.wakeups} wake-up{'s' if figure.wakeups > 1 else ''}"
        parts.append(f"{count}, {figure.wakeups / settled.lasts_s * 3600:.0f} an hour")
    else:
        shortest = 2 * bench.overview.step_s
        parts[1] = "no wake-up seen" if shortest < 0.1 else f"no wake-up of {shortest:.1f} s or longer seen"
    if figure.mean_a > 0:
        half = bench.plan.battery.capacity_ah / 2
        days = days_until(half, figure.mean_a * 1000)
        left = f"{days:.0f} days" if days >= 2 else f"{days * 24:.0f} hours"
        parts.append(f"{a_day} mAh a day, {left} to half charge")
    return ", ".join(parts)


def _drain_doubt(figure: Drain) -> str | None:
    if figure.widest_gap_s > LARGEST_GAP * figure.averaged_s:
        return f"the log has a gap of {figure.widest_gap_s:.0f} s in that stretch"
    u = figure.u if figure.u is not None else figure.type_a_u
    if figure.mean_a < -2 * u:
        return "the current flows into the battery by this reading: the shunt may be reversed, or its zero is off"
    return None


def _bypass_doubt(bench: Bench, role: str, figure: Drain) -> str | None:
    """A drain that cannot be told from zero needs proof that the shunt sees current at all."""
    u = figure.u if figure.u is not None else figure.type_a_u
    if abs(figure.mean_a) > 2 * u:
        return None
    band = bench.overview.bands[role]
    if band.over.any():
        return None
    seen = np.isfinite(band.mean)
    if seen.any():
        swing = float(np.ptp(band.mean[seen]))
        if swing > max(20 * u, 10 * bench.resolution(role), 0.01):
            return None
    return (
        "it cannot be told from zero, and the same channel showed no load in this log, so the shunt may be bypassed; "
        "switch a load on once while it records"
    )


def _settle_time(bench: Bench, logged: bool, spans: list[OffSpan], drained: Finding) -> Finding:
    if not logged:
        return Unseen("neither drain_a nor battery_a is logged")
    after = [span for span in spans if not span.opens]
    if not after:
        return Unseen("the log holds no key-off; turn the key off while it records")
    need = needed_s(bench)
    counted = [
        (span.from_s, span.settled) for span in after if span.settled is not None and span.settled.lasts_s >= need
    ]
    late = [
        (span.from_s, span.settled)
        for span in after
        if span.settled is not None
        and bench.plan.limits.settle_max_s is not None
        and span.settled.lasts_s >= LEAST_AFTER_S
        and span.settled.from_s - span.settled.width_s - span.from_s > bench.plan.limits.settle_max_s
    ]
    # still above what came after it when the time was up: that needs no longer log
    counted = counted or late
    if not counted:
        return Unseen(_too_short(bench, after))
    key_off_s, settled = max(counted, key=lambda pair: pair[1].from_s - pair[0])
    half = bench.story.half_width_s(key_off_s)
    only_fails = drained.only_fails if isinstance(drained, Measured) else None
    if bench.story.source in ("battery_a", "battery_v"):
        half = max(half, COAST_S)
        only_fails = (
            "the key-off was read from the battery alone, where a bike that stays awake looks like a key left on"
        )
    elif bench.story.source == "feed_v":
        half = max(half, RELAY_S)  # the feed goes only as the relay lets go
    # it settled between the last point outside the band and the first inside
    value = max(settled.from_s - settled.width_s / 2 - key_off_s, 0.0)
    return Measured(
        value=value,
        u=combine(rectangular(settled.width_s), rectangular(half)),
        from_s=key_off_s,
        to_s=settled.from_s,
        # a shunt that sees no current cannot see it settle
        only_fails=only_fails,
        story=f"the slowest of {len(counted)} key-offs" if len(counted) > 1 else "after one key-off",
    )


def _feed_off(bench: Bench, spans: list[OffSpan]) -> Finding:
    if not bench.has("feed_v"):
        return Unseen("feed_v is not logged")
    if not spans:
        return Unseen(_no_key_off(bench))
    need = needed_s(bench)
    means = []
    for span in spans:
        if span.settled is None:
            continue
        part = coarse(bench.overview, span.settled.from_s, span.to_s, POINT_S, ["feed_v"])
        volts = part.mean["feed_v"]
        if len(volts) < 3 or not np.isfinite(volts).any():
            continue
        # a short stretch before the first key-on cannot show that the feed goes dead, but well that it is live
        if span.settled.lasts_s < need and not (span.opens and np.nanmedian(volts) > UP_ABOVE_V):
            continue
        mean = block_mean(volts[np.isfinite(volts)])
        means.append((mean, span.settled.from_s, span.to_s, int(part.over["feed_v"].sum())))
    if not means:
        return Unseen(_too_short(bench, spans))
    mean, from_s, to_s, over = max(means, key=lambda entry: entry[0].value)
    accuracy = bench.accuracy.get("feed_v")
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, accuracy.level_u(mean.value)),
        from_s=from_s,
        to_s=to_s,
        story="settled; the highest of its stretches",
        doubt=f"{over} samples of feed_v were over range there" if over else None,
    )


def _resting(bench: Bench, spans: list[OffSpan]) -> Finding:
    if not bench.has("battery_v"):
        return Unseen("battery_v is not logged")
    opening = [span for span in spans if span.opens]
    if not opening:
        return Unseen("the log does not begin with the key off; start it before the first key-on")
    span = opening[0]
    from_s = span.settled.from_s if span.settled else span.from_s
    from_s = max(from_s, span.to_s - RESTED_S)
    # the key may already be turning in the last point
    part = coarse(bench.overview, from_s, span.to_s - 2 * bench.overview.step_s, POINT_S, ["battery_v"])
    volts = part.mean["battery_v"]
    good = np.isfinite(volts)
    if good.sum() < 4 or span.to_s - from_s < 2.0:
        return Unseen("the key was on within 2 s of the log's start; record the rested battery first")
    volts = volts[good]
    mean = block_mean(volts)
    accuracy = bench.accuracy.get("battery_v")
    third = max(len(volts) // 3, 1)
    first, last = block_mean(volts[:third], blocks=8), block_mean(volts[-third:], blocks=8)
    drift = last.value - first.value
    known = 0.0 if accuracy is None else accuracy.level_u(mean.value)
    doubt = None
    # the offset cancels in a change, so this shows finer than the level itself
    if abs(drift) > max(2 * combine(first.u, last.u, bench.resolution("battery_v") / math.sqrt(6)), LEAST_DRIFT_V):
        way = "rises" if drift > 0 else "falls"
        doubt = (
            f"the voltage still {way} by {abs(drift) * 1000:.0f} mV over that stretch (surface charge or a load); "
            "let the bike rest for two hours and record again"
        )
    return Measured(
        value=mean.value,
        u=None if accuracy is None else combine(mean.u, known),
        from_s=float(part.start_s[0]),
        to_s=float(part.end_s[-1]),
        story=f"over {part.end_s[-1] - part.start_s[0]:.0f} s",
        doubt=doubt,
    )
