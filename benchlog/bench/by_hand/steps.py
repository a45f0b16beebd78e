"""What a hand meter reads of an install, one reading a step, in the order of the bike's states."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from benchlog.core.numbers import sides, unit_suffix
from benchlog.core.roles import UNITS
from benchlog.find.questions import Question, voltage
from benchlog.find.words import caution
from benchlog.meter.model import ReadingTable
from benchlog.meter.shown import is_figure, is_over_range
from benchlog.plan.batteries import REST_H
from benchlog.plan.limits import settled_s
from benchlog.plan.model import Plan, slots_in_order
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import limits_of, planned_value_of

#: What is asked beside the figure: how long the key was off, over how long it was averaged, and what the meter kept.
Extra = Literal["waited", "averaged", "lowest", "highest"]
#: What the bike does in each state.
STATES = {
    "asleep": "Key off, everything switched off, and wait until the bike sleeps",
    "key on": "Key on, engine off, every circuit off",
    "all on": "Key on, engine off, every circuit on",
    "cranking": "Neutral, and crank for at most 5 s",
    "running": "Neutral, engine at a fast idle",
}
_TYPED = re.compile(r"(\S+?)\s*([uµm]?[VA])?")
_DRAIN_HOW = (
    "A meter that averages and keeps lowest and highest tells most: start it when the bike sleeps, leave it for 10 "
    "minutes, and read all three."
)


@dataclass(frozen=True, slots=True)
class HandStep:
    """One reading.

    Attributes:
        title: a few words. what: where the probes go, or what the current is of.
        question: the same as a test of the fault finder, for its state, cautions and how it is done.
        role: what is read; "" where it is the voltage between the question's points.
        unit: that it is usually read in. expected: what a good install of this plan shows; "" where no limit says.
        extras: asked beside the figure. least_s: how long the key must have been off, s.
        ask, caution: what to do, and what to heed before it. hint: what makes the reading tell most.
        loads_on: every circuit is on while the engine runs.
    """

    title: str
    what: str
    question: Question
    role: str
    unit: str
    expected: str
    ask: str
    caution: str
    extras: tuple[Extra, ...] = ()
    least_s: float = 0.0
    hint: str = ""
    loads_on: bool = False

    @property
    def state(self) -> str:
        """Of the bike."""
        return self.question.state

    @property
    def place(self) -> dict[str, object]:
        """What says of a reading, in its file, that it is of this step."""
        where = {"role": self.role} if self.role else {"from": self.question.start, "to": self.question.end}
        return {**where, "state": self.state, **({"loads_on": True} if self.loads_on else {})}

    def is_of(self, table: ReadingTable) -> bool:
        """Whether a reading is this step's."""
        if table.state != self.state:
            return False
        if self.role:
            return table.role == self.role
        return (table.start, table.end) == (self.question.start, self.question.end)


def hand_steps(plan: Plan) -> tuple[HandStep, ...]:
    """The readings that the plan has a limit for, asleep first and running last."""
    return tuple(_Steps(plan).all())


class _Steps:
    """Makes the steps of one plan."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._limits, self._planned = limits_of(plan), planned_value_of(plan)

    def all(self) -> Iterator[HandStep]:
        """In order; what the plan sets no limit for is left out."""
        yield from self._asleep()
        if {"battery_sag", "source_resistance"} & self._limits.keys():
            yield self._volts("Battery, loads off", "battery +", "battery -", "key on", role="battery_v")
            yield self._volts("Battery, loads on", "battery +", "battery -", "all on", role="battery_v")
        if "feed_drop" in self._limits:
            yield self._volts("Drop of the feed", "battery +", "block", "all on", check="feed_drop")
        if "ground_lift" in self._limits:
            yield self._volts("Drop of the return", "bus", "battery -", "all on", check="ground_lift")
        for circuit in slots_in_order(self._plan):
            check, of = SLOT_CURRENT.id_of(circuit.slot), f"slot {circuit.slot}"
            yield self._amps(f"Slot {circuit.slot}, {circuit.device}", of, "all on", f"slot{circuit.slot}_a", check)
        yield from self._engine()

    def _asleep(self) -> Iterator[HandStep]:
        if "resting_voltage" in self._limits:
            question = voltage("battery +", "battery -", "asleep", 3.0)
            yield self._made("Battery at rest", question, "battery_v", "V", "resting_voltage",
                             extras=("waited",), least_s=REST_H * 3600)  # fmt: skip
        if "feed_off_voltage" in self._limits:
            question = voltage("block", "battery -", "asleep", 1.5)
            yield self._made("Fuse block, key off", question, "feed_v", "V", "feed_off_voltage",
                             extras=("waited",), least_s=settled_s(self._plan))  # fmt: skip
        if {"off_state_drain", "added_drain"} & self._limits.keys():
            question = Question("drain", "drain", "asleep", 12.0)
            yield self._made("Drain", question, "drain_a", "mA", "off_state_drain",
                             extras=("waited", "averaged", "lowest", "highest"), least_s=settled_s(self._plan),
                             hint=_DRAIN_HOW)  # fmt: skip

    def _engine(self) -> Iterator[HandStep]:
        if "crank_minimum" in self._limits:
            question = voltage("battery +", "battery -", "cranking", 3.0)
            hint = "A meter's lowest can show that the battery falls too far, never that it does not."
            yield self._made("Battery while cranking", question, "battery_v", "V", "crank_minimum",
                             extras=("lowest",), hint=hint)  # fmt: skip
        if "charging_voltage" in self._limits:
            yield self._volts("Charging", "battery +", "battery -", "running", "battery_v", "charging_voltage")
        if "charging_balance" in self._limits:
            hint = "Every circuit on; the clamp's arrow points away from battery +, so that charging reads below zero."
            question = Question("current battery, running", "current", "running", 3.0, of="battery", how="clamp")
            yield self._made("Charging balance", question, "battery_a", "A", "charging_balance",
                             hint=hint, loads_on=True)  # fmt: skip

    def _volts(self, title: str, start: str, end: str, state: str, role: str = "", check: str = "") -> HandStep:
        return self._made(title, voltage(start, end, state, 1.5), role, "V", check)

    def _amps(self, title: str, of: str, state: str, role: str, check: str) -> HandStep:
        question = Question(f"current {of}, {state}", "current", state, 2.0, of=of, how="clamp")
        return self._made(title, question, role, "A", check)

    def _made(self, title: str, question: Question, role: str, unit: str, check: str, **more: object) -> HandStep:
        between = f"{question.start} (red) to {question.end} (black)"
        return HandStep(
            title=title,
            what=between if question.kind == "voltage" else _carrying(question),
            question=question,
            role=role,
            unit=unit,
            expected=self._expected(check, unit),
            ask=f"{STATES[question.state]}. {_measure(question)}.",
            caution=caution(question, self._plan),
            **more,  # type: ignore[arg-type]  # the rest of a step, by name
        )

    def _expected(self, check: str, unit: str) -> str:
        """What the plan says of it, in the unit that it is read in; a balance reads with the sign turned."""
        limit = self._limits.get(check)
        if limit is None:
            return ""
        turned = check == "charging_balance"
        low, high = (None if limit.max is None else -limit.max, None if limit.min is None else -limit.min)
        said = sides(low, high) if turned else sides(limit.min, limit.max)
        planned = self._planned.get(check)
        about = "" if planned is None else f", planned {planned:.2g}"
        return f"{said}{about}{unit_suffix(unit)}"


def _measure(question: Question) -> str:
    if question.kind == "voltage":
        return f"Measure the voltage from {question.start} (red) to {question.end} (black)"
    if question.kind == "drain":
        return "Measure what leaves the battery, in mA"
    of = f"the circuit of {question.of}" if question.of.startswith("slot") else f"the {question.of}"
    return f"Measure the current of {of} with a clamp"


def _carrying(question: Question) -> str:
    if question.kind == "drain":
        return "in line between battery - and its lead, or mV across the bike's fuses"
    return f"clamp around the wire of {question.of}"


def step_of(steps: tuple[HandStep, ...], table: ReadingTable) -> HandStep | None:
    """The step that a reading is of."""
    return next((step for step in steps if step.is_of(table)), None)


def figure_typed(typed: str, step: HandStep) -> tuple[str, str] | None:
    """The figure as shown and its unit, of what was typed for a step; None where it cannot be one."""
    found = _TYPED.fullmatch(typed.strip())
    if found is None or not (is_figure(found[1]) or is_over_range(found[1])):
        return None
    unit = (found[2] or step.unit).replace("µ", "u")
    same = UNITS.get(unit, ("", 1.0))[0] == UNITS[step.unit][0]
    return (found[1], unit) if same else None


def waited_unit(step: HandStep) -> tuple[str, float]:
    """In what the time since the key-off is asked for: its name, and that in seconds."""
    return ("hours", 3600.0) if step.least_s >= 3600 else ("minutes", 60.0)
