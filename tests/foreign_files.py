"""Twelve files as other programs write them, all of one invented bike at its bench; each with what was recorded."""

import datetime
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

BEGIN = datetime.datetime(2026, 11, 30, 11, 59, 30)
PLAN = """[install]
bike = "Larch"
[battery]
chemistry = "agm"
capacity_ah = 11.2
[feed]
fuse_a = 20
drop_max_v = 0.3
[limits]
off_state_drain_ma = 5.0
battery_sag_max_v = 0.6
resting_min_v = 12.4
"""


@dataclass(frozen=True)
class Recorded:
    """What was recorded: role -> values in canonical units; currents out of the battery are positive."""

    time_s: np.ndarray
    values: dict[str, np.ndarray]


def recorded(rate_hz: float, lasts_s: float = 260.0) -> Recorded:
    """Asleep, key on at 100 s, 5 A from 110 s, key off at 160 s."""
    time_s = np.arange(0, lasts_s, 1 / rate_hz)
    on = (time_s >= 100) & (time_s < 160)
    load_a = np.where((time_s >= 110) & (time_s < 160), 5.0, 0.0) + np.where(on, 0.7, 0.0)
    battery_a = np.round(load_a + 0.0021, 4)
    battery_v = np.round(12.74 - 0.03 * battery_a + 0.001 * np.sin(time_s), 3)
    trigger_v = np.where(on, battery_v - 0.05, 0.0).round(3)
    feed_v = np.where(on, battery_v - 0.02 * load_a, 0.0).round(3)
    return Recorded(time_s, {"battery_v": battery_v, "battery_a": battery_a, "trigger_v": trigger_v, "feed_v": feed_v})


@dataclass(frozen=True)
class ForeignFile:
    """One way of writing.

    Attributes:
        write: makes the file.
        rate_hz: samples a second.
        corrections: what the user types, where a guess is wrong or open.
        answers: to the questions behind the columns, accuracies left out.
        roles: what it holds.
    """

    write: Callable[[Path, Recorded], None]
    rate_hz: float = 10.0
    corrections: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    roles: tuple[str, ...] = ("battery_v", "battery_a", "trigger_v", "feed_v")


def _moments(of: Recorded) -> Iterator[datetime.datetime]:
    yield from (BEGIN + datetime.timedelta(seconds=float(t)) for t in of.time_s)


def _rows(of: Recorded, *roles: str) -> Iterator[tuple[datetime.datetime, list[float]]]:
    yield from zip(_moments(of), np.column_stack([of.values[role] for role in roles]).tolist(), strict=True)


def _save(path: Path, lines: list[str], encoding: str = "utf-8", end: str = "\n") -> None:
    path.write_bytes((end.join(lines) + end).encode(encoding))


ALL = ("battery_v", "battery_a", "trigger_v", "feed_v")


def two_columns(path: Path, of: Recorded) -> None:
    """Local date and time in two columns."""
    lines = ["Date,Time,Battery V,Battery A,Tail lamp V,Relay 87 V"]
    for at, values in _rows(of, *ALL):
        lines.append(f"{at:%Y-%m-%d},{at:%H:%M:%S.%f},{','.join(f'{v:.4f}' for v in values)}")
    _save(path, lines)


def german(path: Path, of: Recorded) -> None:
    """German dates, semicolons, decimal commas, umlauts in Latin-1."""
    lines = ["Datum;Uhrzeit;Batterie Spannung [V];Batterie Strom [A];Rücklicht [V];Relais 87 [V]"]
    for at, values in _rows(of, *ALL):
        cells = ";".join(f"{v:.4f}".replace(".", ",") for v in values)
        lines.append(f"{at:%d.%m.%Y};{at:%H:%M:%S},{at.microsecond // 1000:03d};{cells}")
    _save(path, lines, "latin-1", "\r\n")


def american(path: Path, of: Recorded) -> None:
    """American dates with AM and PM in one column."""
    lines = ['"Timestamp","Batt Volts","Batt Amps","Trigger (V)","Feed (V)"']
    for at, values in _rows(of, *ALL):
        stamp = f"{at.month}/{at.day}/{at.year} {at:%I:%M:%S}.{at.microsecond // 1000:03d} {at:%p}"
        lines.append(f'"{stamp}",{",".join(f"{v:.4f}" for v in values)}')
    _save(path, lines)


def unit_row(path: Path, of: Recorded) -> None:
    """A row of units under the names; current in mA, times in ms."""
    lines = ["t\tU_bat\tI_bat\tU_trig\tU_feed", "[ms]\t[V]\t[mA]\t[V]\t[V]"]
    rows = _rows(of, *ALL)
    for t, (_, (volts, amps, trigger, feed)) in zip(of.time_s, rows, strict=True):
        lines.append(f"{t * 1000:.0f}\t{volts:.3f}\t{amps * 1000:.1f}\t{trigger:.3f}\t{feed:.3f}")
    _save(path, lines)


def unit_cells(path: Path, of: Recorded) -> None:
    """A meter that changes its range and writes the unit into each cell."""
    lines = ["No.,Time,Battery,Current,Relay 86,Relay 87"]
    for n, (at, (volts, amps, trigger, feed)) in enumerate(_rows(of, *ALL), start=1):
        current = f"{amps:.3f} A" if amps >= 0.5 else f"{amps * 1000:.1f} mA"
        low = [f"{v:.3f} V" if v >= 1 else f"{v * 1000:.1f} mV" for v in (trigger, feed)]
        lines.append(f"{n},{at:%Y-%m-%d %H:%M:%S.%f},{volts:.3f} V,{current},{low[0]},{low[1]}")
    _save(path, lines)


def decimal_comma(path: Path, of: Recorded) -> None:
    """Decimal commas and seconds, with names that tell nothing."""
    lines = ["Zeit in s;Kanal 1 [V];Kanal 2 [A];Kanal 3 [V];Kanal 4 [V]"]
    for t, (_, values) in zip(of.time_s, _rows(of, *ALL), strict=True):
        lines.append(";".join(f"{v:.4f}".replace(".", ",") for v in (t, *values)))
    _save(path, lines)


def scope(path: Path, of: Recorded) -> None:
    """A scope's export: a preamble, and times that begin before the trigger."""
    lines = [
        "Model,four-channel scope",
        "Record Length,1500",
        "Sample Interval,1.0e-01,s",
        "Vertical Units,V,A,V,V",
        "",
    ]
    lines += ["TIME,CH1,CH2,CH3,CH4", "Second,Volt,Ampere,Volt,Volt"]
    for t, (_, values) in zip(of.time_s, _rows(of, *ALL), strict=True):
        lines.append(f"{t - 100:.6e}," + ",".join(f"{v:.5e}" for v in values))
    _save(path, lines)


def reversed_sign(path: Path, of: Recorded) -> None:
    """A battery monitor: what charges is positive."""
    lines = ["timestamp;battery voltage (V);battery current (A);ignition (V);fuse block (V)"]
    for at, (volts, amps, trigger, feed) in _rows(of, *ALL):
        lines.append(f"{at:%Y-%m-%dT%H:%M:%S.%f};{volts:.3f};{-amps:.4f};{trigger:.3f};{feed:.3f}")
    _save(path, lines)


def milliamperes(path: Path, of: Recorded) -> None:
    """Integers in mV and mA with a counter of ms, no word of a unit but in the names."""
    lines = ["millis,batt_mV,batt_mA,trig_mV,feed_mV"]
    for t, (_, values) in zip(of.time_s, _rows(of, *ALL), strict=True):
        lines.append(f"{t * 1000:.0f}," + ",".join(f"{v * 1000:.1f}" for v in values))
    _save(path, lines)


def slow_text(path: Path, of: Recorded) -> None:
    """One reading a second as text, without a header, across midnight."""
    lines = []
    for at, (volts, amps) in _rows(of, "battery_v", "battery_a"):
        night = at + datetime.timedelta(hours=11, minutes=59)
        lines.append(f"{night:%H:%M:%S}  {volts:6.3f} V  {amps:7.4f} A")
    _save(path, lines)


def utf16(path: Path, of: Recorded) -> None:
    """UTF-16 with tabs, and dates that could be either way round."""
    lines = ["Time\tVoltage (V)\tCurrent (A)\tTrigger (V)\tFeed (V)"]
    for at, values in _rows(of, *ALL):
        lines.append(f"{at.replace(month=3, day=4):%m/%d/%Y %H:%M:%S.%f}\t" + "\t".join(f"{v:.4f}" for v in values))
    _save(path, lines, "utf-16", "\r\n")


def spreadsheet(path: Path, of: Recorded) -> None:
    """A spreadsheet's export: a title, an empty line, names with spaces, an empty column at the end."""
    lines = ["Larch: bench test after the install;;;;;;", ";;;;;;"]
    lines.append("Messung Nr.;Zeit (s);Akku (V);Akku (A);Kl. 86 (V);Kl. 87 (V);")
    for n, (t, (_, values)) in enumerate(zip(of.time_s, _rows(of, *ALL), strict=True), start=1):
        lines.append(f"{n};{t:.1f};".replace(".", ",") + ";".join(f"{v:.4f}".replace(".", ",") for v in values) + ";")
    _save(path, lines, end="\r\n")


#: Name -> how it is written, and what the user must say.
FILES: dict[str, ForeignFile] = {
    "two_columns": ForeignFile(two_columns),
    "german": ForeignFile(german),
    "american": ForeignFile(american),
    "unit_row": ForeignFile(unit_row),
    "unit_cells": ForeignFile(unit_cells),
    "decimal_comma": ForeignFile(decimal_comma, corrections=("4 trigger_v", "5 feed_v")),
    "scope": ForeignFile(scope, corrections=("4 trigger_v", "5 feed_v")),
    "reversed_sign": ForeignFile(reversed_sign, corrections=("4 trigger_v",)),
    "milliamperes": ForeignFile(milliamperes),
    "slow_text": ForeignFile(slow_text, rate_hz=1.0, roles=("battery_v", "battery_a")),
    "utf16": ForeignFile(utf16, answers=("n",)),
    "spreadsheet": ForeignFile(spreadsheet),
}
