"""The key-off spans, and the checks of their current: drain and settling."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse
from benchlog.analysis.drain import AWAKE_A, STIRS_A, Drain, Settled, drain, hidden_a, settle
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.zero import Zero
from benchlog.core.numbers import number
from benchlog.core.uncertainty import COVERAGE_K, combine, rectangular
from benchlog.examine.bypass import BYPASSED, shows_load
from benchlog.examine.context import LogContext
from benchlog.examine.parted import level_parts
from benchlog.examine.wakes import fails_by_wakes
from benchlog.plan.batteries import days_until

POINT_S = 0.1
#: How long a stretch must stay settled where the plan names no settling time, s.
DEFAULT_SETTLED_S = 60.0
#: The alternator turns on for about this long after the key-off, which hides it where only the battery is logged, s.
COAST_S = 2.0
#: The feed may follow the key by about this much, s.
RELAY_S = 0.5
#: A current that fell this long before the log's end was not yet settled until then, s.
LEAST_AFTER_S = 10.0
#: So few full awakenings in a stretch may be a hand on the bike; more are its habit.
FEW_VISITS = 2
#: How long the bike can stand is told only from a watch of this length, s: what wakes seldom shows in no shorter one.
STANDING_AFTER_S = 3600.0
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
    """Findings of the key-off spans.

    Attributes:
        drain, role: the worst one and its channel, for comparing two logs. zero: what was taken off it.
        spans: for drawing. loaded: the current channels that showed a load somewhere in the log.
    """

    findings: dict[str, Finding]
    drain: Drain | None
    role: str | None
    spans: tuple[OffSpan, ...] = ()
    zero: Zero | None = None
    loaded: tuple[str, ...] = ()


def examine_off_state(bench: LogContext) -> OffState:
    """Findings for ``off_state_drain`` and ``settle_time``."""
    roles = [role for role in ("drain_a", "battery_a") if bench.has(role)]
    spans = _spans(bench, roles or ["feed_v"])
    role, worst, zero, finding = _drain(bench, bool(roles), spans)
    return OffState(
        {
            "off_state_drain": finding,
            "settle_time": _settle_time(bench, bool(roles), spans, finding),
        },
        worst,
        role,
        tuple(spans),
        zero,
        tuple(role for role in roles if shows_load(bench, role)),
    )


def _settled_unseen(
    bench: LogContext, table: Coarse, role: str, from_s: float, settled: Settled | None
) -> Settled | None:
    """The same; where the shunt was bridged from the key-off on, it settled at any time up to the first sample."""
    if settled is None or not bench.bridged:
        return settled
    first_s = float(table.start_s[np.isfinite(table.mean[role]) | (table.over[role] > 0)][0])
    hidden = settled.from_s <= first_s and any(bridge.touches(from_s, first_s) for bridge in bench.bridged)
    return replace(settled, width_s=max(settled.width_s, first_s - from_s)) if hidden else settled


def needed_s(bench: LogContext) -> float:
    """How long a key-off stretch must stay settled to count, s."""
    return bench.plan.limits.settle_max_s or DEFAULT_SETTLED_S


def _spans(bench: LogContext, roles: list[str]) -> list[OffSpan]:
    """The key-off spans, each settled by the finest channel that is not over range at its end."""
    spans = []
    for from_s, to_s in bench.story.off:
        found: tuple[Settled | None, str | None] = (None, None)
        for role in roles:
            if not bench.has(role):
                continue
            table = coarse(bench.overview, from_s, to_s, POINT_S, [role])
            follows = to_s < bench.log.end_s
            settled = settle(table, role, bench.resolution(role), follows, bench.left_out, bench.noise.get(role))
            settled = _settled_unseen(bench, table, role, from_s, settled)
            if settled is not None and (found[0] is None or not math.isfinite(found[0].base_a)):
                found = (_awake(bench, settled, from_s), role)
        spans.append(OffSpan(from_s, to_s, from_s <= bench.log.start_s, *found))
    return spans


def _awake(bench: LogContext, settled: Settled, from_s: float) -> Settled:
    """The same; where the bike is still awake at the end, the last stretch of the span that its drain is judged on."""
    if not AWAKE_A < settled.base_a < math.inf:
        return settled
    # so far back that as much is seen as a stretch must hold to count: pulled fuses take their time out of it
    begins = max(from_s, settled.to_s - needed_s(bench) * (1 + 1e-6) - settled.unseen_s)
    wakeups = tuple(one for one in settled.wakeups if one[0] >= begins)
    # what was not seen of the whole stretch may all lie in this part of it
    lost = min(settled.unseen_s, settled.to_s - begins)
    return replace(settled, from_s=begins, wakeups=wakeups, unseen_s=lost, awake=True)


def no_key_off(bench: LogContext) -> str:
    """Why there is no key-off span."""
    if bench.story.source == "none":
        return "the log has no channel that shows the key's state"
    return "the log holds no stretch with the key off; record one after turning the key off"


def too_short(bench: LogContext, spans: Sequence[OffSpan]) -> str:
    """Why no key-off span counts, and how much longer to record."""
    need = needed_s(bench)
    longest = max((span.settled.lasts_s for span in spans if span.settled), default=0.0)
    bridged = bench.bridged_in(*((span.from_s, span.to_s) for span in spans))
    if longest >= need:
        return "the settled key-off stretch holds too few valid samples; check the channel and record again" + bridged
    pulled = " with all fuses in" if bench.left_out else ""
    return (
        f"no key-off stretch stayed settled for {need:.0f} s{pulled} (the longest for {longest:.0f} s); "
        f"record at least {max(need - longest, 1):.0f} s longer with the key off{bridged}"
    )


def _drain(
    bench: LogContext, logged: bool, spans: list[OffSpan]
) -> tuple[str | None, Drain | None, Zero | None, Finding]:
    if not logged:
        return None, None, None, NotEvaluated("neither drain_a nor battery_a is logged")
    if not spans:
        return None, None, None, NotEvaluated(no_key_off(bench))
    need = needed_s(bench)
    measured = []
    for span in spans:
        if span.settled is None or span.role is None or span.settled.lasts_s < need:
            continue
        noise = bench.noise.get(span.role)
        figure = drain(
            bench.overview,
            span.role,
            span.settled,
            bench.accuracy.get(span.role),
            bench.left_out,
            noise.memory_s if noise else 0.0,
        )
        if figure is not None:
            figure, zero = _by_zero_or_not(bench, span.role, figure)
            measured.append((figure, span.settled, span.role, zero))
    if not measured:
        return None, None, None, _over_range(spans, need) or NotEvaluated(too_short(bench, spans))
    worst, settled, role, zero = max(measured, key=lambda entry: entry[0].mean_a)
    bypassed = not worst.over and _bypassed(bench, role, worst)
    # without its zero the accuracy as stated is behind the figure
    accuracy = bench.accuracy.get(role) if zero is not None or role not in bench.zeros else bench.stated.get(role)
    most_ma = bench.plan.limits.off_state_drain_ma
    doubt = _drain_doubt(worst) or _visit_doubt(bench, role, worst, settled)
    return (
        role,
        worst,
        zero,
        Measured(
            value=worst.mean_a * 1000,
            u=None if worst.u is None else worst.u * 1000,
            from_s=settled.from_s,
            to_s=settled.to_s,
            story=_drain_story(bench, worst, settled)
            + (", no different from the zero, judged without it" if zero is None and role in bench.zeros else ""),
            disqualified=doubt,
            failed=None if doubt or most_ma is None else fails_by_wakes(worst, accuracy, most_ma / 1000),
            one_sided=f"{worst.over} samples of {role} were over range in that stretch, so the drain is larger"
            if worst.over
            else BYPASSED
            if bypassed
            else None,
            parts=level_parts(
                worst.type_a_u,
                accuracy,
                worst.mean_a,
                worst.averaged_s,
                zeroable=role not in bench.zeros,
                scale=1000,
            ),
            watched_s=settled.lasts_s,
            offset_limit=None if zero is not None or accuracy is None else accuracy.offset * 1000,
            at_rest=worst.base_a * 1000,
            needs_load_step=bypassed,
        ),
    )


def _visit_doubt(bench: LogContext, role: str, figure: Drain, settled: Settled) -> str | None:
    """Where the bike woke fully once or twice, somebody may have been at it: that decides no verdict."""
    limit = bench.plan.limits.off_state_drain_ma
    if limit is None or not 0 < len(figure.visits) <= FEW_VISITS:
        return None
    wakeups = tuple(one for one in settled.wakeups if one not in figure.visits)
    without = drain(
        bench.overview,
        role,
        replace(settled, wakeups=wakeups),
        bench.accuracy.get(role),
        (*bench.left_out, *((a - POINT_S, b + POINT_S) for a, b in figure.visits)),
    )
    if without is None or without.mean_a * 1000 > limit or figure.mean_a * 1000 <= limit:
        return None
    at = " and ".join(f"{a:.0f} s" for a, _ in figure.visits)
    return (
        f"the bike was awake for a moment (at {at}), and without that its drain would be "
        f"{number(without.mean_a * 1000)} mA: it woke by itself, or somebody was at it; leave it alone while it "
        "records, for longer"
    )


def _by_zero_or_not(bench: LogContext, role: str, figure: Drain) -> tuple[Drain, Zero | None]:
    """The drain and the zero it relies on.

    A drain that reads the same as the zero may have flowed during the zero as well: it is judged as without one.
    """
    zero = bench.zeros.get(role)
    u = figure.u if figure.u is not None else figure.type_a_u
    if zero is None or abs(figure.mean_a) > COVERAGE_K * combine(u, zero.u):
        return figure, zero
    mean_a, stated = figure.mean_a + zero.offset, bench.stated.get(role)
    u_stated = None if stated is None else combine(figure.type_a_u, stated.level_u(mean_a))
    return replace(figure, mean_a=mean_a, base_a=figure.base_a + zero.offset, u=u_stated), None


def _drain_story(bench: LogContext, figure: Drain, settled: Settled) -> str:
    lasts = f"{settled.lasts_s / 3600:.1f} h" if settled.lasts_s > 7200 else f"{settled.lasts_s:.0f} s"
    parts = [f"watched for {lasts}", f"{number(figure.base_a * 1000)} mA between wake-ups"]
    if figure.wakeups:
        count = f"{figure.wakeups} wake-up{'s' if figure.wakeups > 1 else ''}"
        parts.append(f"{count}, {figure.wakeups / settled.lasts_s * 3600:.0f} an hour")
    else:
        shortest = 2 * bench.overview.step_s
        parts[1] = "no wake-up seen" if shortest < 0.1 else f"no wake-up of {shortest:.1f} s or longer seen"
    if figure.mean_a > 0 and settled.lasts_s >= STANDING_AFTER_S:
        half = bench.plan.battery.capacity_ah / 2
        a_day = number(figure.mean_a * 24 * 1000)
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


def _bypassed(bench: LogContext, role: str, figure: Drain) -> bool:
    """A drain that cannot be distinguished from zero needs proof that the shunt sees current at all."""
    u = figure.u if figure.u is not None else figure.type_a_u
    return abs(figure.mean_a) <= 2 * u and not shows_load(bench, role, u)


def _settle_time(bench: LogContext, logged: bool, spans: list[OffSpan], drained: Finding) -> Finding:
    if not logged:
        return NotEvaluated("neither drain_a nor battery_a is logged")
    after = [span for span in spans if not span.opens]
    if not after:
        return NotEvaluated("the log holds no key-off; turn the key off while it records")
    need = needed_s(bench)
    awake = _never_asleep(bench, after, drained)
    if awake is not None:
        return awake
    counted = [
        (span.from_s, span.settled)
        for span in after
        if span.settled is not None and not span.settled.awake and span.settled.lasts_s >= need
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
        return NotEvaluated(too_short(bench, after))
    key_off_s, settled = max(counted, key=lambda pair: pair[1].from_s - pair[0])
    limit = bench.plan.limits.settle_max_s
    span = next(span for span in after if span.settled is settled)
    step_s = bench.true_step_s(span.role or "")
    # stamps that come in packets place the key no better than what it cuts off
    half = max(bench.story.half_width_s(key_off_s), step_s)
    one_sided = drained.one_sided if isinstance(drained, Measured) else None
    if bench.story.source in ("battery_a", "battery_v"):
        half = max(half, COAST_S)
        one_sided = (
            "the key-off was read from the battery alone, where a bike that stays awake looks like a key left on"
        )
    elif bench.story.source == "feed_v":
        half = max(half, RELAY_S)  # the feed goes only as the relay lets go
    until_s, hidden = _unseen_until(bench, span, settled, key_off_s + (limit or need))
    one_sided = one_sided or hidden
    # it settled between the last point outside the band and the first inside, or later, unseen
    earliest = max(settled.from_s - max(settled.width_s, step_s) - half - key_off_s, 0.0)
    latest = max(settled.from_s, settled.latest_s, until_s) + half - key_off_s
    within_a = settled.seen_a if hidden else min(settled.seen_a, STIRS_A)
    story = f"the slowest of {len(counted)} key-offs" if len(counted) > 1 else "after one key-off"
    return Measured(
        # what was seen, where the rest of the log hides what comes after
        value=max(settled.from_s - key_off_s, 0.0) if hidden else (earliest + latest) / 2,
        u=rectangular((latest - earliest) / 2),
        interval=(earliest, latest),
        from_s=key_off_s,
        to_s=settled.from_s,
        disqualified=_hidden_by_charger(bench, span, settled),
        # a shunt that sees no current cannot see it settle
        one_sided=one_sided,
        needs_load_step=one_sided is not None and one_sided == BYPASSED,
        story=f"{story}, to within {number(within_a * 1000)} mA",
    )


def _never_asleep(bench: LogContext, after: Sequence[OffSpan], drained: Finding) -> Finding | None:
    """A bike that was watched for longer than its settling time and was awake all the same; None if none was."""
    limit = bench.plan.limits.settle_max_s or DEFAULT_SETTLED_S
    watched = [
        (span, span.settled)
        for span in after
        if span.settled is not None
        and span.settled.awake
        and span.to_s - span.from_s - bench.story.half_width_s(span.from_s) > limit
    ]
    if not watched:
        return None
    span, settled = max(watched, key=lambda pair: pair[0].to_s - pair[0].from_s)
    lasted = span.to_s - span.from_s
    text = f"{settled.base_a:.2g} A still flowed {lasted:.0f} s after the key-off, so the bike was awake"
    known = bench.accuracy.get(span.role or "")
    # without a stated accuracy a current twice as large is taken as large enough
    doubtful_a = AWAKE_A if known is None else COVERAGE_K * known.level_u(settled.base_a)
    sure = settled.base_a - doubtful_a > AWAKE_A
    doubt = None
    if bench.story.source in ("battery_a", "battery_v"):
        doubt = "the key-off was read from the battery alone, where a bike that stays awake looks like a key left on"
    elif not sure:
        doubt = f"{text}, as far as the channel can tell"
    return Measured(
        value=None,
        u=None,
        from_s=span.from_s,
        to_s=span.to_s,
        story="after one key-off",
        disqualified=doubt,
        failed=None if doubt else text,
        one_sided=drained.one_sided if isinstance(drained, Measured) else None,
    )


def _unseen_until(bench: LogContext, span: OffSpan, settled: Settled, late_s: float) -> tuple[float, str | None]:
    """Until when more than ``STIRS_A`` may have flowed on unseen, s, and why that may be longer than is allowed.

    Args:
        late_s: when the settling time is up, s.
    """
    role = span.role or ""
    noise = bench.noise.get(role)
    if noise is None or settled.seen_a <= STIRS_A:
        return settled.from_s, None
    if not settled.from_s < late_s < settled.to_s:
        late_s = (settled.from_s + settled.to_s) / 2
    table = coarse(bench.overview, span.from_s, settled.to_s, POINT_S, [role])
    until = late_s
    for share in (1.0, 0.75, 0.5, 0.35, 0.2, 0.1, 0.05):
        at_s = settled.from_s + share * (late_s - settled.from_s)
        most = hidden_a(table, role, settled, at_s, noise, bench.resolution(role))
        if most > STIRS_A and share == 1.0:
            if not math.isfinite(most):
                return settled.to_s, (
                    "what flowed for longer would not be seen in what the log holds after that; record for longer"
                )
            return settled.to_s, (
                f"up to {number(most * 1000)} mA may have flowed for longer, unseen in the noise of {role}; a channel "
                "with a finer range, such as drain_a, would show it"
            )
        if most > STIRS_A:
            break
        until = at_s
    return until, None


def _hidden_by_charger(bench: LogContext, span: OffSpan, settled: Settled) -> str | None:
    """A current into the battery hides when the bike's own settled."""
    role = span.role
    known = bench.accuracy.get(role or "")
    least = AWAKE_A if known is None else COVERAGE_K * known.level_u(settled.base_a)
    if settled.base_a > -least:
        return None
    return (
        "a current flows into the battery by this reading, which hides the bike's own; take the charger off, or turn "
        "the shunt, and record again"
    )


def _over_range(spans: Sequence[OffSpan], need: float) -> Finding | None:
    """A current that was over range to the end of a span has a figure that nobody saw."""
    for span in spans:
        if span.settled is not None and not math.isfinite(span.settled.base_a) and span.to_s - span.from_s >= need:
            return Measured(
                value=None,
                u=None,
                from_s=span.from_s,
                to_s=span.to_s,
                disqualified=f"{span.role} was over range to the end of that stretch",
                remedy="a channel with a wider range would show it",
            )
    return None
