"""Which loads come in regular pulses, and what do they draw on the mean over whole pulses?

Flashers, heated grips and dimmed lamps switch many times a second or once in two. Their pulses are no load steps:
what counts is the mean over whole pulses (against the plan) and the root mean square (against fuse and wire).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.analysis.coarse import Coarse, runs, spacing_s
from benchlog.core.quantiles import median
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Array

Moments = tuple[float, ...]
#: The slowest and fastest pulses that are followed edge by edge, s a pulse.
SLOWEST_S, FASTEST_S = 4.0, 0.2
#: The fewest samples of a pulse that is followed; and of one that the logger tells: with fewer it may be a faster one,
#: seen wrongly.
FOLLOWED_SAMPLES, FEWEST_SAMPLES = 5.5, 6
#: An edge is sought over this time, s; pulses are read with points no longer than this.
EDGE_S = 0.02
#: Neighbouring pulses differ by no more than this share in length, and in size; so few of like length count as regular
#: (two that are the same to within 6 % do as well).
LIKE_LENGTH, LIKE_SIZE, FEWEST = 0.2, 0.25, 3
#: The smallest pulse, A.
LEAST_PULSE_A = 0.12


@dataclass(frozen=True, slots=True)
class Pulsing:
    """A load that comes in regular pulses over a stretch.

    Attributes:
        from_s, to_s: first rise to the end of the last whole pulse, s.
        period_s: s. duty: share of the time it is on, 1. amps: while it is on, A.
        mean_a: over whole pulses, the rush at each rise included, A. u_a: its standard uncertainty, A.
        rises_s, falls_s: its edges, s.
        samples: of the logger in one pulse.
    """

    from_s: float
    to_s: float
    period_s: float
    duty: float
    amps: float
    mean_a: float
    u_a: float
    rises_s: Moments
    falls_s: Moments
    samples: float

    @property
    def rms_a(self) -> float:
        """Root mean square over whole pulses, A."""
        return math.sqrt(max(self.amps, 0.0) * max(self.mean_a, 0.0))

    @property
    def doubtful(self) -> bool:
        """So few samples a pulse that it may be a faster one, seen wrongly (aliasing)."""
        return self.samples < FEWEST_SAMPLES


@dataclass(frozen=True, slots=True)
class _Edge:
    at: int
    time_s: float
    amps: float


def find_pulsing(table: Coarse, by: str, sample_s: float) -> list[Pulsing]:
    """Loads in the current ``by`` whose pulses can be followed one by one; several may run at once.

    Args:
        table: a stretch in fine points, 10 ms or the logger's own step.
        sample_s: the logger's own step, s.
    """
    ok = np.flatnonzero(np.isfinite(table.mean[by]))
    if len(ok) < 8:
        return []
    time_s, x = table.time_s[ok], table.mean[by][ok]
    edges = _edges(time_s, x)
    found = []
    left = falls = [edge for edge in edges if edge.amps < 0.0]
    rises = [edge for edge in edges if edge.amps > 0.0]
    fastest_s = 0.8 * max(FASTEST_S, FOLLOWED_SAMPLES * sample_s)
    while chain := _longest_chain(left, fastest_s):
        left = [edge for edge in left if edge not in chain]
        pulsing = _pulsing(chain, rises, time_s, x, sample_s)
        # falls that are in no pulse yet stand among these, whether or not they were tried before
        if pulsing is not None and _clear(pulsing, rises, falls):
            found.append(pulsing)
            rises = [edge for edge in rises if edge.time_s not in pulsing.rises_s]
            falls = [edge for edge in falls if edge not in chain]
    return sorted(found, key=lambda p: p.from_s)


def _edges(time_s: Array, x: Array) -> list[_Edge]:
    """Quick changes of level, each with its size between the medians at either side."""
    step_s = spacing_s(time_s)
    lag = max(round(EDGE_S / step_s), 1)
    noise = robust_noise(x)
    least = max(LEAST_PULSE_A, 6 * noise)
    moved = np.zeros(len(x))
    moved[: len(x) - lag] = x[lag:] - x[:-lag]
    stretches = runs(moved >= least) + runs(moved <= -least)
    places = sorted(first + int(np.argmax(np.abs(moved[first:end]))) for first, end in stretches)
    edges = []
    reach = max(round(0.25 / step_s), 2)
    for number, at in enumerate(places):
        before = max(places[number - 1] + lag if number else 0, at - reach)
        after = min(places[number + 1] if number + 1 < len(places) else len(x) - 1, at + lag + reach)
        left, right = x[before : at + 1], x[at + lag : after + 1]
        # the later half of what follows: a rush decays; where two edges meet there is nothing between, and no size
        size = median(right[len(right) // 2 :]) - median(left[len(left) // 2 :])
        if abs(size) >= least / 2:
            edges.append(_Edge(at, float(time_s[at] + time_s[at + lag]) / 2, size))
    return edges


def _longest_chain(falls: Sequence[_Edge], fastest_s: float) -> list[_Edge]:
    """The most falling edges of like size in like distances; [] where none are regular."""
    best: list[_Edge] = []
    taken: set[int] = set()
    for start, first in enumerate(falls):
        if start in taken:
            continue
        for second in range(start + 1, len(falls)):
            period = falls[second].time_s - first.time_s
            if period > SLOWEST_S:
                break
            if period < fastest_s or not _like(falls[second].amps, first.amps, LIKE_SIZE):
                continue
            chain, members = [first, falls[second]], [start, second]
            for at in range(second + 1, len(falls)):
                gap = falls[at].time_s - chain[-1].time_s
                if gap > 2 * period * (1 + LIKE_LENGTH / 2):
                    break
                # one pulse may be lost where another load steps at its edge
                pulses = 1 if gap < 1.5 * period else 2
                length = gap / pulses
                if _like(length, period, LIKE_LENGTH / pulses) and _like(falls[at].amps, first.amps, LIKE_SIZE):
                    chain.append(falls[at])
                    members.append(at)
                    period += (length - period) / min(len(chain), 5)
            if _regular(chain) and len(chain) > len(best):
                best = chain
                taken.update(members)
    return best


def _like(a: float, b: float, share: float) -> bool:
    return abs(a - b) <= share * max(abs(a), abs(b))


def _regular(chain: Sequence[_Edge]) -> bool:
    gaps = np.diff([edge.time_s for edge in chain])
    if len(chain) > FEWEST:
        return True
    return len(chain) == FEWEST and float(np.ptp(gaps)) <= 0.06 * float(np.mean(gaps))


def _pulsing(
    falls: Sequence[_Edge], rises: Sequence[_Edge], time_s: Array, x: Array, sample_s: float
) -> Pulsing | None:
    """The pulses that end with these falls, where a rise of like size precedes each."""
    gaps = np.diff([fall.time_s for fall in falls])
    period = median(gaps)
    size = median([-fall.amps for fall in falls])
    own: list[tuple[_Edge, _Edge]] = []
    earliest = falls[0].time_s - period
    for fall in falls:
        inside = [rise for rise in rises if earliest < rise.time_s < fall.time_s and rise.amps > 0.6 * size]
        if inside:
            # of several the one most like in size
            own.append((min(inside, key=lambda rise: abs(rise.amps - size)), fall))
        earliest = fall.time_s
    if len(own) < FEWEST or len(own) < 0.7 * len(falls):
        return None
    on_s = median([fall.time_s - rise.time_s for rise, fall in own])
    if not 0.02 < on_s / period < 0.98:
        return None
    rise_s = [rise.time_s for rise, _ in own]
    fall_s = [fall.time_s for _, fall in own]
    last = [rise for rise in rises if rise.time_s > fall_s[-1] and _like(rise.amps, size, LIKE_SIZE)]
    to_s = fall_s[-1] + period - on_s
    if last and last[0].time_s < fall_s[-1] + 1.5 * (period - on_s):
        # the load stays on, or the stretch ends amid a pulse
        to_s = last[0].time_s
    amps = median([min(rise.amps, -1.5 * fall.amps) for rise, fall in own] + [-fall.amps for _, fall in own])
    samples = period / sample_s
    # an edge lies anywhere between two samples, and pulses that keep step with the samples do not average it
    edge_u = amps / samples / math.sqrt(6) / (1.0 if samples < 40.0 else math.sqrt(len(own)))
    spread = float(np.std([-fall.amps for _, fall in own])) / math.sqrt(len(own))
    duty = on_s / period
    rush = _rush(own, time_s, x)
    mean = amps * duty + rush / period
    return Pulsing(
        rise_s[0],
        to_s,
        period,
        duty,
        amps,
        mean,
        math.hypot(edge_u, spread * duty, 0.2 * rush / period),
        tuple(rise_s),
        tuple(fall_s),
        samples,
    )


def _clear(pulsing: Pulsing, rises: Sequence[_Edge], falls: Sequence[_Edge]) -> bool:
    """Whether the pulses stand out among the other changes of like size meanwhile: noise has edges everywhere."""
    own = {*pulsing.rises_s, *pulsing.falls_s}
    foreign = [
        edge
        for edge in (*rises, *falls)
        if pulsing.from_s < edge.time_s < pulsing.to_s
        and edge.time_s not in own
        and 0.4 * pulsing.amps < abs(edge.amps) < 1.5 * pulsing.amps
    ]
    return len(foreign) <= 0.6 * len(own)


def _rush(own: Sequence[tuple[_Edge, _Edge]], time_s: Array, x: Array) -> float:
    """Charge of one pulse's rush above its level, A·s."""
    charges = []
    for rise, fall in own:
        a, b = np.searchsorted(time_s, (rise.time_s, fall.time_s))
        part, t = x[a:b], time_s[a:b]
        if len(part) < 8:
            continue
        level = median(part[len(part) // 2 :])
        early = slice(0, len(part) // 2)
        over = np.maximum(part[early] - level, 0.0)
        if over.max() > 0.25 * abs(fall.amps):
            charges.append(float(over.sum()) * spacing_s(t))
    return median(charges) if len(charges) > len(own) // 2 else 0.0
