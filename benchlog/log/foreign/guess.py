"""What the columns of a foreign file probably mean: by name, unit and value; a draft that the user corrects."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from benchlog.core.roles import ROLE_UNITS
from benchlog.log.foreign.dates import clock_format, date_format, date_kind, is_iso
from benchlog.log.foreign.look import SeenColumn, SeenTable
from benchlog.log.foreign.names import Quantity, is_count, is_mark, is_time, quantity_of, role_of
from benchlog.log.foreign.units import unit_in

#: V between which a 12 V battery lies, A above which a figure is rather mA, and V below which the alternator does not
#: charge, so that the current flows out (common practice, no source).
_BATTERY_V, _LARGEST_A, _NOT_CHARGING_V = (7.0, 16.5), 700.0, 13.0
_CORRELATED = 0.5
_EPOCH_S, _EPOCH_MS = 1e9, 1e11


@dataclass(frozen=True, slots=True)
class Meant:
    """What one column probably is.

    Attributes:
        role: a role, ``time``, or empty where the column is not used.
        unit: of its numbers; empty for a role's own.
        positive: what a positive current means.
        why: what speaks for it.
        unsure: the direction of a current, which nothing tells.
    """

    role: str
    unit: str = ""
    positive: str = "discharge"
    why: str = ""
    unsure: bool = False


@dataclass(slots=True)
class Draft:
    """A logger file in the making.

    Attributes:
        seen: the file.
        meant: column number from 1 -> what it is.
        time: the table [time] without its columns: ``unit`` or ``format``.
        day_unsure: day and month of its dates could be the other way round.
        unit_unsure: no word tells the unit of its times.
        rate_hz: samples a second, where no column tells the time.
        accuracy: quantity (V, A) -> (per cent of the reading, digits of the last place).
    """

    seen: SeenTable
    meant: dict[int, Meant]
    time: dict[str, str] = field(default_factory=dict)
    day_unsure: bool = False
    unit_unsure: bool = False
    rate_hz: float | None = None
    accuracy: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def times(self) -> list[int]:
        """Numbers of the columns that tell the time, the date first."""
        return [number for number, meant in self.meant.items() if meant.role == "time"]

    def logger(self, name: str) -> dict[str, Any]:
        """The tables of a logger file."""
        headers = Counter(column.header.casefold() for column in self.seen.columns)

        def column_of(number: int) -> str | int:
            header = self.seen.columns[number - 1].header
            return header if header and headers[header.casefold()] == 1 else number

        head: dict[str, Any] = {"name": name}
        tables: dict[str, Any] = {"logger": head}
        if self.times:
            columns = [column_of(number) for number in self.times]
            tables["time"] = {"column": columns[0] if len(columns) == 1 else columns, **self.time}
        elif self.rate_hz is not None:
            head["rate_hz"] = self.rate_hz
        used = [(number, meant) for number, meant in self.meant.items() if meant.role not in ("", "time")]
        tables["channel"] = [self._channel(column_of(number), number, meant) for number, meant in used]
        return tables

    def _channel(self, column: str | int, number: int, meant: Meant) -> dict[str, Any]:
        channel: dict[str, Any] = {"column": column, "role": meant.role}
        own = ROLE_UNITS[meant.role]
        if meant.unit and own != "text":
            channel["unit"] = meant.unit
        if meant.positive == "charge" and own == "A":
            channel["positive"] = "charge"
        seen = self.seen.columns[number - 1]
        if own in self.accuracy:
            pct, digits = self.accuracy[own]
            last_place = 10.0**-seen.decimals
            channel |= {"gain_error_pct": pct, "offset_error": round(digits * last_place, 12), "resolution": last_place}
        if seen.over:
            channel["over_range"] = list(seen.over)
        return channel


def draft_of(seen: SeenTable) -> Draft:
    """Guess every column of a file that was looked at."""
    draft = Draft(seen, {column.number: Meant("", why="not used") for column in seen.columns})
    _time(draft)
    for column in seen.columns:
        if column.number not in draft.times and not column.is_number and is_mark(column.header):
            draft.meant[column.number] = Meant("mark", why="its name")
    _by_name(draft)
    _by_value(draft)
    _signs(draft)
    return draft


def corrected(draft: Draft, number: int, said: Mapping[str, str]) -> None:
    """Take what the user says of a column: ``role``, ``unit``, ``positive``, whichever is given."""
    old = draft.meant[number]
    positive = said.get("positive", old.positive)
    unsure = old.unsure and "positive" not in said
    new = Meant(said.get("role", old.role), said.get("unit", old.unit), positive, "as you say", unsure)
    if "role" in said and said["role"] != old.role and "unit" not in said:
        same = ROLE_UNITS.get(said["role"]) == ROLE_UNITS.get(old.role)
        new = replace(new, unit=old.unit if same else draft.seen.columns[number - 1].unit or "")
    draft.meant[number] = new
    if said.get("role") == "time":
        draft.time, draft.unit_unsure = _number_time(draft.seen.columns[number - 1])


def _time(draft: Draft) -> None:
    columns = draft.seen.columns
    kinds = {column.number: date_kind(column.cells[:400]) for column in columns}
    cells = {column.number: column.cells[:400] for column in columns}
    both = next((n for n, kind in kinds.items() if kind == "both"), None)
    day = next((n for n, kind in kinds.items() if kind == "date"), None)
    clock = next((n for n, kind in kinds.items() if kind == "clock"), None)
    if both is not None:
        draft.meant[both] = Meant("time", why="date and time")
        if is_iso(cells[both]):
            draft.time = {"unit": "iso8601"}
            return
        form, draft.day_unsure = date_format(cells[both], cells[both])
        draft.time = {"format": f"{form} {clock_format(cells[both])}"}
    elif day is not None and clock is not None:
        draft.meant[day], draft.meant[clock] = Meant("time", why="date"), Meant("time", why="time of day")
        draft.meant = {n: draft.meant[n] for n in (day, clock, *(n for n in draft.meant if n not in (day, clock)))}
        form, draft.day_unsure = date_format(cells[day], cells[clock])
        draft.time = {"format": f"{form} {clock_format(cells[clock])}"}
    elif clock is not None:
        draft.meant[clock] = Meant("time", why="time of day")
        draft.time = {"format": clock_format(cells[clock])}
    else:
        _counted_time(draft, columns)


def _counted_time(draft: Draft, columns: Sequence[SeenColumn]) -> None:
    """A column of numbers that only rise: by name, else the first one that is no mere count of the samples."""
    rising = [column for column in columns if column.is_number and _rises(column)]
    named = [column for column in rising if is_time(column.header)]
    in_s = [column for column in rising if column.unit in ("s", "ms", "us")]
    others = [column for column in rising if not is_count(column.header)]
    for column in (*named[:1], *in_s[:1], *others[:1]):
        draft.meant[column.number] = Meant("time", why="it only rises")
        draft.time, draft.unit_unsure = _number_time(column)
        return


def _number_time(column: SeenColumn) -> tuple[dict[str, str], bool]:
    """The unit of a time in numbers, and whether it is no more than likely."""
    first = float(column.values[np.isfinite(column.values)][0]) if np.isfinite(column.values).any() else 0.0
    if first > _EPOCH_MS:
        return {"unit": "epoch_ms"}, False
    if first > _EPOCH_S:
        return {"unit": "epoch_s"}, False
    unit = column.unit or unit_in(column.header)
    if unit in ("s", "ms", "us"):
        return {"unit": unit}, False
    return {"unit": "s"}, True


def _rises(column: SeenColumn) -> bool:
    values = column.values[np.isfinite(column.values)]
    steps = np.diff(values)
    return len(steps) > 1 and bool((steps >= 0).mean() > 0.99 and (steps > 0).any() and values[-1] > values[0])


def _by_name(draft: Draft) -> None:
    taken = {meant.role for meant in draft.meant.values()}
    for column in _open(draft):
        quantity = quantity_of(column.header, column.unit) or _quantity_by_value(column)
        role = role_of(column.header, quantity, taken)
        if role is not None:
            taken.add(role)
            draft.meant[column.number] = Meant(role, _unit(column, role), why="its name")


def _by_value(draft: Draft) -> None:
    """The battery's voltage and current, where no name tells them: the first that could be."""
    taken = {meant.role for meant in draft.meant.values()}
    for column in _open(draft):
        quantity = quantity_of(column.header, column.unit) or _quantity_by_value(column)
        role = {"V": "battery_v", "A": "battery_a"}.get(quantity or "")
        if role is None or role in taken:
            continue
        if role == "battery_v" and not _is_battery(column):
            continue
        taken.add(role)
        draft.meant[column.number] = Meant(role, _unit(column, role), why="its values")


def _open(draft: Draft) -> list[SeenColumn]:
    return [
        column
        for column in draft.seen.columns
        if draft.meant[column.number].role == "" and column.is_number and not is_count(column.header)
    ]


def _quantity_by_value(column: SeenColumn) -> Quantity | None:
    return "V" if _is_battery(column) else None


def _is_battery(column: SeenColumn) -> bool:
    median = float(np.nanmedian(column.values)) * {"mV": 1e-3, "uV": 1e-6}.get(column.unit or "", 1.0)
    return _BATTERY_V[0] < median < _BATTERY_V[1] or (column.unit is None and 7e3 < median < 16.5e3)


def _unit(column: SeenColumn, role: str) -> str:
    if column.unit is not None:
        return column.unit
    most = float(np.nanmax(np.abs(column.values)))
    if ROLE_UNITS[role] == "V" and most > 1000:
        return "mV"
    if ROLE_UNITS[role] == "A" and most > _LARGEST_A:
        return "mA"
    return ROLE_UNITS[role]


def _signs(draft: Draft) -> None:
    """Which way a positive battery current flows: out of the battery lowers its voltage."""
    volts = next((draft.seen.columns[n - 1] for n, meant in draft.meant.items() if meant.role == "battery_v"), None)
    for number, meant in list(draft.meant.items()):
        if meant.role not in ("battery_a", "drain_a"):
            continue
        positive, why = _positive(draft.seen.columns[number - 1], volts)
        said = f"{meant.why}; {why}" if why else meant.why
        draft.meant[number] = replace(meant, positive=positive, why=said, unsure=not why)


def _positive(amps: SeenColumn, volts: SeenColumn | None) -> tuple[str, str]:
    """What positive means, and what tells it; empty where nothing does."""
    if volts is not None:
        both = np.isfinite(amps.values) & np.isfinite(volts.values)
        current, voltage = amps.values[both], volts.values[both]
        if len(current) > 9 and np.ptp(current) > 0 and np.ptp(voltage) > 0:
            slope = float(np.corrcoef(current, voltage)[0, 1])
            if abs(slope) > _CORRELATED:
                falls = "falls" if slope < 0 else "rises"
                return "discharge" if slope < 0 else "charge", f"the voltage {falls} as it grows"
        resting = current[voltage * (1e-3 if volts.unit == "mV" else 1.0) < _NOT_CHARGING_V]
        if len(resting) and abs(float(np.mean(resting))) > 0:
            negative = float(np.mean(resting)) < 0
            return "charge" if negative else "discharge", f"{'negative' if negative else 'positive'} without charging"
    return "discharge", ""
