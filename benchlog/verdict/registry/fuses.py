"""Checks of the plan alone, which no log can settle: each fuse against its wire."""

import math
from collections.abc import Callable

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Circuit, Plan
from benchlog.plan.planned_fuses import PlannedFuse, feed_fuse, slot_fuse
from benchlog.plan.wiring import CAREFUL_SOURCE
from benchlog.verdict.registry.kind import CheckKind, CheckNames
from benchlog.verdict.registry.limiting import LimitRule, from_circuit, from_plan

_LimitOf = Callable[..., PlannedLimit | None]
_READ_FUSE = (
    "pull the fuse and leave it out; read its rating and the wire's size where they are, and correct the plan or fit "
    "the smaller fuse before current flows again"
)


def _fuse_of(plan: Plan, circuit: Circuit | None) -> PlannedFuse:
    return feed_fuse(plan) if circuit is None else slot_fuse(plan, circuit)


def _limit(plan: Plan, circuit: Circuit | None = None) -> PlannedLimit | None:
    """What a fuse's wire bears, A; beyond it ``Protection`` tells whether any table allows it."""
    own = _fuse_of(plan, circuit).protection
    return None if own is None else PlannedLimit(None, own.careful_a, "derived", f"{own.wire} bears {own.bears}")


def _finding(plan: Plan, circuit: Circuit | None) -> Finding:
    """The fuse's rating, A, sure and of no stretch of a log; why there is none where none is planned."""
    fuse = _fuse_of(plan, circuit)
    own = fuse.protection
    if own is None:
        return NotEvaluated(f"{fuse.name}: {fuse.lacks}")
    said = f"{fuse.name}: {own.danger}"
    return Measured(
        value=own.fuse_a,
        u=0.0,
        from_s=math.nan,
        to_s=math.nan,
        story=f"{own.wire}, by {CAREFUL_SOURCE}",
        disqualified=said if own.verdict == "not proven" else None,
        failed=f"fire risk, {said}" if own.verdict == "fail" else None,
    )


def _rating(
    name: CheckNames, fuse: str, table: str, rule: Callable[[tuple[str, ...], _LimitOf], LimitRule]
) -> CheckKind:
    """The rating of one kind of fuse, against what its wire bears.

    Args:
        fuse: in words, behind an article. table: of the plan, with its rating and its wire.
        rule: makes the limit one of the plan, or of each circuit.
    """
    return CheckKind(
        *name,
        measures=f"rating of {'that' if table == 'circuit' else 'the'} {fuse} (`{table}.fuse_a`)",
        limit_from=f"what `{table}.conductor` can carry",
        limit=rule((f"{table}.fuse_a", f"{table}.conductor"), _limit),
        from_plan=_finding,
        found=f"the {fuse} is rated {{}}",
        first_test=_READ_FUSE,
    )


FEED_FUSE = _rating(("feed_fuse", "Feed fuse", "Feed fuse", "A"), "feed fuse", "feed", from_plan)
SLOT_FUSE = _rating(("slot_N_fuse", "Slot N fuse", "Slot N", "A"), "circuit's fuse", "circuit", from_circuit)
