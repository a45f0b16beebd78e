"""The session at a terminal: one reading at a time, each in its file before the next is asked."""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from benchlog.bench.by_hand.steps import HandStep, figure_typed, hand_steps, step_of, waited_unit
from benchlog.core.manual_accuracy import printed_accuracy
from benchlog.find.words import HOW
from benchlog.meter.model import MeterTable, Precision, ReadingsFile, ReadingTable, load_readings, reading_faults
from benchlog.meter.shown import is_figure, is_over_range
from benchlog.meter.writing import write_readings
from benchlog.plan.model import Plan

Read = Callable[[str], str]
Say = Callable[[str], None]
_KEYS = "? how · s leave out · u take back · q stop"
_MINUTE_S, _HOUR_S = 60.0, 3600.0


class _Back(Exception):
    """The tester takes back what was typed last."""


class _Stopped(Exception):
    """The tester stops, or the input ended."""


@dataclass
class HandTest:
    """A test with a hand meter as it stands.

    Attributes:
        plan: what was planned. out: the file of readings. meter: as told.
        done: what came of each step so far, in order: its reading, or None where it was left out.
        others: readings of the file that are no step's, which stay in it.
    """

    plan: Plan
    out: Path
    meter: MeterTable | None = None
    done: list[tuple[HandStep, ReadingTable | None]] = field(default_factory=list)
    others: list[ReadingTable] = field(default_factory=list)

    @property
    def readings(self) -> list[ReadingTable]:
        """All of the file."""
        return [*self.others, *(table for _, table in self.done if table is not None)]

    def keep(self) -> None:
        """Write the file whole; nothing is written before the first reading.

        Raises:
            CannotWrite: there is no room, or no right to write.
        """
        if self.readings:
            write_readings(self.out, ReadingsFile(meter=self.meter or MeterTable(), reading=tuple(self.readings)))
        else:
            self.out.unlink(missing_ok=True)


def begun(plan: Plan, out: Path) -> HandTest:
    """A new test, or one that was stopped, by the readings in its file.

    Raises:
        BadReadings: the file is none of readings.
    """
    test = HandTest(plan, out)
    if out.exists():
        file = load_readings(out)
        steps = hand_steps(plan)
        test.meter = file.meter
        for table in file.reading:
            step = step_of(steps, table)
            if step is None:
                test.others.append(table)
            else:
                test.done.append((step, table))
    return test


def lead_by_hand(test: HandTest, read: Read, say: Say) -> bool:
    """Ask for every reading that is missing; False where the tester stopped.

    Args:
        read: shows a prompt and gives the line typed; raises EOFError at the end.
        say: shows a text.
    """
    steps = hand_steps(test.plan)
    try:
        while test.meter is None:
            _begin(test, read, say)
        while (step := _next(steps, test)) is not None:
            say(_shown(step, len(steps), steps.index(step) + 1))
            try:
                test.done.append((step, _reading(step, read, say)))
            except _Back:
                _take_back(test, say)
            test.keep()
    except _Stopped:
        return False
    return True


def _begin(test: HandTest, read: Read, say: Say) -> None:
    """Ask for what holds for all readings; a wrong answer is taken back by answering again from the first."""
    try:
        meter = _meter(read, say)
        test.others += _temperature(read, say)
    except _Back:
        return
    taken = datetime.now().astimezone().replace(microsecond=0)
    test.meter = meter.model_copy(update={"taken": taken})


def _next(steps: tuple[HandStep, ...], test: HandTest) -> HandStep | None:
    """The first step that nothing came of yet."""
    dealt_with = [step for step, _ in test.done]
    return next((step for step in steps if step not in dealt_with), None)


def _take_back(test: HandTest, say: Say) -> None:
    if not test.done:
        say("There is no reading to take back.")
        return
    step, _ = test.done.pop()
    say(f"Taken back: {step.title}")


def _meter(read: Read, say: Say) -> MeterTable:
    """The meter's accuracy, asked once."""
    say("How exact is the meter? Its manual gives ± per cent of the reading + digits of the last place.")
    return MeterTable(voltage=_precision("DC voltage", read, say), current=_precision("DC current", read, say))


def _temperature(read: Read, say: Say) -> list[ReadingTable]:
    """The battery's temperature, which the season sets everything against; none where it is not known."""
    while True:
        typed = _line(read, "battery's temperature in °C (Enter: not known): ")
        if not typed:
            return []
        if is_figure(typed):
            return [ReadingTable(role="battery_c", state="asleep", value=typed, unit="degC")]
        say(f'"{typed}" is no temperature; type a number, such as 18.')


def _precision(of: str, read: Read, say: Say) -> Precision | None:
    while True:
        typed = _line(read, f"{of}, such as 0.5 % + 2 (Enter: not known, then nothing is proven by it): ")
        if not typed:
            return None
        found = printed_accuracy(typed)
        if found is not None:
            return Precision(pct=found[0], digits=found[1])
        say(f'"{typed}" is no accuracy; type per cent and digits, such as 0.5 % + 2.')


def _shown(step: HandStep, of: int, number: int) -> str:
    lines = [f"\nReading {number} of {of}: {step.title}", f"  Caution: {step.caution}", f"  {step.ask}"]
    lines += [f"  {step.hint}"] if step.hint else []
    lines += [f"  {_wait(step.least_s)}"] if step.least_s else []
    lines += [f"  The plan allows {step.expected}."] if step.expected else []
    return "\n".join(lines)


def _wait(least_s: float) -> str:
    shown = f"{least_s / _HOUR_S:g} hours" if least_s >= _HOUR_S else f"{least_s / _MINUTE_S:g} minutes"
    return f"The key must have been off for {shown} or longer."


def _reading(step: HandStep, read: Read, say: Say) -> ReadingTable | None:
    """The reading of one step; None where it is left out."""
    while True:
        shown = _value(step, read, say)
        if shown is None:
            return None
        value, unit = shown
        table: dict[str, Any] = {**step.place, "value": value, "unit": unit}
        try:
            table |= _extras(step, read, say)
        except _Back:
            say(f"Taken back: {value} {unit}")
            continue
        faults = reading_faults(table)
        if not faults:
            return ReadingTable.model_validate(table)
        say("\n".join(f"That cannot be: {fault}. Type this reading again." for fault in faults))


def _value(step: HandStep, read: Read, say: Say) -> tuple[str, str] | None:
    """The figure as shown, and its unit."""
    while True:
        typed = _line(read, f"reading in {step.unit}  ({_KEYS}): ")
        if typed == "s":
            return None
        if typed == "?":
            say(HOW[step.question.kind])
            continue
        if (shown := figure_typed(typed, step)) is not None:
            return shown
        if typed:
            say(f'"{typed}" is no reading here; type the figure as the meter shows it, such as 12.63, or OL.')


def _extras(step: HandStep, read: Read, say: Say) -> dict[str, Any]:
    """What is asked beside the figure; Enter where it is not known or the meter does not keep it."""
    found: dict[str, Any] = {}
    if "waited" in step.extras:
        name, unit_s = waited_unit(step)
        waited_s = _time(f"{name} since the key was turned off (Enter: not known): ", unit_s, read, say)
        found |= {} if waited_s is None else {"waited_s": waited_s}
    averaged_s = None
    if "averaged" in step.extras:
        averaged_s = _time("minutes that the meter averaged over (Enter: it did not): ", _MINUTE_S, read, say)
        found |= {} if averaged_s is None else {"averaged_s": averaged_s}
    for key in ("lowest", "highest"):
        if key in step.extras and (kept := _kept(key, read, say)):
            found[key] = kept
    if "averaged" in step.extras and {"lowest", "highest"} & found.keys():
        if averaged_s is None:
            averaged_s = _time("minutes that it kept these (Enter: not known): ", _MINUTE_S, read, say)
        found |= {} if averaged_s is None else {"watched_s": averaged_s}
    return found


def _kept(key: str, read: Read, say: Say) -> str:
    """The lowest or highest figure that the meter kept; "" where it kept none."""
    while True:
        typed = _line(read, f"{key} that it kept, in the same unit (Enter: none): ")
        if not typed or is_figure(typed) or is_over_range(typed):
            return typed
        say(f'"{typed}" is no reading; type the figure as the meter shows it, or OL.')


def _time(prompt: str, unit_s: float, read: Read, say: Say) -> float | None:
    """A time in seconds, typed in minutes or hours."""
    while True:
        typed = _line(read, prompt)
        if not typed:
            return None
        if re.fullmatch(r"\d+([.,]\d+)?", typed):
            return float(typed.replace(",", ".")) * unit_s
        say(f'"{typed}" is no time; type a number, such as 10.')


def _line(read: Read, prompt: str) -> str:
    """One line typed; the keys that work at every question are dealt with here."""
    try:
        typed = read(prompt).strip()
    except EOFError:
        raise _Stopped from None
    if typed == "q":
        raise _Stopped
    if typed == "u":
        raise _Back
    return typed
