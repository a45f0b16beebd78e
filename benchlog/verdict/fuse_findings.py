"""The plan's own fuses as findings: what no log can tell, and none has to."""

import math

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.plan.model import Plan
from benchlog.plan.planned_fuses import PlannedFuse, planned_fuses
from benchlog.plan.wiring import CAREFUL_SOURCE


def fuse_findings(plan: Plan) -> dict[str, Finding]:
    """Check id -> the fuse's rating, A, sure and of no stretch of a log; why there is none where none is planned."""
    return {fuse.check_id: _finding(fuse) for fuse in planned_fuses(plan)}


def _finding(fuse: PlannedFuse) -> Finding:
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
