"""The text of ``benchlog plan``: what the plan comes to, before anything is wired or measured."""

import textwrap
from collections.abc import Iterator

from benchlog.core.folding import folded
from benchlog.plan.advice import SYSTEM_V, advice, circuit_drop_v
from benchlog.plan.batteries import CHEMISTRY
from benchlog.plan.limits import (
    Path,
    PlannedLimit,
    feed_path,
    ground_path,
    limits_of,
    not_planned,
    slot_limit,
    slots_in_order,
)
from benchlog.plan.model import Plan
from benchlog.plan.wiring import HOT_C
from benchlog.verdict.check_table import CHECKS, id_in_table

WIDTH = 80
CAUTION = (
    "Caution: put the feed fuse close to battery +, before any chafing point, and disconnect battery negative"
    " before you wire. These figures are worked out from the plan and do not replace the bike's service manual."
)

_UNITS = {spec.id: "" if spec.unit == "1" else spec.unit for spec in CHECKS}


def render_plan(plan: Plan) -> str:
    """The planned values as text of at most 80 columns: remarks, circuits, paths, limits."""
    parts = (_head(plan), _not_planned(plan), _remarks(plan), _circuits(plan), _paths(plan), _limits(plan))
    blocks = ["\n".join(part) for part in map(list, parts) if part]
    return "\n\n".join([*blocks, textwrap.fill(CAUTION, WIDTH)]) + "\n"


def _head(plan: Plan) -> Iterator[str]:
    yield from _wrapped(f"Plan for {plan.install.bike}", "")
    if plan.install.notes:
        plain = "".join(letter if letter.isprintable() else " " for letter in plan.install.notes)
        yield from _wrapped(plain, "  ")
    yield f"  battery       {plan.battery.capacity_ah:g} Ah, {CHEMISTRY[plan.battery.chemistry].name}"
    if relay := plan.relay:
        facts = [
            f"triggered by the {relay.trigger}" if relay.trigger else "",
            f"coil {relay.coil_a:g} A" if relay.coil_a else "",
            f"contact {relay.contact_a:g} A" if relay.contact_a else "",
            f"suppression: {relay.suppression}" if relay.suppression else "",
        ]
        yield from _wrapped(", ".join(filter(None, facts)) or "planned", "  relay         ")
    count = len(plan.circuit)
    yield f"  planned load  {plan.planned_load_a:.4g} A in {count} circuit{'' if count == 1 else 's'}"


def _remarks(plan: Plan) -> list[str]:
    labels = {"fire": "FIRE RISK", "warning": "warning", "note": "note"}
    remarks = advice(plan)
    lines = [line for remark in remarks for line in _wrapped(remark.text, f"  {labels[remark.severity]:<10} ")]
    return ["Worth a second look", *lines] if lines else []


def _circuits(plan: Plan) -> list[str]:
    if not plan.circuit:
        return []
    lines = [
        "Circuits",
        f"  {'slot':>4}  {'device':<18}{'planned':>8}  {'may draw':<18}{'fuse':>6}  {'wire':<9}{'drop':>8}",
    ]
    for circuit in slots_in_order(plan):
        limit = slot_limit(circuit)
        drop_v = circuit_drop_v(circuit)
        lines.append(
            f"  {circuit.slot:>4}  {_clipped(circuit.device, 17):<18}{_amps(circuit.planned_a):>8}"
            f"  {'none fits' if limit.impossible else _amps(limit.min or 0.0, limit.max or 0.0):<18}"
            f"{f'{circuit.fuse_a:.3g} A' if circuit.fuse_a else 'none':>6}"
            f"  {circuit.wire or '-'!s:<9}{_volts(drop_v) if drop_v is not None else '-':>8}"
        )
    return [*lines, "  drop: the circuit's own wire, one way, at its planned current and 20 °C"]


def _paths(plan: Plan) -> list[str]:
    paths = [(name, path) for name, path in (("feed", feed_path(plan)), ("ground", ground_path(plan))) if path]
    if not paths:
        return []
    lines = [
        "Common wires at the planned load",
        f"  {'':<8}{'wire':<20}{'resists':>10}  {'allowance':>10}  {'together':>10}  {'expected':>10}",
    ]
    for name, path in paths:
        expected_v = plan.planned_load_a * path.nominal_mohm / 1000.0
        lines.append(
            f"  {name:<8}{f'{path.wire}, {path.length_m:.3g} m':<20}{path.wire_mohm:>7.1f} mΩ"
            f"  {path.allowance.total_mohm:>7.1f} mΩ  {path.nominal_mohm:>7.1f} mΩ  {_volts(expected_v):>10}"
        )
    for name, path in paths:
        lines += _wrapped(f"{name} allowance: {_allowance(path)}", "  ")
    return lines


def _allowance(path: Path) -> str:
    parts = [
        (path.allowance.joints_mohm, "joints"),
        (path.allowance.fuse_mohm, "fuse"),
        (path.allowance.contact_mohm, "relay contact"),
    ]
    stated = ", ".join(f"{mohm:.1f} mΩ {name}" for mohm, name in parts if mohm)
    return f"{stated} (new and clean); a derived limit takes {path.allowance.most_mohm:.1f} mΩ and wire at {HOT_C:g} °C"


def _limits(plan: Plan) -> list[str]:
    lines = ["Limits"]
    for check_id, limit in limits_of(plan).items():
        lead = f"  {check_id:<17} {_limit_text(check_id, limit):<16} {limit.origin:<7} "
        lines += _wrapped(limit.how, lead)
    return lines if len(lines) > 1 else []


def _limit_text(check_id: str, limit: PlannedLimit) -> str:
    unit = _UNITS[id_in_table(check_id)]
    if check_id == "feed_in_crank":
        return "no loss" if limit.max is not None else "a loss is seen"
    if limit.impossible:
        return "none fits"
    digits = 4 if limit.origin == "given" else 3
    low, high = (None if side is None else f"{side:.{digits}g}" for side in (limit.min, limit.max))
    text = f"{low} to {high}" if low and high else f"at least {low}" if low else f"at most {high}"
    return f"{text} {unit}".rstrip()


def _not_planned(plan: Plan) -> list[str]:
    lines = [line for check_id in not_planned(plan) for line in _wrapped(_what_to_add(check_id), f"  {check_id:<21} ")]
    return ["Not planned (no limit given), and what to add", *lines] if lines else []


def _what_to_add(check_id: str) -> str:
    keys = next((spec.plan_keys for spec in CHECKS if spec.id == id_in_table(check_id)), ())
    return ", ".join(keys) or "its circuit's fuse_a and conductor"


def _volts(volts: float) -> str:
    if volts > SYSTEM_V:
        return f"> {SYSTEM_V:g} V"  # more than there is
    return f"{volts:.2f} V" if volts >= 0.9995 else f"{1000 * volts:.0f} mV"


def _amps(*amps: float) -> str:
    scale, unit = (1, "A") if max(amps) >= 0.1 else (1000, "mA")
    return f"{' to '.join(f'{scale * each:.3g}' for each in amps)} {unit}"


def _clipped(text: str, width: int) -> str:
    return text if len(text) <= width else f"{text[: width - 1]}…"


def _wrapped(text: str, lead: str) -> list[str]:
    """Text after a lead, continued below where the text began."""
    return folded(text, lead, " " * len(lead), WIDTH)
