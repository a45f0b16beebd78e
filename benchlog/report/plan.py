"""The text of ``benchlog plan``: what the plan comes to, before anything is wired or measured."""

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING

from benchlog.core.folding import folded
from benchlog.core.numbers import sides, unit_suffix
from benchlog.core.printable import printable
from benchlog.plan.batteries import CHEMISTRY
from benchlog.plan.limits import PlannedLimit, slot_limit
from benchlog.plan.model import Circuit, Plan, slots_in_order
from benchlog.plan.paths import PlannedPath, feed_path, ground_path
from benchlog.plan.wiring import HOT_C
from benchlog.report.table_text import table_lines
from benchlog.verdict.advice import SYSTEM_V, advice, circuit_drop_v
from benchlog.verdict.registry.kind import CheckKind
from benchlog.verdict.registry.table import check_of, limits_of, not_planned

if TYPE_CHECKING:
    from rich.console import JustifyMethod

WIDTH = 80
CAUTION = (
    "Caution: put the feed fuse close to battery +, before any chafing point, and disconnect battery negative"
    " before you wire. These figures are worked out from the plan and do not replace the bike's service manual."
)


def render_plan(plan: Plan) -> str:
    """The planned values as text of at most 80 columns: remarks, circuits, paths, limits."""
    parts = (_head(plan), _not_planned(plan), _remarks(plan), _circuits(plan), _paths(plan), _limits(plan))
    blocks = ["\n".join(part) for part in map(list, parts) if part]
    return "\n\n".join([*blocks, textwrap.fill(CAUTION, WIDTH)]) + "\n"


def _head(plan: Plan) -> Iterator[str]:
    yield from _wrapped(f"Plan for {plan.install.bike}", "")
    if plan.install.notes:
        plain = printable(plan.install.notes)
        yield from _wrapped(plain, "  ")
    yield f"  battery       {plan.battery.capacity_ah:g} Ah, {CHEMISTRY[plan.battery.chemistry].name}"
    if relay := plan.relay:
        facts = [
            f"triggered by the {relay.trigger}" if relay.trigger else "",
            f"coil {relay.coil_a:g} A" if relay.coil_a else "",
            f"contact {relay.contact_a:g} A" if relay.contact_a else "",
            f"suppression: {relay.suppression}" if relay.suppression else "",
            f"its trigger wire fused with {relay.trigger_fuse_a:g} A" if relay.trigger_fuse_a else "",
        ]
        yield from _wrapped(", ".join(filter(None, facts)) or "planned", "  relay         ")
    if told := budget(plan):
        yield from _wrapped(told, "  alternator    ")
    count = len(plan.circuit)
    yield f"  planned load  {plan.planned_load_a:.4g} A in {count} circuit{'' if count == 1 else 's'}"


def budget(plan: Plan) -> str:
    """What is needed of the alternator, and what it gives at speed and at idle; "" where that is not given."""
    given = plan.alternator
    if given is None or (given.speed_a is None and given.idle_a is None):
        return ""
    own_a = given.bike_a
    needs = f"{plan.planned_load_a + (own_a or 0.0):.3g} A needed"
    needs += ", the bike's own need not known" if own_a is None else f", {own_a:g} A of it by the bike itself"
    gives = [f"{a:g} A {when}" for a, when in ((given.speed_a, "at speed"), (given.idle_a, "at idle")) if a is not None]
    return f"{needs}; it gives {' and '.join(gives)}"


def _remarks(plan: Plan) -> list[str]:
    labels = {"fire": "FIRE RISK", "warning": "warning", "note": "note"}
    remarks = advice(plan)
    lines = [line for remark in remarks for line in _wrapped(remark.text, f"  {labels[remark.severity]:<10} ")]
    return ["Worth a second look", *lines] if lines else []


def _circuits(plan: Plan) -> list[str]:
    if not plan.circuit:
        return []
    from rich.table import Column

    heads: dict[str, JustifyMethod] = {
        "planned": "right",
        "may draw": "left",
        "fuse": "right",
        "wire": "left",
        "drop": "right",
    }
    # a long name goes on in the next line; nothing else gives way
    columns = [Column("slot", justify="right", no_wrap=True), Column("device", overflow="fold")]
    columns += [Column(head, justify=side, no_wrap=True) for head, side in heads.items()]
    lines = table_lines(columns, map(circuit_cells, slots_in_order(plan)), width=WIDTH, indent=2)
    return ["Circuits", *lines, "  drop: the circuit's own wire, one way, at its planned current and 20 °C"]


def circuit_cells(circuit: Circuit) -> list[str]:
    """Slot, device, planned current, what it may draw, fuse, wire, and the drop of its wire, in words."""
    limit, drop_v = slot_limit(circuit), circuit_drop_v(circuit)
    return [
        str(circuit.slot),
        circuit.device,
        _amps(circuit.planned_a),
        "none fits" if limit.impossible else _amps(limit.min or 0.0, limit.max or 0.0),
        f"{circuit.fuse_a:.3g} A" if circuit.fuse_a else "none",
        str(circuit.wire or "-"),
        _volts(drop_v) if drop_v is not None else "-",
    ]


def _paths(plan: Plan) -> list[str]:
    paths = [(name, path) for name, path in (("feed", feed_path(plan)), ("ground", ground_path(plan))) if path]
    if not paths:
        return []
    from rich.table import Column

    heads = ("resistance", "allowance", "together", "expected")
    columns = [Column(""), Column("wire"), *(Column(head, justify="right") for head in heads)]
    rows = [[name, *path_cells(path, plan.planned_load_a)] for name, path in paths]
    lines = ["Common wires at the planned load", *table_lines(columns, rows, width=WIDTH, indent=2)]
    for name, path in paths:
        lines += _wrapped(f"{name} allowance: {_allowance(path)}", "  ")
    return lines


def path_cells(path: PlannedPath, load_a: float) -> list[str]:
    """Wire, its resistance, the allowance, both together, and the expected drop at a load (A), in words."""
    ohms = (path.wire_mohm, path.allowance.total_mohm, path.nominal_mohm)
    wire = f"{path.wire}, {path.length_m:.3g} m"
    return [wire, *(f"{mohm:.1f} mΩ" for mohm in ohms), _volts(load_a * path.nominal_mohm / 1000.0)]


def _allowance(path: PlannedPath) -> str:
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
        lead = f"  {check_id:<17} {limit_text(check_of(check_id).kind, limit):<16} {limit.origin:<7} "
        lines += _wrapped(limit.how, lead)
    return lines if len(lines) > 1 else []


def limit_text(kind: CheckKind, limit: PlannedLimit) -> str:
    """A limit in words, as of a check of this kind."""
    if kind.limit_words is not None and kind.limit_words.plan is not None:
        return kind.limit_words.plan(limit)
    if limit.impossible:
        return "none fits"
    digits = 4 if limit.origin == "given" else 3
    return sides(limit.min, limit.max, lambda value: f"{value:.{digits}g}") + unit_suffix(kind.unit)


def _not_planned(plan: Plan) -> list[str]:
    lines = [line for check_id in not_planned(plan) for line in _wrapped(what_sets(check_id), f"  {check_id:<21} ")]
    return ["Not planned (no limit given), and what sets it", *lines] if lines else []


def what_sets(check_id: str) -> str:
    """The keys of a plan that give a check its limit."""
    return check_of(check_id).kind.set_by.replace("`", "")


def _volts(volts: float) -> str:
    if volts > SYSTEM_V:
        return f"> {SYSTEM_V:g} V"  # more than there is
    return f"{volts:.2f} V" if volts >= 0.9995 else f"{1000 * volts:.0f} mV"


def _amps(*amps: float) -> str:
    scale, unit = (1, "A") if max(amps) >= 0.1 else (1000, "mA")
    return f"{' to '.join(f'{scale * each:.3g}' for each in amps)} {unit}"


def _wrapped(text: str, lead: str) -> list[str]:
    """Text after a lead, continued below where the text began."""
    return folded(text, lead, " " * len(lead), WIDTH)
