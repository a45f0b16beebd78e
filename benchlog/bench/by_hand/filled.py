"""A measuring sheet that was filled in all at once, as on a page: its boxes as readings."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from benchlog.bench.by_hand.steps import HandStep, figure_typed, hand_steps, waited_unit
from benchlog.core.errors import BadReadings
from benchlog.core.manual_accuracy import printed_accuracy
from benchlog.meter.model import MeterTable, Precision, ReadingsFile, ReadingTable, reading_faults
from benchlog.meter.shown import is_figure, is_over_range
from benchlog.plan.model import Plan

#: The boxes of the meter itself.
VOLTAGE, CURRENT, TEMPERATURE = "voltage", "current", "battery_c"
_MINUTE_S = 60.0


def filled_sheet(
    plan: Plan, boxes: Mapping[tuple[int, str], str], meter: Mapping[str, str], taken: datetime
) -> ReadingsFile:
    """The readings of a sheet.

    Args:
        plan: whose sheet. boxes: number of the step from 0, and "value" or one of its extras -> what was typed.
        meter: "voltage" and "current", its accuracy, and "battery_c" -> what was typed. taken: when.

    Raises:
        BadReadings: no box has a figure, or something typed is none; every fault at once.
    """
    faults: list[str] = []
    found = _temperature(meter.get(TEMPERATURE, "").strip(), faults)
    for number, step in enumerate(hand_steps(plan)):
        typed = {key: text.strip() for (at, key), text in boxes.items() if at == number and text.strip()}
        if typed:
            found += _reading(step, typed, faults)
    if not faults and not any(table.role != "battery_c" for table in found):
        faults.append("no reading is filled in; type at least one, as the meter shows it")
    voltage, current = (_precision(key, meter.get(key, "").strip(), faults) for key in (VOLTAGE, CURRENT))
    if faults:
        raise BadReadings("the sheet", faults)
    return ReadingsFile(meter=MeterTable(taken=taken, voltage=voltage, current=current), reading=tuple(found))


def _reading(step: HandStep, typed: Mapping[str, str], faults: list[str]) -> list[ReadingTable]:
    """One step's reading; none, and why, where its boxes cannot be read."""
    shown = figure_typed(typed.get("value", ""), step)
    if shown is None:
        got = f'got "{typed["value"]}"' if "value" in typed else "it is empty"
        faults.append(f"{step.title}: needs a figure as the meter shows it, such as 12.63, or OL; {got}")
        return []
    table: dict[str, Any] = {**step.place, "value": shown[0], "unit": shown[1]}
    for key, name, unit_s in (("waited", "waited_s", waited_unit(step)[1]), ("averaged", "averaged_s", _MINUTE_S)):
        if key in typed and is_figure(typed[key]):
            table[name] = float(typed[key].replace(",", ".")) * unit_s
        elif key in typed:
            faults.append(f'{step.title}, {key}: needs a number, such as 10, got "{typed[key]}"')
    for key in ("lowest", "highest"):
        if key in typed and (is_figure(typed[key]) or is_over_range(typed[key])):
            table[key] = typed[key]
        elif key in typed:
            faults.append(f'{step.title}, {key}: needs a figure as the meter shows it, got "{typed[key]}"')
    if {"lowest", "highest"} & table.keys() and "averaged_s" in table:
        table["watched_s"] = table["averaged_s"]
    wrong = reading_faults(table)
    faults += [f"{step.title}: {fault}" for fault in wrong]
    return [] if wrong else [ReadingTable.model_validate(table)]


def _temperature(typed: str, faults: list[str]) -> list[ReadingTable]:
    if not typed:
        return []
    if not is_figure(typed):
        faults.append(f'battery, °C: needs a number, such as 18, got "{typed}"')
        return []
    return [ReadingTable(role="battery_c", state="asleep", value=typed, unit="degC")]


def _precision(key: str, typed: str, faults: list[str]) -> Precision | None:
    if not typed:
        return None
    found = printed_accuracy(typed)
    if found is None:
        faults.append(f'DC {key}: needs per cent and digits, such as 0.5 % + 2, got "{typed}"')
        return None
    return Precision(pct=found[0], digits=found[1])
