"""The one table of checks; from findings to verdicts and score."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from benchlog.analysis.measurement import Finding, Measured, Unseen
from benchlog.limits import PlannedLimit, limits_of, planned_value_of
from benchlog.plan import Plan
from benchlog.result import Check, Limit, Score, Verdict
from benchlog.sentences import because
from benchlog.uncertainty import COVERAGE_K, PASS_PROBABILITY, conformity, probability_of_conforming


@dataclass(frozen=True, slots=True)
class CheckSpec:
    """One check of the table.

    Attributes:
        id: as in results; ``slot_N_current`` stands for one a planned slot.
        title: for reports. unit: of the measured value.
        measures: what the value is, in words. plan_keys: where the plan sets its limit.
    """

    id: str
    title: str
    unit: str
    measures: str
    plan_keys: tuple[str, ...]


CHECKS: tuple[CheckSpec, ...] = (
    CheckSpec(
        "off_state_drain",
        "Off-state drain",
        "mA",
        "current out of the battery with the key off, after settling, wake-ups included; the worst span",
        ("limits.off_state_drain_ma",),
    ),
    CheckSpec(
        "added_drain",
        "Added drain",
        "mA",
        "off-state drain less that of the log recorded before the install",
        ("limits.added_drain_ma",),
    ),
    CheckSpec(
        "settle_time",
        "Settling time",
        "s",
        "key-off until the drain has settled; the worst",
        ("limits.settle_max_s",),
    ),
    CheckSpec(
        "feed_off_voltage",
        "Feed voltage, key off",
        "V",
        "voltage at the fuse block with the key off and settled; the highest mean",
        ("limits.feed_off_max_v",),
    ),
    CheckSpec(
        "relay_pull_in",
        "Relay pull-in",
        "ms",
        "trigger rising until the feed is live; the worst",
        ("relay.pull_in_max_ms",),
    ),
    CheckSpec(
        "relay_drop_out",
        "Relay drop-out",
        "ms",
        "trigger falling until the contact opens; the worst",
        ("relay.drop_out_max_ms",),
    ),
    CheckSpec(
        "relay_chatter",
        "Relay chatter",
        "1",
        "openings of the contact with the key on and re-closings with it off",
        ("relay",),
    ),
    CheckSpec(
        "battery_sag",
        "Battery sag",
        "V",
        "fall of the battery's voltage under the planned load, engine off",
        ("limits.battery_sag_max_v",),
    ),
    CheckSpec(
        "feed_drop",
        "Feed drop",
        "V",
        "voltage lost from battery + to the fuse block at the planned load",
        ("feed.drop_max_v",),
    ),
    CheckSpec(
        "ground_lift",
        "Ground lift",
        "V",
        "ground bus above battery negative at the planned load",
        ("ground.lift_max_v",),
    ),
    CheckSpec(
        "slot_N_current",
        "Slot N current",
        "A",
        "the circuit's sustained current",
        ("circuit.planned_a", "circuit.tolerance_pct", "circuit.fuse_a"),
    ),
    CheckSpec(
        "resting_voltage",
        "Resting voltage",
        "V",
        "battery settled, key off, before the first key-on",
        ("limits.resting_min_v",),
    ),
    CheckSpec(
        "source_resistance",
        "Battery source resistance",
        "mΩ",
        "fall of the battery's voltage an ampere over load steps, to its posts",
        ("limits.source_resistance_max_mohm",),
    ),
    CheckSpec(
        "crank_minimum",
        "Cranking minimum",
        "V",
        "lowest battery voltage held for 10 ms while cranking",
        ("limits.crank_min_v",),
    ),
    CheckSpec(
        "feed_in_crank",
        "Feed while cranking",
        "s",
        "longest loss of the feed while cranking",
        ("limits.feed_in_crank",),
    ),
    CheckSpec(
        "charging_voltage",
        "Charging voltage",
        "V",
        "mean battery voltage with the engine running",
        ("limits.charging_min_v", "limits.charging_max_v"),
    ),
    CheckSpec(
        "charging_balance",
        "Charging balance",
        "A",
        "mean current into the battery with the engine running and the loads on",
        ("limits.charging_balance_min_a",),
    ),
)


def specs_for(plan: Plan) -> list[CheckSpec]:
    """The table with one row for each planned slot, in the order of a result."""
    rows = []
    for spec in CHECKS:
        if spec.id != "slot_N_current":
            rows.append(spec)
            continue
        for circuit in sorted(plan.circuit, key=lambda c: c.slot):
            title = f"Slot {circuit.slot} current ({circuit.device})"
            rows.append(CheckSpec(f"slot_{circuit.slot}_current", title, spec.unit, spec.measures, spec.plan_keys))
    return rows


@dataclass(frozen=True, slots=True)
class _Judged:
    verdict: Verdict
    finding: Finding
    log: str | None

    @property
    def rank(self) -> tuple[int, float]:
        """What proves most comes first: a failure, then a pass, then a doubt; the surer figure before the other."""
        order: dict[Verdict, int] = {"fail": 0, "pass": 1, "not proven": 2, "not planned": 3, "not seen": 4}
        u = self.finding.u if isinstance(self.finding, Measured) else None
        return (4 if isinstance(self.finding, Unseen) else order[self.verdict], math.inf if u is None else u)


def judge(plan: Plan, found: Sequence[tuple[str, Mapping[str, Finding]]]) -> list[Check]:
    """Every check of the plan, each from the log that proves most.

    Args:
        plan: what was planned.
        found: log name and its findings by check id, one a log; at least one.
    """
    limits, planned = limits_of(plan), planned_value_of(plan)
    nothing = Unseen("no log shows it")
    checks = []
    for spec in specs_for(plan):
        limit = limits.get(spec.id)
        judged = [
            _Judged(verdict(spec.id, finding, limit), finding, name)
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
    if finding.failed:
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
    if finding.only_fails:
        # what the samples did not see has no bound
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
        from_s=finding.from_s,
        to_s=finding.to_s,
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
