"""One quantity's readings as arrays, and what else than age may move them: temperature, or the time of year."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from benchlog.season.trend import Array, thinned
from benchlog.store.readings import Reading

#: A level is given at this temperature where temperature was noted.
AT_C = 20.0
#: Readings and days that a trend needs at least.
LEAST_READINGS, LEAST_DAYS = 6, 60
DAYS_A_YEAR = 365.25
#: A reading this many times as uncertain as the usual one says little of a trend.
_WILD = 3.0
# temperatures that differ less than this (standard deviation, K) explain nothing
_LEAST_SPREAD_K = 2.0
_NOTED_SHARE = 0.8
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Series:
    """Readings of one quantity in time order.

    Attributes:
        day: days since 1970, ascending.
        value: in the quantity's unit.
        temperature_c: NaN where not noted.
        uncertainty: k = 2; NaN where not stated.
        left_out: readings too uncertain to count beside the others.
    """

    day: Array
    value: Array
    temperature_c: Array
    uncertainty: Array
    left_out: int = 0

    def __len__(self) -> int:
        """How many readings."""
        return len(self.day)

    def part(self, start: int, stop: int | None = None) -> "Series":
        """Some of it, by index."""
        here = slice(start, stop)
        return Series(self.day[here], self.value[here], self.temperature_c[here], self.uncertainty[here], self.left_out)

    @property
    def days(self) -> float:
        """From the first to the last reading."""
        return float(self.day[-1] - self.day[0]) if len(self) else 0.0

    @property
    def usual_uncertainty(self) -> float | None:
        """The median, k = 2; None where none is stated."""
        stated = self.uncertainty[np.isfinite(self.uncertainty)]
        return float(np.median(stated)) if len(stated) else None


@dataclass(frozen=True, slots=True)
class Others:
    """What else than age may move a series.

    Attributes:
        columns: (readings, k), each 0 at ``AT_C`` or over a whole year on average.
        kind: which; "none" where the temperature was noted and kept still.
    """

    columns: Array
    kind: str


def series_of(readings: Sequence[Reading], quantity: str) -> Series:
    """The readings of one quantity that can be compared with each other; thousands of them are thinned."""
    own = sorted((r for r in readings if r.quantity == quantity and math.isfinite(r.value)), key=lambda r: r.at)
    day = np.array([day_of(r.at) for r in own], dtype=np.float64)
    columns = np.array(
        [(r.value, _or_nan(r.temperature_c), _or_nan(r.uncertainty)) for r in own], dtype=np.float64
    ).reshape(len(own), 3)
    stated = columns[np.isfinite(columns[:, 2]), 2]
    left = np.zeros(len(day), dtype=np.bool_)
    if len(stated) >= LEAST_READINGS:
        left = np.nan_to_num(columns[:, 2]) > _WILD * float(np.median(stated))
    day, columns = thinned(day[~left], columns[~left])
    return Series(day, columns[:, 0], columns[:, 1], columns[:, 2], int(left.sum()))


def compared(series: Series) -> tuple[Series, Others]:
    """The readings to compare, and what else may move them.

    Temperature where at least four of five readings have it (the others are left out): none where it kept still.
    Otherwise the time of year, a sine and a cosine of one year: a swing with the seasons is then no trend, and a
    series too short to tell the two apart gets an interval wide enough to say so.
    """
    noted = np.isfinite(series.temperature_c)
    if len(series) and noted.mean() >= _NOTED_SHARE and noted.sum() >= min(LEAST_READINGS, len(series)):
        kept = Series(
            series.day[noted], series.value[noted], series.temperature_c[noted], series.uncertainty[noted],
            series.left_out,
        )  # fmt: skip
        if float(np.std(kept.temperature_c)) < _LEAST_SPREAD_K:
            return kept, Others(np.zeros((len(kept), 0)), "none")
        return kept, Others((kept.temperature_c - AT_C)[:, None], "temperature")
    angle = 2 * np.pi * series.day / DAYS_A_YEAR
    return series, Others(np.column_stack([np.cos(angle), np.sin(angle)]), "time of year")


def day_of(at: datetime) -> float:
    """Days since 1970 UTC."""
    return (at - _EPOCH).total_seconds() / 86400.0


def moment_of(day: float) -> datetime:
    """The moment so many days after 1970 UTC."""
    return _EPOCH + timedelta(days=float(day))


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
