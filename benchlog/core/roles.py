"""The roles that a channel can have, and the units in which its values may come."""

import re

SLOTS = 12

#: Role -> canonical unit. All voltages are against battery negative;
#: ``battery_a`` and ``drain_a`` are positive out of the battery.
ROLE_UNITS: dict[str, str] = {
    "time_s": "s",
    "battery_v": "V",
    "battery_a": "A",
    "drain_a": "A",
    "key_v": "V",
    "trigger_v": "V",
    "feed_v": "V",
    "ground_v": "V",
    "feed_a": "A",
    **{f"slot{n}_a": "A" for n in range(1, SLOTS + 1)},
    **{f"slot{n}_v": "V" for n in range(1, SLOTS + 1)},
    "battery_c": "degC",
    "mark": "text",
}

#: What the battery's shunts measure. A bridge laid across the shunt for cranking carries past both; ``feed_a`` and the
#: slots' currents have shunts of their own behind it, which no starter's current passes.
SHUNT_ROLES = ("battery_a", "drain_a")

#: Unit as written -> (canonical unit, factor to it).
UNITS: dict[str, tuple[str, float]] = {
    "uV": ("V", 1e-6),
    "mV": ("V", 1e-3),
    "V": ("V", 1.0),
    "uA": ("A", 1e-6),
    "mA": ("A", 1e-3),
    "A": ("A", 1.0),
    "degC": ("degC", 1.0),
    "s": ("s", 1.0),
    "ms": ("s", 1e-3),
    "us": ("s", 1e-6),
}

_SLOT = re.compile(r"slot([0-9]{1,4})_[av]")


def slot_of(role: str) -> int | None:
    """The slot number in a role such as ``slot3_a``; None for any other role."""
    found = _SLOT.fullmatch(role)
    return int(found.group(1)) if found else None


#: Ticks of a time column in one second, by its unit; a written date is read to the microsecond.
TICKS_A_SECOND = {"s": 1, "ms": 1000, "us": 1_000_000, "epoch_s": 1, "epoch_ms": 1000, "iso8601": 1_000_000}
