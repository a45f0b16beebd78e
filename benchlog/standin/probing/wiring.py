"""The install's direct-current circuit between the points that a probe can reach, and its voltages."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from benchlog.standin.install import SimulatedInstall
from benchlog.standin.probing.installs import CIRCUIT_JOINT_SHARE
from benchlog.standin.probing.places import PlacedFault

BROKEN_OHM, SHORT_OHM, METER_OHM, LEADS_OHM = 1e12, 0.05, 10e6, 0.3
#: Through a meter's ohms range, A.
OHMS_A = 1e-4
#: How the feed's resistance is shared out among its parts in good order; a whole is 1.
FEED_SHARES = {
    "battery + to fuse in": 0.14,
    "feed fuse": 0.25,
    "fuse out to 30": 0.23,
    "contact": 0.22,
    "87 to block": 0.16,
}
#: Lamps on the trigger's line, and the wires from the key line to the coil and from the coil to ground, ohm.
LAMP_OHM, TO_COIL_OHM, FROM_COIL_OHM = 40.0, 0.06, 0.03
#: A fuse drops about this much at its rating (common practice, no source), V.
FUSE_V = 0.07
_NOMINAL_V = 12.6

Branch = tuple[str, str, float]


@dataclass(frozen=True, slots=True)
class AsItStands:
    """The bike as it stands.

    Attributes:
        install: with what is out taken out. good: the same without its fault.
        fault: the fault, and where it sits.
        battery_v: at the posts, V.
        trigger, contact: whether the trigger's line is fed, and the relay's contact closed.
        clicks: whether the armature is heard as the key is turned on.
        on: slots whose device is switched on.
        out: what is out or unplugged; fuses of the block as ``slot N``.
    """

    install: SimulatedInstall
    good: SimulatedInstall
    fault: PlacedFault | None
    battery_v: float
    trigger: bool
    contact: bool
    clicks: bool
    on: frozenset[int]
    out: frozenset[str]


def points_of(install: SimulatedInstall) -> list[str]:
    """Every point that a probe can reach, in the order of the current."""
    slots = [circuit.slot for circuit in install.circuits]
    listed = ["battery +", "fuse in", "fuse out", "30", "87", "block"]
    for slot in slots:
        listed += [f"slot {slot}", f"device {slot} +", f"device {slot} -"]
    return [*listed, "bus", "battery -", "key line", "86", "85"]


def volts(now: AsItStands, start: str, end: str) -> float:
    """What a meter of 10 MΩ shows from ``start`` relative to ``end``, V."""
    found = _solve([*branches(now), (start, end, METER_OHM)], {"battery +": now.battery_v, "battery -": 0.0})
    return found[start] - found[end]


def amps(now: AsItStands, place: str) -> float:
    """Through a part of the path, in the direction of the current, A."""
    start, end, ohm = next(branch for name, branch in _named(now) if name == place)
    found = _solve(branches(now), {"battery +": now.battery_v, "battery -": 0.0})
    return (found[start] - found[end]) / ohm


def ohms(now: AsItStands, start: str, end: str) -> float:
    """What a meter shows with the power off, its leads included, Ω."""
    alone = _in_the_hand(now, start, end)
    if alone is not None:
        return alone + LEADS_OHM
    found = _solve([*branches(now), (start, end, METER_OHM)], {"battery -": 0.0}, {start: OHMS_A, end: -OHMS_A})
    return (found[start] - found[end]) / OHMS_A + LEADS_OHM


def branches(now: AsItStands) -> list[Branch]:
    """Every resistance of the circuit, (point, point, Ω)."""
    found = [branch for _, branch in _named(now)]
    fault = now.fault
    if fault is not None and fault.kind == "short":
        start, end = {
            "fuse out to 30": ("fuse out", "battery -"),
            "87 to block": ("block", "battery -"),
            f"slot {fault.slot} to device": (f"slot {fault.slot}", "battery -"),
            f"device {fault.slot}": (f"device {fault.slot} +", f"device {fault.slot} -"),
        }[fault.place]
        if fault.place not in now.out:  # a shorted device takes its short along
            found.append((start, end, SHORT_OHM))
    return found


def _named(now: AsItStands) -> list[tuple[str, Branch]]:
    """Every part with its place."""
    parts = [*_feed(now), *_circuits(now), *_trigger(now)]
    return [(name, (start, end, _spoilt(now, name, ohm))) for name, (start, end, ohm) in parts]


def _feed(now: AsItStands) -> list[tuple[str, Branch]]:
    points = ["battery +", "fuse in", "fuse out", "30", "87", "block"]
    found = []
    for (name, share), start, end in zip(FEED_SHARES.items(), points, points[1:], strict=False):
        ohm = now.good.feed_mohm / 1e3 * share
        if (name == "contact" and not now.contact) or (name == "feed fuse" and "feed" in now.out):
            ohm = BROKEN_OHM
        found.append((name, (start, end, ohm)))
    ground = BROKEN_OHM if now.install.ground_open else now.install.ground_mohm / 1e3
    return [*found, ("bus to battery -", ("bus", "battery -", ground))]


def _circuits(now: AsItStands) -> list[tuple[str, Branch]]:
    found = []
    for circuit in now.install.circuits:
        slot = circuit.slot
        plus, minus = f"device {slot} +", f"device {slot} -"
        live = slot in now.on and f"device {slot}" not in now.out
        fuse = BROKEN_OHM if f"slot {slot}" in now.out else FUSE_V / circuit.fuse_a
        wire = circuit.wire_mohm / 1e3
        found += [
            (f"fuse {slot}", ("block", f"slot {slot}", fuse)),
            (f"slot {slot} to device", (f"slot {slot}", plus, wire)),
            (f"device {slot}", (plus, minus, device_ohm(now, slot) if live else BROKEN_OHM)),
            (f"device {slot} to bus", (minus, "bus", wire)),
        ]
    return found


def device_ohm(now: AsItStands, slot: int) -> float:
    """A device as a resistance, Ω, with its fault but without its wires."""
    good = next(circuit for circuit in now.good.circuits if circuit.slot == slot)
    fault, ohm = now.fault, _NOMINAL_V / good.actual_a
    if fault is not None and fault.place == f"device {slot}":
        ohm = {"overload": ohm / 1.5, "open": BROKEN_OHM, "short": SHORT_OHM}.get(fault.kind, ohm)
    return ohm


def _trigger(now: AsItStands) -> list[tuple[str, Branch]]:
    good = now.good
    up_a = good.coil_a + (good.emf_v - good.trigger_drop_v) / LAMP_OHM
    source = max(good.trigger_drop_v - TO_COIL_OHM * good.coil_a, 0.01) / up_a
    coil = BROKEN_OHM if "relay" in now.out else good.coil_ohm
    found = [
        ("trigger source", ("battery +", "key line", source if now.trigger else BROKEN_OHM)),
        ("key line to 86", ("key line", "86", TO_COIL_OHM)),
        ("coil", ("86", "85", coil)),
        ("85 to battery -", ("85", "battery -", FROM_COIL_OHM)),
        ("lamps", ("key line", "battery -", LAMP_OHM)),
    ]
    if now.install.backfed and now.contact:
        found.append(("back from the load side", ("block", "86", 0.08 * (coil + LAMP_OHM))))
    return found


def _spoilt(now: AsItStands, name: str, ohm: float) -> float:
    """A part's resistance with the fault in it."""
    fault = now.fault
    if fault is None:
        return ohm
    at = "contact" if fault.place == "relay socket" else fault.place
    if fault.kind == "open" and name == at and fault.place not in ("charging", "coil"):
        return BROKEN_OHM
    if (fault.place, fault.kind, name) == ("coil", "open", "coil"):
        return BROKEN_OHM
    if fault.kind == "short" and name == (f"fuse {fault.slot}" if fault.slot else "feed fuse"):
        return BROKEN_OHM
    if fault.kind == "resistive" and name == at and ohm < BROKEN_OHM:
        return ohm + _joint_ohm(now, fault)
    return ohm


def _joint_ohm(now: AsItStands, fault: PlacedFault) -> float:
    """What a poor joint adds, Ω: as much as takes the voltages where the log has them."""
    install, good = now.install, now.good
    if fault.slot is not None:
        return CIRCUIT_JOINT_SHARE * device_ohm(now, fault.slot)
    if fault.place == "bus to battery -":
        return 0.0  # the ground's resistance has it already
    if fault.cause == "feed_resistance":
        return (install.feed_mohm - good.feed_mohm) / 1e3
    left_v = good.emf_v - install.trigger_drop_v - install.coil_ground_v
    ohm = good.coil_ohm
    if fault.place == "trigger source":
        ohm = 1 / (1 / good.coil_ohm + 1 / LAMP_OHM)
    return ohm * (good.coil_supply_v - left_v) / left_v


def _in_the_hand(now: AsItStands, start: str, end: str) -> float | None:
    """What is out is measured by itself, Ω: the relay's coil, a device at its own plug; else None."""
    pair = {start, end}
    fault = now.fault
    if pair == {"86", "85"} and "relay" in now.out:
        broken = fault is not None and (fault.place, fault.kind) == ("coil", "open")
        return BROKEN_OHM if broken else now.good.coil_ohm
    for circuit in now.good.circuits:
        plug = f"device {circuit.slot}"
        if pair == {f"{plug} +", f"{plug} -"} and plug in now.out:
            return device_ohm(now, circuit.slot)
    return None


def _solve(parts: Iterable[Branch], held: dict[str, float], driven: dict[str, float] | None = None) -> dict[str, float]:
    """Point -> its voltage, V: currents into each free point sum to zero.

    Args:
        parts: resistances.
        held: points whose voltage is given, V.
        driven: what is fed into points, A.
    """
    listed = list(parts)
    free = [point for point in dict.fromkeys(p for start, end, _ in listed for p in (start, end)) if point not in held]
    row = {point: number for number, point in enumerate(free)}
    matrix = np.diag(np.full(len(free), 1e-12))  # insulation, so that a point that hangs on nothing is at zero
    right = np.array([(driven or {}).get(point, 0.0) for point in free])
    for start, end, ohm in listed:
        for here, there in ((start, end), (end, start)):
            if here in row:
                matrix[row[here], row[here]] += 1 / ohm
                if there in row:
                    matrix[row[here], row[there]] -= 1 / ohm
                else:
                    right[row[here]] += held[there] / ohm
    return {**dict(zip(free, map(float, np.linalg.solve(matrix, right)), strict=True)), **held}
