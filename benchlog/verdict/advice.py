"""What in a plan deserves a second look before anything is wired: fuses, wires, relay, limits."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from benchlog.plan.batteries import CHEMISTRY, state_of_charge
from benchlog.plan.doubts import doubts
from benchlog.plan.limits import FUSE_SHARE, slot_limit
from benchlog.plan.model import Circuit, Plan, Run, slots_in_order
from benchlog.plan.paths import feed_path, ground_path
from benchlog.plan.planned_fuses import protection
from benchlog.plan.wiring import resistance_mohm
from benchlog.verdict.registry.table import limits_of, not_planned

#: The system's voltage, V, and the share of it that a circuit may lose: critical / any other (ABYC E-11, as quoted).
SYSTEM_V, CRITICAL_DROP, ANY_DROP = 12.0, 0.03, 0.10
#: A, above which a coil is unusual (data sheets list 0.04 to 0.15); ms in which a relay opens with a diode across its
#: coil (8 to 10 measured), and closes (10 guaranteed by data sheets): common practice, no source.
LARGE_COIL_A, DIODE_DROP_OUT_MS, PULL_IN_MS = 0.25, 12.0, 10.0
#: V below which a starter barely turns and control units may reset (common practice, no source).
LOW_CRANK_V = 8.0


@dataclass(frozen=True, slots=True)
class Advice:
    """One remark on a plan.

    Attributes:
        severity: ``fire`` where a wire could burn, ``warning``, or ``note``.
        about: the key it is about, as in ``circuit[2].fuse_a``.
        text: what, why, and what to do.
    """

    severity: Literal["fire", "warning", "note"]
    about: str
    text: str


_ORDER = ("fire", "warning", "note")


def _warning(about: str, text: str) -> Advice:
    return Advice("warning", about, text)


def _note(about: str, text: str) -> Advice:
    return Advice("note", about, text)


def advice(plan: Plan) -> list[Advice]:
    """All remarks on a plan, the gravest first."""
    doubted = [_warning(*doubt) for doubt in doubts(plan)]
    known = [*_fuses(plan), *_loads(plan), *_relay(plan), *_drops(plan), *_battery(plan)]
    remarks = [*known, *doubted, *_suggested(plan), *_gaps(plan)]
    return sorted(remarks, key=lambda remark: _ORDER.index(remark.severity))


def fire_risks(plan: Plan) -> tuple[str, ...]:
    """Each wire that can burn before its fuse blows, as a sentence."""
    return tuple(f"{remark.text[:1].upper()}{remark.text[1:]}." for remark in advice(plan) if remark.severity == "fire")


def _named(circuit: Circuit) -> str:
    return f"slot {circuit.slot} ({circuit.device})"


def _wire_bears(run: Run, fuse_a: float, about: str, name: str) -> Iterator[Advice]:
    """The fuse protects the wire, not the device: it must blow before the wire burns."""
    found = protection(run, fuse_a)
    if found is not None and found.danger:
        yield Advice("fire" if found.verdict == "fail" else "warning", about, f"{name}: {found.danger}")


def _fuses(plan: Plan) -> Iterator[Advice]:
    feed_a = plan.feed.fuse_a if plan.feed else None
    if plan.feed is None or feed_a is None:
        yield _warning(
            "feed.fuse_a",
            "no feed fuse is planned: without one near the battery, a chafed feed burns; add [feed] fuse_a",
        )
    else:
        yield from _wire_bears(plan.feed, feed_a, "feed.fuse_a", "feed")
        if plan.ground is not None:
            yield from _wire_bears(plan.ground, feed_a, "ground.conductor", "ground")
    for number, circuit in enumerate(plan.circuit, start=1):
        about = f"circuit[{number}].fuse_a"
        if circuit.fuse_a is not None:
            yield from _wire_bears(circuit, circuit.fuse_a, about, _named(circuit))
            if feed_a is not None and circuit.fuse_a > feed_a:
                yield _warning(
                    about,
                    f"{_named(circuit)}: its {circuit.fuse_a:g} A fuse is larger than the feed fuse ({feed_a:g} A),"
                    " which blows first and takes every circuit with it",
                )
            continue
        yield _warning(
            about,
            f"{_named(circuit)}: no fuse is planned, so only the feed fuse protects its wire; add fuse_a",
        )
        if feed_a is not None:
            yield from _wire_bears(circuit, feed_a, about, f"{_named(circuit)}, fused by the feed alone")


def _loads(plan: Plan) -> Iterator[Advice]:
    load_a = plan.planned_load_a
    for number, circuit in enumerate(plan.circuit, start=1):
        if circuit.fuse_a is None:
            continue
        limit = slot_limit(circuit)
        if circuit.planned_a > FUSE_SHARE * circuit.fuse_a:
            never = ""
            if limit.impossible:
                never = (
                    f", and even the least planned ({limit.min:.3g} A) is above that ({limit.max:.3g} A), so no current"
                    " can pass its check"
                )
            yield _warning(
                f"circuit[{number}].fuse_a",
                f"{_named(circuit)}: {circuit.planned_a:g} A is above 80 % of its {circuit.fuse_a:g} A fuse{never};"
                f" the fuse should be at least {circuit.planned_a / FUSE_SHARE:.3g} A (125 %), if the wire bears it",
            )
    fuse_a = plan.feed.fuse_a if plan.feed else None
    if fuse_a is not None and load_a > FUSE_SHARE * fuse_a:
        yield _warning(
            "feed.fuse_a",
            f"the planned load of {load_a:g} A is above 80 % of the {fuse_a:g} A feed fuse, which may blow in time;"
            " plan less load, or a larger fuse if the wire bears it",
        )
    contact_a = plan.relay.contact_a if plan.relay else None
    if contact_a is not None and load_a > contact_a:
        yield _warning(
            "relay.contact_a",
            f"the planned load of {load_a:g} A is above the contact's {contact_a:g} A: it may weld; fit a larger relay",
        )
    if contact_a is not None and fuse_a is not None and fuse_a > contact_a:
        yield _note(
            "relay.contact_a",
            f"the {fuse_a:g} A feed fuse does not protect the relay's {contact_a:g} A contact",
        )


def _relay(plan: Plan) -> Iterator[Advice]:
    relay = plan.relay
    if relay is None:
        return
    if relay.coil_a is not None and relay.coil_a > LARGE_COIL_A:
        yield _warning(
            "relay.coil_a",
            f"a coil of {relay.coil_a:g} A is unusually large; the trigger circuit"
            f"{f' ({relay.trigger})' if relay.trigger else ''} was made for its lamp: check its fuse and thin wires",
        )
    if relay.suppression == "none":
        yield _warning(
            "relay.suppression",
            "no coil suppression: a bare 12 V coil can send a spike of 1000 V or more into the trigger circuit"
            " as it switches off; choose a relay with a resistor or diode",
        )
    drop_out_ms = relay.drop_out_max_ms
    if relay.suppression == "diode" and drop_out_ms is not None and drop_out_ms < DIODE_DROP_OUT_MS:
        yield _warning(
            "relay.drop_out_max_ms",
            f"{drop_out_ms:g} ms is tight: with a diode a sound relay takes about 8 to 10 ms to open",
        )
    if relay.pull_in_max_ms is not None and relay.pull_in_max_ms < PULL_IN_MS:
        yield _note(
            "relay.pull_in_max_ms",
            f"{relay.pull_in_max_ms:g} ms is tight: makers promise about {PULL_IN_MS:g} ms",
        )


def _drops(plan: Plan) -> Iterator[Advice]:
    """The whole loss from battery to device and back at the planned load, where the plan tells it."""
    feed, ground = feed_path(plan), ground_path(plan)
    common_mohm = sum(path.nominal_mohm for path in (feed, ground) if path is not None)
    common_v = plan.planned_load_a * common_mohm / 1000.0
    for number, circuit in enumerate(plan.circuit, start=1):
        own_v = 2 * (circuit_drop_v(circuit) or 0.0)
        share = (common_v + own_v) / SYSTEM_V
        if share <= CRITICAL_DROP:
            continue
        over = ANY_DROP if share > ANY_DROP else CRITICAL_DROP
        yield Advice(
            "warning" if over == ANY_DROP else "note",
            f"circuit[{number}].conductor",
            f"{_named(circuit)}: loses about {common_v + own_v:.2f} V from battery to device and back,"
            f" {100 * share:.0f} % of 12 V; marine practice (ABYC E-11) allows"
            f" {'10 % on any circuit' if over == ANY_DROP else '3 % on a critical circuit and 10 % on others'}",
        )


def circuit_drop_v(circuit: Circuit) -> float | None:
    """What a circuit's own wire drops one way at its planned current, V, 20 degC; None where not described."""
    if circuit.wire is None or circuit.run_m is None:
        return None
    return circuit.planned_a * resistance_mohm(circuit.wire, circuit.run_m) / 1000.0


def _battery(plan: Plan) -> Iterator[Advice]:
    kind, limits = CHEMISTRY[plan.battery.chemistry], plan.limits
    full_v = kind.rest[-1][1]
    if limits.resting_min_v is not None:
        charge = state_of_charge(plan.battery.chemistry, limits.resting_min_v)
        if limits.resting_min_v > full_v:
            yield _warning(
                "limits.resting_min_v",
                f"{limits.resting_min_v:g} V at rest is more than a full {kind.name} battery shows ({full_v:g} V)",
            )
        elif charge.mid_pct < 50:
            yield _warning(
                "limits.resting_min_v",
                f"{limits.resting_min_v:g} V at rest is about {charge.mid_pct:.0f} % charge for {kind.name}:"
                " the check would pass a battery that is less than half full",
            )
    least_v, most_v = kind.charge_v
    if limits.charging_max_v is not None and limits.charging_max_v > most_v:
        yield _warning(
            "limits.charging_max_v",
            f"{limits.charging_max_v:g} V is more than suits {kind.name} (about {most_v:g} V at 25 °C)",
        )
    if limits.charging_min_v is not None and limits.charging_min_v < full_v:
        yield _warning(
            "limits.charging_min_v",
            f"{limits.charging_min_v:g} V is below a full {kind.name} battery at rest ({full_v:g} V),"
            f" so it does not show charging; {least_v:g} V is usual",
        )
    if limits.crank_min_v is not None and limits.crank_min_v < LOW_CRANK_V:
        yield _warning(
            "limits.crank_min_v",
            f"{limits.crank_min_v:g} V while cranking is low: a healthy battery holds 9.5 V or more",
        )


def _suggested(plan: Plan) -> Iterator[Advice]:
    if plan.install.suggested:
        yield _note(
            "install.suggested",
            f"suggested and not confirmed: {', '.join(plan.install.suggested)}; when they are what you want, take them"
            " out of [install] suggested",
        )


def _gaps(plan: Plan) -> Iterator[Advice]:
    if not plan.circuit:
        yield _note("circuit", "no [[circuit]] is planned, so there is no planned load and no slot is checked")
    missing, planned = not_planned(plan), limits_of(plan)
    if missing:
        yield _note(
            "limits",
            f"{len(missing)} of {len(missing) + len(planned)} checks will be 'not planned': no limit is given for them",
        )
    for circuit in slots_in_order(plan):
        if circuit.fuse_a is not None and circuit.conductor is None:
            yield _note(
                f"slot {circuit.slot}",
                f"{_named(circuit)}: no wire size is given, so whether its {circuit.fuse_a:g} A fuse protects its wire"
                " is not checked; add conductor",
            )
        if circuit.conductor is not None and circuit.run_m is None:
            yield _note(f"slot {circuit.slot}", f"{_named(circuit)}: no length is given, so its wire drop is not known")
