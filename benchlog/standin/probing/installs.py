"""The simulated install with a fault at its place, and with things taken out of it."""

from collections.abc import Callable, Iterable
from dataclasses import replace

from benchlog.standin.install import SimulatedInstall
from benchlog.standin.probing.places import PlacedFault

#: A poor joint in one circuit has this share of its device's resistance.
CIRCUIT_JOINT_SHARE = 0.7


def install_at(good: SimulatedInstall, made: Callable[[str], SimulatedInstall], fault: PlacedFault) -> SimulatedInstall:
    """The install with the fault at its place.

    Args:
        good: without it.
        made: gives the install with the fault that a cause id names, somewhere.
        fault: which, and where.
    """
    faulty = good if fault.cause is None else made(fault.cause)
    if fault.cause is None:
        return _circuit(good, fault.slot, 1 / (1 + CIRCUIT_JOINT_SHARE))
    if fault.cause == "slot_dead":
        return _circuit(good, fault.slot, 0.0)
    if fault.cause == "slot_overload":
        return _circuit(good, fault.slot, 1.5)
    if fault.cause == "backfed_coil":
        return replace(faulty, backfed_slot=fault.slot)
    if fault.kind in ("leak", "wakes", "slow") and fault.place not in ("coil", "trigger source"):
        # fed around the block: no fuse of the block takes it away
        return replace(faulty, extra_drain_slot=None, wakeups_slot=None, awake_slot=None)
    if (fault.place, fault.kind) == ("85 to battery -", "resistive"):
        lost_v = faulty.trigger_drop_v - good.trigger_drop_v
        return replace(faulty, trigger_drop_v=good.trigger_drop_v, coil_ground_v=lost_v)
    return faulty


def without(install: SimulatedInstall, fault: PlacedFault | None, out: Iterable[str]) -> SimulatedInstall:
    """The install while things are out or unplugged: ``device N``, ``relay``, ``feed``, ``bike fuse``, ``charging``."""
    now = install
    gone = set(out)
    for circuit in install.circuits:
        if f"device {circuit.slot}" in gone:
            now = _circuit(now, circuit.slot, 0.0)
    if fault is not None and fault.place in {thing.replace("bike fuse", "bike") for thing in gone}:
        now = replace(now, extra_drain_a=0.0, wakeups=None, backfed=False)
        now = replace(now, awake=now.awake[:1]) if fault.kind == "slow" else now
    if "relay" in gone:
        now = replace(now, contact="open", coil_open=True, backfed=False)
    if "feed" in gone:
        now = replace(now, contact="open", backfed=False)
    if "charging" in gone:
        now = replace(now, alternator_a=0.0)
    if "charger" in gone:
        now = replace(now, charger_a=0.0, charger_holds_v=0.0)
    if "bike fuse" in gone:
        now = replace(now, bike_a=0.0, drain_a=0.0, awake=(), trigger_dead=True, starts=False)
    return now


def _circuit(install: SimulatedInstall, slot: int | None, share: float) -> SimulatedInstall:
    """One circuit's true current times ``share``."""
    return replace(
        install,
        circuits=tuple(
            replace(one, actual_a=one.actual_a * share) if one.slot == slot else one for one in install.circuits
        ),
    )
