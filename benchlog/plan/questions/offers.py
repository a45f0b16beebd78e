"""What is suggested for each question, from the answers so far, with where it comes from."""

from collections.abc import Callable

from benchlog.core.roles import SLOTS
from benchlog.plan.model import amperes
from benchlog.plan.questions.kinds import plain_number
from benchlog.plan.questions.question import Offer, Tables
from benchlog.plan.suggested import fuse_for, suggested_limits, wire_for

_COMMON = "common practice, no source"
_USUAL_FEED_A = 20.0
_USUAL_SLOT_A = 5.0


def always(text: str, source: str) -> Callable[[Tables, Tables], Offer]:
    """The same, whatever was answered."""
    found = Offer(text, source)
    return lambda _tables, _own: found


def next_slot(tables: Tables, _own: Tables) -> Offer | None:
    """The first slot of the fuse block that no circuit has."""
    taken = {each.get("slot") for each in tables.get("circuit", ())}
    free = next((slot for slot in range(1, SLOTS + 1) if slot not in taken), None)
    return None if free is None else Offer(str(free), "the first one that is free")


def slot_fuse_offer(_tables: Tables, own: Tables) -> Offer | None:
    """The fuse for a circuit's load."""
    load_a = load_of(own)
    return None if load_a is None else _fuse(load_a, f"{load_a:.3g} A are")


def slot_wire_offer(_tables: Tables, own: Tables) -> Offer:
    """The wire for a circuit's fuse."""
    return _wire(own.get("fuse_a") or _USUAL_SLOT_A)


def feed_fuse_offer(tables: Tables, _own: Tables) -> Offer:
    """The fuse for all circuits together."""
    loads = [load for each in tables.get("circuit", ()) if (load := load_of(each)) is not None]
    if not loads:
        return Offer(plain_number(_USUAL_FEED_A), "no load is planned yet")
    return _fuse(sum(loads), f"the planned load of {sum(loads):.3g} A is")


def feed_wire_offer(_tables: Tables, own: Tables) -> Offer:
    """The wire for the feed fuse."""
    return _wire(own.get("fuse_a") or _USUAL_FEED_A)


def ground_wire_offer(tables: Tables, _own: Tables) -> Offer | None:
    """The feed's wire, which carries the same current."""
    wire = tables.get("feed", {}).get("conductor")
    return None if wire is None else Offer(wire, "as thick as the feed, which carries the same current")


def limit_offer(key: str) -> Callable[[Tables, Tables], Offer | None]:
    """A limit for this battery's kind and size."""

    def offer(tables: Tables, _own: Tables) -> Offer | None:
        battery = tables.get("battery", {})
        if "chemistry" not in battery or "capacity_ah" not in battery:
            return None
        found = suggested_limits(battery["chemistry"], battery["capacity_ah"])
        return next(Offer(plain_number(each.value), each.source) for each in found if each.key == key)

    return offer


def load_of(circuit: Tables) -> float | None:
    """A circuit's planned current, A, however it was given."""
    planned_a, planned_w = circuit.get("planned_a"), circuit.get("planned_w")
    found = amperes(planned_w) if planned_w is not None else planned_a
    return None if found is None else float(found)


def _fuse(load_a: float, load: str) -> Offer:
    fuse_a = plain_number(fuse_for(load_a))
    return Offer(fuse_a, f"the smallest blade fuse of which {load} at most 80 % ({_COMMON})")


def _wire(fuse_a: float) -> Offer:
    return Offer(wire_for(fuse_a), f"the thinnest from 1 mm² that a fuse of {fuse_a:.3g} A protects ({_COMMON})")
