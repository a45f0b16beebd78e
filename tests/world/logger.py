"""The logger in front: what it says it is, what it truly is, and the rows it writes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy

from .solve import Solution

# Stated half-widths: (gain %, offset, resolution) from a good bench logger to a cheap one (from memory).
STATED = {
    "V": ((0.02, 0.05, 0.1, 0.3), (0.001, 0.004, 0.01, 0.02), (0.0005, 0.001, 0.002, 0.005)),
    "A": ((0.1, 0.2, 0.5, 1.0), (0.005, 0.02, 0.05, 0.1), (0.001, 0.005, 0.01, 0.02)),
    "mA": ((0.2, 0.3, 0.5, 1.0), (0.005, 0.02, 0.02, 0.03), (0.001, 0.005, 0.005, 0.01)),
}


@dataclass
class Channel:
    """Stated limits and true errors of one channel, in `unit`."""

    role: str
    unit: str
    gain_pct: float
    offset: float
    resolution: float
    white: float  # standard deviation of white noise
    slow: float  # standard deviation of noise with memory
    memory_s: float
    # the truth behind the limits
    gain_true: float = 0.0  # share of the reading
    bend_true: float = 0.0  # non-linearity, share at full scale
    offset_true: float = 0.0
    drift_true: float = 0.0  # offset that comes as the logger warms
    wander_true: float = 0.0  # offset that comes and goes over a quarter of an hour
    top: float | None = None  # highest reading
    over_text: str | None = "OL"  # what is written above it; None: the highest figure stands


@dataclass
class Logger:
    """Rate, channels and habits of one logger."""

    rate_hz: float
    channels: list[Channel]
    jitter_s: float = 0.0
    average_s: float = 0.0  # each row is the mean of the last so many seconds
    repeat: int = 1  # each reading stands in so many rows
    packet: int = 1  # so many rows share one time stamp
    gaps: list[tuple[float, float]] = field(default_factory=list)
    warm_s: float = 120.0
    clock_ppm: float = 0.0  # the logger's clock runs fast by so much
    swapped: bool = False  # trigger and feed clips
    low_side_ohm: float = 0.0
    seed: int = 0
    log_name: str = "log"

    def instants(self, end: float) -> np.ndarray:
        """True times at which rows are taken, from 0."""
        n = int(end * self.rate_hz)
        t = np.arange(n) / self.rate_hz
        if self.jitter_s:
            rng = np.random.default_rng(self.seed + 1)
            t = t + rng.uniform(-self.jitter_s, self.jitter_s, n)
        return np.clip(t, 0.0, end)


def draw_channel(rng: np.random.Generator, role: str, quality: int, rate_hz: float) -> Channel:
    """One channel: limits by quality 0 (best) to 3, true errors within them."""
    unit = "mA" if role == "drain_a" else role[-1].upper()
    gain, offset, resolution = (x[quality] for x in STATED[unit])
    shape = str(rng.choice(["uniform", "triangular", "limit"], p=[0.6, 0.25, 0.15]))

    def error(limit: float) -> float:
        if shape == "uniform":
            return float(rng.uniform(-limit, limit))
        if shape == "triangular":
            return float(rng.triangular(-limit, 0.0, limit))
        return float(rng.choice([-1.0, 1.0]) * limit * 0.999)

    bend = gain / 100 * float(rng.uniform(-0.3, 0.3))
    drift = offset * float(rng.uniform(-0.4, 0.4))
    spread = float(np.exp(rng.uniform(np.log(0.3), np.log(3.0))))
    quick = 1.0 if rate_hz >= 50 else 0.5
    channel = Channel(
        role=role,
        unit=unit,
        gain_pct=gain,
        offset=offset,
        resolution=resolution,
        white=resolution * spread * quick,
        slow=resolution * spread * float(rng.uniform(0.0, 0.8)),
        memory_s=float(np.exp(rng.uniform(np.log(0.1), np.log(3.0)))),
        bend_true=bend,
        drift_true=drift,
        top={"V": 60.0, "A": 400.0, "mA": 40.0}[unit],
    )
    channel.gain_true = error(gain / 100 - abs(bend))
    channel.offset_true = error(offset - abs(drift))
    return channel


def _averaged(sol: Solution, role: str, t: np.ndarray, over: float) -> np.ndarray:
    y = sol.values[role]
    area = np.concatenate(([0.0], np.cumsum((y[1:] + y[:-1]) / 2 * np.diff(sol.t))))
    low = np.maximum(t - over, sol.t[0])
    return (np.interp(t, sol.t, area) - np.interp(low, sol.t, area)) / np.maximum(t - low, 1e-9)


def _noise(rng: np.random.Generator, c: Channel, n: int, rate_hz: float) -> np.ndarray:
    out = rng.normal(0.0, c.white, n) if c.white else np.zeros(n)
    if c.slow:
        a = np.exp(-1.0 / (rate_hz * c.memory_s))
        kick = rng.normal(0.0, c.slow * np.sqrt(1 - a * a), n)
        kick[0] = rng.normal(0.0, c.slow)
        out = out + scipy.signal.lfilter([1.0], [1.0, -a], kick)
    return out


def read(log: Logger, sol: Solution, end: float, clean: bool = False) -> dict[str, np.ndarray]:
    """The rows: `time_s` as stamped, then each role in SI units (A, V); NaN where the row says over range."""
    t = log.instants(end)
    n = len(t)
    nominal = np.arange(n) / log.rate_hz
    keep = np.ones(n, dtype=bool)
    for a, b in log.gaps:
        keep &= ~((nominal >= a) & (nominal < b))
    out: dict[str, np.ndarray] = {}
    for k, c in enumerate(log.channels):
        rng = np.random.default_rng(log.seed + 1000 + k)
        role = "battery_a" if c.role == "drain_a" else c.role
        if log.swapped and role in ("trigger_v", "feed_v"):
            role = "feed_v" if role == "trigger_v" else "trigger_v"
        y = _averaged(sol, role, t, log.average_s) if log.average_s else sol.at(role, t)
        unit = 1000.0 if c.unit == "mA" else 1.0
        y = y * unit
        if not clean:
            full = c.top or 20.0
            y = y * (1 + c.gain_true + c.bend_true * np.clip(np.abs(y) / full, 0, 1))
            y = y + c.offset_true + c.drift_true * (1 - np.exp(-nominal / log.warm_s))
            y = y + c.wander_true * np.sin(2 * np.pi * nominal / 900.0 + k)
            y = y + _noise(rng, c, n, log.rate_hz)
            y = np.round(y / c.resolution) * c.resolution
        if c.top is not None:
            over = y > c.top
            y = np.where(over, np.nan if c.over_text else c.top, y)
            y = np.where(y < -c.top, np.nan if c.over_text else -c.top, y)
        if log.repeat > 1 and not clean:
            y = np.repeat(y[:: log.repeat], log.repeat)[:n]
        out[c.role] = (y / unit)[keep]
    stamp = t if log.jitter_s else nominal
    if not clean:
        stamp = stamp * (1 + log.clock_ppm * 1e-6)
    if log.packet > 1 and not clean:
        last = np.minimum((np.arange(n) // log.packet + 1) * log.packet, n) - 1
        stamp = nominal[last] + (np.arange(n) % log.packet) * 1e-5
    return {"time_s": stamp[keep], **out}


def as_toml(log: Logger) -> dict:
    """What the logger's file states."""
    channels = []
    for c in log.channels:
        row = {"column": c.role, "role": c.role, "unit": c.unit}
        if c.unit in ("A", "mA"):
            row["positive"] = "discharge"
        row |= {"gain_error_pct": c.gain_pct, "offset_error": c.offset, "resolution": c.resolution}
        if c.over_text:
            row["over_range"] = [c.over_text]
        channels.append(row)
    return {
        "logger": {"name": "bench logger", "rate_hz": log.rate_hz},
        "time": {"column": "time_s", "unit": "s"},
        "channel": channels,
    }
