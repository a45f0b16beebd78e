"""Simulated seasons with a known truth: readings that age, swing with the temperature and step with a new battery."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from benchlog.store.readings import Reading

START = datetime(2025, 3, 10, 9, tzinfo=UTC)
#: Quantity -> level, scatter (1 sigma), units a kelvin (resistances and voltages move with temperature), uncertainty.
USUAL = {
    "resting_voltage": (12.80, 0.02, 0.0012, 0.015),
    "source_resistance": (24.0, 0.5, -0.25, 0.3),
    "crank_minimum": (10.7, 0.06, 0.02, 0.015),
    "off_state_drain": (0.8, 0.03, 0.0, 0.03),
    "charging_voltage": (14.3, 0.03, -0.005, 0.015),
}


def season_days(n: int, days: float, rng: np.random.Generator) -> np.ndarray:
    """Unequally spaced days, ascending, first and last fixed."""
    inner = np.sort(rng.uniform(0, days, n - 2))
    return np.r_[0.0, inner, days]


def temperature(day: np.ndarray, rng: np.random.Generator, swing_c: float = 10.0, weather_c: float = 3.0) -> np.ndarray:
    """A year's swing, warmest in July, and weather on top."""
    of_year = START.timetuple().tm_yday + day
    return 12.0 - swing_c * np.cos(2 * math.pi * (of_year - 20) / 365.25) + rng.normal(0, weather_c, len(day))


def readings_of(
    quantity: str,
    day: np.ndarray,
    temperature_c: np.ndarray,
    rng: np.random.Generator,
    *,
    per_year: float = 0.0,
    step: float = 0.0,
    step_day: float = math.inf,
    noted: bool = True,
    scatter: float = 1.0,
) -> list[Reading]:
    """Readings of one quantity; ``step`` is added from ``step_day`` on, and ageing starts anew there."""
    level, sigma, per_k, uncertainty = USUAL[quantity]
    age = np.where(day >= step_day, day - step_day, day) / 365.25
    value = level + per_year * age + per_k * (temperature_c - 20) + rng.normal(0, scatter * sigma, len(day))
    value = value + np.where(day >= step_day, step, 0.0)
    return [
        Reading(START + timedelta(days=float(d)), quantity, float(v), uncertainty, float(c) if noted else None)
        for d, v, c in zip(day, value, temperature_c, strict=True)
    ]


def whole_season(
    rng: np.random.Generator,
    n: int = 40,
    days: float = 365.0,
    noted: bool = True,
    per_year: dict[str, float] | None = None,
    steps: dict[str, float] | None = None,
    step_day: float = math.inf,
    quantities: Sequence[str] = tuple(USUAL),
) -> list[Reading]:
    """All quantities on the same days."""
    day = season_days(n, days, rng)
    warm = temperature(day, rng)
    return [
        reading
        for quantity in quantities
        for reading in readings_of(
            quantity, day, warm, rng, noted=noted, step_day=step_day,
            per_year=(per_year or {}).get(quantity, 0.0), step=(steps or {}).get(quantity, 0.0),
        )
    ]  # fmt: skip
