"""Checks under load with the engine off: the battery, the feed, the return and each circuit."""

from collections.abc import Callable

from benchlog.plan.limits import derived_drop, slot_limit
from benchlog.plan.model import Circuit, Plan
from benchlog.plan.paths import PlannedPath, feed_path, ground_path, planned_drop_v
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.registry.limiting import LimitRule, at_most, from_circuit, from_plan, given_else

_AT_POSTS = "under load measure from post to post, then from lead to lead: what differs is lost in the joint"
_ALONG = (
    "with all circuits on measure from battery {} to each joint on the way to the {}: where it steps up, current meets "
    "resistance"
)


def _given_or_derived(table: str, key: str, path_of: Callable[[Plan], PlannedPath | None]) -> LimitRule:
    """The loss in a path: as its table gives it, else from its wire and the planned load."""
    keys = (*(f"{table}.{one}" for one in ("conductor", "length_m", "length_ft")), "circuit.planned_a")
    return given_else(at_most(f"{table}.{key}"), from_plan(keys, lambda plan: derived_drop(plan, path_of(plan))))


BATTERY_SAG = CheckKind(
    id="battery_sag",
    title="Battery sag",
    short="Sag",
    unit="V",
    measures="sag of the battery's voltage under the planned load, engine off",
    limit=at_most("limits.battery_sag_max_v"),
    found="the battery sags by {} under the planned load",
    first_test=_AT_POSTS,
)
FEED_DROP = CheckKind(
    id="feed_drop",
    title="Feed drop",
    short="Feed drop",
    unit="V",
    measures="battery + to fuse block, at the planned load",
    limit_from="`feed.drop_max_v`, or derived",
    limit=_given_or_derived("feed", "drop_max_v", feed_path),
    planned=lambda plan, _: planned_drop_v(plan, feed_path(plan)),
    found="{} is lost from battery + to the fuse block at the planned load",
    first_test=_ALONG.format("+", "fuse block"),
)
GROUND_LIFT = CheckKind(
    id="ground_lift",
    title="Ground lift",
    short="Ground lift",
    unit="V",
    measures="ground bus above battery negative, at the planned load",
    limit_from="`ground.lift_max_v`, or derived",
    limit=_given_or_derived("ground", "lift_max_v", ground_path),
    planned=lambda plan, _: planned_drop_v(plan, ground_path(plan)),
    found="the ground bus stands {} above battery negative at the planned load",
    first_test=_ALONG.format("−", "ground bus"),
)


def _planned_current(_: Plan, circuit: Circuit | None) -> float | None:
    return None if circuit is None else circuit.planned_a


SLOT_CURRENT = CheckKind(
    id="slot_N_current",
    title="Slot N current",
    short="Slot N",
    unit="A",
    measures="that circuit's sustained current",
    limit_from="planned ± tolerance, at most 80 % of its fuse",
    limit=from_circuit(
        ("circuit.planned_a", "circuit.tolerance_pct", "circuit.fuse_a"), lambda _, circuit: slot_limit(circuit)
    ),
    planned=_planned_current,
    found="the circuit drew {}",
    first_test="compare the device's label with the plan, and measure its current alone on a charged battery",
)
SOURCE_RESISTANCE = CheckKind(
    id="source_resistance",
    title="Battery source resistance",
    short="Resistance",
    unit="mΩ",
    measures="of the battery, at its posts: −ΔV/ΔI over load steps",
    limit=at_most("limits.source_resistance_max_mohm"),
    found="the battery shows {} to its posts",
    first_test=_AT_POSTS,
)
