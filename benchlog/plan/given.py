"""A plan as a caller gives it: a path, its content, or the plan itself."""

from collections.abc import Mapping
from pathlib import Path

from benchlog.core.given import made_of
from benchlog.plan.model import Plan, load_plan, plan_from_mapping

PlanLike = str | Path | Mapping[str, object] | Plan


def plan_of(plan: PlanLike) -> Plan:
    """The plan itself.

    Raises:
        BenchlogError: it cannot be used, or is no plan.
    """
    return made_of(plan, "plan", Plan, plan_from_mapping, load_plan)
