"""At what level does a switched line stand while it is up, and for what part of the time is it up?"""

from dataclasses import dataclass

import numpy as np

from benchlog.core.quantiles import median
from benchlog.core.trace import Array

#: As shares of the supply: a point whose highest and lowest samples lie so far apart holds both states, and a line
#: above the other is up, if not well. Up for less than the last part of the time it counts as down: lamp-test pulses
#: feed nothing.
MIXED, UP, HARDLY = 0.5, 0.2, 0.06


@dataclass(frozen=True, slots=True)
class Duty:
    """A line over a stretch.

    Attributes:
        level: over the supply, while it is up; its usual level where it hardly ever is.
        part: of the time that it is up, 0 to 1.
        falls: how often it goes down, at least.
    """

    level: float
    part: float
    falls: int


def duty(mean: Array, low: Array, high: Array, supply: Array) -> Duty | None:
    """The line's level and the part of the time that it is up.

    A line that is pulsed faster than the points lie apart shows as points that hold both states; a slower one as
    points of either.

    Args:
        mean, low, high: of the line's samples behind each point, V. supply: what the line is switched from, V.

    Returns:
        None for fewer than two valid points.
    """
    good = np.isfinite(mean) & np.isfinite(supply) & (supply > 1.0)
    if good.sum() < 2:
        return None
    share = mean[good] / supply[good]
    top = np.fmin(high[good] / supply[good], 1.2)
    mixed = top - low[good] / supply[good] > MIXED
    up = mixed | (share > UP)
    if not up.any():
        return Duty(median(share), 0.0, 0)
    level = median(np.where(mixed, top, share)[up])
    high_now = share > level / 2
    part = float(np.mean(np.where(mixed, np.clip(share / level, 0.0, 1.0), high_now)))
    falls = int(mixed.sum() + (high_now[:-1] & ~high_now[1:] & ~mixed[:-1] & ~mixed[1:]).sum())
    return Duty(level if part >= HARDLY else median(share), part, falls)
