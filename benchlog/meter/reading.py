"""One reading as quantities: what the meter showed, and between which limits the true value lies."""

from dataclasses import dataclass

from benchlog.core.roles import ROLE_UNITS, UNITS
from benchlog.meter.model import MeterTable, Precision, ReadingTable
from benchlog.meter.shown import figure_of, is_over_range, step_of

#: Points of a voltage -> the role that it is, where it is one.
ROLE_BETWEEN: dict[tuple[str, str], str] = {
    ("battery +", "battery -"): "battery_v",
    ("block", "battery -"): "feed_v",
    ("87", "battery -"): "feed_v",
    ("bus", "battery -"): "ground_v",
    ("86", "battery -"): "trigger_v",
    ("key line", "battery -"): "key_v",
}
#: A drop that is measured directly.
FEED_DROP = "feed drop"
_DROPS = {("battery +", "block"): FEED_DROP}


@dataclass(frozen=True, slots=True)
class Bounds:
    """A value, and the limits that the true one lies between.

    A hand meter's error is one unknown that stays the same however often it is read, so its limits add up at their
    worst and nothing is averaged away.
    """

    value: float
    low: float
    high: float

    def __sub__(self, other: "Bounds") -> "Bounds":
        return Bounds(self.value - other.value, self.low - other.high, self.high - other.low)

    def __add__(self, other: "Bounds") -> "Bounds":
        return Bounds(self.value + other.value, self.low + other.low, self.high + other.high)

    def __neg__(self) -> "Bounds":
        return Bounds(-self.value, -self.high, -self.low)

    def times(self, factor: "Bounds") -> "Bounds":
        """The product; ``factor`` is above zero throughout."""
        corners = [one * other for one in (self.low, self.high) for other in (factor.low, factor.high)]
        return Bounds(self.value * factor.value, min(corners), max(corners))

    def in_units(self, factor: float) -> "Bounds":
        """The same in a smaller or larger unit."""
        return self.times(Bounds(factor, factor, factor))

    @property
    def half_width(self) -> float:
        """How far the true value may lie away."""
        return max(self.high - self.value, self.value - self.low)


@dataclass(frozen=True, slots=True)
class MeterReading:
    """One reading in canonical units.

    Attributes:
        quantity: a role, ``feed drop``, or the two points as ``A to B``.
        state: of the bike.
        now: what stood there; None where it was over range.
        lowest, highest: as the meter kept them; None where it did not, or they were over range.
        over: one of the three was over range.
        stated: the meter's accuracy is.
        swept: lowest and highest were given, over range or not.
        waited_s: since the key-off; None where not said. watched_s, averaged_s: 0 where not.
        loads_on: every planned circuit was on.
    """

    quantity: str
    state: str
    now: Bounds | None
    lowest: Bounds | None
    highest: Bounds | None
    over: bool
    stated: bool
    waited_s: float | None
    watched_s: float
    averaged_s: float
    loads_on: bool

    @property
    def level(self) -> Bounds | None:
        """The level over the time it was read: lowest and highest count where the meter did not average."""
        if self.now is None or self.averaged_s > 0:
            return self.now
        low = min(one.low for one in (self.now, self.lowest) if one is not None)
        high = max(one.high for one in (self.now, self.highest) if one is not None)
        return Bounds(self.now.value, low, high)


def reading_of(table: ReadingTable, meter: MeterTable) -> MeterReading:
    """A reading in canonical units, with the meter's limits of error."""
    unit = ROLE_UNITS[table.role] if table.role else "V"
    kind = {"A": meter.current, "V": meter.voltage}.get(unit)
    stated = _own(table, kind)
    quantity, turned = _quantity(table)
    factor = UNITS[table.unit][1]

    def bounds(shown: str | None) -> Bounds | None:
        if shown is None or is_over_range(shown):
            return None
        found = _bounds(shown, stated, factor)
        return -found if turned else found

    low, high = bounds(table.lowest), bounds(table.highest)
    given = [one for one in (table.value, table.lowest, table.highest) if one is not None]
    return MeterReading(
        quantity=quantity,
        state=table.state,
        now=bounds(table.value),
        lowest=high if turned else low,
        highest=low if turned else high,
        over=any(map(is_over_range, given)),
        stated=stated is not None,
        waited_s=table.waited_s,
        watched_s=table.watched_s,
        averaged_s=table.averaged_s,
        loads_on=table.loads_on,
    )


def _bounds(shown: str, stated: Precision | None, factor: float) -> Bounds:
    """Per cent of the reading and so many steps of its last place, to either side."""
    value, step = figure_of(shown), step_of(shown)
    error = 0.0 if stated is None else abs(value) * stated.pct / 100 + stated.digits * step
    # rounding to the last place is there whatever the manual says
    error = max(error, step / 2)
    return Bounds(value * factor, (value - error) * factor, (value + error) * factor)


def _own(table: ReadingTable, kind: Precision | None) -> Precision | None:
    """The accuracy in this range."""
    if table.pct is None and table.digits is None:
        return kind
    pct, digits = (kind.pct, kind.digits) if kind is not None else (0.0, 0.0)
    if kind is None and None in (table.pct, table.digits):
        return None
    return Precision(
        pct=pct if table.pct is None else table.pct, digits=digits if table.digits is None else table.digits
    )


def _quantity(table: ReadingTable) -> tuple[str, bool]:
    """What a reading is of, and whether its probes were the other way round."""
    if table.role is not None:
        return table.role, False
    points = (table.start or "", table.end or "")
    known = {**ROLE_BETWEEN, **_DROPS}
    if points in known:
        return known[points], False
    if points[::-1] in known:
        return known[points[::-1]], True
    return f"{points[0]} to {points[1]}", False
