"""The key-off spans: where each begins, when its current settled, and what is said where none counts."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.coarse import Coarse, coarse, outside_of
from benchlog.analysis.drain import AWAKE_A
from benchlog.analysis.key_state import KEY_ON_A
from benchlog.analysis.measurement import Finding, Measured
from benchlog.analysis.settling import Settled, settle
from benchlog.examine.context import LogContext
from benchlog.plan.limits import settled_s

POINT_S = 0.1
#: By then an engine that the key stopped charges no more, s.
COASTED_S = 5.0
CAME_AGAIN = "came back after it had gone, and no line tells whether the key was turned on again"


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
    return settled_s(bench.plan)


def off_spans(bench: LogContext, roles: list[str]) -> list[OffSpan]:
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


def came_again(bench: LogContext, span: OffSpan) -> bool:
    """Whether as much as a key-on draws came back after the key-off and stayed, where no line shows the key."""
    settled, role = span.settled, span.role
    if bench.story.rises or span.opens or role is None or settled is None or not settled.awake:
        return False
    before = coarse(bench.overview, span.from_s + COASTED_S, settled.from_s, POINT_S, [role])
    fuses_in = outside_of(before.start_s, before.end_s, bench.left_out)
    return bool(settled.base_a - np.nanmin(before.mean[role][fuses_in], initial=np.inf) > KEY_ON_A)


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


def over_range(spans: Sequence[OffSpan], need: float) -> Finding | None:
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
