"""What a meter shows with the circuits on: the drops, the sag, the battery's resistance and each circuit's current."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from benchlog.analysis.measurement import Finding, NotEvaluated
from benchlog.core.numbers import number
from benchlog.meter.proof import measured
from benchlog.meter.reading import FEED_DROP, Bounds, MeterReading
from benchlog.plan.model import Plan

OVER = "the meter was over range; choose a larger range and read again"
_NEAR_ZERO = "it cannot be told from zero, so a probe may not have touched"
_MILLIVOLTS = "a reading in the millivolt range would prove it"
_DIFFERENCE = "it is the difference of two large readings"
_DIRECTLY = "the drop measured directly, from battery + to the fuse block with all circuits on, would prove it"


@dataclass(frozen=True, slots=True)
class MeteredLoad:
    """The current of all circuits together, A.

    Attributes:
        amps: between which limits it lies. how: where that is known from, as a clause.
        read: the readings behind it. complete: nothing of it is the plan's word alone.
    """

    amps: Bounds
    how: str
    read: tuple[MeterReading, ...]
    complete: bool = True


def latest(readings: Sequence[MeterReading], quantity: str, *states: str) -> MeterReading | None:
    """The last reading of a quantity in one of these states that shows a figure."""
    fitting = [one for one in readings if one.quantity == quantity and one.state in states and one.level is not None]
    return fitting[-1] if fitting else None


@dataclass(frozen=True, slots=True)
class _Loss:
    """Volts that are lost with the circuits on.

    Attributes:
        read: the readings behind it. how: it was read. one_sided, remedy: as of a finding.
    """

    volts: Bounds
    read: tuple[MeterReading, ...]
    how: str
    one_sided: str | None = None
    remedy: str | None = None


def load_of(readings: Sequence[MeterReading], plan: Plan) -> MeteredLoad | None:
    """The load with all circuits on; what was not measured counts as planned, give or take its tolerance."""
    feed = latest(readings, "feed_a", "all on")
    if feed is not None and feed.level is not None:
        return MeteredLoad(feed.level, f"at {number(feed.level.value)} A through the feed", (feed,))
    parts, read = [], []
    for circuit in plan.circuit:
        own = latest(readings, f"slot{circuit.slot}_a", "all on", f"slot {circuit.slot} on")
        share = circuit.planned_a * circuit.tolerance_pct / 100
        planned = Bounds(circuit.planned_a, circuit.planned_a - share, circuit.planned_a + share)
        parts.append(planned if own is None or own.level is None else own.level)
        read += [] if own is None else [own]
    if not parts:
        return None
    total = sum(parts[1:], parts[0])
    if len(read) == len(parts):
        return MeteredLoad(total, f"at {number(total.value)} A, the circuits' currents added", tuple(read))
    step = _step(readings, "battery_a")
    if step is not None and step[0].low > 0:
        return MeteredLoad(step[0], f"at {number(step[0].value)} A more from the battery than before", step[1])
    left = "of the circuits that were not read" if read else "which was not measured"
    return MeteredLoad(total, f"at the planned load give or take its tolerance, {left}", tuple(read), complete=False)


def feed_drops(readings: Sequence[MeterReading], plan: Plan) -> list[Finding]:
    """``feed_drop``, V: measured directly, and as the difference of two voltages."""
    load = load_of(readings, plan)
    found = [_direct(one, plan, load) for one in _each(readings, FEED_DROP, "all on")]
    battery, feed = latest(readings, "battery_v", "all on"), latest(readings, "feed_v", "all on")
    if battery is not None and battery.level is not None and feed is not None and feed.level is not None:
        volts = battery.level - feed.level
        near_zero = _NEAR_ZERO if volts.low <= 0 <= volts.high else None
        found.append(_at_planned(_Loss(volts, (battery, feed), _DIFFERENCE, near_zero, _DIRECTLY), plan, load))
    return found


def ground_lifts(readings: Sequence[MeterReading], plan: Plan) -> list[Finding]:
    """``ground_lift``, V."""
    load = load_of(readings, plan)
    return [_direct(one, plan, load) for one in _each(readings, "ground_v", "all on")]


def sags(readings: Sequence[MeterReading], plan: Plan) -> list[Finding]:
    """``battery_sag``, V: the battery before and after the circuits come on."""
    step = _step(readings, "battery_v")
    if step is None:
        return []
    return [_at_planned(_Loss(-step[0], step[1], "from key on to all on"), plan, load_of(readings, plan))]


def source_resistances(readings: Sequence[MeterReading], plan: Plan) -> list[Finding]:
    """``source_resistance``, mΩ, from the battery's voltage and a current that was measured."""
    step, load = _step(readings, "battery_v"), load_of(readings, plan)
    if step is None or load is None or not load.complete or load.amps.low <= 0:
        return []
    ohm = _over(-step[0], load.amps)
    story = f"the voltage fell by {number(-step[0].value)} V {load.how}"
    return [measured(ohm.in_units(1000.0), (*step[1], *load.read), story)]


def slot_currents(readings: Sequence[MeterReading], slot: int) -> list[Finding]:
    """``slot_N_current``, A."""
    read = _each(readings, f"slot{slot}_a", "all on", f"slot {slot} on")
    return [
        NotEvaluated(OVER)
        if one.level is None
        else measured(one.level, [one], "", one_sided=OVER if one.over else None)
        for one in read
    ]


def _each(readings: Sequence[MeterReading], quantity: str, *states: str) -> list[MeterReading]:
    return [one for one in readings if one.quantity == quantity and one.state in states]


def _direct(one: MeterReading, plan: Plan, load: MeteredLoad | None) -> Finding:
    """A drop that one reading shows."""
    if one.level is None:
        return NotEvaluated(OVER)
    near_zero = _NEAR_ZERO if one.level.low <= 0 <= one.level.high else None
    return _at_planned(_Loss(one.level, (one,), "measured directly", near_zero, near_zero and _MILLIVOLTS), plan, load)


def _at_planned(loss: _Loss, plan: Plan, load: MeteredLoad | None) -> Finding:
    """What would be lost at the planned load; as it was read where the plan has no circuits."""
    volts, read, how = loss.volts, loss.read, loss.how
    if load is not None:
        if load.amps.low <= 0:
            return NotEvaluated("the circuits' currents, as read, cannot be told from zero, so the load is not known")
        planned_a = plan.planned_load_a
        volts = volts.times(_over(Bounds(planned_a, planned_a, planned_a), load.amps))
        read, how = (*read, *load.read), f"{how}, {load.how}"
    return measured(volts, read, how, one_sided=loss.one_sided, remedy=loss.remedy)


def _over(found: Bounds, amps: Bounds) -> Bounds:
    """Divided by a current that is above zero throughout."""
    return found.times(Bounds(1 / amps.value, 1 / amps.high, 1 / amps.low))


def _step(readings: Sequence[MeterReading], quantity: str) -> tuple[Bounds, tuple[MeterReading, ...]] | None:
    """How much more it is with all circuits on than with the key on alone."""
    off, on = latest(readings, quantity, "key on"), latest(readings, quantity, "all on")
    if off is None or on is None or off.level is None or on.level is None:
        return None
    return on.level - off.level, (off, on)


#: What each of these checks makes of the readings and the plan.
LOAD_CHECKS: dict[str, Callable[[Sequence[MeterReading], Plan], list[Finding]]] = {
    "battery_sag": sags,
    "feed_drop": feed_drops,
    "ground_lift": ground_lifts,
    "source_resistance": source_resistances,
}
