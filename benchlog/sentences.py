"""The one plain sentence that says why a check ended as it did."""

from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.limits import PlannedLimit
from benchlog.report_words import number, with_uncertainty
from benchlog.result import Verdict
from benchlog.uncertainty import COVERAGE_K, Z_PROVEN

UNSTATED = (
    "the logger's accuracy is not stated; give a logger file with gain_error_pct and offset_error for this channel"
)


def because(unit: str, verdict: Verdict, finding: Finding, limit: PlannedLimit | None) -> str:
    """A sentence that a rider understands: the figure, the limit and, where open, what would prove it."""
    if isinstance(finding, Unseen):
        return _sentence(finding.why)
    if finding.failed:
        return _sentence(finding.failed)
    value = _figure(finding, unit, bounded=verdict == "fail" or not finding.only_fails)
    story = f" ({finding.story})" if finding.story else ""
    if limit is None:
        return _sentence(f"{value}{story}; the plan gives no limit")
    if verdict == "pass":
        return _sentence(f"{value} keeps {_limit(limit, unit)}{story}")
    if verdict == "fail":
        return _sentence(f"{value} breaks {_limit(limit, unit)}{story}")
    return _sentence(f"{value} does not prove {_limit(limit, unit)}: {_doubt(finding, limit, unit)}{story}")


def _sentence(text: str) -> str:
    first = text.split(" ", 1)[0]
    # a role keeps its name
    begin = text[:1] if "_" in first else text[:1].upper()
    return begin + text[1:] + ("" if text.endswith(".") else ".")


def _figure(finding: Measured, unit: str, bounded: bool) -> str:
    if finding.value is None:
        return "no value"
    u = None if finding.u is None or not bounded else COVERAGE_K * finding.u
    return with_uncertainty(finding.value, u) + ("" if unit == "1" else f" {unit}")


def _limit(limit: PlannedLimit, unit: str) -> str:
    suffix = "" if unit == "1" else f" {unit}"
    if limit.min is not None and limit.max is not None:
        return f"the limits of {number(limit.min)} to {number(limit.max)}{suffix}"
    if limit.max is not None:
        return f"the limit of at most {number(limit.max)}{suffix}"
    if limit.min is not None:
        return f"the limit of at least {number(limit.min)}{suffix}"
    return "the plan"


def _doubt(finding: Measured, limit: PlannedLimit, unit: str) -> str:
    reason = finding.doubt
    if reason is None and finding.u is None:
        return UNSTATED
    reason = reason or finding.only_fails
    if reason is not None:
        return f"{reason}; {finding.remedy}" if finding.remedy else reason
    if finding.remedy:
        return f"the limit lies inside the uncertainty; {finding.remedy}"
    return _needed(finding, limit, unit)


def _needed(finding: Measured, limit: PlannedLimit, unit: str) -> str:
    """How fine a measurement would settle it, from the distance to the nearer limit."""
    value = finding.value or 0.0
    distances = [abs(value - side) for side in (limit.min, limit.max) if side is not None]
    nearest = min(distances, default=0.0)
    suffix = "" if unit == "1" else f" {unit}"
    needed = COVERAGE_K * nearest / Z_PROVEN
    have = COVERAGE_K * (finding.u or 0.0)
    if needed < have / 20:
        return "it lies right at the limit, within what this logger can tell"
    return (
        f"the limit lies inside the uncertainty; a logger or a longer log that measures to ± {number(needed)}{suffix} "
        "would prove it"
    )
