"""What leaves the battery with the key off."""

from collections.abc import Iterator
from dataclasses import replace

from benchlog.analysis.drain import Drain, drain
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.settling import Settled
from benchlog.analysis.zero import Zero
from benchlog.core.numbers import number
from benchlog.core.uncertainty import COVERAGE_K, combine
from benchlog.examine.bypass import BYPASSED, shows_load
from benchlog.examine.context import LogContext
from benchlog.examine.off_spans import (
    CAME_AGAIN,
    POINT_S,
    OffSpan,
    came_again,
    needed_s,
    no_key_off,
    over_range,
    too_short,
)
from benchlog.examine.parted import level_parts
from benchlog.examine.wakes import fails_by_wakes
from benchlog.plan.batteries import days_until

#: So few full awakenings in a stretch may be a hand on the bike; more are its habit.
FEW_VISITS = 2
#: How long the bike can stand is told only from a watch of this length, s: what wakes seldom shows in no shorter one.
STANDING_AFTER_S = 3600.0
#: A gap in the log above this share of the stretch leaves its mean unproven.
LARGEST_GAP = 0.1


def drain_finding(
    bench: LogContext, logged: bool, spans: list[OffSpan]
) -> tuple[str | None, Drain | None, Zero | None, Finding]:
    if not logged:
        return None, None, None, NotEvaluated("neither drain_a nor battery_a is logged")
    if not spans:
        return None, None, None, NotEvaluated(no_key_off(bench))
    need = needed_s(bench)
    measured = list(_measured(bench, spans, need))
    if not measured:
        return None, None, None, over_range(spans, need) or NotEvaluated(too_short(bench, spans))
    worst, settled, role, zero = max(measured, key=lambda entry: entry[0].mean_a)
    bypassed = not worst.over and _bypassed(bench, role, worst)
    # without its zero the accuracy as stated is behind the figure
    accuracy = bench.accuracy.get(role) if zero is not None or role not in bench.zeros else bench.stated.get(role)
    most_ma = bench.plan.limits.off_state_drain_ma
    doubt = _drain_doubt(worst) or _visit_doubt(bench, role, worst, settled) or _key_doubt(bench, spans, settled)
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


def _measured(
    bench: LogContext, spans: list[OffSpan], need: float
) -> Iterator[tuple[Drain, Settled, str, Zero | None]]:
    """The drain of each stretch that was watched for long enough, its role, and the zero that was used."""
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
            yield figure, span.settled, span.role, zero


def _key_doubt(bench: LogContext, spans: list[OffSpan], settled: Settled) -> str | None:
    """Where as much as a key-on draws came back, and no line tells of the key."""
    came_back = any(span.settled is settled and came_again(bench, span) for span in spans)
    return f"the current {CAME_AGAIN}" if came_back else None


def _visit_doubt(bench: LogContext, role: str, figure: Drain, settled: Settled) -> str | None:
    """Where the bike woke fully once or twice, somebody may have been at it: that decides no verdict."""
    limit = bench.plan.limits.off_state_drain_ma
    if limit is None or not figure.visits or len(figure.visits) > FEW_VISITS:
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
