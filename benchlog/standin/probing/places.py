"""Where a fault can sit: each place with its kinds of fault, and the cause that a log of it names."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchlog.core.errors import BenchlogError

#: Place, with N for a slot -> kind -> cause id; None where the log shows nothing but less current.
KINDS: dict[str, dict[str, str | None]] = {
    "battery + to fuse in": {"open": "feed_open", "resistive": "feed_resistance", "intermittent": "intermittent_feed"},
    "feed fuse": {"open": "feed_open", "resistive": "feed_resistance"},
    "fuse out to 30": {
        **{"open": "feed_open", "resistive": "feed_resistance"},
        **{"intermittent": "intermittent_feed", "short": "feed_open"},
    },
    "contact": {"open": "feed_open", "resistive": "feed_resistance", "stuck": "welded_contact"},
    "relay socket": {"open": "feed_open", "resistive": "feed_resistance", "wrong terminal": "inverted_contact"},
    "87 to block": {
        **{"open": "feed_open", "resistive": "feed_resistance"},
        **{"intermittent": "intermittent_feed", "short": "feed_open"},
    },
    "fuse N": {"open": "slot_dead", "resistive": None},
    "slot N to device": {"open": "slot_dead", "resistive": None, "short": "slot_dead"},
    "device N": {
        **{"open": "slot_dead", "overload": "slot_overload", "short": "slot_dead", "leak": "unswitched_device"},
        **{"wakes": "waking_device", "backfeeds": "backfed_coil", "slow": "slow_to_sleep"},
    },
    "device N to bus": {"open": "slot_dead", "resistive": None},
    "bus to battery -": {
        **{"open": "ground_open", "resistive": "ground_resistance", "intermittent": "intermittent_feed"},
    },
    "battery": {"weak": "weak_battery"},
    "charging": {
        **{"open": "no_charge", "weak": "load_exceeds_charging", "overvoltage": "overcharge"},
        **{"leak": "unswitched_device", "backfeeds": "charging_while_off"},
    },
    "key line to 86": {"open": "trigger_dead", "resistive": "weak_coil_supply"},
    "trigger source": {
        **{"open": "trigger_dead", "resistive": "weak_coil_supply", "stuck": "trigger_always_live"},
        **{"slow": "slow_trigger_decay", "wrong circuit": "pulsed_trigger"},
    },
    "coil": {"open": "coil_open", "slow": "slow_relay"},
    "85 to battery -": {"open": "coil_open", "resistive": "weak_coil_supply"},
    "bike": {"leak": "unswitched_device", "wakes": "waking_device", "slow": "slow_to_sleep"},
    "measurement": {"wrong terminal": "clips_swapped"},
}
#: Where a fault sits that was named without a place; L is the last slot, S the second.
USUAL: dict[str, tuple[str, str]] = {
    "feed_open": ("contact", "open"),
    "feed_resistance": ("fuse out to 30", "resistive"),
    "intermittent_feed": ("fuse out to 30", "intermittent"),
    "slot_dead": ("device S", "open"),
    "slot_overload": ("device T", "overload"),
    "unswitched_device": ("device L", "leak"),
    "waking_device": ("device L", "wakes"),
    "backfed_coil": ("device L", "backfeeds"),
    "slow_to_sleep": ("device L", "slow"),
    "coil_open": ("coil", "open"),
    "trigger_dead": ("trigger source", "open"),
    "weak_coil_supply": ("trigger source", "resistive"),
}
EVERY_KIND = tuple(dict.fromkeys(kind for kinds in KINDS.values() for kind in kinds))


@dataclass(frozen=True, slots=True)
class PlacedFault:
    """One kind of fault at one place; ``cause`` is what a log of it names, None where it names nothing."""

    place: str
    kind: str
    cause: str | None

    @property
    def slot(self) -> int | None:
        """Of a place in one circuit."""
        return slot_at(self.place)


def slot_at(place: str) -> int | None:
    """The slot of a place in one circuit."""
    words = place.split()
    if words[0] in ("fuse", "slot", "device") and len(words) > 1 and words[1].isdecimal():
        return int(words[1])
    return None


def placed(name: str, place: str, slots: Sequence[int]) -> PlacedFault:
    """The fault that is meant.

    Args:
        name: a cause id of the result, or a kind of fault.
        place: one of ``places``.
        slots: of the install's circuits.

    Raises:
        BenchlogError: there is no such place, or that fault cannot sit there.
    """
    wanted = " ".join(place.split())
    kinds = dict(places(slots)).get(wanted)
    if kinds is None:
        listed = ", ".join(known for known, _ in places(slots))
        raise BenchlogError(f'--place "{place}" is no place of this install; its places are: {listed}')
    for kind, cause in kinds.items():
        if name in (kind, cause):
            return PlacedFault(wanted, kind, cause)
    here = ", ".join(dict.fromkeys([*kinds, *(cause for cause in kinds.values() if cause)]))
    raise BenchlogError(f'--fault {name} cannot sit at --place "{wanted}"; there can be: {here}')


def usual(cause: str, slots: Sequence[int]) -> PlacedFault | None:
    """Where a fault that was named without a place sits; None where the install has no such place."""
    if cause in USUAL:
        place, kind = USUAL[cause]
        if place[-2:] in (" S", " T", " L"):
            if not slots:
                return None
            at = {"S": 1, "T": 2, "L": len(slots) - 1}[place[-1]]
            place = f"{place[:-1]}{slots[min(at, len(slots) - 1)]}"
        return PlacedFault(place, kind, cause)
    found = ((place, kind) for place, kinds in KINDS.items() for kind, named in kinds.items() if named == cause)
    return next((PlacedFault(place, kind, cause) for place, kind in found), None)


def places(slots: Sequence[int]) -> Iterator[tuple[str, dict[str, str | None]]]:
    """Every place of an install with its kinds of fault."""
    for place, kinds in KINDS.items():
        if "N" not in place.split():
            yield place, kinds
        else:
            for slot in slots:
                yield " ".join(str(slot) if word == "N" else word for word in place.split()), kinds
