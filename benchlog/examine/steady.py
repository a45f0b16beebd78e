"""A log's steady stretches: pulsed loads counted with their means, and what the common paths lose beside the rest."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchlog.analysis.coarse import BUNCHED, Coarse, coarse
from benchlog.analysis.flutter import Flutter, calm_swing, find_flutter, samples_a_pulse, smoothed
from benchlog.analysis.noise import LogNoise, NoiseModel
from benchlog.analysis.plateaus import Plateau, find_plateaus
from benchlog.analysis.pulsed import FEWEST_SAMPLES, Pulsing, find_pulsing
from benchlog.analysis.unpulsed import joined, without_pulses
from benchlog.core.trace import Array, Overview
from benchlog.examine.context import LogContext, Timeline

POINT_S, FINE_S = 0.05, 0.01
#: What the feed loses, and the ground bus's lift with a low-side shunt's own drop taken off, V.
DROP, LIFT = "drop_v", "lift_v"
#: The noise of a current is read over so long before the key comes on, s; so many of the longest key-offs tell it: a
#: key that turns all day need not be asked each time.
CALM_S, MOST_CALM = 3.0, 8
#: Single samples looked at to see how many make up a pulse, s.
LOOK_S = 1.0


@dataclass(frozen=True, slots=True)
class Evened:
    """A stretch of a log with its pulsed loads drawing their means.

    Attributes:
        table: in points of about 50 ms. pulses, flutters: what was evened out.
    """

    table: Coarse
    pulses: tuple[Pulsing, ...]
    flutters: tuple[Flutter, ...]


def calm_swings(overview: Overview, story: Timeline) -> dict[str, float]:
    """How far noise alone makes each load's current swing, A: with the key off, where nothing is switched."""
    spans = sorted(((a, b) for a, b in story.off if b - a > CALM_S), key=lambda span: span[1] - span[0])
    ends = [b for _, b in spans[-MOST_CALM:]]

    def least(role: str) -> float:
        found = (calm_swing(coarse(overview, b - CALM_S, b - 0.2, FINE_S, [role]), role) for b in ends)
        return min(found, default=math.inf)

    return {role: least(role) for role in overview.bands if role.endswith("_a") and role != "drain_a"}


def evened(bench: LogContext, from_s: float, to_s: float, by: str, roles: Sequence[str]) -> Evened:
    """A stretch with the pulses of the current ``by`` evened out on every channel."""
    fine = coarse(bench.overview, from_s, to_s, FINE_S, roles)
    if len(fine) < 4:
        return Evened(fine, (), ())
    rows = float(bench.overview.rows.sum())
    sample_s = bench.overview.step_s
    mean_s = (bench.log.end_s - bench.log.start_s) / (rows - 1)
    if sample_s < BUNCHED * mean_s:
        sample_s = mean_s
    flutters = tuple(_counted(bench, one, by) for one in find_flutter(fine, by, sample_s, bench.calm_a[by]))
    even = smoothed(fine, flutters)
    pulses = tuple(find_pulsing(even, by, sample_s))
    if pulses or flutters:
        return Evened(joined(without_pulses(even, pulses, by), POINT_S), pulses, flutters)
    return Evened(coarse(bench.overview, from_s, to_s, POINT_S, roles), (), ())


def steady(bench: LogContext, from_s: float, to_s: float, by: str, roles: Sequence[str]) -> list[Plateau]:
    """The steady stretches by the current ``by``, with the readings of all roles, ``DROP`` and ``LIFT``."""
    even = evened(bench, from_s, to_s, by, roles)
    table = _with_paths(bench, even.table)
    noise: Mapping[str, NoiseModel] = bench.noise
    if even.pulses or even.flutters:
        # over the log as it is the pulses are noise; what was evened out has none of them
        points = {role: (table.time_s, x) for role, x in table.mean.items()}
        noise = LogNoise(points, {role: bench.resolution(role) for role in points})
    return [
        replace(
            one,
            pulses=tuple(p for p in even.pulses if _covers(p.from_s, p.to_s, one)),
            flutter=next((f for f in even.flutters if _covers(f.from_s, f.to_s, one)), None),
        )
        for one in find_plateaus(table, by, bench.resolution(by), table.mean, noise)
    ]


def _counted(bench: LogContext, flutter: Flutter, by: str) -> Flutter:
    middle = (flutter.from_s + flutter.to_s) / 2
    wide = max(LOOK_S, 40 * bench.overview.step_s)
    trace = bench.log.trace(max(middle - wide, flutter.from_s), min(middle + wide, flutter.to_s), [by])
    return replace(flutter, samples=samples_a_pulse(trace.values[by]))


def _covers(from_s: float, to_s: float, plateau: Plateau) -> bool:
    inside = min(to_s, plateau.to_s) - max(from_s, plateau.from_s)
    return inside > 0.5 * (plateau.to_s - plateau.from_s)


@dataclass(frozen=True, slots=True)
class PathMean:
    """What one path shows over time.

    Attributes:
        role: ``DROP`` or ``LIFT``. behind: the channels that it is made of. values: V.
    """

    role: str
    behind: tuple[str, ...]
    values: Array


def path_means(mean: Mapping[str, Array], low_side_ohm: Mapping[str, float]) -> list[PathMean]:
    """What the feed loses and how far the bus is lifted, point by point, of those whose channels are there.

    Args:
        mean: role -> its points. low_side_ohm: role -> a shunt that lifts the ground bus by its own drop, Ω.
    """
    found = []
    if {"battery_v", "feed_v"} <= set(mean):
        found.append(PathMean(DROP, ("battery_v", "feed_v"), mean["battery_v"] - mean["feed_v"]))
    if "ground_v" in mean:
        shunts = {role: ohm for role, ohm in low_side_ohm.items() if role in mean}
        lift = mean["ground_v"].copy()
        for role, ohm in shunts.items():
            lift -= ohm * mean[role]
        found.append(PathMean(LIFT, ("ground_v", *shunts), lift))
    return found


def _with_paths(bench: LogContext, table: Coarse) -> Coarse:
    """The table with what the feed loses and how far the bus is lifted, point by point."""
    paths = path_means(table.mean, bench.low_side_ohm)
    if not (len(table) and bench.lift_known(float(table.start_s[0]), float(table.end_s[-1]))):
        paths = [path for path in paths if path.role != LIFT]
    means = {path.role: path.values for path in paths}
    over = {path.role: np.sum([table.over[one] for one in path.behind], axis=0) for path in paths}
    return replace(
        table,
        mean={**table.mean, **means},
        low={**table.low, **means},
        high={**table.high, **means},
        over={**table.over, **over},
    )


def new_pulse(before: Plateau, after: Plateau, amps: float) -> tuple[float | None, float, str | None]:
    """What a step tells of a pulsed load that comes on (or goes off) with it.

    Returns:
        The current while it is on, A (None of a steady load); the standard uncertainty that its pulses add, A; why
        its mean may be wrong (None where it is not).
    """
    more, less = (after, before) if amps > 0 else (before, after)
    own = [p for p in more.pulses if p not in less.pulses and abs(p.mean_a - abs(amps)) < 0.35 * abs(amps)]
    if own:
        pulse = min(own, key=lambda p: abs(p.mean_a - abs(amps)))
        return pulse.amps, pulse.u_a, too_few(pulse)
    if more.flutter is not None and (less.flutter is None or more.flutter.swing_a > 1.3 * less.flutter.swing_a):
        swing = more.flutter.swing_a if less.flutter is None else more.flutter.swing_a - less.flutter.swing_a
        if swing > 1.1 * abs(amps) and swing < 25 * abs(amps):
            few = more.flutter.samples < 2 * FEWEST_SAMPLES
            edge_u = swing / max(more.flutter.samples, 1.0) / math.sqrt(6) if few else 0.02 * swing
            return swing, edge_u, too_few(more.flutter)
        if less.flutter is None and swing > 0.5 * abs(amps):
            return None, 0.05 * swing, too_few(more.flutter)
    return None, 0.0, None


def too_few(pulse: Pulsing | Flutter) -> str | None:
    """Why a pulsed load's mean may be wrong; None where it is not."""
    if not pulse.doubtful:
        return None
    return "the load is pulsed, and the logger takes too few samples of each pulse to tell its mean"
