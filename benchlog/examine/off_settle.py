"""How long the drain took to settle after the key-off."""

import math
from collections.abc import Sequence

from benchlog.analysis.coarse import coarse
from benchlog.analysis.drain import AWAKE_A
from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.analysis.settling import STIRS_A, Settled, hidden_a
from benchlog.core.numbers import number
from benchlog.core.uncertainty import COVERAGE_K, rectangular
from benchlog.examine.bypass import BYPASSED
from benchlog.examine.context import LogContext
from benchlog.examine.off_spans import CAME_AGAIN, POINT_S, OffSpan, came_again, needed_s, too_short
from benchlog.plan.limits import settled_s

#: The alternator turns on for about this long after the key-off, which hides it where only the battery is logged, s.
COAST_S = 2.0
#: The feed may follow the key by about this much, s.
RELAY_S = 0.5
#: A current that fell this long before the log's end was not yet settled until then, s.
LEAST_AFTER_S = 10.0
_NO_KEY_OFF = "the log holds no key-off; turn the key off while it records"
_FUSE_OUT = (
    "a fuse was out before the drain had settled; turn the key off with all fuses in, and pull none until the drain "
    "has settled"
)


def settle_time(bench: LogContext, logged: bool, spans: list[OffSpan], drained: Finding) -> Finding:
    if not logged:
        return NotEvaluated("neither drain_a nor battery_a is logged")
    after = [span for span in spans if not span.opens and not _without_a_fuse(bench, span)]
    if not after:
        return NotEvaluated(_NO_KEY_OFF if all(span.opens for span in spans) else _FUSE_OUT)
    need = needed_s(bench)
    awake = _never_asleep(bench, after, drained)
    if awake is not None:
        return awake
    limit = bench.plan.limits.settle_max_s
    counted = _counted(after, need, limit)
    if not counted:
        return NotEvaluated(too_short(bench, after))
    key_off_s, settled = max(counted, key=lambda pair: pair[1].from_s - pair[0])
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
    until_s, hidden = _unseen_until(bench, span, settled, key_off_s + need)
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
        needs_load_step=one_sided == BYPASSED,
        story=f"{story}, to within {number(within_a * 1000)} mA",
    )


def _without_a_fuse(bench: LogContext, span: OffSpan) -> bool:
    """Whether a fuse was out before it counts as settled, while it still had time: so the bike does not settle."""
    until_s = span.from_s if span.settled is None else span.settled.from_s
    limit_s = bench.plan.limits.settle_max_s
    if limit_s is not None:
        until_s = min(until_s, span.from_s + limit_s)
    return any(out_s <= until_s and span.from_s < in_s for out_s, in_s in bench.left_out)


def _counted(after: list[OffSpan], need: float, limit_s: float | None) -> list[tuple[float, Settled]]:
    """The key-offs, s, that were watched for long enough, and their settling; else those that were late for sure."""
    settled = [(span.from_s, span.settled) for span in after if span.settled is not None]
    # still above what came after it when the time was up: that needs no longer log
    return [(key_off_s, one) for key_off_s, one in settled if not one.awake and one.lasts_s >= need] or [
        (key_off_s, one)
        for key_off_s, one in settled
        if limit_s is not None and one.lasts_s >= LEAST_AFTER_S and one.from_s - one.width_s - key_off_s > limit_s
    ]


def _never_asleep(bench: LogContext, after: Sequence[OffSpan], drained: Finding) -> Finding | None:
    """A bike that was watched for longer than its settling time and was awake all the same; None if none was."""
    limit = settled_s(bench.plan)
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
    elif came_again(bench, span):
        doubt = f"{text}; the current {CAME_AGAIN}"
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
