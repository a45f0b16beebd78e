"""What an ideal prover could know: expanded uncertainty (k = 2) with this logger and this session, per check.

Type B: the stated half-widths as rectangular distributions (half-width / √3); type A: the channel's true noise over
the time that the session offers, white noise by the number of rows, noise with memory by T / (2 · memory); times:
one row's spacing at each end, rectangular, and of a current that ends the time it takes to see it. Differences of one
channel lose its offset; `added_drain` as well.
"""

from __future__ import annotations

import math

from .logger import Channel, Logger
from .truth import STIRS_A, Truth

ROOT3 = math.sqrt(3.0)


def _noise(c: Channel, rate_hz: float, seconds: float) -> float:
    rows = max(seconds * rate_hz, 1.0)
    slow = c.slow * math.sqrt(min(1.0, 2 * c.memory_s / max(seconds, 1e-9)))
    return math.hypot(c.white / math.sqrt(rows), slow, c.resolution / ROOT3 / 2 / math.sqrt(rows))


def _settle_u(c: Channel, rate_hz: float, tr: Truth) -> float:
    """Of a time at which a small current ends: as long as it takes to tell it from nothing; nan where it cannot be.

    What is smaller than 10 mA need not be seen, yet that no more than 10 mA flowed on must be.
    """
    if "tail_a" not in tr.parts:
        return math.nan  # no key-off within the log
    size, lasts = max(tr.parts["tail_a"], STIRS_A), tr.parts["tail_s"]
    if not math.isfinite(size):
        return 2 * math.sqrt(2) / rate_hz / ROOT3
    unit = 1000.0 if c.unit == "mA" else 1.0
    takes = 1 / rate_hz
    while 2 * math.sqrt(2) * _noise(c, rate_hz, takes) / unit > size:
        takes *= 1.25
        if takes > lasts:
            return math.nan
    return 2 * math.hypot(takes, 1 / rate_hz) / ROOT3


def ideal_u(log: Logger, tr: Truth, plan: dict, amps: float) -> dict[str, float]:
    """Expanded uncertainties by check id, in the check's unit; `amps` is the load that the session offers."""
    by = {c.role: c for c in log.channels}
    rate = log.rate_hz
    out: dict[str, float] = {}

    def level(role: str, value: float, seconds: float) -> float:
        c = by[role]
        unit = 1000.0 if c.unit == "mA" else 1.0
        x = value * unit
        return 2 * math.hypot(c.gain_pct / 100 * x / ROOT3, c.offset / ROOT3, _noise(c, rate, seconds)) / unit

    def step(role: str, size: float, seconds: float) -> float:
        c = by[role]
        return 2 * math.hypot(c.gain_pct / 100 * size / ROOT3, math.sqrt(2) * _noise(c, rate, seconds))

    planned = sum(c["planned_a"] for c in plan["circuit"])
    amps = max(amps, 0.1)
    i_role = "drain_a" if "drain_a" in by else "battery_a" if "battery_a" in by else None
    load_role = "feed_a" if "feed_a" in by else i_role
    for check, value in tr.value.items():
        if value is None or not math.isfinite(value):
            continue
        u = math.nan
        if check == "off_state_drain" and i_role:
            u = level(i_role, value / 1000, 30.0) * 1000
        elif check == "settle_time" and i_role:
            u = _settle_u(by[i_role], rate, tr)
        elif check == "feed_in_crank":
            u = 2 * math.sqrt(2) / rate / ROOT3
        elif check in ("relay_pull_in", "relay_drop_out"):
            u = 2 * math.sqrt(2) / (rate / max(log.repeat, 1)) / ROOT3 * 1000
            u = math.hypot(u, 2 * log.average_s / ROOT3 * 1000)
        elif check == "relay_chatter":
            u = 0.0
        elif check == "feed_off_voltage":
            u = level("feed_v", value, 10.0)
        elif check == "resting_voltage":
            u = level("battery_v", value, 5.0)
        elif check == "crank_minimum":
            u = level("battery_v", value, 0.01)
        elif check == "charging_voltage":
            u = level("battery_v", value, 20.0)
        elif check == "charging_balance" and i_role:
            u = level(i_role, value, 20.0)
        elif check in ("battery_sag", "source_resistance") and i_role:
            # relative: voltage step against current step, both over the planned dwell
            r = value / planned if check == "battery_sag" else value / 1000
            u = math.hypot(step("battery_v", r * amps, 3.0) / amps, r * step(i_role, amps, 3.0) / amps)
            u *= planned if check == "battery_sag" else 1000
        elif check == "feed_drop" and load_role:
            v = math.hypot(step("battery_v", tr.parts.get("r0_ohm", 0.0) * amps, 3.0), step("feed_v", value, 3.0))
            u = math.hypot(v / amps, value / planned * step(load_role, amps, 3.0) / amps) * planned
        elif check == "ground_lift" and load_role:
            u = math.hypot(step("ground_v", value / planned * amps, 3.0) / amps,
                           value / planned * step(load_role, amps, 3.0) / amps) * planned  # fmt: skip
        elif check.startswith("slot_"):
            own = f"slot{check.split('_')[1]}_a"
            if own in by:
                u = level(own, value, 2.0)
            elif load_role:
                u = step(load_role, value, 2.0)
        out[check] = u
    return out
