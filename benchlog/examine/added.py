"""What the install added to the drain: the log's own, less that of a log from before."""

import math
from typing import TYPE_CHECKING

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.numbers import number
from benchlog.core.uncertainty import Accuracy, combine, rectangular

if TYPE_CHECKING:
    from benchlog.examine import LogFindings


def added_drain(after: "LogFindings", before: "LogFindings") -> Finding:
    """``added_drain``: with one logger for both, its offset cancels, but for its drift."""
    if before.off_state.drain is None:
        finding = before.off_state.findings["off_state_drain"]
        why = finding.why if isinstance(finding, NotEvaluated) else "it shows no drain"
        return NotEvaluated(f"the log from before the install does not give a drain: {why}")
    own = after.off_state.findings["off_state_drain"]
    drain = after.off_state.drain
    if drain is None or isinstance(own, NotEvaluated):
        return own
    earlier = before.off_state.drain
    now_a, then_a = drain.mean_a, earlier.mean_a
    u: float | None = None
    role, role_before = after.off_state.role or "", before.off_state.role or ""
    here, there = after.logger.channel_of(role), before.logger.channel_of(role_before)
    if here is not None and here == there and after.logger.name == before.logger.name:
        zero, zero_before = after.off_state.zero, before.off_state.zero
        zero_u = 0.0
        if zero is not None and zero_before is not None:
            zero_u = combine(zero.u, zero_before.u)
        else:
            # the offset cancels only where it is in both
            now_a += zero.offset if zero else 0.0
            then_a += zero_before.offset if zero_before else 0.0
        if here.gain_rel is not None and (here.offset_canonical is not None or drain.u is not None):
            gain_u = rectangular(here.gain_rel * abs(now_a - then_a))
            apart = Accuracy(here.gain_rel, here.offset_canonical or 0.0, here.resolution_c or 0.0)
            drift_u = 0.0 if zero_u else apart.drift_u(math.inf)
            u = combine(drain.type_a_u, earlier.type_a_u, zero_u, gain_u, drift_u, math.sqrt(2) * apart.resolution_u)
    elif drain.u is not None and earlier.u is not None:
        u = combine(drain.u, earlier.u)
    value = now_a - then_a
    return Measured(
        value=value * 1000,
        u=None if u is None else u * 1000,
        from_s=own.from_s,
        to_s=own.to_s,
        story=f"{number(now_a * 1000)} mA now, {number(then_a * 1000)} mA before the install",
        disqualified=own.disqualified or (None if drain.over else own.one_sided) or _earlier_doubt(before),
        # what lies over range in this log makes it add more, not less
        one_sided=own.one_sided if drain.over else None,
        watched_s=own.watched_s,
        needs_load_step=own.needs_load_step,
    )


def _earlier_doubt(before: "LogFindings") -> str | None:
    """What makes the drain from before the install doubtful."""
    finding = before.off_state.findings["off_state_drain"]
    if isinstance(finding, NotEvaluated):
        return None
    reason = finding.disqualified or finding.one_sided
    return f"in the log from before the install {reason}" if reason else None
