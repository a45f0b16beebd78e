"""Which loads are pulsed too fast to be followed, and what do they draw on the mean?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import Coarse, runs, spacing_s
from benchlog.analysis.pulsed import FASTEST_S, FEWEST_SAMPLES, FOLLOWED_SAMPLES
from benchlog.core.quantiles import median, percentile, percentiles
from benchlog.core.trace import Array

#: Fast pulses are looked for over the one time, and averaged over the other, s.
WINDOW_S, AVERAGED_S = 0.8, 0.5
#: Samples keep step with pulses where up to so many of them, in turn, fall on the same places of the pulse; they do
#: not where these places move by so many pulses over the stretch.
MOST_IN_STEP, SWEEPS = 8, 2.0
#: The least swing of faster pulses, A.
LEAST_FLUTTER_A = 0.25


@dataclass(frozen=True, slots=True)
class Flutter:
    """A stretch whose current jumps to and fro faster than can be followed.

    Attributes:
        from_s, to_s: s. swing_a: between its upper and lower levels, A.
        samples: of the logger in one pulse; inf where not counted.
    """

    from_s: float
    to_s: float
    swing_a: float
    samples: float = math.inf

    @property
    def doubtful(self) -> bool:
        """So few samples a pulse that it may be a faster one, seen wrongly (aliasing)."""
        return self.samples < FEWEST_SAMPLES


def find_flutter(table: Coarse, by: str, sample_s: float, calm_a: float = math.inf) -> list[Flutter]:
    """Stretches where the current swings too fast to be followed, and more than at its calmest.

    Args:
        table: a stretch in fine points, 10 ms or the logger's own step, before anything was evened out.
        sample_s: the logger's own step, s.
        calm_a: how far noise alone swings, A, where it is known from elsewhere: the load may be on throughout.
    """
    low, high, mean = table.low[by], table.high[by], table.mean[by]
    if len(low) < 20:
        return []
    step_s = spacing_s(table.start_s)
    window = max(round(WINDOW_S / step_s), 10)
    edges = np.arange(0, len(low) - window // 2, window)
    if len(edges) < 2:
        return []
    often = 2 / max(FASTEST_S, FOLLOWED_SAMPLES * sample_s)
    swing, passes = _swings(low, mean, high, edges, window)
    quick = passes / (window * step_s) > often
    calm = min(percentile(swing, 5), calm_a)
    found = []
    for first, end in runs((swing > max(LEAST_FLUTTER_A, 4 * calm)) & quick):
        if end - first >= 2:
            begins, ends = int(edges[max(first - 1, 0)]), min(int(edges[end - 1]) + 2 * window, len(low)) - 1
            size = median(swing[first:end])
            found.append(Flutter(float(table.start_s[begins]), float(table.end_s[ends]), size))
    return found


def calm_swing(table: Coarse, by: str) -> float:
    """How far the current swings over a stretch without pulses, A: its noise; inf where too few points tell."""
    good = np.isfinite(table.mean[by])
    return float(_swing(table.low[by][good], table.high[by][good])) if good.sum() >= 20 else math.inf


def _swings(low: Array, mean: Array, high: Array, edges: npt.NDArray[np.int64], window: int) -> tuple[Array, Array]:
    """Swing and number of passes of each window; 0 for those of too few points. Whole windows are taken at once."""
    swing, passes = np.zeros(len(edges)), np.zeros(len(edges))
    full = int(np.searchsorted(edges, len(low) - window, side="right"))
    whole = np.zeros(len(edges), dtype=bool)
    whole[:full] = np.isfinite(mean[: full * window]).reshape(full, window).all(axis=1)
    lows, means, highs = (x[: full * window].reshape(full, window)[whole[:full]] for x in (low, mean, high))
    if len(lows):
        swing[whole], passes[whole] = _swing(lows, highs), _passes(lows, means, highs)
    for number in np.flatnonzero(~whole):
        part = slice(edges[number], edges[number] + window)
        good = np.isfinite(mean[part])
        if good.sum() < 6:
            continue
        row = [x[part][good][None] for x in (low, mean, high)]
        swing[number], passes[number] = _swing(row[0], row[2])[0], _passes(*row)[0]
    return swing, passes


def _swing(low: Array, high: Array) -> Array:
    """Of each row."""
    swing: Array = percentiles(high, 92) - percentiles(low, 8)
    return swing


def _passes(low: Array, mean: Array, high: Array) -> Array:
    """How often the current passes the middle of its range, within points and between them; of each row."""
    bottom, top = percentiles(low, 8)[:, None], percentiles(high, 92)[:, None]
    middle, quarter = (bottom + top) / 2, (top - bottom) / 4
    within = (low < middle - quarter) & (high > middle + quarter)
    above = mean > middle
    between = (above[:, 1:] != above[:, :-1]) & ~within[:, 1:] & ~within[:, :-1]
    passes: Array = (within.sum(axis=1) + between.sum(axis=1)).astype(np.float64)
    return passes


def samples_a_pulse(x: Array) -> float:
    """How many samples make up a pulse, from single samples over many pulses.

    Returns:
        inf where there are no pulses, or where the samples do not keep step with them: then they fall everywhere on
        the pulse in turn, and their mean is its mean however few they are.
    """
    x = x[np.isfinite(x)]
    n = len(x)
    if n < 32:
        return 2.0
    middle = (percentile(x, 4) + percentile(x, 96)) / 2
    above = (x > middle).astype(np.float64)
    power = np.abs(np.fft.rfft((above - above.mean()) * np.hanning(n), 4 * n))
    turn = float(np.argmax(power)) / (4 * n)  # share of a pulse from one sample to the next
    for kept in range(1, MOST_IN_STEP + 1):
        if abs(turn * kept - round(turn * kept)) * n < SWEEPS:
            return 1 / turn if turn else math.inf
    return math.inf


def smoothed(table: Coarse, found: Sequence[Flutter], wide_s: float = AVERAGED_S) -> Coarse:
    """The same stretch, each channel averaged over ``wide_s`` where the current flutters (a raised cosine)."""
    if not found:
        return table
    step_s = spacing_s(table.start_s)
    points = max(round(wide_s / step_s), 24)
    weights = np.hanning(points + 2)[1:-1]
    inside = np.zeros(len(table), dtype=bool)
    for flutter in found:
        inside |= (table.time_s >= flutter.from_s) & (table.time_s <= flutter.to_s)
    mean = {role: np.where(inside, _averaged(x, weights), x) for role, x in table.mean.items()}
    return replace(table, mean=mean)


def _averaged(x: Array, weights: Array) -> Array:
    good = np.isfinite(x)
    total = np.convolve(np.where(good, x, 0.0), weights, mode="same")
    weight = np.convolve(good.astype(float), weights, mode="same")
    # as long as x also where the window is longer than the stretch
    total, weight = (_middle(y, len(x)) for y in (total, weight))
    averaged: Array = np.divide(total, weight, out=np.full(len(x), np.nan), where=good)
    return averaged


def _middle(y: Array, n: int) -> Array:
    extra = len(y) - n
    return y[extra // 2 : extra // 2 + n] if extra > 0 else y
