"""From findings to verdicts and score."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.check_table import CheckSpec, specs_for
from benchlog.fuse_findings import fuse_findings
from benchlog.limits import PlannedLimit, limits_of, planned_value_of
from benchlog.plan import Plan
from benchlog.result import Check, Limit, Score, Verdict
from benchlog.sentences import because
from benchlog.uncertainty import COVERAGE_K, PASS_PROBABILITY, conformity, probability_of_conforming

#: Checks of the worst stretch: where several logs prove one, the largest value is the one that is meant.
WORST_OF_LOGS = ("off_state_drain", "added_drain")


@dataclass(frozen=True, slots=True)
class _Judged:
    check_id: str
    verdict: Verdict
    finding: Finding
    log: str | None

    @property
    def rank(self) -> tuple[int, float]:
        """What proves most comes first: a failure, then a pass, then a doubt; the surer figure before the other.

        Of several proven drains the largest comes first.
        """
        order: dict[Verdict, int] = {"fail": 0, "pass": 1, "not proven": 2, "not planned": 3, "not seen": 4}
        if isinstance(self.finding, Unseen):
            return 4, 0.0
        u = self.finding.u
        surest = math.inf if u is None else u
        if self.check_id in WORST_OF_LOGS and self.verdict == "pass" and self.finding.value is not None:
            surest = -self.finding.value
        return order[self.verdict], surest


def judge(plan: Plan, found: Sequence[tuple[str, Mapping[str, Finding]]]) -> list[Check]:
    """Every check of the plan, each from the log that proves most.

    Args:
        plan: what was planned.
        found: log name and its findings by check id, one a log; at least one.
    """
    limits, planned = limits_of(plan), planned_value_of(plan)
    nothing = Unseen("no log shows it")
    own = fuse_findings(plan)
    checks = []
    for spec in specs_for(plan):
        limit = limits.get(spec.id)
        if spec.id in own:
            checks.append(
                _check(spec, _Judged(spec.id, verdict(spec.id, own[spec.id], limit), own[spec.id], None), limit, None)
            )
            continue
        judged = [
            _Judged(spec.id, verdict(spec.id, finding, limit), finding, name)
            for name, findings in found
            for finding in [findings.get(spec.id, nothing)]
        ]
        best = min(judged, key=lambda j: j.rank)
        checks.append(_check(spec, best, limit, planned.get(spec.id)))
    return checks


def verdict(check_id: str, finding: Finding, limit: PlannedLimit | None) -> Verdict:
    """What one finding proves about one limit."""
    if limit is None:
        return "not planned"
    if isinstance(finding, Unseen):
        return "not seen"
    if finding.failed or limit.impossible:
        return "fail"
    if finding.doubt or finding.value is None or finding.u is None:
        return "not proven"
    if check_id == "feed_in_crank":
        return _feed_in_crank(finding, limit)
    found = conformity(finding.value, finding.u, limit.min, limit.max)
    if check_id == "off_state_drain" and found == "pass" and not _drain_conforms(finding.value, finding.u, limit.max):
        found = "not proven"
    return "not proven" if found == "pass" and finding.only_fails else found


def _drain_conforms(value: float, u: float, most: float | None) -> bool:
    """A true drain is never below zero, so no offset can win a pass (prior knowledge, JCGM 106:2012, 6.2)."""
    if u <= 0:
        return True
    below = probability_of_conforming(value, u, 0.0, most)
    return below >= PASS_PROBABILITY * probability_of_conforming(value, u, 0.0, None)


def _feed_in_crank(finding: Measured, limit: PlannedLimit) -> Verdict:
    """Hold: no loss beyond its uncertainty. Drop: a loss beyond it."""
    lost = (finding.value or 0.0) > COVERAGE_K * (finding.u or 0.0)
    may_drop = limit.max is None
    if lost:
        return "pass" if may_drop else "fail"
    if finding.only_fails:
        return "not proven"
    return "fail" if may_drop else "pass"


def _check(spec: CheckSpec, best: _Judged, limit: PlannedLimit | None, planned: float | None) -> Check:
    finding = best.finding
    shown = None if limit is None else Limit(min=limit.min, max=limit.max)
    if isinstance(finding, Unseen):
        return Check(
            id=spec.id,
            title=spec.title,
            verdict=best.verdict,
            unit=spec.unit,
            planned=planned,
            limit=shown,
            because=because(spec.id, spec.unit, best.verdict, finding, limit),
        )
    u = None if finding.u is None or not math.isfinite(finding.u) else COVERAGE_K * finding.u
    if finding.only_fails or best.log is None:
        # what the samples did not see has no bound, and what stands in the plan was not measured
        u = None
    return Check(
        id=spec.id,
        title=spec.title,
        verdict=best.verdict,
        measured=finding.value,
        unit=spec.unit,
        uncertainty=u if finding.value is not None else None,
        planned=planned,
        limit=shown,
        margin_pct=_margin(finding.value, limit),
        log=best.log,
        from_s=None if best.log is None else finding.from_s,
        to_s=None if best.log is None else finding.to_s,
        because=because(spec.id, spec.unit, best.verdict, finding, limit),
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
