"""Which stretches of steady load does a log hold, and what did each channel read there?"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from benchlog.analysis.coarse import Coarse
from benchlog.analysis.flutter import Flutter
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.pulsed import Pulsing
from benchlog.core.quantiles import median
from benchlog.core.spread import MEDIAN_U, robust_noise
from benchlog.core.trace import Array
from benchlog.core.uncertainty import t_inflation

#: A steady stretch lasts at least this long, s; shorter ones are inrush or the way between two.
SHORTEST_S = 0.4
#: The part after a change that may still be inrush: this share of the stretch, at most so many seconds.
INRUSH_SHARE, INRUSH_S = 0.5, 2.0
#: Soon after a change and just before the next, s: the inrush is over, and a battery's slow sag has not begun.
OPENING_S, CLOSING_S = (0.3, 1.3), 0.6
#: The smallest change of load that counts as a step, A.
LEAST_STEP_A = 0.12


@dataclass(frozen=True, slots=True)
class Sustained:
    """One channel over one steady stretch, after the inrush.

    Attributes:
        value: median, in the channel's unit.
        u: type A standard uncertainty: scatter and what drift is left, same unit.
    """

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Plateau:
    """A stretch of steady load.

    Attributes:
        from_s, to_s: the whole stretch, s. sustained_from_s: where the inrush is over, s.
        readings: role -> its sustained value; a role with samples missing or over range there is absent.
        opening, closing: role -> its value soon after the stretch begins and just before it ends, where no slow drift
            of the battery has had time.
        pulses: loads that come in regular pulses there, counted with their means. flutter: one that is too fast to be
            followed.
    """

    from_s: float
    to_s: float
    sustained_from_s: float
    readings: Mapping[str, Sustained]
    opening: Mapping[str, Sustained] = field(default_factory=dict)
    closing: Mapping[str, Sustained] = field(default_factory=dict)
    pulses: tuple[Pulsing, ...] = ()
    flutter: Flutter | None = None


def find_plateaus(
    table: Coarse, by: str, resolution: float, roles: Iterable[str], noise: Mapping[str, NoiseModel] | None = None
) -> list[Plateau]:
    """Split a stretch of one log where the current ``by`` steps.

    Args:
        table: the stretch, points of about 50 ms, or the logger's own step.
        by: the current channel whose steps divide it.
        resolution: its smallest step, A; 0 where not stated.
        roles: the channels to read on each plateau.
        noise: role -> its noise, from the whole log; what a plateau alone shows if not given.
    """
    x = table.mean[by]
    ok = np.isfinite(x)
    if ok.sum() < 4:
        return []
    index = np.flatnonzero(ok)
    values = x[ok]
    jitter = robust_noise(values)
    least = max(LEAST_STEP_A, 2.5 * resolution, 4 * jitter)
    cuts = _split(values, least, max(jitter, resolution / 4, 1e-4))
    step_s = median(np.diff(table.start_s))
    edges = [0, *cuts, len(values)]
    plateaus: list[Plateau] = []
    for a, b in pairwise(edges):
        first, last = int(index[a]), int(index[b - 1])
        lasts = float(table.end_s[last] - table.start_s[first])
        if b - a < 3 or lasts < SHORTEST_S:
            continue
        begin = float(table.start_s[first])
        sustained = begin + min(INRUSH_SHARE * lasts, INRUSH_S)
        keep = slice(int(np.searchsorted(table.start_s, sustained - 1e-9)), last + 1)
        readings = {
            role: reading
            for role in roles
            if role in table.mean
            and not table.over[role][keep].any()
            and (reading := _sustained(table.mean[role][keep], step_s, (noise or {}).get(role))) is not None
        }
        if by in readings:
            end = float(table.end_s[last])
            models = noise or {}
            opening = _near(table, readings, begin + OPENING_S[0], min(begin + OPENING_S[1], end), step_s, models)
            closing = _near(table, readings, max(end - CLOSING_S, begin), end, step_s, models)
            plateaus.append(Plateau(begin, end, sustained, readings, opening, closing))
    return _joined(plateaus, by, least)


def _near(
    table: Coarse, roles: Iterable[str], from_s: float, to_s: float, step_s: float, noise: Mapping[str, NoiseModel]
) -> dict[str, Sustained]:
    """Each channel over a short part of a stretch; {} where that holds fewer than two points."""
    keep = slice(int(np.searchsorted(table.time_s, from_s)), int(np.searchsorted(table.time_s, to_s)))
    found = {role: _short(table.mean[role][keep], step_s, noise.get(role)) for role in roles}
    return {role: reading for role, reading in found.items() if reading is not None}


def _short(x: Array, step_s: float, noise: NoiseModel | None) -> Sustained | None:
    """Median of a few points, with their scatter; no drift is looked for."""
    window_s = len(x) * step_s
    x = x[np.isfinite(x)]
    if len(x) < 2:
        return None
    scatter = t_inflation(float(np.std(x, ddof=1)) / math.sqrt(min(len(x), 4)), min(len(x), 20) - 1)
    return Sustained(median(x), scatter if noise is None else max(scatter, MEDIAN_U * noise.mean_u(window_s)))


def _sustained(x: Array, step_s: float, noise: NoiseModel | None) -> Sustained | None:
    """The level of a stretch of points ``step_s`` apart; noise that outlasts it is known from the log alone."""
    window_s = len(x) * step_s
    x = x[np.isfinite(x)]  # a slower channel leaves points empty
    if not len(x):
        return None
    value = median(x)
    n = len(x)
    if n < 4:
        own = float(np.ptp(x)) / math.sqrt(12 * n) if n > 1 else 0.0
        return Sustained(value, own if noise is None else max(own, noise.mean_u(window_s)))
    scatter = robust_noise(x)
    half = n // 2
    drift = abs(median(x[half:]) - median(x[:half]))
    u_scatter = MEDIAN_U * scatter / math.sqrt(n)
    if noise is not None:
        # noisier than elsewhere, by more than chance: a load or the engine adds to the logger's noise
        more = max(scatter / noise.jitter / (1 + 2 / math.sqrt(n)), 1.0) if noise.jitter > 0 else 1.0
        u_scatter = max(u_scatter, MEDIAN_U * more * noise.mean_u(window_s))
        drift = math.sqrt(max(drift**2 - (MEDIAN_U * more * noise.halves_u(window_s)) ** 2, 0.0))
    return Sustained(value, math.hypot(u_scatter, drift / math.sqrt(3)))


def _split(x: Array, least: float, noise: float) -> list[int]:
    """Change points by binary segmentation of the mean: the split that explains most, then each side again."""
    total = np.concatenate(([0.0], np.cumsum(x)))
    cuts: list[int] = []
    todo = [(0, len(x))]
    while todo:
        a, b = todo.pop()
        n = b - a
        if n < 4:
            continue
        at = np.arange(a + 1, b)
        left, right = at - a, b - at
        mean_left = (total[at] - total[a]) / left
        mean_right = (total[b] - total[at]) / right
        gain = left * right / n * (mean_left - mean_right) ** 2
        best = int(np.argmax(gain))
        if gain[best] < 25 * noise**2:
            continue
        # a step that further splitting will sharpen may look small as a difference of means
        if np.ptp(x[a:b]) < least:
            continue
        cuts.append(int(at[best]))
        todo += [(a, int(at[best])), (int(at[best]), b)]
    return sorted(cuts)


def _joined(plateaus: list[Plateau], by: str, least: float) -> list[Plateau]:
    """Neighbours whose levels do not differ by a step are one plateau: the longer one's reading stands for it."""
    kept: list[Plateau] = []
    for plateau in plateaus:
        if kept and abs(plateau.readings[by].value - kept[-1].readings[by].value) < least:
            before = kept[-1]
            longer = max(before, plateau, key=lambda p: p.to_s - p.sustained_from_s)
            kept[-1] = Plateau(
                before.from_s, plateau.to_s, longer.sustained_from_s, longer.readings, before.opening, plateau.closing
            )
        else:
            kept.append(plateau)
    return kept
