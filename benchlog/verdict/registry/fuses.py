"""Checks of the plan alone, which no log can settle: each fuse against its wire."""

import math

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Circuit, Plan
from benchlog.plan.planned_fuses import PlannedFuse, feed_fuse, slot_fuse
from benchlog.plan.wiring import CAREFUL_SOURCE
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.registry.limiting import from_circuit, from_plan

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


FEED_FUSE = CheckKind(
    id="feed_fuse",
    title="Feed fuse",
    short="Feed fuse",
    unit="A",
    measures="rating of the feed fuse (`feed.fuse_a`)",
    limit_from="what `feed.conductor` can carry",
    limit=from_plan(("feed.fuse_a", "feed.conductor"), _limit),
    from_plan=_finding,
    found="the feed fuse is rated {}",
    first_test=_READ_FUSE,
)
SLOT_FUSE = CheckKind(
    id="slot_N_fuse",
    title="Slot N fuse",
    short="Slot N",
    unit="A",
    measures="rating of that circuit's fuse (`circuit.fuse_a`)",
    limit_from="what `circuit.conductor` can carry",
    limit=from_circuit(("circuit.fuse_a", "circuit.conductor"), _limit),
    from_plan=_finding,
    found="the circuit's fuse is rated {}",
    first_test=_READ_FUSE,
)
