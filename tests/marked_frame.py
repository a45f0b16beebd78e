"""A battery's voltage and current by hand, with marks: a frame for ``benchlog.check``, and the logger behind it."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from benchlog.core.trace import Array

RATE_HZ = 50.0
GOOD = {"gain_error_pct": 0.2, "offset_error": 0.005, "resolution": 0.001}
BATTERY_LOGGER = {
    "logger": {"name": "by hand"},
    "time": {"column": "time_s"},
    "channel": [
        {"column": "battery_v", "role": "battery_v", "unit": "V", **GOOD},
        {"column": "battery_a", "role": "battery_a", "unit": "A", **GOOD},
        {"column": "mark", "role": "mark"},
    ],
}


def times(end_s: float) -> Array:
    """From 0, s."""
    return np.arange(0.0, end_s, 1 / RATE_HZ)


def battery_frame(amps: Array, marks: Mapping[float, str]) -> pd.DataFrame:
    """A battery of 12.8 V and 20 mΩ that gives so much, A, with 10 mA of noise; marks by their time, s."""
    noisy = amps + np.random.default_rng(1).normal(0, 0.01, len(amps))
    column = np.full(len(amps), "", dtype=object)
    for at_s, text in marks.items():
        column[int(at_s * RATE_HZ)] = text
    return pd.DataFrame(
        {"time_s": times(len(amps) / RATE_HZ), "battery_v": 12.8 - 0.02 * noisy, "battery_a": noisy, "mark": column}
    )
