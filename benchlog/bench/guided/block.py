"""Whose load came on: the fuse block's, or the bike's own? By the block's own current, else by what its paths show."""

import math
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.history import Before, History

#: Any feed or return shows at least this: Ω of it, and V beside what drifts (common practice, no source).
LEAST_OHM, LEAST_V = 0.001, 0.0015
#: A low-side shunt lifts the bus with the bike's own current: so much a return must show to stand out, Ω.
STANDS_OUT_OHM = 0.0012
#: Less than this is no device, A.
LEAST_A = 0.1


@dataclass(frozen=True, slots=True)
class KeyLoad:
    """What came on with the key: A, and whether the fuse block is seen to carry some of it (else nothing tells)."""

    amps: float
    of_block: bool


def block_load(history: History, before: Before, from_s: float) -> KeyLoad | None:
    """What came on with the key and may be a device's; None where it is seen to be the bike's own.

    Args:
        before: the levels with the key off. from_s: from when on the load stands, s.
    """
    own = [role for role in history.roles if role == "feed_a" or (role.startswith("slot") and role.endswith("_a"))]
    if own:
        most = max(history.level(role, from_s) for role in own)
        return KeyLoad(most, True) if most > LEAST_A else None
    amps = history.level("battery_a", from_s) - before.of("battery_a")
    if math.isnan(amps):
        return None
    if "ground_v" in history.roles:
        lifted = history.level("ground_v", from_s) - before.of("ground_v")
        return KeyLoad(amps, True) if lifted > LEAST_V + STANDS_OUT_OHM * amps else None
    return KeyLoad(amps, False)


def of_block(history: History, before: Before, from_s: float, amps: float) -> bool | None:
    """Whether a load of so many amperes flows through the fuse block; None where nothing tells."""
    shown = []
    if "ground_v" in history.roles:
        shown.append(_mean(history, "ground_v", from_s) - before.of("ground_v"))
    if before.of("feed_v") > UP_ABOVE_V and "battery_v" in history.roles:
        drop = _mean(history, "battery_v", from_s) - _mean(history, "feed_v", from_s)
        shown.append(drop - (before.of("battery_v") - before.of("feed_v")))
    known = [volts for volts in shown if math.isfinite(volts)]
    return any(volts > LEAST_V + LEAST_OHM * amps for volts in known) if known else None


def _mean(history: History, role: str, from_s: float) -> float:
    """The mean, so that pulses count by their share."""
    x = history.points(role, from_s)[1]
    return float(np.nanmean(x)) if np.isfinite(x).any() else math.nan
