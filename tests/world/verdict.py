"""The true verdict of a check: its true value against the plan's limit, `either` where the slack straddles it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .case import Case


def limits(plan: dict, check: str) -> tuple[float | None, float | None]:
    """(min, max) of one check by the plan, None where there is none."""
    lim = plan["limits"]
    if check.startswith("slot_"):
        c = next(x for x in plan["circuit"] if x["slot"] == int(check.split("_")[1]))
        share = c["tolerance_pct"] / 100
        return c["planned_a"] * (1 - share), min(c["planned_a"] * (1 + share), 0.8 * c["fuse_a"])
    if check == "feed_in_crank":
        return {"any": (None, None), "hold": (None, 0.0), "drop": (1e-3, None)}[lim["feed_in_crank"]]
    return {
        "off_state_drain": (None, lim["off_state_drain_ma"]),
        "added_drain": (None, lim["added_drain_ma"]),
        "settle_time": (None, lim["settle_max_s"]),
        "feed_off_voltage": (None, lim["feed_off_max_v"]),
        "relay_pull_in": (None, plan["relay"]["pull_in_max_ms"]),
        "relay_drop_out": (None, plan["relay"]["drop_out_max_ms"]),
        "relay_chatter": (None, 0.0),
        "battery_sag": (None, lim["battery_sag_max_v"]),
        "feed_drop": (None, plan["feed"]["drop_max_v"]),
        "ground_lift": (None, plan["ground"]["lift_max_v"]),
        "resting_voltage": (lim["resting_min_v"], None),
        "source_resistance": (None, lim["source_resistance_max_mohm"]),
        "crank_minimum": (lim["crank_min_v"], None),
        "charging_voltage": (lim["charging_min_v"], lim["charging_max_v"]),
        "charging_balance": (lim["charging_balance_min_a"], None),
    }[check]


def true_verdict(case: Case, check: str, margin: float) -> str:
    """See `Case.verdict`."""
    low, high = limits(case.plan, check)
    if low is None and high is None:
        return "not planned"
    value = case.truth[check]
    if value is None:
        return "not seen"
    if math.isinf(value):
        return "fail"
    least, most = case.span(check)
    if check == "off_state_drain" and value < 0:
        return "not proven"
    if check == "relay_chatter":
        return "pass" if most < 0.5 else ("fail" if least >= 1 else "either")
    if check in case.both:
        slack = case.slack[check] + margin
        rooms = [min(x - low if low is not None else math.inf, high - x if high is not None else math.inf)
                 for x in case.both[check]]  # fmt: skip
        return "pass" if min(rooms) >= slack else "fail" if min(rooms) <= -slack else "either"
    over = high is not None and most + margin > high
    under = low is not None and least - margin < low
    if not over and not under:
        return "pass"
    surely = (high is not None and least - margin > high) or (low is not None and most + margin < low)
    return "fail" if surely else "either"
