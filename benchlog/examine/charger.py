"""Does a charger feed the battery while the key is on?"""

from collections.abc import Sequence

import numpy as np

from benchlog.analysis.coarse import Coarse
from benchlog.analysis.running import CHARGED_V, LASTS_S, into_battery, least_a
from benchlog.core.trace import Array

#: The points of the tables that engine and charger are read from, s.
SLOW_POINT_S = 0.5
#: An alternator gives nothing from so long after the key-off on, s.
COASTED_S = 3.0
#: A charger's greatest current, at least and as a factor of what it gives with the key off, A (from memory).
LEAST_CHARGER_A, CHARGER_FACTOR = 5.0, 3.0
#: The battery's rest is read from so long before the key-on, s.
RESTED_S = 10.0


def charger_a(
    slow: Coarse,
    on: tuple[float, float],
    off: Sequence[tuple[float, float]],
    crank_s: float | None,
    share_u: float,
) -> float:
    """What a charger may give that was left on, A; 0 where just before the key-on, or just after the key-off, none is.

    Where neither is known, current into a battery before the first crank is a charger's. With the key on it may give
    more than with the key off, as far as the loads pull the voltage down.

    Args:
        slow: voltage and current of the battery, in points. on: the key-on, s. off: the key-offs, s.
        crank_s: when its first crank began, s; None without one. share_u: standard uncertainty of the current, A.
    """
    if not {"battery_a", "battery_v"} <= set(slow.mean):
        return 0.0
    a, b = on
    before = [(max(begin, end - RESTED_S), end) for begin, end in off if abs(end - a) < 1.0]
    after = [(begin + COASTED_S, min(begin + COASTED_S + RESTED_S, end)) for begin, end in off if abs(begin - b) < 1.0]
    for stretch in before or after:
        part = slow.part(*stretch)
        charged = into_battery(part, share_u)
        if charged.any():
            return _at_most(part.mean["battery_a"][charged])
    if before or after or crank_s is None:
        return 0.0
    # no engine turns before a crank, unless it runs as the log begins: then the battery stands higher
    part = slow.part(a, crank_s)
    amps = part.mean["battery_a"]
    fed = (amps < -least_a(share_u)) & (part.mean["battery_v"] < CHARGED_V)
    return _at_most(amps[fed]) if fed.sum() * SLOW_POINT_S >= LASTS_S else 0.0


def _at_most(amps: Array) -> float:
    return max(CHARGER_FACTOR * float(-np.nanmin(amps)), LEAST_CHARGER_A)
