"""The one plain sentence that says why a check ended as it did."""

import math

from benchlog.analysis.measurement import Finding, Measured, NotEvaluated
from benchlog.core.numbers import number, with_uncertainty
from benchlog.core.uncertainty import COVERAGE_K
from benchlog.plan.limits import PlannedLimit
from benchlog.verdict.check_table import id_in_table
from benchlog.verdict.remedies import BY_SAMPLES, INSIDE, proven_without_reason, what_would_prove
from benchlog.verdict.result import Verdict

#: How a remedy ends that is sure to suffice.
WOULD = " would prove it"
UNSTATED = (
    "the logger's accuracy is not stated; give a logger file with gain_error_pct and offset_error for this channel"
)

#: check id -> what was found, with a place for the figure.
_FOUND: dict[str, str] = {
    "feed_fuse": "the feed fuse is rated {}",
    "slot_N_fuse": "the circuit's fuse is rated {}",
    "off_state_drain": "with the key off {} left the battery on average",
    "added_drain": "the install added {} to the drain",
    "settle_time": "the drain settled {} after the key was turned off",
    "feed_off_voltage": "with the key off the fuse block stood at {}",
    "relay_pull_in": "the contact closed {} after the trigger rose",
    "relay_drop_out": "the contact opened {} after the trigger fell",
    "relay_chatter": "the contact opened or re-closed out of turn {} times",
    "battery_sag": "the battery sags by {} under the planned load",
    "feed_drop": "{} is lost from battery + to the fuse block at the planned load",
    "ground_lift": "the ground bus stands {} above battery negative at the planned load",
    "slot_N_current": "the circuit drew {}",
    "resting_voltage": "the battery rested at {} before the first key-on",
    "source_resistance": "the battery shows {} to its posts",
    "crank_minimum": "while cranking the battery fell to {}",
    "feed_in_crank": "while cranking the feed was lost for {} at the longest",
    "charging_voltage": "with the engine running the battery stood at {}",
    "charging_balance": "with the engine running {} went into the battery",
}
#: The same where the figure is a plain zero.
_NONE_FOUND = {
    "relay_chatter": "the contact did not open or re-close out of turn",
    "feed_in_crank": "no loss of the feed was seen while cranking",
}


def because(check_id: str, unit: str, verdict: Verdict, finding: Finding, limit: PlannedLimit | None) -> str:
    """A sentence that a rider understands: the figure, the limit and, where open, what would prove it."""
    if isinstance(finding, NotEvaluated):
        return _sentence(finding.why)
    if finding.failed:
        return _sentence(finding.failed)
    found = _found(check_id, finding, unit, bounded=not finding.one_sided)
    if limit is not None and limit.impossible:
        return _sentence(f"{found}, but {_impossible(limit, unit)}")
    story = f" ({finding.story})" if finding.story else ""
    if limit is None:
        return _sentence(f"{found}{story}; the plan gives no limit")
    if verdict == "pass":
        return _sentence(f"{found}, within {_limit(check_id, limit, unit)}{story}")
    if verdict == "fail":
        return _sentence(f"{found}, which breaks {_limit(check_id, limit, unit)}{story}")
    doubt = _doubt(check_id, finding, limit, unit)
    return _sentence(f"{found}{story}; this does not prove {_limit(check_id, limit, unit)}: {doubt}")


def _sentence(text: str) -> str:
    first = text.split(" ", 1)[0]
    # a role keeps its name
    begin = text[:1] if "_" in first else text[:1].upper()
    return begin + text[1:] + ("" if text.endswith(".") else ".")


def _found(check_id: str, finding: Measured, unit: str, bounded: bool) -> str:
    key = id_in_table(check_id)
    if finding.value == 0 and key in _NONE_FOUND:
        return _NONE_FOUND[key]
    if finding.value is None:
        return "no value was found"
    u = None if finding.u is None or not math.isfinite(finding.u) or not bounded else COVERAGE_K * finding.u
    figure = with_uncertainty(finding.value, u) + ("" if unit == "1" else f" {unit}")
    if key == "relay_chatter" and finding.value == 1:
        return "the contact opened or re-closed out of turn once"
    return _FOUND[key].format(figure)


def _limit(check_id: str, limit: PlannedLimit, unit: str) -> str:
    suffix = "" if unit == "1" else f" {unit}"
    if check_id == "relay_chatter":
        return "the plan, which allows none"
    if check_id == "feed_in_crank":
        return "the plan, which allows no loss" if limit.max is not None else "the plan, in which the feed drops"
    if limit.min is not None and limit.max is not None:
        return f"the limits of {number(limit.min)} to {number(limit.max)}{suffix}"
    if limit.max is not None:
        return f"the limit of at most {number(limit.max)}{suffix}"
    return f"the limit of at least {number(limit.min or 0.0)}{suffix}"


def _impossible(limit: PlannedLimit, unit: str) -> str:
    return (
        f"no current can meet the plan: at least {number(limit.min or 0.0)} {unit} as planned, and at most "
        f"{number(limit.max or 0.0)} {unit}, which is 80 % of its fuse; plan a larger fuse if the wire bears it, "
        "or a smaller current"
    )


def _doubt(check_id: str, finding: Measured, limit: PlannedLimit, unit: str) -> str:
    """Why it is open, and what would prove it."""
    if finding.disqualified is None and finding.u is None:
        return UNSTATED
    reason = finding.disqualified or finding.one_sided
    if reason is None:
        if finding.remedy and check_id not in BY_SAMPLES:
            return f"{INSIDE}; {finding.remedy}"
        return what_would_prove(check_id, unit, finding, limit)
    if not finding.remedy:
        return reason
    thing = finding.remedy.removesuffix(WOULD)
    if finding.disqualified or thing == finding.remedy or proven_without_reason(check_id, finding, limit):
        return f"{reason}; {finding.remedy}"
    # seen as it should be the figure would still lie too near its limit
    return f"{reason}; {thing} is needed, and even then {what_would_prove(check_id, unit, finding, limit)}"
