"""How far to trust a season's trends and breaks, on simulated seasons: python tests/season_table.py [seasons].

Prints how often the trend's 95 % interval covers the truth, how often a season without a trend raises a false
alarm, and how often a new battery is found and a season without one is said to have a break; with temperatures
noted and without.
"""

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from season_cases import START, USUAL, readings_of, season_days, temperature, whole_season

from benchlog.season import season_of
from benchlog.season.forecast import Trend, trend_of
from benchlog.season.series import compared, series_of

#: A new battery beside an aged one.
NEW_BATTERY = {"source_resistance": -8.0, "resting_voltage": 0.10, "crank_minimum": 0.4}
AGEING = {"source_resistance": 10.0, "resting_voltage": -0.10, "crank_minimum": -0.4}
MOVED_BY_TEMPERATURE = ("resting_voltage", "source_resistance", "crank_minimum", "charging_voltage")


@dataclass(frozen=True, slots=True)
class Row:
    """One kind of season: shares of 1."""

    case: str
    seasons: int
    covers: float
    alarms: float


def trends(case: str, seasons: int, n: int, days: float, *, noted: bool, ageing: float = 0.0, alike: float = 0.0,
           wild: bool = False, seed: int = 1) -> Row:  # fmt: skip
    """Trends of single quantities: ``ageing`` is a share of ``AGEING``, ``alike`` the likeness of neighbours."""
    rng = np.random.default_rng(seed)
    covers = alarms = told = 0
    for number in range(seasons):
        quantity = MOVED_BY_TEMPERATURE[number % len(MOVED_BY_TEMPERATURE)]
        truth = ageing * AGEING.get(quantity, 0.0)
        day = season_days(n, days, rng)
        readings = readings_of(quantity, day, temperature(day, rng), rng, per_year=truth, noted=noted)
        if alike or wild:
            extra = _likeness(n, alike, rng) if alike else np.where(rng.uniform(size=n) < 0.06, 12.0, 0.0)
            readings = [
                type(r)(r.at, r.quantity, r.value + float(e) * USUAL[quantity][1], r.uncertainty, r.temperature_c)
                for r, e in zip(readings, extra, strict=True)
            ]
        trend = trend_of(*compared(series_of(readings, quantity)))
        if isinstance(trend, Trend):
            told += 1
            covers += trend.low <= truth <= trend.high
            alarms += trend.proven
    return Row(case, told, covers / max(told, 1), alarms / max(told, 1))


def breaks(case: str, seasons: int, *, noted: bool, changed: bool, n: int = 40, seed: int = 2) -> Row:
    """Whole seasons: ``covers``: the change was found within its dates; ``alarms``: something was found that is not."""
    rng = np.random.default_rng(seed)
    found = alarms = 0
    for _ in range(seasons):
        at = float(rng.uniform(80, 285)) if changed else np.inf
        readings = whole_season(rng, n=n, noted=noted, step_day=at, steps=NEW_BATTERY if changed else None,
                                per_year=AGEING if changed else None)  # fmt: skip
        season = season_of(readings, chemistry="agm", capacity_ah=11.2, today=(START + timedelta(days=400)).date())
        right = [b for b in season.breaks if changed and b.after <= START + timedelta(days=at) <= b.before]
        found += bool(right)
        alarms += len(season.breaks) > len(right)
    return Row(case, seasons, found / seasons, alarms / seasons)


def quiet(case: str, seasons: int, *, noted: bool, seed: int = 3) -> Row:
    """Whole seasons without a trend: ``covers``: every interval holds 0; ``alarms``: some trend is called proven."""
    rng = np.random.default_rng(seed)
    covers = alarms = 0
    for _ in range(seasons):
        readings = whole_season(rng, noted=noted)
        season = season_of(readings, chemistry="agm", capacity_ah=11.2, today=(START + timedelta(days=400)).date())
        found = [part.trend for part in season.parts if isinstance(part.trend, Trend)]
        covers += all(trend.low <= 0 <= trend.high for trend in found)
        alarms += any(trend.proven for trend in found)
    return Row(case, seasons, covers / seasons, alarms / seasons)


def trend_rows(seasons: int) -> Iterator[Row]:
    """Every kind of trend."""
    for noted in (True, False):
        what = "noted" if noted else "not noted"
        for n, days in ((8, 120.0), (20, 200.0), (40, 365.0), (40, 730.0)):
            yield trends(f"no trend, {n} in {days:.0f} d, temperature {what}", seasons, n, days, noted=noted)
        yield trends(f"ageing, 20 in 200 d, temperature {what}", seasons, 20, 200.0, noted=noted, ageing=1.0)
        yield trends(f"ageing, 40 in 365 d, temperature {what}", seasons, 40, 365.0, noted=noted, ageing=1.0)
        yield trends(f"no trend, neighbours alike, {what}", seasons, 40, 365.0, noted=noted, alike=0.5)
        yield trends(f"no trend, wild readings, {what}", seasons, 40, 365.0, noted=noted, wild=True)


def break_rows(seasons: int) -> Iterator[Row]:
    """Every kind of break."""
    for noted in (True, False):
        what = "noted" if noted else "not noted"
        yield breaks(f"no change, temperature {what}", seasons, noted=noted, changed=False)
        yield breaks(f"no change, 12 readings, temperature {what}", seasons, noted=noted, changed=False, n=12)
        yield breaks(f"new battery, temperature {what}", seasons, noted=noted, changed=True)


def _likeness(n: int, alike: float, rng: np.random.Generator) -> np.ndarray:
    noise = rng.normal(size=n)
    for k in range(1, n):
        noise[k] = alike * noise[k - 1] + (1 - alike**2) ** 0.5 * noise[k]
    return noise


def table(rows: Iterator[Row], covers: str, alarms: str, say: Callable[[str], None] = print) -> list[Row]:
    """Print rows as they come."""
    say(f"{'':50} {'seasons':>7} {covers:>9} {alarms:>9}")
    kept = []
    for row in rows:
        say(f"{row.case:50} {row.seasons:7} {row.covers * 100:7.1f} % {row.alarms * 100:7.1f} %")
        kept.append(row)
    return kept


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    table(trend_rows(count), "covers", "proven")
    print()
    quiet_rows = (
        quiet(f"five quantities, no trend, {w}", max(count // 4, 1), noted=w == "noted") for w in ("noted", "not noted")
    )
    table(quiet_rows, "all cover", "proven")
    print()
    table(break_rows(max(count // 4, 1)), "found", "false")
