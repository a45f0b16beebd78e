"""What one finding proves about one limit."""

import math
from typing import Literal

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.uncertainty import COVERAGE_K, PASS_PROBABILITY, conformity, probability_of_conforming, rectangular
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.result import Verdict

Conformity = Literal["pass", "fail", "not proven"]


def verdict(check_id: str, finding: Finding, limit: PlannedLimit | None) -> Verdict:
    """What one finding proves about one limit."""
    if limit is None:
        return "not planned"
    if isinstance(finding, NotEvaluated):
        return "not seen"
    if finding.failed or limit.impossible:
        return "fail"
    if finding.disqualified or finding.value is None or finding.u is None:
        return "not proven"
    if check_id == "feed_in_crank":
        return _feed_in_crank(finding, limit)
    if finding.interval is None:
        found = conformity(finding.value, finding.u, limit.min, limit.max)
    else:
        found = _of_interval(finding.interval, limit)
    if check_id == "off_state_drain" and found == "pass" and not _drain_conforms(finding.value, finding.u, limit.max):
        found = "not proven"
    if found == "fail" and finding.offset_limit and not _fails_wherever_zero_lies(finding, limit.max):
        found = "not proven"
    return "not proven" if found == "pass" and finding.one_sided else found


def _fails_wherever_zero_lies(finding: Measured, most: float | None) -> bool:
    """An unknown zero lies anywhere within its limits, at their very edge too, and accuses nobody from there.

    So the rest of the uncertainty must prove the failure with the zero at its worst. A rectangular distribution for
    the offset alone would not do: its outermost twentieth is where every good install that such a zero misreads lies.
    """
    offset, value, u = finding.offset_limit or 0.0, finding.value or 0.0, finding.u or 0.0
    rest = math.sqrt(max(u**2 - rectangular(offset) ** 2, 0.0))
    return conformity(value - offset, rest, None, most) == "fail"


def _of_interval(interval: tuple[float, float], limit: PlannedLimit) -> Conformity:
    """Anywhere between its ends is as possible: a pass or a failure must hold at both."""
    first, last = (conformity(end, 0.0, limit.min, limit.max) for end in interval)
    return first if first == last else "not proven"


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
    if finding.one_sided:
        return "not proven"
    return "fail" if may_drop else "pass"
