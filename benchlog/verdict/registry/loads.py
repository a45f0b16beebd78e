"""Checks under load with the engine off: the battery, the feed, the return and each circuit."""

from collections.abc import Callable

from benchlog.plan.limits import derived_drop, slot_limit
from benchlog.plan.model import Circuit, Plan
from benchlog.plan.paths import PlannedPath, feed_path, ground_path, planned_drop_v
from benchlog.verdict.registry.kind import CheckKind, CheckNames
from benchlog.verdict.registry.limiting import at_most, from_circuit, from_plan, given_else

_PathOf = Callable[[Plan], PlannedPath | None]


def _at_posts(name: CheckNames, key: str, measures: str, found: str) -> CheckKind:
    """What the battery shows at its posts, at most what the plan's ``key`` allows."""
    return CheckKind(
        *name,
        measures=measures,
        limit=at_most(key),
        found=found,
        first_test="under load measure from post to post, then from lead to lead: what differs is lost in the joint",
    )


BATTERY_SAG = _at_posts(
    ("battery_sag", "Battery sag", "Sag", "V"),
    key="limits.battery_sag_max_v",
    measures="sag of the battery's voltage under the planned load, engine off",
    found="the battery sags by {} under the planned load",
)
SOURCE_RESISTANCE = _at_posts(
    ("source_resistance", "Battery source resistance", "Resistance", "mΩ"),
    key="limits.source_resistance_max_mohm",
    measures="of the battery, at its posts: −ΔV/ΔI over load steps",
    found="the battery shows {} to its posts",
)


def _path_loss(
    name: CheckNames, key: str, path_of: _PathOf, along: tuple[str, str], measures: str, found: str
) -> CheckKind:
    """The loss in a path: as its table gives it, else from its wire and the planned load.

    Args:
        key: of the given limit. along: the battery's post and the far end. found: up to the load it is scaled to.
    """
    table = key.partition(".")[0]
    keys = (*(f"{table}.{one}" for one in ("conductor", "length_m", "length_ft")), "circuit.planned_a")
    return CheckKind(
        *name,
        measures=f"{measures}, at the planned load",
        limit_from=f"`{key}`, or derived",
        limit=given_else(at_most(key), from_plan(keys, lambda plan: derived_drop(plan, path_of(plan)))),
        planned=lambda plan, _: planned_drop_v(plan, path_of(plan)),
        found=f"{found} at the planned load",
        first_test=(
            f"with all circuits on measure from battery {along[0]} to each joint on the way to the {along[1]}: where "
            "it steps up, current meets resistance"
        ),
    )


FEED_DROP = _path_loss(
    ("feed_drop", "Feed drop", "Feed drop", "V"),
    key="feed.drop_max_v",
    path_of=feed_path,
    along=("+", "fuse block"),
    measures="battery + to fuse block",
    found="{} is lost from battery + to the fuse block",
)
GROUND_LIFT = _path_loss(
    ("ground_lift", "Ground lift", "Ground lift", "V"),
    key="ground.lift_max_v",
    path_of=ground_path,
    along=("−", "ground bus"),
    measures="ground bus above battery negative",
    found="the ground bus stands {} above battery negative",
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
