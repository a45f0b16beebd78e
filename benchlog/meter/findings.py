"""A file of readings against a plan: a finding for every check, or why a hand meter gives none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from benchlog.analysis.measurement import Finding, NotEvaluated
from benchlog.core.note import Note
from benchlog.meter.drain import drains
from benchlog.meter.levels import balance, charging, cranking, feed_off, resting
from benchlog.meter.loads import LOAD_CHECKS, slot_currents
from benchlog.meter.model import ReadingsFile
from benchlog.meter.reading import FEED_DROP, MeterReading, reading_of
from benchlog.plan.model import Plan
from benchlog.verdict.added import ShowsDrain, added_of
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import limits_of

_LOG = "a log at 1000 samples a second shows it"
#: Why a check is open where the file holds no reading for it, or a hand meter never shows it.
NOT_READ: dict[str, str] = {
    "off_state_drain": "no reading of drain_a in the state asleep; one averaged over 10 minutes or more is needed",
    "settle_time": "a hand meter keeps no record of when the drain has settled; a log from the key-off on shows it",
    "feed_off_voltage": "no reading at the fuse block (feed_v) in the state asleep",
    "relay_pull_in": f"the contact closes within milliseconds, which no hand meter shows; {_LOG}",
    "relay_drop_out": f"the contact opens within milliseconds, which no hand meter shows; {_LOG}",
    "relay_chatter": f"a hand meter does not show openings of milliseconds; {_LOG}",
    "battery_sag": "it needs readings of battery_v in the states key on and all on",
    "feed_drop": "no reading from battery + to block in the state all on",
    "ground_lift": "no reading from bus to battery - in the state all on",
    "resting_voltage": "no reading of battery_v in the state asleep",
    "source_resistance": "it needs battery_v in the states key on and all on, and the current of the circuits",
    "crank_minimum": "no reading of battery_v in the state cranking",
    "feed_in_crank": f"a loss while cranking may be shorter than a hand meter shows; {_LOG}",
    "charging_voltage": "no reading of battery_v in the state running",
    "charging_balance": "no reading of battery_a in the state running, every circuit on",
}
#: Quantity -> the states in which a check makes use of it; the circuits' currents beside these.
_USED: dict[str, tuple[str, ...]] = {
    "drain_a": ("asleep",),
    "battery_a": ("asleep", "key on", "all on", "running"),
    "battery_v": ("asleep", "key on", "all on", "cranking", "running"),
    "feed_v": ("asleep", "all on"),
    FEED_DROP: ("all on",),
    "ground_v": ("all on",),
    "feed_a": ("all on",),
}


@dataclass(frozen=True, slots=True)
class ReadingsFindings:
    """What one file of readings says.

    Attributes:
        log: its name. findings: check id -> findings, the first reading's first; at least one each.
        notes: what in it was not used.
    """

    log: str
    findings: Mapping[str, Sequence[Finding]]
    notes: tuple[Note, ...]

    @property
    def drain(self) -> Finding:
        """``off_state_drain``, of the first reading."""
        return self.findings["off_state_drain"][0]

    def each(self, before: ShowsDrain | None) -> list[tuple[str, Mapping[str, Finding]]]:
        """The findings as those of so many logs, each check's readings one after another.

        Args:
            before: what is from before the install; None where nothing was given.
        """
        own = self.findings["off_state_drain"]
        found = {**self.findings, "added_drain": [added_of(one, before) for one in own]}
        columns = zip_longest(*found.values())
        ids = list(found)
        return [
            (self.log, {key: one for key, one in zip(ids, column, strict=True) if one is not None})
            for column in columns
        ]


def findings_of(file: ReadingsFile, plan: Plan, name: str) -> ReadingsFindings:
    """Judge nothing yet: say what each reading shows. ``name`` stands in the result."""
    readings = [reading_of(table, file.meter) for table in file.reading]
    limits = limits_of(plan)
    found: dict[str, list[Finding]] = {
        "off_state_drain": drains(readings, plan),
        "feed_off_voltage": feed_off(readings, plan, limits.get("feed_off_voltage")),
        "resting_voltage": resting(readings),
        "crank_minimum": cranking(readings),
        "charging_voltage": charging(readings),
        "charging_balance": balance(readings),
        **{check_id: of(readings, plan) for check_id, of in LOAD_CHECKS.items()},
    }
    for circuit in plan.circuit:
        missing = NotEvaluated(f"no reading of slot{circuit.slot}_a in the state all on or slot {circuit.slot} on")
        found[SLOT_CURRENT.id_of(circuit.slot)] = slot_currents(readings, circuit.slot) or [missing]
    every = {key: found.get(key) or [NotEvaluated(why)] for key, why in NOT_READ.items()}
    return ReadingsFindings(name, {**found, **every}, tuple(_notes(readings, plan, name)))


def temperature_of(file: ReadingsFile) -> float | None:
    """The battery's temperature, °C, as last read; None where it was not."""
    readings = [reading_of(table, file.meter) for table in file.reading if table.role == "battery_c"]
    warm = [one.now.value for one in readings if one.now is not None]
    return warm[-1] if warm else None


def _notes(readings: Sequence[MeterReading], plan: Plan, name: str) -> list[Note]:
    used = {pair for quantity, states in _USED.items() for pair in ((quantity, state) for state in states)}
    for circuit in plan.circuit:
        used |= {(f"slot{circuit.slot}_a", state) for state in ("all on", f"slot {circuit.slot} on")}
    idle = dict.fromkeys(
        f"{one.quantity} ({one.state})"
        for one in readings
        if (one.quantity, one.state) not in used and one.quantity != "battery_c"
    )
    if not idle:
        return []
    return [Note(log=name, text=f"no check of this plan makes use of these readings: {', '.join(idle)}")]
