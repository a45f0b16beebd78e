"""What one finding proves about one limit."""

import math
from collections.abc import Callable
from typing import Literal

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.uncertainty import COVERAGE_K, PASS_PROBABILITY, conformity, probability_of_conforming, rectangular
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.result import Verdict

Conformity = Literal["pass", "fail", "not proven"]
#: What a value with its uncertainty proves about a limit; neither is missing or ruled out.
Rule = Callable[[Measured, PlannedLimit], Conformity]


def verdict(finding: Finding, limit: PlannedLimit | None, rule: Rule) -> Verdict:
    """What one finding proves about one limit, by the check's rule."""
    if limit is None:
        return "not planned"
    if isinstance(finding, NotEvaluated):
        return "not seen"
    if finding.failed or limit.impossible:
        return "fail"
    if finding.disqualified or finding.value is None or finding.u is None:
        return "not proven"
    return rule(finding, limit)


def within_limits(finding: Measured, limit: PlannedLimit) -> Conformity:
    """The usual rule: the probability of conforming, or both ends of an interval."""
    if finding.interval is None:
        found = conformity(finding.value or 0.0, finding.u or 0.0, limit.min, limit.max)
    else:
        found = _of_interval(finding.interval, limit)
    offset = finding.offset_limit
    if found == "fail" and offset and not _fails_wherever_zero_lies(finding, offset, limit.max):
        return "not proven"
    return "not proven" if found == "pass" and finding.one_sided else found


def drain_within_limits(finding: Measured, limit: PlannedLimit) -> Conformity:
    """The usual rule, where a true value below zero cannot be."""
    found = within_limits(finding, limit)
    if found == "pass" and not _drain_conforms(finding.value or 0.0, finding.u or 0.0, limit.max):
        return "not proven"
    return found


def loss_as_planned(finding: Measured, limit: PlannedLimit) -> Conformity:
    """A limit from above: no loss beyond its uncertainty. One from below: a loss beyond it."""
    lost = (finding.value or 0.0) > COVERAGE_K * (finding.u or 0.0)
    may_drop = limit.max is None
    if lost:
        return "pass" if may_drop else "fail"
    if finding.one_sided:
        return "not proven"
    return "fail" if may_drop else "pass"


def _fails_wherever_zero_lies(finding: Measured, offset: float, most: float | None) -> bool:
    """An unknown zero lies anywhere within its limits, at their very edge too, and accuses nobody from there.

    So the rest of the uncertainty must prove the failure with the zero at its worst. A rectangular distribution for
    the offset alone would not do: its outermost twentieth is where every good install that such a zero misreads lies.
    """
    value, u = finding.value or 0.0, finding.u or 0.0
    rest = math.sqrt(max(u**2 - rectangular(offset) ** 2, 0.0))
    return conformity(value - offset, rest, None, most) == "fail"


def _of_interval(interval: tuple[float, float], limit: PlannedLimit) -> Conformity:
    """Anywhere between its ends is as possible: a pass or a failure must hold at both, a failure on one side."""
    first, last = (conformity(end, 0.0, limit.min, limit.max) for end in interval)
    if limit.min is not None and limit.max is not None and interval[0] < limit.min and limit.max < interval[1]:
        return "not proven"
    return first if first == last else "not proven"


def _drain_conforms(value: float, u: float, most: float | None) -> bool:
    """A true drain is never below zero, so no offset can win a pass (prior knowledge, JCGM 106:2012, 6.2)."""
    below = probability_of_conforming(value, u, 0.0, most)
    return below >= PASS_PROBABILITY * probability_of_conforming(value, u, 0.0, None)
