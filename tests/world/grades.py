"""Grades of loggers: rate, channels and quality."""

from __future__ import annotations

import numpy as np

from .logger import Channel, Logger, draw_channel

GRADES = {
    "fast5": (1000.0, ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")),
    "fast_all": (1000.0, ("battery_v", "battery_a", "key_v", "trigger_v", "feed_v", "ground_v", "feed_a", "slots")),
    "burst5": (2000.0, ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v")),
    "mid4": (100.0, ("battery_v", "battery_a", "trigger_v", "feed_v")),
    "mid6": (200.0, ("battery_v", "battery_a", "trigger_v", "feed_v", "ground_v", "feed_a")),
    "slow2": (10.0, ("battery_v", "battery_a")),
    "night": (1.0, ("battery_v", "drain_a", "feed_v")),
}
OPTIONAL = ("key_v", "trigger_v", "feed_v", "ground_v", "feed_a", "slots")


def draw_logger(rng: np.random.Generator, grade: str, slots: int) -> Logger:
    """A logger of that grade; "random" draws rate (10 Hz to 2 kHz) and channels."""
    if grade == "random":
        rate = float(round(np.exp(rng.uniform(np.log(10.0), np.log(2000.0)))))
        picks = [r for r in OPTIONAL if rng.random() < 0.6]
        roles: tuple[str, ...] = ("battery_v", "battery_a", *picks)
    else:
        rate, roles = GRADES[grade]
    names: list[str] = []
    for r in roles:
        names += [f"slot{n}_a" for n in range(1, slots + 1)] if r == "slots" else [r]
    quality = int(rng.choice([0, 1, 2, 3], p=[0.3, 0.4, 0.2, 0.1]))
    channels = [draw_channel(rng, r, quality, rate) for r in names]
    for c in channels:
        if c.role == "ground_v":  # its own, finer range
            _finer(c, 10.0)
        if c.role == "battery_a" and rate <= 1:
            _finer(c, 100.0)
    return Logger(rate_hz=rate, channels=channels, seed=int(rng.integers(1 << 31)), log_name=grade)


def _finer(c: Channel, by: float) -> None:
    for name in ("offset", "resolution", "white", "slow", "offset_true", "drift_true"):
        setattr(c, name, getattr(c, name) / by)
