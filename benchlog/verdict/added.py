"""What the install added to the drain, from two findings alone: where the two have no zero in common."""

from dataclasses import replace
from typing import Protocol

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.numbers import number
from benchlog.core.uncertainty import COVERAGE_K, combine
from benchlog.verdict.registry.key_off import NO_BEFORE


class ShowsDrain(Protocol):
    """A log or a file of meter readings."""

    @property
    def drain(self) -> Finding:
        """Its ``off_state_drain``."""


def added_of(own: Finding, before: ShowsDrain | None) -> Finding:
    """``added_drain``: the difference, whose doubts are those of both."""
    if before is None:
        return NotEvaluated(NO_BEFORE)
    then = before.drain
    if isinstance(then, NotEvaluated):
        return NotEvaluated(f"what was given from before the install does not give a drain: {then.why}")
    if isinstance(own, NotEvaluated):
        return own
    if own.value is None or then.value is None:
        return NotEvaluated("one of the two shows no drain")
    ends = zip(_ends(own), reversed(_ends(then)), strict=True)
    low, high = (now_ma - then_ma for now_ma, then_ma in ends)
    return replace(
        own,
        value=own.value - then.value,
        u=None if own.u is None or then.u is None else combine(own.u, then.u),
        interval=(low, high),
        disqualified=own.disqualified or own.one_sided or then.disqualified or then.one_sided,
        one_sided=None,
        offset_limit=None,
        parts=None,
        story=f"{number(own.value)} mA now, {number(then.value)} mA before the install",
    )


def _ends(found: Measured) -> tuple[float, float]:
    """Between which values it lies: limits of a meter, or k = 2 of a log."""
    if found.interval is not None:
        return found.interval
    value, expanded = found.value or 0.0, COVERAGE_K * (found.u or 0.0)
    return value - expanded, value + expanded
