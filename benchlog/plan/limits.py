"""Which limits a plan sets: those it gives, and those that follow from its wires, fuses and loads."""

from dataclasses import dataclass
from typing import Literal

from benchlog.plan.model import Circuit, Feed, Ground, Limits, Plan, Relay
from benchlog.plan.planned_fuses import PlannedFuse, planned_fuses
from benchlog.plan.wiring import HOT_C, Allowance, Conductor, feed_allowance, ground_allowance, resistance_mohm

#: A fuse carries at most this share of its rating for long (common practice, no source).
FUSE_SHARE = 0.8


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


@dataclass(frozen=True, slots=True)
class Path:
    """A planned path of the common current, feed or ground.

    Attributes:
        wire: its conductor.
        length_m: one way, m.
        wire_mohm: the wire at 20 degC.
        hot_mohm: the wire at 60 degC.
        allowance: joints, fuse and contact.
    """

    wire: Conductor
    length_m: float
    wire_mohm: float
    hot_mohm: float
    allowance: Allowance

    @property
    def nominal_mohm(self) -> float:
        """The expected resistance: wire at 20 degC, parts new and clean."""
        return self.wire_mohm + self.allowance.total_mohm

    @property
    def most_mohm(self) -> float:
        """The resistance that a derived limit allows: wire at 60 degC, parts aged."""
        return self.hot_mohm + self.allowance.most_mohm


def feed_path(plan: Plan) -> Path | None:
    """The feed, where the plan gives its conductor and length."""
    feed = plan.feed
    return None if feed is None else _path(feed, feed_allowance(feed.fuse_a))


def ground_path(plan: Plan) -> Path | None:
    """The return, where the plan gives its conductor and length."""
    return None if plan.ground is None else _path(plan.ground, ground_allowance())


def planned_resistance_mohm(plan: Plan) -> dict[str, float]:
    """Expected resistance, mohm, of ``feed`` and ``ground``; a path that the plan does not describe is left out."""
    paths = {"feed": feed_path(plan), "ground": ground_path(plan)}
    return {name: path.nominal_mohm for name, path in paths.items() if path is not None}


def planned_value_of(plan: Plan) -> dict[str, float]:
    """Check id -> the planned value itself, in the check's unit, where the plan has one."""
    resistance = planned_resistance_mohm(plan)
    values: dict[str, float] = {}
    if plan.circuit:
        for check_id, name in (("feed_drop", "feed"), ("ground_lift", "ground")):
            if name in resistance:
                values[check_id] = plan.planned_load_a * resistance[name] / 1000.0
    return values | {slot_check_id(circuit.slot): circuit.planned_a for circuit in plan.circuit}


def limits_of(plan: Plan) -> dict[str, PlannedLimit]:
    """Check id -> its limit, for every check that is planned, in the order of the checks."""
    return {check_id: limit for check_id, limit in _all_checks(plan).items() if limit is not None}


def not_planned(plan: Plan) -> tuple[str, ...]:
    """The ids of the checks that the plan sets no limit for, in the order of the checks."""
    return tuple(check_id for check_id, limit in _all_checks(plan).items() if limit is None)


def _all_checks(plan: Plan) -> dict[str, PlannedLimit | None]:
    limits = plan.limits
    relay = plan.relay or Relay()
    drop_max_v = plan.feed.drop_max_v if plan.feed else None
    lift_max_v = plan.ground.lift_max_v if plan.ground else None
    return {
        **{fuse.check_id: _fuse_limit(fuse) for fuse in planned_fuses(plan)},
        "off_state_drain": _most(limits.off_state_drain_ma, "limits.off_state_drain_ma"),
        "added_drain": _most(limits.added_drain_ma, "limits.added_drain_ma"),
        "settle_time": _most(limits.settle_max_s, "limits.settle_max_s"),
        "feed_off_voltage": _most(limits.feed_off_max_v, "limits.feed_off_max_v"),
        "relay_pull_in": _most(relay.pull_in_max_ms, "relay.pull_in_max_ms"),
        "relay_drop_out": _most(relay.drop_out_max_ms, "relay.drop_out_max_ms"),
        "relay_chatter": _most(0.0 if plan.relay else None, "the plan has a [relay]: none allowed"),
        "battery_sag": _most(limits.battery_sag_max_v, "limits.battery_sag_max_v"),
        "feed_drop": _most(drop_max_v, "feed.drop_max_v") or _derived_drop(plan, feed_path(plan)),
        "ground_lift": _most(lift_max_v, "ground.lift_max_v") or _derived_drop(plan, ground_path(plan)),
        **{slot_check_id(circuit.slot): slot_limit(circuit) for circuit in slots_in_order(plan)},
        "resting_voltage": _least(limits.resting_min_v, "limits.resting_min_v"),
        "source_resistance": _most(limits.source_resistance_max_mohm, "limits.source_resistance_max_mohm"),
        "crank_minimum": _least(limits.crank_min_v, "limits.crank_min_v"),
        "feed_in_crank": _feed_in_crank(limits),
        "charging_voltage": _charging_window(limits),
        "charging_balance": _least(limits.charging_balance_min_a, "limits.charging_balance_min_a"),
    }


def slot_check_id(slot: int) -> str:
    """The id of a slot's check."""
    return f"slot_{slot}_current"


def slots_in_order(plan: Plan) -> list[Circuit]:
    """The plan's circuits by slot number."""
    return sorted(plan.circuit, key=lambda circuit: circuit.slot)


def slot_limit(circuit: Circuit) -> PlannedLimit:
    """A circuit's current, A: planned, give or take its tolerance, and at most 80 % of its fuse."""
    low, high = (circuit.planned_a * (100 + sign * circuit.tolerance_pct) / 100 for sign in (-1, 1))
    how = f"{circuit.planned_a:g} A ± {circuit.tolerance_pct:g} %"
    if circuit.fuse_a is not None and FUSE_SHARE * circuit.fuse_a < high:
        high = FUSE_SHARE * circuit.fuse_a
        how += f", at most 80 % of its {circuit.fuse_a:g} A fuse"
    return PlannedLimit(low, high, "derived", how)


def _fuse_limit(fuse: PlannedFuse) -> PlannedLimit | None:
    """What a fuse's wire bears, A; beyond it ``Protection`` tells whether any table allows it."""
    if fuse.protection is None:
        return None
    return PlannedLimit(
        None, fuse.protection.careful_a, "derived", f"{fuse.protection.wire} bears {fuse.protection.bears}"
    )


def _path(run: Feed | Ground, allowance: Allowance) -> Path | None:
    if run.wire is None or run.run_m is None:
        return None
    cold, hot = (resistance_mohm(run.wire, run.run_m, at_c) for at_c in (20.0, HOT_C))
    return Path(run.wire, run.run_m, cold, hot, allowance)


def _derived_drop(plan: Plan, path: Path | None) -> PlannedLimit | None:
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


def _most(limit: float | None, how: str) -> PlannedLimit | None:
    return None if limit is None else PlannedLimit(None, limit, "given", how)


def _least(limit: float | None, how: str) -> PlannedLimit | None:
    return None if limit is None else PlannedLimit(limit, None, "given", how)


def _feed_in_crank(limits: Limits) -> PlannedLimit | None:
    key = "limits.feed_in_crank"
    if limits.feed_in_crank == "hold":
        return PlannedLimit(None, 0.0, "given", f'{key} = "hold": no loss allowed')
    if limits.feed_in_crank == "drop":
        return PlannedLimit(0.0, None, "given", f'{key} = "drop": a loss must be seen, so strictly above 0')
    return None


def _charging_window(limits: Limits) -> PlannedLimit | None:
    low, high = limits.charging_min_v, limits.charging_max_v
    keys = [f"limits.{key}" for key, limit in (("charging_min_v", low), ("charging_max_v", high)) if limit is not None]
    return PlannedLimit(low, high, "given", " and ".join(keys)) if keys else None
