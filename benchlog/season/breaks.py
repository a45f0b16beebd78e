"""Did the level step, as with a new battery? The clearest step beside a trend, proven by shuffling the residuals.

For every place where the series could have stepped, the fit of level, trend and what else is known is made with
a step and without it; the place that explains most is the break (a sup-F test, Andrews 1993). How large that is
by chance is found by shuffling the residuals of the fit without a step (Freedman and Lane 1983).
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from benchlog.core.spread import robust_sigma
from benchlog.season.trend import Array, autocorrelation_inflation, huber

#: Readings on either side of a step.
LEAST_EACH_SIDE = 3
#: A step in any quantity of a season that has none is reported about this often, and in at most twice as many where
#: the season has another; a new battery's is far clearer.
FALSE_ALARMS, SHUFFLES = 0.02, 1999
# shuffled so many at a time; once so many of them were as clear, chance explains it well enough and no more are made
# (Besag and Clifford 1991): seasons without a step, nearly all, need a tenth of the shuffles
_BATCH, _ENOUGH = 200, 40
#: More readings than this are searched at this many places only.
_MOST_PLACES = 200
# so many readings on either side for a trend of their own; and two steps may hide each other in so many
_LEAST_FOR_A_BEND, _LEAST_TO_HIDE = 5, 24
# a step is this many of its own standard deviations at least, and a trend that only bends fits worse by this much
# (99.9 % of a chi-squared with one degree of freedom); it may lie elsewhere where the fit is hardly worse (95 % of it)
_STANDS, _BEND_WORSE, _HARDLY_WORSE = 2.5, 10.83, 3.84


@dataclass(frozen=True, slots=True)
class LevelShift:
    """The clearest step of one series.

    Attributes:
        first, last: the step lies before the reading ``at`` with first <= at <= last (indices, best in ``at``).
        size: after less before, units of the series.
        p: probability of so clear a step where there is none.
    """

    first: int
    at: int
    last: int
    size: float
    p: float


@dataclass(frozen=True, slots=True)
class Break:
    """Something changed between two readings.

    Attributes:
        after, before: the change lies between these, the last reading before it and the first after it.
        steps: quantity -> after less before, in its unit.
        noted: what was noted about it; empty where it was found in the readings alone.
        kind: in words, what such steps go with.
        p: probability of the clearest step by chance; None for a change that was only noted.
        number: of the noted change's entry in the store; None where there is none.
    """

    after: datetime
    before: datetime
    steps: dict[str, float]
    noted: str = ""
    kind: str = ""
    p: float | None = None
    number: int | None = None


def clearest_step(time: Array, y: Array, others: Array, rng: np.random.Generator) -> LevelShift | None:
    """The clearest step of ``y`` beside a trend and ``others``; None where the series is too short or too even.

    Args:
        time: ascending.
        others: (len(time), k); k may be 0.
        rng: shuffles.
    """
    n = len(time)
    known = np.column_stack([np.ones(n), time, others])
    spare = n - np.linalg.matrix_rank(known)
    room = n - 2 * LEAST_EACH_SIDE + 1
    if room < 1 or spare < LEAST_EACH_SIDE:
        return None
    places = np.linspace(LEAST_EACH_SIDE, n - LEAST_EACH_SIDE, min(room, _MOST_PLACES)).astype(np.int64)
    basis = np.linalg.qr(known)[0]
    steps = (np.arange(n)[:, None] >= places[None, :]).astype(np.float64)
    steps -= basis @ (basis.T @ steps)
    length = np.sqrt((steps * steps).sum(axis=0))
    usable = length > 1e-6
    if not usable.any():
        return None
    places, steps = places[usable], steps[:, usable] / length[usable]
    residual = _tame(y - known @ huber(known, y))
    residual -= basis @ (basis.T @ residual)
    total = float(residual @ residual)
    if total <= 1e-24 * float(y @ y):
        return None
    share = (steps.T @ residual) ** 2 / total
    best = int(np.argmax(share))
    at = int(places[best])
    size, surely, alike = _size(known, time, y, at)
    # neighbours that are alike make steps by chance; the shuffled ones have lost that
    clear = _deflated(float(share[best]), alike)
    p = _by_chance(residual, basis, steps, clear, rng) if surely else 1.0
    left = np.maximum(1 - share, 1e-9)
    near = places[n * np.log(left / left[best]) <= _HARDLY_WORSE]
    return LevelShift(int(near.min()), at, int(near.max()), size, p)


def _by_chance(residual: Array, basis: Array, steps: Array, clear: float, rng: np.random.Generator) -> float:
    """The probability that shuffled residuals have a step that explains the share ``clear`` of them."""
    # residuals of the fit look smaller where a reading has much weight in it; that is put back before shuffling
    weight = np.maximum(1.0 - (basis * basis).sum(axis=1), 0.05)
    even = residual / np.sqrt(weight)
    even -= even.mean()
    seen = made = 0
    while made < SHUFFLES and seen < _ENOUGH:
        shuffled = rng.permuted(np.tile(even, (min(_BATCH, SHUFFLES - made), 1)), axis=1)
        shuffled -= (shuffled @ basis) @ basis.T
        share = ((shuffled @ steps) ** 2).max(axis=1) / (shuffled * shuffled).sum(axis=1)
        seen += int((share >= clear).sum())
        made += len(share)
    return (1 + seen) / (1 + made)


def found_steps(time: Array, y: Array, others: Array, alpha: float, rng: np.random.Generator) -> list[LevelShift]:
    """Every proven step of a series, earliest first: the clearest, then those of the parts before and after it.

    Where none is proven in the whole, the first and the last two thirds are looked at: two steps hide each other.

    Args:
        alpha: the chance of reporting one that is not there; parts get half of it each time.
    """
    n = len(time)
    step = clearest_step(time, y, others, rng)
    if (step is None or step.p > alpha) and n >= _LEAST_TO_HIDE:
        for start, stop in ((0, 2 * n // 3), (n // 3, n)):
            seen = clearest_step(time[start:stop], y[start:stop], others[start:stop], rng)
            if seen is not None and seen.p <= alpha / 2:
                step = _moved(seen, start)
                break
    if step is None or step.p > alpha:
        return []
    at = step.at
    before = found_steps(time[:at], y[:at], others[:at], alpha / 2, rng)
    after = found_steps(time[at:], y[at:], others[at:], alpha / 2, rng)
    return [*before, step, *(_moved(one, at) for one in after)]


def _moved(step: LevelShift, by: int) -> LevelShift:
    return LevelShift(step.first + by, step.at + by, step.last + by, step.size, step.p)


def _size(known: Array, time: Array, y: Array, at: int) -> tuple[float, bool, float]:
    """How large the step is, whether it stands beside a trend that may change there too, and how alike neighbours are.

    Ageing that grows faster bends the line; fitted with a bend it leaves no step.
    """
    n = len(y)
    after = (np.arange(n) >= at).astype(np.float64)
    columns = [after]
    if min(at, n - at) >= _LEAST_FOR_A_BEND:
        columns.append(after * (time - time[at]))
    whole = np.column_stack([known, *columns])
    fitted = huber(whole, y)
    residual = y - whole @ fitted
    alike = autocorrelation_inflation(residual, whole.shape[1] - 1)
    variance = float(residual @ residual) / (n - whole.shape[1]) * alike
    own = np.linalg.pinv(whole.T @ whole)[known.shape[1], known.shape[1]]
    size = float(fitted[known.shape[1]])
    surely = size * size > _STANDS**2 * variance * float(own)
    if surely and len(columns) > 1:
        tamed = _tame(residual)
        surely = _bent(known, time, y - residual + tamed) > float(tamed @ tamed) * np.exp(_BEND_WORSE * alike / n)
    return size, bool(surely), alike


def _bent(known: Array, time: Array, y: Array) -> float:
    """The least sum of squares of a trend that bends somewhere, but does not step."""
    places = time[LEAST_EACH_SIDE : len(time) - LEAST_EACH_SIDE]
    least = np.inf
    for place in places[:: max(len(places) // _MOST_PLACES, 1)]:
        whole = np.column_stack([known, np.maximum(time - place, 0.0)])
        left = y - whole @ np.linalg.lstsq(whole, y, rcond=None)[0]
        least = min(least, float(left @ left))
    return least


def kind_of(steps: dict[str, float]) -> str:
    """What such steps go with, in words."""
    signs = {quantity: (size > 0) - (size < 0) for quantity, size in steps.items()}
    better = [signs.get("source_resistance") == -1, signs.get("resting_voltage") == 1, signs.get("crank_minimum") == 1]
    worse = [signs.get("source_resistance") == 1, signs.get("resting_voltage") == -1, signs.get("crank_minimum") == -1]
    if any(better) and not any(worse):
        return (
            "as with a new battery, or with posts cleaned"
            if better == [True, False, False]
            else ("as with a new battery" if sum(better) > 1 else "as with a new or a freshly charged battery")
        )
    if any(worse) and not any(better):
        return "as with a cell that failed, a poor joint at the posts or another, weaker battery"
    if signs.get("off_state_drain") == 1:
        return "as with an accessory that draws current with the key off"
    if signs.get("off_state_drain") == -1:
        return "as with something taken off that drew current with the key off"
    if "charging_voltage" in signs:
        return "as with another regulator, or a changed charging circuit"
    return "in more than one direction"


def _deflated(share: float, factor: float) -> float:
    """The share explained that is left when the ratio of explained to left-over is divided by ``factor``."""
    if share >= 1.0:
        return 1.0
    ratio = share / (1 - share) / factor
    return ratio / (1 + ratio)


def _tame(residual: Array) -> Array:
    """Residuals with the far ones drawn in to three robust standard deviations."""
    middle = float(np.median(residual))
    reach = 3 * robust_sigma(residual - middle)
    if reach == 0:
        return residual.copy()
    tamed: Array = np.clip(residual, middle - reach, middle + reach)
    return tamed
