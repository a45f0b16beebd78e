"""From findings to verdicts and score."""

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from benchlog.analysis.measurement import Finding, NotEvaluated
from benchlog.core.uncertainty import COVERAGE_K
from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan
from benchlog.verdict.agreeing import judged_of
from benchlog.verdict.registry.kind import PlannedCheck
from benchlog.verdict.registry.table import checks_of
from benchlog.verdict.result import Check, Limit, Score
from benchlog.verdict.sentences import because


def judge(plan: Plan, found: Sequence[tuple[str, Mapping[str, Finding]]]) -> list[Check]:
    """Every check of the plan, each from the log that decides it.

    Args:
        plan: what was planned.
        found: log name and its findings by check id, one a log; at least one.
    """
    nothing = NotEvaluated("no log shows it")
    checks = []
    for planned in checks_of(plan):
        limit = planned.limit(plan)
        own = planned.from_plan(plan)
        if own is not None:
            checks.append(_check(planned, own, None, limit, None))
            continue
        given = [(name, findings.get(planned.id, nothing)) for name, findings in found]
        name, best = judged_of(planned.kind, given, limit)
        checks.append(_check(planned, best, name, limit, planned.planned_value(plan)))
    return checks


def _check(
    check: PlannedCheck, finding: Finding, log: str | None, limit: PlannedLimit | None, planned: float | None
) -> Check:
    kind = check.kind
    found = kind.verdict(finding, limit)
    shown = None if limit is None else Limit(min=limit.min, max=limit.max)
    if isinstance(finding, NotEvaluated):
        return Check(
            id=check.id,
            title=check.title,
            verdict=found,
            unit=kind.unit,
            planned=planned,
            limit=shown,
            because=because(kind, found, finding, limit),
        )
    timeless = log is None or math.isnan(finding.from_s)
    u = None if finding.u is None or not math.isfinite(finding.u) else COVERAGE_K * finding.u
    if finding.one_sided or log is None:
        # what the samples did not see has no bound, and what stands in the plan was not measured
        u = None
    return Check(
        id=check.id,
        title=check.title,
        verdict=found,
        measured=finding.value,
        unit=kind.unit,
        uncertainty=u if finding.value is not None else None,
        planned=planned,
        limit=shown,
        margin_pct=_margin(finding.value, limit),
        log=log,
        from_s=None if timeless else finding.from_s,
        to_s=None if timeless else finding.to_s,
        because=because(kind, found, finding, limit),
    )


def _margin(value: float | None, limit: PlannedLimit | None) -> float | None:
    """Distance to the nearer limit in per cent of that limit; None where a limit is zero or there is no value."""
    if value is None or limit is None:
        return None
    margins = []
    if limit.max is not None:
        margins.append((limit.max - value, limit.max))
    if limit.min is not None:
        margins.append((value - limit.min, limit.min))
    if not margins or any(side == 0 for _, side in margins):
        return None
    return min(100 * distance / abs(side) for distance, side in margins)


def score(checks: Sequence[Check]) -> Score:
    """Counts of each verdict and the share of planned checks that passed."""
    count = {word: sum(check.verdict == word for check in checks) for word in ("pass", "fail", "not proven")}
    unseen = sum(check.verdict == "not seen" for check in checks)
    planned = sum(check.verdict != "not planned" for check in checks)
    with_margin = [check for check in checks if check.margin_pct is not None and check.verdict != "not planned"]
    closest = min(with_margin, key=lambda check: check.margin_pct or 0.0, default=None)
    return Score.model_validate(
        {
            "pass": count["pass"],
            "fail": count["fail"],
            "not_proven": count["not proven"],
            "not_seen": unseen,
            "not_planned": len(checks) - planned,
            "percent": round(100 * count["pass"] / planned, 1) if planned else None,
            "closest": closest.id if closest else None,
        }
    )


def overall(checks: Sequence[Check]) -> Literal["pass", "fail", "not proven"]:
    """Fail if any check fails; else not proven if any planned check is open; else pass."""
    verdicts = {check.verdict for check in checks}
    if "fail" in verdicts:
        return "fail"
    # a plan without any limit proves nothing
    if verdicts & {"not proven", "not seen"} or verdicts <= {"not planned"}:
        return "not proven"
    return "pass"
