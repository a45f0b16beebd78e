"""Which kinds of fault a place can have: the one table of places and kinds, and what no test at hand can part."""

from dataclasses import dataclass

from benchlog.plan.model import Plan, slots_in_order
from benchlog.verdict.result import Result

#: Place, with N for each slot -> kind -> how common it is beside the others (common practice, no source).
TABLE: dict[str, dict[str, float]] = {
    "battery + to fuse in": {"open": 1, "resistive": 2, "intermittent": 1},
    "feed fuse": {"open": 2, "resistive": 2},
    "fuse out to 30": {"open": 1, "resistive": 1, "intermittent": 1, "short": 1},
    "contact": {"open": 1, "resistive": 2, "stuck": 1},
    "87 to block": {"open": 1, "resistive": 1, "intermittent": 1, "short": 1},
    "fuse N": {"open": 2, "resistive": 1},
    "slot N to device": {"open": 1, "resistive": 1, "short": 1},
    "device N": {
        **{"open": 1, "overload": 1, "short": 1, "leak": 1},
        **{"wakes": 1, "backfeeds": 1, "slow": 1},
    },
    "device N to bus": {"open": 1, "resistive": 1},
    "bus to battery -": {"open": 1, "resistive": 2, "intermittent": 1},
    "battery": {"weak": 2},
    "charging": {"open": 1, "weak": 1, "overvoltage": 1, "leak": 1, "backfeeds": 1},
    "key line to 86": {"open": 1, "resistive": 1},
    "trigger source": {"open": 1, "resistive": 1, "stuck": 1, "slow": 1, "wrong circuit": 1},
    "coil": {"open": 1, "slow": 1},
    "85 to battery -": {"open": 1, "resistive": 1},
    "relay socket": {"open": 0.5, "resistive": 0.5, "wrong terminal": 1},
    "bike": {"leak": 1, "wakes": 1, "slow": 1},
    "measurement": {"wrong terminal": 1},
}
#: (place, kind) that every test at hand shows alike, with the place that it is found together with: 30 and 87 are
#: probed at the socket's back, so its blades lie between the same two points as the contact.
TOGETHER: dict[tuple[str, str], str] = {
    ("relay socket", "open"): "contact",
    ("relay socket", "resistive"): "contact",
}
_FEED = ("battery + to fuse in", "feed fuse", "fuse out to 30", "contact", "87 to block", "relay socket")
#: The fault that a log names -> the places and kinds that it may be.
OF_CAUSE: dict[str, tuple[tuple[str, str], ...]] = {
    "trigger_always_live": (("trigger source", "stuck"),),
    "backfed_coil": (("device N", "backfeeds"),),
    "welded_contact": (("contact", "stuck"),),
    "inverted_contact": (("relay socket", "wrong terminal"),),
    "coil_open": (("coil", "open"), ("85 to battery -", "open")),
    "feed_open": (*((place, "open") for place in _FEED), ("fuse out to 30", "short"), ("87 to block", "short")),
    "feed_resistance": tuple((place, "resistive") for place in _FEED),
    "ground_resistance": (("bus to battery -", "resistive"),),
    "ground_open": (("bus to battery -", "open"),),
    "slot_dead": (
        *(("fuse N", "open"), ("slot N to device", "open"), ("slot N to device", "short"), ("device N", "open")),
        *(("device N", "short"), ("device N to bus", "open")),
    ),
    "slot_overload": (("device N", "overload"),),
    "unswitched_device": (("device N", "leak"), ("bike", "leak"), ("charging", "leak")),
    "waking_device": (("device N", "wakes"), ("bike", "wakes")),
    "slow_to_sleep": (("device N", "slow"), ("bike", "slow")),
    "slow_trigger_decay": (("trigger source", "slow"),),
    "weak_coil_supply": (
        *(("trigger source", "resistive"), ("key line to 86", "resistive"), ("85 to battery -", "resistive")),
    ),
    "weak_battery": (("battery", "weak"),),
    "no_charge": (("charging", "open"),),
    "overcharge": (("charging", "overvoltage"),),
    "load_exceeds_charging": (("charging", "weak"),),
    "trigger_dead": (("trigger source", "open"), ("key line to 86", "open")),
    # a log has no voltage of 85: a poor ground of the coil looks like a relay of its own mind
    "slow_relay": (("coil", "slow"), ("85 to battery -", "resistive")),
    "pulsed_trigger": (("trigger source", "wrong circuit"),),
    "intermittent_feed": (
        *(("battery + to fuse in", "intermittent"), ("fuse out to 30", "intermittent")),
        *(("87 to block", "intermittent"), ("bus to battery -", "intermittent"), ("85 to battery -", "resistive")),
    ),
    "charging_while_off": (("charging", "backfeeds"),),
    "clips_swapped": (("measurement", "wrong terminal"),),
}
SOMETHING_ELSE = "something else"
#: What a fault that no cause in the log explains keeps of its weight.
UNNAMED = 0.004
_ELSE_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Flaw:
    """One kind of fault at one place.

    Attributes:
        place, kind: which.
        common: its weight beside the others before anything is known.
        group: the place that it is found under.
    """

    place: str
    kind: str
    common: float
    group: str


def flaws_of(plan: Plan) -> list[Flaw]:
    """Every fault that this install can have."""
    slots = [circuit.slot for circuit in slots_in_order(plan)]
    found = []
    for place, kinds in TABLE.items():
        for name in _named(place, slots):
            found += [Flaw(name, kind, common, TOGETHER.get((place, kind), name)) for kind, common in kinds.items()]
    return found


def prior(flaws: list[Flaw], result: Result | None) -> list[float]:
    """How likely each fault is from what the log's causes say, and last "something else"; they sum to one."""
    weights = [flaw.common * UNNAMED for flaw in flaws]
    for cause in result.causes if result else ():
        of_slots = {check.split("_")[1] for check in cause.explains if check.startswith("slot_")}
        wanted = OF_CAUSE.get(cause.id, ())
        for index, flaw in enumerate(flaws):
            pattern, slot = _pattern(flaw.place)
            if (pattern, flaw.kind) in wanted and (slot is None or not of_slots or slot in of_slots):
                weights[index] += flaw.common * max(cause.fit, 0.05)
    total = sum(weights)
    return [(1 - _ELSE_SHARE) * weight / total for weight in weights] + [_ELSE_SHARE]


def _named(place: str, slots: list[int]) -> list[str]:
    words = place.split()
    if "N" not in words:
        return [place]
    return [" ".join(str(slot) if word == "N" else word for word in words) for slot in slots]


def _pattern(place: str) -> tuple[str, str | None]:
    """The table's name of a place, and its slot."""
    words = place.split()
    if words[0] in ("fuse", "slot", "device") and words[1].isdigit():
        return " ".join([words[0], "N", *words[2:]]), words[1]
    return place, None
