"""Points of an overview written by hand."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse


def points(
    step_s: float | Sequence[float],
    mean: dict[str, npt.ArrayLike],
    low: dict[str, npt.ArrayLike] | None = None,
    high: dict[str, npt.ArrayLike] | None = None,
    over: dict[str, npt.ArrayLike] | None = None,
    wide_s: float = 0.0,
) -> Coarse:
    """Points that begin every so many s from 0, or at these times, and are so wide; none over range unless given."""
    means = {role: np.array(x, dtype=float) for role, x in mean.items()}
    rows = len(next(iter(means.values())))
    start = np.arange(rows) * step_s if isinstance(step_s, float | int) else np.array(step_s, dtype=float)
    lows = means | {role: np.array(x, dtype=float) for role, x in (low or {}).items()}
    highs = means | {role: np.array(x, dtype=float) for role, x in (high or {}).items()}
    clipped = {role: np.zeros(rows, dtype=np.int64) for role in means}
    clipped |= {role: np.array(x, dtype=np.int64) for role, x in (over or {}).items()}
    return Coarse(start, start + wide_s, means, lows, highs, clipped)
