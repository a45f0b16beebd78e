"""The one plain sentence that says why a check ended as it did."""

import math

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.numbers import number, sides, unit_suffix, with_uncertainty
from benchlog.core.uncertainty import COVERAGE_K
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.remedies import INSIDE, proven_without_reason, what_would_prove
from benchlog.verdict.result import Verdict

#: How a remedy ends that is sure to suffice.
WOULD = " would prove it"
UNSTATED = (
    "the logger's accuracy is not stated; give a logger file with gain_error_pct and offset_error for this channel"
)


def because(kind: CheckKind, verdict: Verdict, finding: Finding, limit: PlannedLimit | None) -> str:
    """A sentence that a rider understands: the figure, the limit and, where open, what would prove it."""
    if isinstance(finding, NotEvaluated):
        return _sentence(finding.why)
    if finding.failed:
        return _sentence(finding.failed)
    found = _found(kind, finding)
    if limit is not None and limit.impossible:
        return _sentence(f"{found}, but {_impossible(limit, kind.unit)}")
    story = f" ({finding.story})" if finding.story else ""
    if limit is None:
        return _sentence(f"{found}{story}; the plan gives no limit")
    if verdict == "pass":
        return _sentence(f"{found}, within {_limit(kind, limit)}{story}")
    if verdict == "fail":
        return _sentence(f"{found}, which breaks {_limit(kind, limit)}{story}")
    doubt = _doubt(kind, finding, limit)
    return _sentence(f"{found}{story}; this does not prove {_limit(kind, limit)}: {doubt}")


def _sentence(text: str) -> str:
    first = text.partition(" ")[0]
    # a role keeps its name
    begin = text[:1] if "_" in first else text[:1].upper()
    return begin + text[1:] + ("" if text.endswith(".") else ".")


def _found(kind: CheckKind, finding: Measured) -> str:
    if finding.value is None:
        return "no value was found"
    stated = finding.u is not None and math.isfinite(finding.u) and not finding.one_sided
    u = COVERAGE_K * finding.u if finding.u is not None and stated else None
    return kind.clause(finding, with_uncertainty(finding.value, u) + unit_suffix(kind.unit))


def _limit(kind: CheckKind, limit: PlannedLimit) -> str:
    if kind.limit_words is not None:
        return kind.limit_words.sentence(limit)
    both = limit.min is not None and limit.max is not None
    return f"the limit{'s' if both else ''} of {sides(limit.min, limit.max)}{unit_suffix(kind.unit)}"


def _impossible(limit: PlannedLimit, unit: str) -> str:
    return (
        f"no current can meet the plan: at least {number(limit.min or 0.0)} {unit} as planned, and at most "
        f"{number(limit.max or 0.0)} {unit}, which is 80 % of its fuse; plan a larger fuse if the wire bears it, "
        "or a smaller current"
    )


def _doubt(kind: CheckKind, finding: Measured, limit: PlannedLimit) -> str:
    """Why it is open, and what would prove it."""
    if finding.disqualified is None and finding.u is None:
        return UNSTATED
    reason = finding.disqualified or finding.one_sided
    if reason is None:
        if finding.remedy and not kind.by_samples:
            return f"{INSIDE}; {finding.remedy}"
        return what_would_prove(kind, finding, limit)
    if not finding.remedy:
        return reason
    thing = finding.remedy.removesuffix(WOULD)
    if finding.disqualified or thing == finding.remedy or proven_without_reason(kind, finding, limit):
        return f"{reason}; {finding.remedy}"
    # seen as it should be the figure would still lie too near its limit
    return f"{reason}; {thing} is needed, and even then {what_would_prove(kind, finding, limit)}"
