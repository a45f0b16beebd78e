"""How limits follow from a plan: given by its keys, or worked out from its wires, fuses and loads."""

from collections.abc import Callable
from dataclasses import dataclass

from benchlog.plan.limits import PlannedLimit
from benchlog.plan.model import Circuit, Plan


@dataclass(frozen=True, slots=True)
class LimitRule:
    """How one check's limit follows.

    Attributes:
        keys: those of the plan that set it, such as ``limits.settle_max_s``.
        of: the limit, from the plan and, for a circuit's check, its circuit; None where the plan sets none.
    """

    keys: tuple[str, ...]
    of: Callable[[Plan, Circuit | None], PlannedLimit | None]


def at_most(key: str) -> LimitRule:
    """The value of a key is the most that is allowed."""
    return window(None, key)


def at_least(key: str) -> LimitRule:
    """The value of a key is the least that is allowed."""
    return window(key, None)


def window(least: str | None, most: str | None) -> LimitRule:
    """Two keys give the sides; one that the plan leaves out stays open."""
    keys = tuple(key for key in (least, most) if key is not None)

    def of(plan: Plan, _: Circuit | None) -> PlannedLimit | None:
        given = {key: value for key in keys if (value := _value_at(plan, key)) is not None}
        if not given:
            return None
        return PlannedLimit(given.get(least or ""), given.get(most or ""), "given", " and ".join(given))

    return LimitRule(keys, of)


def given_else(given: LimitRule, derived: LimitRule) -> LimitRule:
    """What the plan gives wins over what follows from it."""

    def of(plan: Plan, circuit: Circuit | None) -> PlannedLimit | None:
        return given.of(plan, circuit) or derived.of(plan, circuit)

    return LimitRule((*given.keys, *derived.keys), of)


def from_plan(keys: tuple[str, ...], of: Callable[[Plan], PlannedLimit | None]) -> LimitRule:
    """A rule of the plan as a whole."""
    return LimitRule(keys, lambda plan, _: of(plan))


def from_circuit(keys: tuple[str, ...], of: Callable[[Plan, Circuit], PlannedLimit | None]) -> LimitRule:
    """A rule of each circuit by itself."""
    return LimitRule(keys, lambda plan, circuit: None if circuit is None else of(plan, circuit))


def _value_at(plan: Plan, key: str) -> float | None:
    """The value of a dotted key; None where it or its table is left out."""
    table, _, name = key.partition(".")
    value: float | None = getattr(getattr(plan, table), name, None)
    return value
