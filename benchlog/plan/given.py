"""A plan as a caller gives it: a path, its content, or the plan itself."""

from collections.abc import Mapping
from pathlib import Path

from benchlog.core.errors import BenchlogError
from benchlog.plan.model import Plan, load_plan, plan_from_mapping

PlanLike = str | Path | Mapping[str, object] | Plan


def plan_of(plan: PlanLike) -> Plan:
    """The plan itself.

    Raises:
        BenchlogError: it cannot be used, or is no plan.
    """
    if isinstance(plan, Plan):
        return plan
    if isinstance(plan, Mapping):
        return plan_from_mapping(plan)
    if not isinstance(plan, (str, Path)):
        raise BenchlogError(f"{plan!r} is not a plan; give the path of a plan file, or its content as a mapping")
    return load_plan(plan)
