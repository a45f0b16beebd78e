"""Does a channel stand at the end of its range? What it reads there is a bound and no value."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchlog.analysis.coarse import runs
from benchlog.core.quantiles import distinct, median
from benchlog.core.trace import Array, Trace

#: So many samples stand at the end of the range at least; so many beside them show how much the signal varies.
LEAST_SAMPLES, BESIDE_ROWS = 6, 200
#: A signal that saturates comes from, and goes to, this many codes off or more; one that is steady dithers beside.
LEAST_JUMP_CODES = 3.0
#: By chance a signal stands still for as long at most so seldom (log10).
CHANCE_LOG10 = -6.0
#: Noise bends from sample to sample by more than it steps (by the square root of 3), a course with noise on it by
#: less; one without noise hardly bends.
LEAST_BEND = 0.12
#: Of the samples within a few codes of the end, at most this share lie off it.
NEAR_CODES, NEAR_SHARE = 3.0, 0.1


@dataclass(frozen=True, slots=True)
class Clip:
    """One end of one channel's range, where its readings stand.

    Attributes:
        role: the channel. end: which. level: what it reads there, in its unit.
    """

    role: str
    end: Literal["highest", "lowest"]
    level: float


def clipped_at(traces: Sequence[Trace], role: str, level: float, end: Literal["highest", "lowest"]) -> bool:
    """Whether a channel's most extreme figure is the end of its range, by the flat top that saturation leaves.

    Three signs together: it stands there, sample after sample, for longer than the variation of its neighbours
    allows; hardly a sample lies just off it; and it comes from and goes to well off it. A steady signal, such as a
    regulated voltage at one code, dithers around or creeps to its level; a channel that is quiet for its resolution
    does not vary beside, and nothing is claimed of it.

    Args:
        traces: stretches that hold the figure and what is around it.
        level: the channel's highest or lowest figure over the log.
    """
    sign = 1.0 if end == "highest" else -1.0
    parts = [sign * trace.values[role][np.isfinite(trace.values[role])] for trace in traces if role in trace.values]
    if not any(len(part) for part in parts):
        return False
    pooled = distinct(np.concatenate(parts))
    if len(pooled) < 4:
        return False
    top = sign * level
    # a logger of two ranges has coarser steps above
    upper = pooled[pooled >= (pooled[0] + top) / 2]
    code = float(np.min(np.diff(upper if len(upper) > 2 else pooled)))
    at_top = [part >= top - 0.25 * code for part in parts]
    stretches = [(part, first, last) for part, flags in zip(parts, at_top, strict=True) for first, last in runs(flags)]
    lengths = np.array([last - first for _, first, last in stretches])
    if lengths.sum() < LEAST_SAMPLES:
        return False
    near = sum(int(((part < top - 0.25 * code) & (part >= top - NEAR_CODES * code)).sum()) for part in parts)
    if near > NEAR_SHARE * lengths.sum():
        return False
    jumps = [top - part[at] for part, first, last in stretches for at in (first - 1, last) if 0 <= at < len(part)]
    if not jumps or float(np.percentile(jumps, 25, method="lower")) < LEAST_JUMP_CODES * code:
        return False
    return _beyond_chance(stretches, code)


def _beyond_chance(stretches: Sequence[tuple[Array, int, int]], code: float) -> bool:
    """Whether so many samples at one figure are no chance, by how often the neighbours repeat theirs."""
    besides = [
        beside
        for part, first, last in stretches
        for beside in (part[max(first - BESIDE_ROWS, 0) : first], part[last : last + BESIDE_ROWS])
    ]
    steps = np.concatenate([np.abs(np.diff(beside)) for beside in besides])
    bends = np.concatenate([np.abs(np.diff(beside, 2)) for beside in besides])
    bending = bends[bends > 0.0]
    if len(steps) < LEAST_SAMPLES or not len(bending) or median(bending) < LEAST_BEND * median(steps[steps > 0.0]):
        return False  # too few to tell, or a course without noise, which may be flat anywhere
    share = (int((steps < 0.5 * code).sum()) + 1) / (len(steps) + 2)
    return bool((sum(last - first for _, first, last in stretches) - 1) * np.log10(share) <= CHANCE_LOG10)
