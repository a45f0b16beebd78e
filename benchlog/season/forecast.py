"""When would a limit be crossed? An interval of dates from the trend's interval, or why there is none."""

import math
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np

from benchlog.core.spread import MEDIAN_U, robust_spread
from benchlog.season.series import DAYS_A_YEAR, LEAST_DAYS, LEAST_READINGS, Others, Series, day_of, moment_of
from benchlog.season.trend import Z, autocorrelation_inflation, partial_slope

#: A trend is not carried further than this.
HORIZON_YEARS = 5.0
#: A trend is proven below this probability of chance.
PROVEN_P = 0.05

State = Literal["crossed", "at the limit", "will cross", "inside", "open"]


@dataclass(frozen=True, slots=True)
class Trend:
    """How a quantity moves.

    Attributes:
        since, until: first and last reading behind it.
        n: readings.
        per_year, low, high: units a year with the 95 % interval; at 20 degC where temperature was noted.
        p: probability of so clear an order without a trend.
        level, level_u: the value at ``middle`` with its expanded uncertainty (k = 2), same conditions.
        middle: day since 1970 in the middle of the readings.
        others: what was taken out first: "temperature", "time of year" or "none".
        per_other: units a kelvin where temperature was taken out, else None.
        proven: whether there is one.
        because: one plain sentence.
    """

    since: date
    until: date
    n: int
    per_year: float
    low: float
    high: float
    p: float
    level: float
    level_u: float
    middle: float
    others: str
    per_other: float | None
    proven: bool
    because: str

    def at(self, day: float) -> float:
        """The level on a day since 1970."""
        return self.level + self.per_year * (day - self.middle) / DAYS_A_YEAR

    def band(self, day: float) -> tuple[float, float]:
        """The interval of the level on a day since 1970."""
        years = (day - self.middle) / DAYS_A_YEAR
        slopes = (self.low - self.per_year, self.high - self.per_year)
        reach = [math.hypot(self.level_u, slope * years) for slope in slopes]
        down, up = (reach[0], reach[1]) if years >= 0 else (reach[1], reach[0])
        return self.at(day) - down, self.at(day) + up


@dataclass(frozen=True, slots=True)
class TooFew:
    """No trend can be looked for yet, and why."""

    because: str
    n: int


@dataclass(frozen=True, slots=True)
class LimitCrossing:
    """Where a quantity stands against its limit.

    Attributes:
        state: "open" where there is no limit or no reading.
        side: "min" or "max", the side that is nearest in time or crossed; None where open.
        limit: in the quantity's unit.
        earliest, latest: dates between which the limit would be crossed; ``latest`` None: later than five years.
    """

    state: State
    side: Literal["min", "max"] | None = None
    limit: float | None = None
    earliest: date | None = None
    latest: date | None = None


def trend_of(series: Series, others: Others) -> Trend | TooFew:
    """The trend of readings between two breaks."""
    n = len(series)
    if n < LEAST_READINGS or series.days < LEAST_DAYS:
        so_far = f"{n} over {series.days:.0f} days" if n > 1 else f"{'one' if n else 'none'} so far"
        return TooFew(f"too few readings for a trend: {so_far}, {LEAST_READINGS} over {LEAST_DAYS} days are needed", n)
    middle = float(series.day.mean())
    slope, own, residual = partial_slope((series.day - middle) / DAYS_A_YEAR, series.value, others.columns)
    spread = robust_spread(residual)
    inflation = autocorrelation_inflation(residual, 1 + others.columns.shape[1])
    scatter = Z * MEDIAN_U * spread / math.sqrt(n) * math.sqrt(inflation)
    moved = abs(slope.slope) * series.days / DAYS_A_YEAR
    known = series.usual_uncertainty or 0.0
    ordered = slope.p < PROVEN_P and slope.low * slope.high > 0
    proven = ordered and moved > known
    return Trend(
        since=moment_of(series.day[0]).date(),
        until=moment_of(series.day[-1]).date(),
        n=n,
        per_year=slope.slope,
        low=slope.low,
        high=slope.high,
        p=slope.p,
        level=slope.intercept,
        level_u=math.hypot(scatter, known),
        middle=middle,
        others=others.kind,
        per_other=float(own[0]) if others.kind == "temperature" else None,
        proven=proven,
        because=_because(proven, ordered, others.kind, series.days),
    )


def crossing_of(
    trend: Trend | TooFew, now: tuple[float, float] | None, low: float | None, high: float | None, today: date
) -> LimitCrossing:
    """Where the quantity stands against its limits.

    Args:
        now: the present value and its expanded uncertainty; None without a reading.
        low, high: limits, None where the side is open.
    """
    if now is None or (low is None and high is None):
        return LimitCrossing("open")
    value, doubt = now
    # distance inside each limit, the tighter first
    sides: list[tuple[float, Literal["min", "max"], float]] = []
    if low is not None:
        sides.append((value - low, "min", low))
    if high is not None:
        sides.append((high - value, "max", high))
    inside, side, limit = min(sides)
    if inside < -doubt:
        return LimitCrossing("crossed", side, limit)
    if inside < doubt:
        return LimitCrossing("at the limit", side, limit)
    if isinstance(trend, Trend) and trend.proven:
        toward: Literal["min", "max"] = "max" if trend.per_year > 0 else "min"
        for _, side, limit in sides:
            if side == toward:
                return _dated(trend, side, limit, today)
    return LimitCrossing("inside", side, limit)


def _dated(trend: Trend, side: Literal["min", "max"], limit: float, today: date) -> LimitCrossing:
    now = day_of(moment_of((today - date(1970, 1, 1)).days))
    days = np.arange(now, now + HORIZON_YEARS * DAYS_A_YEAR, 1.0)
    bands = np.array([trend.band(day) for day in days])
    near, far = (bands[:, 1], bands[:, 0]) if side == "max" else (bands[:, 0], bands[:, 1])
    early, late = (np.flatnonzero(edge >= limit if side == "max" else edge <= limit) for edge in (near, far))
    if not len(early):
        return LimitCrossing("inside", side, limit)
    return LimitCrossing(
        "will cross",
        side,
        limit,
        moment_of(days[early[0]]).date(),
        moment_of(days[late[0]]).date() if len(late) else None,
    )


def _because(proven: bool, ordered: bool, others: str, days: float) -> str:
    if proven:
        return {
            "temperature": "at 20 °C: the effect of the noted temperatures was taken out",
            "time of year": "the effect of the time of year was taken out, as temperatures were not noted",
            "none": "the noted temperatures hardly differ",
        }[others]
    if ordered:
        return "no trend proven: the change lies within the readings' own uncertainty"
    if others == "time of year":
        season = ", and in less than a year age and season look alike" if days < DAYS_A_YEAR else ""
        return f"no trend proven: temperatures were not noted{season}; note them with each record"
    return "no trend proven: the readings scatter more than they change"
