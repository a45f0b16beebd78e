"""How far does the mean of a short stretch stray? The noise of one channel by the length of the stretch.

Noise that remembers does not average out over a stretch shorter than its memory, and such a stretch does not show
it either. What does is how far means of neighbouring stretches lie apart, over all of a log where the channel is calm
(the two-sample variance of IEEE 1139-2008, here of readings). For noise about one level, the variance V of
the mean of a stretch is half the sum of those variances A over all longer stretches:
V(2 s) = V(s) - A(s) / 2, and V goes to nothing, so V(s) = (A(s) + A(2 s) + A(4 s) + …) / 2.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.coarse import runs, spacing_s
from benchlog.core.quantiles import distinct, median, percentile
from benchlog.core.spread import robust_sigma
from benchlog.core.trace import Array
from benchlog.core.uncertainty import combine, t_inflation

Flags = npt.NDArray[np.bool_]

#: Longer stretches than this are not compared, s: beyond it the bike itself drifts.
LONGEST_S = 40.0
#: Steps of the reading are looked for between means of about this length, s: a difference of neighbouring means beyond
#: so many robust deviations is a step, and no noise.
STEP_S, STEP_SIGMAS = 0.4, 6.0
#: A scale counts with at least so many independent differences; with fewer than plenty, what the shorter stretches lead
#: to expect counts as so many more.
LEAST_DEGREES, PLENTY, EXPECTED_DEGREES = 3.0, 20.0, 5.0
#: Samples further apart than this many usual steps are not neighbours; so many longer steps, as a share, are those
#: between packets.
APART, BUNCHED_SHARE = 5.0, 0.02
#: The variances fall with the stretch by a half where the noise has forgotten, and rise by as much where it has not.
FORGOTTEN, REMEMBERED = 0.5, 0.75


@dataclass(frozen=True, slots=True)
class NoiseModel:
    """A channel's noise about its level.

    Attributes:
        sigma: standard deviation of one point about the level, in the channel's unit.
        jitter: of one point about its neighbours: what is left of it once the noise remembers.
        memory_s: so far apart points would have to lie to average as quickly, if they were independent, s.
        windows_s: lengths of stretches, each twice the one before, s; the first is one point.
        means_u: standard uncertainty of the mean over each of these, widened for what is known of it.
    """

    sigma: float
    jitter: float
    memory_s: float
    windows_s: tuple[float, ...]
    means_u: tuple[float, ...]

    def mean_u(self, window_s: float) -> float:
        """Standard uncertainty (type A) of the mean of a stretch of this length, s."""
        last_s = self.windows_s[-1]
        if window_s >= last_s:
            return self.means_u[-1] * math.sqrt(last_s / window_s)
        return float(np.interp(math.log2(window_s), np.log2(self.windows_s), self.means_u))

    def difference_u(self, window_s: float, other_s: float) -> float:
        """Standard uncertainty (type A) of the difference of two stretches' means.

        Noise that outlasts both cancels in part, which is not counted on.
        """
        return combine(self.mean_u(window_s), self.mean_u(other_s))

    def halves_u(self, window_s: float) -> float:
        """By how much the means of a stretch's two halves differ from noise alone (standard deviation)."""
        return 2 * math.sqrt(max(self.mean_u(window_s / 2) ** 2 - self.mean_u(window_s) ** 2, 0.0))


def noise_model(
    time_s: Array, values: Array, resolution: float = 0.0, steps_s: Iterable[float] = ()
) -> NoiseModel | None:
    """The noise of one channel from all of a log, or a part; steps, gaps, spikes and drift are left out.

    Args:
        time_s: of points at about equal distances, s. values: NaN where there is none.
        resolution: the channel's smallest step; 0 where not stated.
        steps_s: where the load, or another channel, steps.

    Returns:
        None for fewer than 8 points.
    """
    good = np.isfinite(values)
    t, x = time_s[good], values[good]
    if len(x) < 8:
        return None
    step_s = spacing_s(t)
    t, x = _without_spikes(t, x, resolution)
    apart = _apart(t, step_s)
    apart[np.clip(np.searchsorted(t, np.asarray(list(steps_s), dtype=float)) - 1, 0, len(apart) - 1)] = True
    apart |= _steps(x, apart, max(round(STEP_S / step_s), 1), resolution)
    variances, degrees = _two_sample(x, apart, step_s, resolution)
    if not variances:
        return None
    return _model(step_s, variances, degrees)


def steps_of(time_s: Array, values: Array, resolution: float = 0.0) -> Array:
    """Times at which one channel's level steps, s."""
    good = np.isfinite(values)
    t, x = time_s[good], values[good]
    if len(x) < 8:
        return np.empty(0)
    step_s = spacing_s(t)
    t, x = _without_spikes(t, x, resolution)
    found = _steps(x, _apart(t, step_s), max(round(STEP_S / step_s), 1), resolution)
    return t[1:][found]


def _apart(t: Array, step_s: float) -> Flags:
    d = np.diff(t)
    longer = d[d > step_s]
    # between stamps that come in packets the packets' own distance is usual
    usual = median(longer) if len(longer) > BUNCHED_SHARE * len(d) else step_s
    flags: Flags = d > APART * usual
    return flags


def _without_spikes(t: Array, x: Array, resolution: float) -> tuple[Array, Array]:
    """Without points that stand far above, or below, both their neighbours."""
    d = np.diff(x)
    spread, _ = _spread(d, resolution)
    if spread <= 0.0:
        return t, x
    far = np.abs(d) > STEP_SIGMAS * spread
    alone = far[:-1] & far[1:] & (np.sign(d[:-1]) != np.sign(d[1:]))
    keep = np.concatenate(([True], ~alone, [True]))
    return t[keep], x[keep]


def _spread(d: Array, resolution: float) -> tuple[float, float]:
    """Standard deviation of differences about their middle, outliers left out: ``(deviation, middle)``.

    A deviation of the median's kind is nothing where most readings repeat; then the rounding's own size bounds
    what is an outlier.
    """
    if not len(d):
        return 0.0, 0.0
    middle = median(d)
    off = np.abs(d - middle)
    robust = robust_sigma(off)
    moved = off[off > 1e-12 * (1 + abs(middle))]
    if not len(moved):
        return 0.0, middle
    least = max(robust, resolution / 2)
    if least <= 0.0:
        least = percentile(moved, 10)
    kept = off[off <= STEP_SIGMAS * least]
    return float(np.sqrt(np.mean(kept**2))), middle


def _neighbours(x: Array, apart: Flags, points: int) -> tuple[Array, npt.NDArray[np.int64]]:
    """Differences of neighbouring means of so many points, and the index of the second's first point."""
    total = np.concatenate(([0.0], np.cumsum(x - x[0])))
    means = (total[points:] - total[:-points]) / points
    stride = max(points // 8, 1)
    d = (means[points:] - means[:-points])[::stride]
    broken = np.concatenate(([0], np.cumsum(apart)))
    begin = np.arange(len(d), dtype=np.int64) * stride
    whole = broken[begin + 2 * points - 1] == broken[begin]
    return d[whole], begin[whole] + points


def _steps(x: Array, apart: Flags, points: int, resolution: float) -> Flags:
    """True between points where the level steps."""
    found = np.zeros(len(x) - 1, dtype=bool)
    d, at = _neighbours(x, apart, points)
    spread, middle = _spread(d, resolution)
    if spread <= 0.0:
        return found
    far = np.abs(d - middle)
    for first, end in runs(far > STEP_SIGMAS * spread):
        found[at[first + int(np.argmax(far[first:end]))] - 1] = True
    return found


def _two_sample(x: Array, apart: Flags, step_s: float, resolution: float) -> tuple[list[float], list[float]]:
    """Two-sample variance of the means of 1, 2, 4, … points, and the degrees of freedom behind each."""
    variances: list[float] = []
    degrees: list[float] = []
    points = 1
    while points * step_s <= LONGEST_S:
        d, _ = _neighbours(x, apart, points)
        known = len(d) * max(points / 8, 1) / points
        if known < LEAST_DEGREES:
            break
        spread, _ = _spread(d, resolution if points == 1 else 0.0)
        variance, free = spread**2 / 2, known
        if len(variances) > 2 and known < PLENTY:
            # few long stretches scatter by chance: what the shorter ones lead to expect counts beside them
            expected = variances[-1] * _fall(variances)
            variance = (known * variance + EXPECTED_DEGREES * expected) / (known + EXPECTED_DEGREES)
            free = known + EXPECTED_DEGREES
        variances.append(variance)
        degrees.append(free)
        points *= 2
    return variances, degrees


def _fall(variances: Sequence[float]) -> float:
    """By how much the next variance is expected to fall, from the last two falls."""
    back = min(len(variances) - 1, 2)
    if not back or variances[-1 - back] <= 0.0:
        return REMEMBERED
    return float(min(max((variances[-1] / variances[-1 - back]) ** (1 / back), FORGOTTEN), REMEMBERED))


def _model(step_s: float, variances: Sequence[float], degrees: Sequence[float]) -> NoiseModel:
    fall = _fall(variances)
    rest = 0.5 * variances[-1] * fall / (1 - fall)
    mean_var = [rest]
    for variance in reversed(variances):
        mean_var.append(mean_var[-1] + variance / 2)
    mean_var.reverse()
    # degrees of freedom of a sum (JCGM 100:2008, eq. G.2b); what lies beyond is known as badly as the last
    parts = [*(variance / 2 for variance in variances), rest]
    known = [*degrees, degrees[-1]]
    means_u = []
    for number, total in enumerate(mean_var):
        doubt = sum(part**2 / nu for part, nu in zip(parts[number:], known[number:], strict=True))
        means_u.append(t_inflation(math.sqrt(total), int(total**2 / doubt)) if total > 0.0 else 0.0)
    windows = tuple(step_s * 2**number for number in range(len(mean_var)))
    memory = windows[-1] * mean_var[-1] / mean_var[0] if mean_var[0] > 0.0 else 0.0
    sigma, jitter = math.sqrt(mean_var[0]), math.sqrt(variances[0])
    return NoiseModel(sigma, jitter, max(memory, step_s), windows, tuple(means_u))


class LogNoise(Mapping[str, NoiseModel]):
    """Each channel's noise, worked out when it is first asked for; a step in any channel is none in all.

    Args:
        points: role -> times, s, and values of points at about equal distances.
        resolutions: role -> smallest step.
    """

    def __init__(self, points: Mapping[str, tuple[Array, Array]], resolutions: Mapping[str, float]) -> None:
        self._points, self._resolutions = points, resolutions
        self._known: dict[str, NoiseModel | None] = {}
        self._steps: Array | None = None

    def __getitem__(self, role: str) -> NoiseModel:
        if role not in self._known:
            time_s, values = self._points[role]
            if self._steps is None:
                found = [steps_of(*self._points[one], self._resolutions.get(one, 0.0)) for one in self._points]
                self._steps = distinct(np.concatenate(found))
            self._known[role] = noise_model(time_s, values, self._resolutions.get(role, 0.0), self._steps)
        model = self._known[role]
        if model is None:
            raise KeyError(role)
        return model

    def __iter__(self) -> Iterator[str]:
        return iter(self._points)

    def __len__(self) -> int:
        return len(self._points)
