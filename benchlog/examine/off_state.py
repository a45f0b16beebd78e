"""The key-off spans, and the checks of their current: drain and settling."""

from dataclasses import dataclass

from benchlog.analysis.drain import Drain
from benchlog.analysis.measurement import Finding
from benchlog.analysis.zero import Zero
from benchlog.examine.bypass import shows_load
from benchlog.examine.context import LogContext
from benchlog.examine.off_drain import drain_finding
from benchlog.examine.off_settle import settle_time
from benchlog.examine.off_spans import OffSpan, off_spans


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
    spans = off_spans(bench, roles or ["feed_v"])
    role, worst, zero, finding = drain_finding(bench, bool(roles), spans)
    return OffState(
        {
            "off_state_drain": finding,
            "settle_time": settle_time(bench, bool(roles), spans, finding),
        },
        worst,
        role,
        tuple(spans),
        zero,
        tuple(role for role in roles if shows_load(bench, role)),
    )
