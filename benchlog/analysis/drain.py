"""Off-state drain: when has the current settled after key-off, and what leaves the battery from then on?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import gap_limit_s, leads_out_of, outside_of
from benchlog.analysis.settling import LEAST_BAND_A, Settled, Stretches
from benchlog.core.quantiles import median
from benchlog.core.trace import Array, Band, Overview
from benchlog.core.uncertainty import Accuracy, block_mean, combine, rectangular

#: Above this the bike is awake, A, whether or not its current is steady.
AWAKE_A = 0.25


@dataclass(frozen=True, slots=True)
class Drain:
    """Current out of the battery over one settled stretch.

    Attributes:
        mean_a: time-weighted, wake-ups included, A.
        type_a_u: standard uncertainty from scatter, from one wake-up more or less, and from what gaps hide, A.
        u: with the channel's offset and gain, A; None where its accuracy is not stated.
        base_a: between wake-ups, A. wakeups: how many. averaged_s: s behind the mean.
        over: samples over range in the stretch; the mean is a lower bound then.
        widest_gap_s: between samples that the mean bridges, s.
        visits: the wake-ups among them in which the bike was awake, as ``(from_s, to_s)``.
    """

    mean_a: float
    type_a_u: float
    u: float | None
    base_a: float
    wakeups: int
    averaged_s: float
    over: int
    widest_gap_s: float
    visits: tuple[tuple[float, float], ...] = ()


def drain(
    overview: Overview,
    role: str,
    settled: Settled,
    accuracy: Accuracy | None,
    left_out: Stretches = (),
    memory_s: float = 0.0,
) -> Drain | None:
    """Charge over time across one settled stretch, from the log's own trapezoids.

    Across a gap in the log the trapezoid stands for what nobody saw: there the current may as well have been that
    of a wake-up, which widens the uncertainty.

    Args:
        left_out: parts of the stretch that do not count, s.
        memory_s: of the channel's noise, where the log tells more of it than this stretch.

    Returns:
        None where fewer than 3 buckets of the overview lie inside.
    """
    first = int(np.searchsorted(overview.start_s, settled.from_s - 1e-9))
    last = int(np.searchsorted(overview.end_s, settled.to_s + 1e-9))
    if last - first < 3:
        return None
    # a bucket's area reaches back to the sample before it, so the first one starts the clock
    inside = slice(first + 1, last)
    band, gap_s = overview.bands[role], overview.gap_s[inside]
    counts = _counts(overview, band, (first, last), left_out)
    weight, area = np.where(counts, band.weight_s[inside], 0.0), np.where(counts, band.area[inside], 0.0)
    if (covered := float(weight.sum())) <= 0.0:
        return None
    if over := int(band.over[inside][counts].sum()):
        # what lies beyond the range counts as nothing, so the mean is a lower bound
        covered = float((overview.end_s[inside] - overview.end_s[first : last - 1])[counts].sum())
    mean = float(area.sum()) / covered
    current = np.divide(area, weight, out=np.zeros_like(area), where=weight > 0)
    woken = _wake_ups(overview, band, inside, settled, (current, weight))
    calm = (weight > 0.0) & ~woken.inside
    step_s = covered / max(int(np.count_nonzero(weight)), 1)
    scatter = block_mean(current[calm], weight[calm], memory=memory_s / step_s).u if calm.sum() >= 2 else 0.0
    once = max((abs(charge) for charge in woken.charges_as), default=0.0)
    uneven = _uneven(woken.charges_as, settled.wakeups, overview.step_s)
    bridged = np.where(weight > 0.0, gap_s, 0.0)
    gaps = bridged[bridged > gap_limit_s(median(gap_s))]
    highest_a = max(0.1 * abs(settled.base_a), LEAST_BAND_A, *woken.heights_a)
    hidden = rectangular(highest_a * math.sqrt(float((gaps**2).sum())) / covered)
    type_a = combine(scatter, rectangular(once / covered), uneven / covered, hidden)
    u = None if accuracy is None else combine(type_a, accuracy.level_u(mean))
    woke, gap = len(woken.charges_as), float(bridged.max())
    return Drain(mean, type_a, u, settled.base_a, woke, covered, over, gap, tuple(woken.visits))


def _counts(overview: Overview, band: Band, between: tuple[int, int], left_out: Stretches) -> npt.NDArray[np.bool_]:
    """Which buckets count, but the first: neither what is left out, nor the trapezoid that leads out of it."""
    first, last = between
    counts = outside_of(overview.start_s[first : last - 1], overview.end_s[first + 1 : last], left_out)
    out = ~outside_of(overview.start_s[first:last], overview.end_s[first:last], left_out)
    counts &= ~(out | leads_out_of(out, band.mean[first:last]))[1:]
    return counts


@dataclass(frozen=True, slots=True)
class _WakeUps:
    """The wake-ups of a stretch.

    Attributes:
        inside: which buckets they touch.
        charges_as: what each adds to the base, As. heights_a: and its mean above it, A.
        visits: those in which the bike was awake, s.
    """

    inside: npt.NDArray[np.bool_]
    charges_as: list[float]
    heights_a: list[float]
    visits: list[tuple[float, float]]


def _wake_ups(overview: Overview, band: Band, inside: slice, settled: Settled, drawn: tuple[Array, Array]) -> _WakeUps:
    """What each wake-up adds; ``drawn``: of the buckets inside the mean current, A, and the time behind it, s."""
    current, weight = drawn
    found = _WakeUps(np.zeros(len(current), dtype=bool), [], [], [])
    for from_s, to_s in settled.wakeups:
        hit = (overview.end_s[inside] >= from_s) & (overview.start_s[inside] <= to_s)
        found.inside[hit] = True
        charge = float(((current[hit] - settled.base_a) * weight[hit]).sum())
        found.charges_as.append(charge)
        found.heights_a.append(abs(charge) / max(float(weight[hit].sum()), 1e-12))
        if float(np.max(current[hit], initial=0.0)) > AWAKE_A and not band.over[inside][hit].any():
            found.visits.append((from_s, to_s))
    return found


def _uneven(charges: Sequence[float], wakeups: Stretches, step_s: float) -> float:
    """Standard uncertainty of the charge of all wake-ups from their own scatter, As.

    Wake-ups that fill one sample each fell between the samples as often as not: their number is left to chance.
    """
    n = len(charges)
    scatter = float(np.std(charges, ddof=1)) * math.sqrt(n) if n > 1 else 0.0
    short = sum(to_s - from_s < 0.5 * step_s for from_s, to_s in wakeups)
    missed = math.sqrt(n) * float(np.mean(np.abs(charges))) if n and short > n / 2 else 0.0
    return max(scatter, missed)
