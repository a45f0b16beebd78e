"""What an examination found, as points and spans for drawing."""

from benchlog.examine.context import LogContext
from benchlog.examine.load_checks import Loads
from benchlog.examine.off_state import OffState
from benchlog.examine.path_checks import FeedLoad
from benchlog.verdict.evidence import LoadPoint, Settling

#: More points of one kind would hide one another.
MOST_POINTS = 200


def battery_points(loads: Loads) -> tuple[tuple[LoadPoint, ...], ...]:
    """Battery current and voltage of the steady stretches with the engine off, one group a key-on."""
    groups = [
        tuple(
            LoadPoint(p.readings["battery_a"].value, p.readings["battery_v"].value)
            for p in plateaus[:MOST_POINTS]
            if {"battery_a", "battery_v"} <= set(p.readings)
        )
        for plateaus in loads.engine_off
    ]
    return tuple(group for group in groups if len(group) > 1)


def feed_points(load: FeedLoad | None) -> tuple[LoadPoint, ...]:
    """Load through the feed and the voltage lost from battery + to the fuse block."""
    return tuple(
        LoadPoint(p.load_a, p.plateau.readings["battery_v"].value - p.plateau.readings["feed_v"].value)
        for p in (load.points if load else ())[:MOST_POINTS]
        if {"battery_v", "feed_v"} <= set(p.plateau.readings)
    )


def ground_points(bench: LogContext, load: FeedLoad | None) -> tuple[LoadPoint, ...]:
    """Load through the feed and the ground bus's lift, a low-side shunt's own drop taken off."""
    found = []
    for point in (load.points if load else ())[:MOST_POINTS]:
        readings = point.plateau.readings
        if "ground_v" in readings and bench.lift_known(point.plateau.from_s, point.plateau.to_s):
            shunts = sum(ohm * readings[role].value for role, ohm in bench.low_side_ohm.items() if role in readings)
            found.append(LoadPoint(point.load_a, readings["ground_v"].value - shunts))
    return tuple(found)


def settlings(off: OffState) -> tuple[Settling, ...]:
    """The key-off spans whose current is logged."""
    return tuple(
        Settling(span.from_s, span.to_s, span.settled.from_s if span.settled else None, span.role or "battery_a")
        for span in off.spans
        if span.role is None or span.role.endswith("_a")
    )
