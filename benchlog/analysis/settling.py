"""When has the current settled after the key-off?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.coarse import Coarse, outside_of, runs, spacing_s
from benchlog.analysis.noise import NoiseModel
from benchlog.core.quantiles import median
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Array
from benchlog.core.uncertainty import Z_PROVEN, combine, rectangular

#: The final band is never narrower than this, A.
LEAST_BAND_A = 5e-5
#: Settled means within this of the base, A, where a channel sees no finer: a control unit that is awake draws this
#: much or more (common practice, no source).
STIRS_A = 0.01
#: The search is repeated on means of so many points, as long as this many means are left.
POINTS_TOGETHER = (4, 16, 64)
FEWEST_POINTS = 12
#: Means of fewer points than this are not compared; how far longer ones stray is the noise model's to say.
FEWEST_COMPARED = 3
#: How a current fades is read from the time it took to fall by this factor to what can be seen.
FADES = 4.0
#: Where points lie further apart than this many usual steps, and than so long, s, nothing was seen.
UNSEEN_STEPS, UNSEEN_S = 10.0, 1.0

Stretches = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Settled:
    """A key-off span from the time its current has settled.

    Attributes:
        from_s: the earliest time after which the current stays in its final band, wake-ups apart, s.
        to_s: end of the span, s.
        width_s: how finely ``from_s`` is known, s.
        base_a: the level between wake-ups, A.
        wakeups: ``(from_s, to_s)`` of each.
        unseen_s: how much of it has no samples, or was left out, s.
        latest_s: it may have settled as late as this, s: in the point that shows it first, in the noise after a fade,
            or in a gap longer than the calm before it.
        awake: the bike was awake at the end, so nothing settled: it is the last stretch of the span.
        seen_a: half-width of the band: what lies in it is not told from the base, A.
    """

    from_s: float
    to_s: float
    width_s: float
    base_a: float
    wakeups: tuple[tuple[float, float], ...]
    unseen_s: float = 0.0
    latest_s: float = -math.inf
    awake: bool = False
    seen_a: float = 0.0

    @property
    def lasts_s(self) -> float:
        """How much of the settled stretch was seen, s."""
        return self.to_s - self.from_s - self.unseen_s


def settle(
    table: Coarse,
    role: str,
    resolution: float,
    key_on_follows: bool = False,
    left_out: Stretches = (),
    noise: NoiseModel | None = None,
) -> Settled | None:
    """Search from the end of a key-off span for the time its current settled.

    The final band lies around the lowest of the levels of the last tenth, quarter and half. An excursion
    from it that returns and is no longer than the calm before it is a wake-up and delays nothing. The search
    is repeated on means of more and more points, so that a small current does not hide in the noise of single
    ones; the latest time counts.

    Args:
        table: the span, in points of about 0.1 s or the logger's own step.
        role: the current channel.
        resolution: its smallest step, A; 0 where not stated.
        key_on_follows: an excursion at the very end is the key-on and ends the stretch.
        left_out: stretches whose points do not count, s, such as those with a fuse out.
        noise: of the channel; what neighbouring points show if not given, which noise that remembers does not.

    Returns:
        None for fewer than 4 valid points.
    """
    points = _points(table, role, left_out)
    if points is None:
        return None
    if not math.isfinite(points.base):
        return Settled(float(points.end[-1]), float(points.end[-1]), 0.0, points.base, ())
    seen = _Fineness(spacing_s(points.start), resolution, noise)
    outside = seen.outside(points)
    if key_on_follows and outside and outside[-1][0] and outside[-1][1] == len(points.x):
        points = points.before(outside.pop()[0])
    wakeups, settled_at = _sort_out(outside, points)
    from_s, found_in_s = float(points.start[settled_at]), seen.step_s
    # it may have been asleep already, and awake again: the log cannot tell
    asleep_at = max(_tail(wakeups, settled_at, points) - 1, 0)
    width = from_s - float(points.start[asleep_at]) if settled_at else seen.step_s
    later = _later_on_means(points, wakeups, seen, from_s)
    if later is not None:
        (from_s, width), found_in_s = later, later[1]
    gap_s, unseen_s = _across_gaps(points.start, points.end, from_s, left_out)
    seen_a = seen.band_a(points)
    # a mean within the band may begin with what ends in it
    begins_in_s = found_in_s if from_s > points.start[0] else 0.0
    latest_s = max(gap_s, from_s + max(begins_in_s, _under_noise_s(points, from_s, seen_a)))
    awake = tuple((float(points.start[a]), float(points.end[b - 1])) for a, b in wakeups if points.start[a] >= from_s)
    return Settled(from_s, float(points.end[-1]), width, points.base, awake, unseen_s, latest_s, seen_a=seen_a)


@dataclass(frozen=True, slots=True)
class _Points:
    """Points of a span, A and s, and the level that they end at, A. Excursions are ``(first, stop)`` among them."""

    x: Array
    start: Array
    end: Array
    base: float

    def before(self, stop: int) -> "_Points":
        """The first ones alone."""
        return _Points(self.x[:stop], self.start[:stop], self.end[:stop], self.base)

    def means(self, together: int) -> "_Points":
        """Means of so many points each, the last point in the last of them."""
        n = len(self.x) // together
        lead = len(self.x) - n * together
        means = self.x[lead:].reshape(n, together).mean(axis=1)
        return _Points(means, self.start[lead::together], self.end[lead + together - 1 :: together], self.base)

    def lasts_s(self, first: int, stop: int) -> float:
        """How long an excursion lasts, s."""
        return float(self.end[stop - 1] - self.start[first])

    def rises_a(self, first: int, stop: int) -> float:
        """How far above the final level it goes, A."""
        return float(np.max(self.x[first:stop])) - self.base


def _points(table: Coarse, role: str, left_out: Stretches) -> _Points | None:
    """Those of a span that count, and the lowest level of its end; None for too few."""
    x = table.mean[role].copy()
    x[table.over[role] > 0] = np.inf
    valid = ~np.isnan(x) & outside_of(table.start_s, table.end_s, left_out)
    x = x[valid]
    if len(x) < 4:
        return None
    base = min(median(x[-max(int(len(x) * share), 2) :]) for share in (0.1, 0.25, 0.5))
    return _Points(x, table.start_s[valid], table.end_s[valid], base)


@dataclass(frozen=True, slots=True)
class _Fineness:
    """How finely a channel shows its final level: step of its points, s, and of its readings, A, and its noise."""

    step_s: float
    resolution: float
    noise: NoiseModel | None

    def band_a(self, points: _Points, together: int = 1) -> float:
        """Half-width of the final band, A; its noise is that of the last half's neighbours, or the channel's own."""
        late = points.x[len(points.x) // 2 :]
        late = late[np.isfinite(late)]
        noise_a = self.noise.mean_u(together * self.step_s) if self.noise else 0.0
        sigma = max(robust_noise(late) if len(late) > 1 else 0.0, noise_a)
        return max(5 * sigma, 2 * self.resolution, 0.1 * abs(points.base), LEAST_BAND_A)

    def outside(self, points: _Points, together: int = 1) -> list[tuple[int, int]]:
        """Excursions from the final band; ``together``: of how many points each is the mean."""
        return runs(np.abs(points.x - points.base) > self.band_a(points, together))


def _later_on_means(
    points: _Points, wakeups: list[tuple[int, int]], seen: _Fineness, from_s: float
) -> tuple[float, float] | None:
    """The latest settling that means of more and more points show, s, and how finely; None where none is later."""
    quiet = points.x.copy()
    for first, stop in wakeups:  # known by now, and not to be smeared over their neighbours
        quiet[first:stop] = points.base
    calm = replace(points, x=quiet)
    found: tuple[float, float] | None = None
    for together in POINTS_TOGETHER:
        if len(quiet) // together < 2 * FEWEST_POINTS:
            break
        means = calm.means(together)
        _, at = _sort_out(seen.outside(means, together), means)
        if at and float(means.start[at]) - from_s > float(means.start[at] - means.start[at - 1]):
            from_s = float(means.start[at])
            found = from_s, float(means.start[at] - means.start[at - 1])
    return found


def _across_gaps(start: Array, end: Array, from_s: float, left_out: Stretches) -> tuple[float, float]:
    """``(latest_s, unseen_s)``: the end of the last gap that may hide the settling, and what was not seen in all."""
    apart = start[1:] - end[:-1]
    gaps = np.flatnonzero(apart > max(UNSEEN_STEPS * median(np.diff(start)), UNSEEN_S))
    latest, calm_s, since, unseen = from_s, 0.0, from_s, 0.0
    for at in gaps[end[gaps] >= from_s]:
        begins, ends = float(end[at]), float(start[at + 1])
        calm_s += begins - since
        # what was left out was seen all the same, and was no higher than what counts
        seen = not outside_of(np.array([begins]), np.array([ends]), left_out).all()
        if not seen and calm_s < ends - begins:
            latest, calm_s = ends, 0.0
        since, unseen = ends, unseen + ends - begins
    return latest, unseen


def _under_noise_s(points: _Points, from_s: float, seen_a: float) -> float:
    """How long a current that faded into the noise may have gone on above ``STIRS_A``, s: by the pace it had before."""
    wanted_a = max(0.1 * abs(points.base), STIRS_A)
    if seen_a <= wanted_a:
        return 0.0
    higher = np.flatnonzero((points.start < from_s) & (points.x - points.base > FADES * seen_a))
    if not len(higher):
        return 0.0
    step_s = spacing_s(points.start)
    pace_s = max(from_s - float(points.start[higher[-1]]) - 1.5 * step_s, 0.0) / math.log(FADES)
    return pace_s * math.log(seen_a / wanted_a)


def _sort_out(outside: list[tuple[int, int]], points: _Points) -> tuple[list[tuple[int, int]], int]:
    """Divide excursions into wake-ups and what belongs to settling: ``(wake-ups, first settled point)``."""
    wakeups: list[tuple[int, int]] = []
    for number in range(len(outside) - 1, -1, -1):
        first, stop = outside[number]
        calm_from = outside[number - 1][1] if number else 0
        calm_s = float(points.start[first] - points.start[calm_from])
        if calm_s >= max(points.lasts_s(first, stop), 1.0):
            wakeups.insert(0, (first, stop))
            continue
        if first == 0 or not _like(wakeups, first, stop, points):
            return wakeups, min(stop, len(points.x) - 1)
        wakeups.insert(0, (first, stop))
    return wakeups, 0


def _like(wakeups: list[tuple[int, int]], first: int, stop: int, points: _Points) -> bool:
    """Whether an excursion soon after settling looks like the wake-ups that come later."""
    if not wakeups:
        return False
    longest, tallest = _greatest(wakeups, points)
    step = median(np.diff(points.start))
    return points.lasts_s(first, stop) <= 1.5 * longest + step and points.rises_a(first, stop) <= 1.5 * tallest


def _tail(wakeups: list[tuple[int, int]], settled_at: int, points: _Points) -> int:
    """First point of a last step before settling that may be a wake-up under way: as high and no longer than those."""
    if not wakeups:
        return settled_at
    longest, tallest = _greatest(wakeups, points)
    first = settled_at
    while first > 0 and points.x[first - 1] - points.base <= 1.5 * tallest:
        first -= 1
    step = median(np.diff(points.start))
    lasts_s = float(points.start[settled_at] - points.start[first])
    return first if first > 0 and lasts_s <= longest + 2 * step else settled_at


def _greatest(wakeups: list[tuple[int, int]], points: _Points) -> tuple[float, float]:
    """The longest of them, s, and the highest, A."""
    return max(points.lasts_s(a, b) for a, b in wakeups), max(points.rises_a(a, b) for a, b in wakeups)


def hidden_a(table: Coarse, role: str, settled: Settled, later_s: float, noise: NoiseModel, resolution: float) -> float:
    """The largest current that may have ended only at ``later_s`` or after without showing in the noise, A.

    Had one, the mean before that time would lie above the mean after it.

    Args:
        table: the key-off span.
        later_s: a time after the settling that was seen, s.
    """
    x = table.mean[role]
    keep = np.isfinite(x) & (table.start_s >= settled.from_s) & outside_of(table.start_s, table.end_s, settled.wakeups)
    x, t = x[keep], table.start_s[keep]
    if len(x) < 2 * FEWEST_COMPARED:
        return math.inf
    step_s = spacing_s(t)
    # rounding hides what noise does not carry across its steps
    rounding = math.sqrt(2) * rectangular(resolution / 2) if noise.sigma < resolution / 2 else 0.0
    most = 0.0
    for share in (0.0, 0.25, 0.5):
        at = int(np.searchsorted(t, later_s + share * (settled.to_s - later_s)))
        before, after = x[:at], x[at:]
        if len(before) < FEWEST_COMPARED or len(after) < FEWEST_COMPARED:
            if not share:
                return math.inf
            continue
        u = combine(noise.difference_u(len(before) * step_s, len(after) * step_s), rounding)
        most = max(most, max(float(before.mean() - after.mean()), 0.0) + Z_PROVEN * u)
    return most
