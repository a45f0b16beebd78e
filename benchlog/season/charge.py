"""How full is the battery? An interval of charge from one rest voltage, its chemistry and its temperature."""

import math
from dataclasses import dataclass
from datetime import datetime

from benchlog.plan.batteries import CHEMISTRY, REST_V_PER_K, state_of_charge
from benchlog.store.readings import Reading

#: Where a battery's temperature was not noted it is taken as the one, give or take the other.
USUAL_C, UNKNOWN_K = 20.0, 15.0
#: An interval as wide as this, per cent of charge, says little.
SAYS_LITTLE_PCT = 33.0


@dataclass(frozen=True, slots=True)
class Charge:
    """State of charge, per cent of what the battery holds.

    Attributes:
        at: when its rest voltage was measured.
        resting_v: V.
        low_pct, mid_pct, high_pct: the best figure and what tables, logger and temperature leave open.
        because: one plain sentence.
    """

    at: datetime
    resting_v: float
    low_pct: float
    mid_pct: float
    high_pct: float
    because: str

    @property
    def words(self) -> str:
        """Such as ``60 to 85 %``: rounded outward to 5 %."""
        low, high = 5 * math.floor(self.low_pct / 5 + 1e-9), 5 * math.ceil(self.high_pct / 5 - 1e-9)
        if low == high:
            return f"about {low} %"
        return f"{low} to {high} %"

    @property
    def says_little(self) -> bool:
        """Whether nearly any charge would fit."""
        return self.high_pct - self.low_pct >= SAYS_LITTLE_PCT


def charge_of(reading: Reading, chemistry: str) -> Charge:
    """The charge that a rest voltage stands for.

    The band within which tables disagree and the reading's own uncertainty are added: the first is one and the same
    error for every reading, not chance.

    Raises:
        KeyError: not a chemistry.
    """
    kind = CHEMISTRY[chemistry]
    warm_c = USUAL_C if reading.temperature_c is None else reading.temperature_c
    doubt_v = reading.uncertainty or 0.0
    if reading.temperature_c is None and kind.lead_acid:
        doubt_v += REST_V_PER_K * UNKNOWN_K
    mid = state_of_charge(chemistry, reading.value, warm_c)
    low = state_of_charge(chemistry, reading.value - doubt_v, warm_c).low_pct
    high = state_of_charge(chemistry, reading.value + doubt_v, warm_c).high_pct
    return Charge(reading.at, reading.value, low, mid.mid_pct, high, _because(reading, chemistry, low, high))


def _because(reading: Reading, chemistry: str, low: float, high: float) -> str:
    kind = CHEMISTRY[chemistry]
    text = f"{reading.value:.2f} V at rest, {kind.name} battery"
    if not kind.lead_acid and high - low >= SAYS_LITTLE_PCT:
        return (
            f"{text}: its voltage hardly moves between about 30 and 90 %, so it says nearly nothing; "
            "only counting charge, or charging it full, tells"
        )
    parts = [f"tables for it differ by ± {kind.band_v:.2f} V"]
    if reading.uncertainty is None:
        parts.append("the logger's accuracy is not stated, so its own error is left out")
    if reading.temperature_c is None and kind.lead_acid:
        parts.append(f"its temperature was not noted, so {USUAL_C:.0f} ± {UNKNOWN_K:.0f} °C is assumed")
    return f"{text}; {'; '.join(parts)}"
