"""The one table of checks: ids, titles, units, what each measures and where the plan sets its limit."""

from dataclasses import dataclass

from benchlog.plan.model import Plan


@dataclass(frozen=True, slots=True)
class CheckSpec:
    """One check of the table.

    Attributes:
        id: as in results; ``slot_N_fuse`` and ``slot_N_current`` stand for one a planned slot.
        title: for reports. unit: of the measured value.
        measures: what the value is, in words. plan_keys: where the plan sets its limit.
    """

    id: str
    title: str
    unit: str
    measures: str
    plan_keys: tuple[str, ...]


#: Checks of the plan alone, which no log can settle. They come first, so that a dangerous fuse heads every list.
FUSE_CHECKS = ("feed_fuse", "slot_N_fuse")
_ANY_SLOT = "slot_N_"

CHECKS: tuple[CheckSpec, ...] = (
    CheckSpec(
        "feed_fuse",
        "Feed fuse",
        "A",
        "rating of the feed fuse, against what the feed's wire bears",
        ("feed.fuse_a", "feed.conductor"),
    ),
    CheckSpec(
        "slot_N_fuse",
        "Slot N fuse",
        "A",
        "rating of the circuit's fuse, against what its wire bears",
        ("circuit.fuse_a", "circuit.conductor"),
    ),
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


def id_in_table(check_id: str) -> str:
    """The id of a result's check as the table has it: ``slot_N_current`` for every slot's."""
    slot = slot_of_check(check_id)
    return check_id if slot is None else check_id.replace(f"slot_{slot}_", _ANY_SLOT, 1)


def slot_of_check(check_id: str) -> int | None:
    """The slot that a result's check is about; None where it is about none."""
    head, _, rest = check_id.partition("_")
    number = rest.partition("_")[0]
    return int(number) if head == "slot" and number.isdigit() else None


def is_fuse_check(check_id: str) -> bool:
    """Whether it is a check of the plan alone: a fuse against its wire."""
    return id_in_table(check_id) in FUSE_CHECKS


def specs_for(plan: Plan) -> list[CheckSpec]:
    """The table with one row for each planned slot, in the order of a result."""
    rows = []
    circuits = sorted(plan.circuit, key=lambda circuit: circuit.slot)
    for spec in CHECKS:
        if not spec.id.startswith(_ANY_SLOT):
            rows.append(spec)
            continue
        for circuit in circuits:
            check_id = spec.id.replace("_N_", f"_{circuit.slot}_")
            title = f"{spec.title.replace('N', str(circuit.slot), 1)} ({circuit.device})"
            rows.append(CheckSpec(check_id, title, spec.unit, spec.measures, spec.plan_keys))
    return rows
