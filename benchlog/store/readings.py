"""One reading of a bike's health at one date: what the store gives and the season is made from."""

from dataclasses import dataclass
from datetime import datetime

from benchlog.verdict.registry.engine import CHARGING_VOLTAGE, CRANK_MINIMUM
from benchlog.verdict.registry.key_off import OFF_STATE_DRAIN, RESTING_VOLTAGE
from benchlog.verdict.registry.loads import SOURCE_RESISTANCE

#: Quantity -> its unit; the names are those of the checks that measure them.
QUANTITIES: dict[str, str] = {
    kind.id: kind.unit
    for kind in (RESTING_VOLTAGE, SOURCE_RESISTANCE, CRANK_MINIMUM, OFF_STATE_DRAIN, CHARGING_VOLTAGE)
}


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured value.

    Attributes:
        at: when its log was recorded, with time zone (UTC).
        quantity: a key of ``QUANTITIES``.
        value: in that unit.
        uncertainty: expanded, k = 2, in the same unit; None where the logger's accuracy is not stated.
        temperature_c: of the battery, else the ambient one; None where neither was noted.
        record: number of the record that it is from; None for a plain log.
    """

    at: datetime
    quantity: str
    value: float
    uncertainty: float | None = None
    temperature_c: float | None = None
    record: int | None = None
