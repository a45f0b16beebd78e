"""Whose load came on: the fuse block's, or the bike's own? By the block's own current, else by what its paths show."""

import math
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.switched import UP_ABOVE_V
from benchlog.bench.guided.history import LEVEL_S, Before, History
from benchlog.bench.guided.moves import PULSES_OVER_S, pulses

#: Any feed or return shows at least this: Ω of it, and V beside what drifts (common practice, no source).
LEAST_OHM, LEAST_V = 0.001, 0.0015
#: A low-side shunt lifts the bus with the bike's own current: so much a return must show to stand out, Ω; and less than
#: this is no device, A.
STANDS_OUT_OHM, LEAST_A = 0.0012, 0.1


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
    beside_pulses = all(pulses(history, "battery_a", at_s) for at_s in (before.at_s, history.now_s))

    def rose(role: str) -> float:
        if beside_pulses:
            newest_s = history.now_s - PULSES_OVER_S
            return _while_low(history, role, newest_s) - _while_low(history, role, before.at_s - LEVEL_S, before.at_s)
        return _mean(history, role, from_s) - before.of(role)

    shown = []
    if "ground_v" in history.roles:
        shown.append(rose("ground_v"))
    if before.of("feed_v") > UP_ABOVE_V and "battery_v" in history.roles:
        shown.append(rose("battery_v") - rose("feed_v"))
    known = [volts for volts in shown if math.isfinite(volts)]
    return any(volts > LEAST_V + LEAST_OHM * amps for volts in known) if known else None


def _mean(history: History, role: str, from_s: float) -> float:
    """The mean, so that pulses count by their share."""
    x = history.points(role, from_s)[1]
    return float(np.nanmean(x)) if np.isfinite(x).any() else math.nan


def _while_low(history: History, role: str, from_s: float, to_s: float = math.inf) -> float:
    """The mean while a battery's current that comes and goes is at its floor."""
    amps, x = (history.points(one, from_s, to_s)[1] for one in ("battery_a", role))
    low = amps < (np.nanmin(amps) + np.nanmax(amps)) / 2
    return float(np.nanmean(x[low])) if np.isfinite(x[low]).any() else math.nan
