"""What a plan allows for one check, and the limits that follow from its wires, fuses and loads."""

from dataclasses import dataclass
from typing import Literal

from benchlog.plan.model import Circuit, Plan
from benchlog.plan.paths import PlannedPath
from benchlog.plan.wiring import HOT_C, Allowance

#: A fuse carries at most this share of its rating for long (common practice, no source).
FUSE_SHARE = 0.8
#: How long a key-off stretch must stay settled where the plan names no settling time, s.
DEFAULT_SETTLED_S = 60.0


@dataclass(frozen=True, slots=True)
class PlannedLimit:
    """What the plan allows for one check, in the check's unit.

    Attributes:
        min, max: a side that is None is open.
        origin: given in the plan, or derived from it.
        how: the key that gives it, or how it was worked out.
    """

    min: float | None
    max: float | None
    origin: Literal["given", "derived"]
    how: str

    @property
    def impossible(self) -> bool:
        """No value can meet it: a circuit whose planned current, less its tolerance, is more than its fuse bears."""
        return self.min is not None and self.max is not None and self.min > self.max * (1 + 1e-9)


def settled_s(plan: Plan) -> float:
    """How long a key-off stretch must stay settled to count, s."""
    return plan.limits.settle_max_s or DEFAULT_SETTLED_S


def slot_limit(circuit: Circuit) -> PlannedLimit:
    """A circuit's current, A: planned, give or take its tolerance, and at most 80 % of its fuse."""
    low, high = (circuit.planned_a * (100 + sign * circuit.tolerance_pct) / 100 for sign in (-1, 1))
    how = f"{circuit.planned_a:g} A ± {circuit.tolerance_pct:g} %"
    if circuit.fuse_a is not None and FUSE_SHARE * circuit.fuse_a < high:
        high = FUSE_SHARE * circuit.fuse_a
        how += f", at most 80 % of its {circuit.fuse_a:g} A fuse"
    return PlannedLimit(low, high, "derived", how)


def derived_drop(plan: Plan, path: PlannedPath | None) -> PlannedLimit | None:
    """The loss in a path at the planned load, V, with hot wire and aged joints; None without the path or a load."""
    if path is None or not plan.circuit:
        return None
    how = (
        f"{plan.planned_load_a:g} A x ({path.hot_mohm:.1f} mΩ of wire at {HOT_C:g} °C"
        f" + {path.allowance.most_mohm:.1f} mΩ allowed for {_parts(path.allowance)})"
    )
    return PlannedLimit(None, plan.planned_load_a * path.most_mohm / 1000.0, "derived", how)


def _parts(allowance: Allowance) -> str:
    parts = ["joints"]
    parts += ["fuse"] if allowance.fuse_mohm else []
    parts += ["contact"] if allowance.contact_mohm else []
    return " and ".join(filter(None, [", ".join(parts[:-1]), parts[-1]]))
