"""The install as a path of parts between points, each with the resistance that a good one has by the plan."""

from dataclasses import dataclass

from benchlog.plan.model import Plan, Run, slots_in_order
from benchlog.plan.wiring import (
    ALLOWANCE_SPREAD,
    CONTACT_MOHM,
    FUSE_IF_UNKNOWN_A,
    HOT_C,
    JOINT_MOHM,
    conductor,
    fuse_mohm,
    resistance_mohm,
)

#: Where the plan gives no wire: 1.5 m of 2.5 mm2, and the range is widened. Common practice, no source.
UNKNOWN_WIRE, UNKNOWN_M, UNKNOWN_SPREAD = "2.5 mm2", 1.5, 2.0
#: A coil whose current the plan does not give: a 40 A changeover relay's. Common practice, no source.
COIL_IF_UNKNOWN_A = 0.15
NOMINAL_V = 12.8
#: Parts of the feed's wire: battery to fuse, fuse to relay, relay to block. An estimate; the range takes it up.
FEED_SHARES = (0.2, 0.45, 0.35)


@dataclass(frozen=True, slots=True)
class PathPart:
    """One part between two points.

    Attributes:
        place: its name; one place is one part.
        start, end: its points, in the order of the current.
        low_ohm, high_ohm: what a good one has.
    """

    place: str
    start: str
    end: str
    low_ohm: float
    high_ohm: float


def parts_of(plan: Plan) -> list[PathPart]:
    """Every part of the install that carries current, in the order of the current."""
    ground = _wired("bus to battery -", ("bus", "battery -"), plan.ground, 1.0, 2)
    return [*_feed(plan), *_slots(plan), ground, *_trigger(plan)]


def points_of(plan: Plan) -> list[str]:
    """Every point that a probe can reach, in the order of the current."""
    parts = parts_of(plan)
    return list(dict.fromkeys(point for part in parts for point in (part.start, part.end) if point != "cell"))


def _feed(plan: Plan) -> list[PathPart]:
    feed = plan.feed
    first, second, third = FEED_SHARES
    fuse = fuse_mohm((feed.fuse_a if feed else None) or FUSE_IF_UNKNOWN_A) / 1000
    return [
        PathPart("battery", "cell", "battery +", 0.006, _source_ohm(plan)),
        _wired("battery + to fuse in", ("battery +", "fuse in"), feed, first, 1),
        _fuse("feed fuse", ("fuse in", "fuse out"), fuse),
        _wired("fuse out to 30", ("fuse out", "30"), feed, second, 1),
        PathPart("contact", "30", "87", 0.4 * CONTACT_MOHM / 1000, 2 * CONTACT_MOHM / 1000 + 2 * JOINT_MOHM / 1000),
        _wired("87 to block", ("87", "block"), feed, third, 1),
    ]


def _slots(plan: Plan) -> list[PathPart]:
    parts = []
    for circuit in slots_in_order(plan):
        number = circuit.slot
        plus, minus = f"device {number} +", f"device {number} -"
        spread = circuit.tolerance_pct / 100
        ohm = NOMINAL_V / circuit.planned_a
        parts += [
            _fuse(f"fuse {number}", ("block", f"slot {number}"), fuse_mohm(circuit.fuse_a or FUSE_IF_UNKNOWN_A) / 1000),
            _wired(f"slot {number} to device", (f"slot {number}", plus), circuit, 1.0, 2),
            PathPart(f"device {number}", plus, minus, ohm / (1 + spread), ohm / max(1 - spread, 0.1)),
            _wired(f"device {number} to bus", (minus, "bus"), circuit, 1.0, 2),
        ]
    return parts


def _trigger(plan: Plan) -> list[PathPart]:
    """The trigger's side. The bike's own wiring to the tap is not planned: 0.05 to 0.8 ohm (no source)."""
    coil = NOMINAL_V / ((plan.relay.coil_a if plan.relay else None) or COIL_IF_UNKNOWN_A)
    return [
        PathPart("trigger source", "battery +", "key line", 0.05, 0.8),
        PathPart("key line to 86", "key line", "86", 0.005, 0.15),
        PathPart("coil", "86", "85", 0.7 * coil, 1.3 * coil),
        PathPart("85 to battery -", "85", "battery -", 0.005, 0.15),
    ]


def _wired(place: str, ends: tuple[str, str], run: Run | None, share: float, joints: int) -> PathPart:
    wire = run.wire if run else None
    length = run.run_m if run else None
    known = wire is not None and length is not None
    size, metres = wire or conductor(UNKNOWN_WIRE), (length or UNKNOWN_M) * share
    joint = joints * JOINT_MOHM
    low = 0.5 * (resistance_mohm(size, metres) + joint)
    high = 1.4 * resistance_mohm(size, metres, HOT_C) + 2 * ALLOWANCE_SPREAD * joint
    spread = 1.0 if known else UNKNOWN_SPREAD
    return PathPart(place, *ends, low / spread / 1000, high * spread / 1000)


def _fuse(place: str, ends: tuple[str, str], ohm: float) -> PathPart:
    return PathPart(place, *ends, 0.5 * ohm, ALLOWANCE_SPREAD * ohm + 2 * ALLOWANCE_SPREAD * 2 * JOINT_MOHM / 1000)


def _source_ohm(plan: Plan) -> float:
    limit = plan.limits.source_resistance_max_mohm
    return (limit if limit is not None else 40.0) / 1000
