"""How long can the bike stand? Days until half charge, from the drain, self-discharge and the present charge."""

import math
from dataclasses import dataclass
from datetime import date, timedelta

from benchlog.plan.batteries import days_until, self_discharge
from benchlog.season.charge import USUAL_C, Charge
from benchlog.season.dates import day_words
from benchlog.store.readings import Reading

#: A lead-acid battery below this is left to harm itself; the days are counted to it.
FLOOR_PCT = 50.0
#: A battery that holds less than this share of its rated capacity is called worn (common practice, no source).
WORN_SHARE = 0.8
#: A drain without a stated uncertainty is taken as good to this share of itself.
UNSTATED_SHARE = 0.2
_DAYS_A_MONTH = 365.25 / 12


@dataclass(frozen=True, slots=True)
class Standing:
    """Days from the last rest voltage until half charge.

    Attributes:
        since: the day that the days are counted from.
        low_days, mid_days, high_days: the interval and the best figure; infinite where nothing takes charge.
        drain_ma: the drain behind it; None where none was measured, and then only self-discharge counts.
        storage_c: the temperature that self-discharge was taken at.
        because: one plain sentence.
    """

    since: date
    low_days: float
    mid_days: float
    high_days: float
    drain_ma: float | None
    storage_c: float
    because: str

    @property
    def until(self) -> date | None:
        """The day by which it should be charged: the earliest of the interval; None beyond ten years."""
        return self.since + timedelta(days=math.floor(self.low_days)) if self.low_days < 3653 else None

    @property
    def words(self) -> str:
        """Such as ``30 to 70 days``."""
        if self.high_days <= 0:
            return "0 days"
        if self.low_days <= 0:
            return f"at most {_days(self.high_days)} days"
        low = _days(self.low_days)
        return f"{low} to {_days(self.high_days)} days" if low != _days(self.high_days) else f"about {low} days"


def days_to_floor(charge_pct: float, capacity_ah: float, drain_ma: float, self_pct_a_month: float) -> float:
    """Days in which drain and self-discharge together take the charge above half; 0 where there is none.

    Args:
        charge_pct: present charge, per cent of ``capacity_ah``.
        drain_ma: steady, positive out of the battery.
        self_pct_a_month: per cent of ``capacity_ah`` lost a month on its own.
    """
    own_ma = capacity_ah * 1000.0 * self_pct_a_month / 100.0 / (_DAYS_A_MONTH * 24.0)
    return days_until(max(charge_pct - FLOOR_PCT, 0.0) / 100.0 * capacity_ah, max(drain_ma, 0.0) + own_ma)


def standing_of(
    charge: Charge,
    drain: Reading | None,
    chemistry: str,
    capacity_ah: float,
    allowed_ma: float | None = None,
    storage_c: float = USUAL_C,
) -> Standing:
    """The days, each bound from what is worst or best of everything at once.

    Args:
        drain: the latest; None where none was measured: the fewest days are then those at ``allowed_ma``, none
            without it.
        allowed_ma: the plan's limit of the drain.
    """
    drained = 0.0 if drain is None else drain.value
    doubt = allowed_ma or 0.0
    if drain is not None:
        doubt = UNSTATED_SHARE * abs(drain.value) if drain.uncertainty is None else drain.uncertainty
    least, most = self_discharge(chemistry, storage_c)
    low_days = days_to_floor(charge.low_pct, capacity_ah * WORN_SHARE, drained + doubt, most)
    return Standing(
        since=charge.at.date(),
        low_days=0.0 if drain is None and allowed_ma is None else low_days,
        mid_days=days_to_floor(charge.mid_pct, capacity_ah, drained, (least + most) / 2),
        high_days=days_to_floor(charge.high_pct, capacity_ah, drained - doubt, least),
        drain_ma=None if drain is None else drain.value,
        storage_c=storage_c,
        because=_because(charge, drain, chemistry, capacity_ah, allowed_ma, storage_c),
    )


def _because(charge: Charge, drain: Reading | None, chemistry: str, capacity_ah: float, allowed_ma: float | None,
             storage_c: float) -> str:  # fmt: skip
    least, most = self_discharge(chemistry, storage_c)
    if drain is None:
        taken = "no drain was measured" + (
            ", so the least number of days is not known"
            if allowed_ma is None
            else f", so from none to the planned {allowed_ma:g} mA"
        )
    else:
        taken = f"drain {drain.value:.2f} mA"
        if drain.uncertainty is None:
            taken += f" (accuracy not stated, ± {UNSTATED_SHARE * 100:.0f} % assumed)"
    return (
        f"from {charge.words} charge on {day_words(charge.at.date())} to 50 %: {taken}; self-discharge {least:.1f} to "
        f"{most:.1f} % a month at {storage_c:.0f} °C; {WORN_SHARE * 100:.0f} to 100 % of {capacity_ah:g} Ah"
    )


def _days(days: float) -> str:
    if math.isinf(days):
        return "very many"
    return f"{days:.0f}" if days < 100 else f"{round(days, -1):.0f}"
