"""How far a current swings over a stretch, as the overview has it: a load that comes and goes, or none."""

import numpy as np

from benchlog.analysis.coarse import coarse
from benchlog.core.quantiles import percentile
from benchlog.examine.context import LogContext

POINT_S = 0.1
#: What is fewer shows no swing.
FEWEST_POINTS = 10


def swing_a(bench: LogContext, from_s: float, to_s: float, role: str = "battery_a") -> float | None:
    """From the lowest to the highest tenth of the samples, A; None where the stretch holds too few."""
    table = coarse(bench.overview, from_s, to_s, POINT_S, [role])
    low, high = table.low[role], table.high[role]
    good = np.isfinite(low) & np.isfinite(high)
    if good.sum() < FEWEST_POINTS:
        return None
    both = np.concatenate((low[good], high[good]))
    return percentile(both, 90) - percentile(both, 10)
