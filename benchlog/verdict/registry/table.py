"""The one table of checks, and how to find one in it."""

from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Plan, slots_in_order
from benchlog.verdict.registry import engine, fuses, key_off, loads, relay
from benchlog.verdict.registry.kind import CheckKind, CheckRef, PlannedCheck, split_id

#: In the order of a result. The checks of the plan alone come first, so that a dangerous fuse heads every list.
CHECKS: tuple[CheckKind, ...] = (
    fuses.FEED_FUSE,
    fuses.SLOT_FUSE,
    key_off.OFF_STATE_DRAIN,
    key_off.ADDED_DRAIN,
    key_off.SETTLE_TIME,
    key_off.FEED_OFF_VOLTAGE,
    relay.RELAY_PULL_IN,
    relay.RELAY_DROP_OUT,
    relay.RELAY_CHATTER,
    loads.BATTERY_SAG,
    loads.FEED_DROP,
    loads.GROUND_LIFT,
    loads.SLOT_CURRENT,
    key_off.RESTING_VOLTAGE,
    loads.SOURCE_RESISTANCE,
    engine.CRANK_MINIMUM,
    engine.FEED_IN_CRANK,
    engine.CHARGING_VOLTAGE,
    engine.CHARGING_BALANCE,
)
_BY_ID = {kind.id: kind for kind in CHECKS}


def find_check(check_id: str) -> CheckRef | None:
    """The check that a result's id names; None for an id that this version does not know."""
    kind_id, slot = split_id(check_id)
    kind = _BY_ID.get(kind_id)
    return None if kind is None else CheckRef(kind, slot)


def check_of(check_id: str) -> CheckRef:
    """The same, for an id that is surely one.

    Raises:
        KeyError: there is no such check.
    """
    found = find_check(check_id)
    if found is None:
        raise KeyError(check_id)
    return found


def is_of(check_id: str, kind: CheckKind) -> bool:
    """Whether a result's check is of this kind, of whichever slot."""
    return split_id(check_id)[0] == kind.id


def is_fuse_check(check_id: str) -> bool:
    """Whether it is a check of the plan alone: a fuse against its wire."""
    found = find_check(check_id)
    return found is not None and found.kind.from_plan is not None


def checks_of(plan: Plan) -> list[PlannedCheck]:
    """The checks of a plan, in the order of a result: one for each kind, or for each planned slot."""
    circuits = slots_in_order(plan)
    return [
        check
        for kind in CHECKS
        for check in ([PlannedCheck(kind, circuit) for circuit in circuits] if kind.per_slot else [PlannedCheck(kind)])
    ]


def limits_of(plan: Plan) -> dict[str, PlannedLimit]:
    """Check id -> its limit, for every check that is planned, in the order of the checks."""
    return {check.id: limit for check in checks_of(plan) if (limit := check.limit(plan)) is not None}


def not_planned(plan: Plan) -> tuple[str, ...]:
    """The ids of the checks that the plan sets no limit for, in the order of the checks."""
    return tuple(check.id for check in checks_of(plan) if check.limit(plan) is None)


def planned_value_of(plan: Plan) -> dict[str, float]:
    """Check id -> the planned value itself, in the check's unit, where the plan has one."""
    return {check.id: value for check in checks_of(plan) if (value := check.planned_value(plan)) is not None}
