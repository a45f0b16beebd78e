"""Whose load stepped: a circuit on the fuse block, or the bike's own?

The fuse block's load flows through the feed and the return, the bike's own does not. So a step of the battery's
current is the block's where the feed's drop or the ground bus's lift steps with it in the path's own ratio, and the
bike's where neither moves. The ratios are learned from the steps themselves.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from benchlog.core.trace import Array

Owner = Literal["block", "bike", "both", "unknown"]

#: In squared standard deviations: how much likelier one owner must be before it is named (9: a likelihood ratio of 90
#: to 1); a step this far from either is both at once; and no step counts against a ratio by more than the last.
SURE, NEITHER, MOST_COST = 9.0, 12.0, 30.0
#: A step's ratio is taken for a path's where its change stands this far above its uncertainty.
CLEAR = 4.0
#: How far a path's ratio differs from step to step, relative: warm joints, the other loads' answer to the sag
#: (common practice, no source).
RATIO_SPREAD = 0.04


@dataclass(frozen=True, slots=True)
class PathStep:
    """What one path shows as the load steps.

    Attributes:
        volts: change of the path's voltage, V; u: its standard uncertainty, V.
    """

    volts: float
    u: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whose step it is.

    Attributes:
        owner: "both" where a circuit and another load stepped at once; "unknown" where the paths cannot tell.
        block_a: the fuse block's part of the step by the paths, A; NaN where they do not tell. u_a: its standard
            uncertainty, A.
        alone: no other step of the block's agrees with its ratio, though there are others: it may hold another load.
    """

    owner: Owner
    block_a: float = math.nan
    u_a: float = math.inf
    alone: bool = False


UNKNOWN = Verdict("unknown")


@dataclass(frozen=True, slots=True)
class Paths:
    """What all steps together say of the paths.

    Attributes:
        verdicts: one a step. ratios: path -> Ω, only those that showed themselves.
    """

    verdicts: tuple[Verdict, ...]
    ratios: Mapping[str, float]


def judge_steps(
    amps: Sequence[float],
    u_a: Sequence[float],
    paths: Mapping[str, Sequence[PathStep | None]],
    least_ohm: Mapping[str, float],
) -> Paths:
    """Name each step's owner.

    Args:
        amps, u_a: changes of the battery's current and their standard uncertainties, A.
        paths: path -> its change at each step; None where it was not read there.
        least_ohm: path -> a resistance that it has at the least, Ω: where no step shows one, a step that would
            have shown even this is the bike's.
    """
    x, u_x = np.asarray(amps, dtype=float), np.asarray(u_a, dtype=float)
    read = {name: _arrays(steps) for name, steps in paths.items()}
    ratios = {
        name: ratio for name, (y, u) in read.items() if (ratio := _ratio(x, u_x, y, u, least_ohm[name])) is not None
    }
    apart = {name: _all_apart(x, u_x, *read[name], ohm) for name, ohm in ratios.items()}
    unclear = any(apart.values())
    verdicts = []
    for n in range(len(x)):
        seen = [
            _Reading(x[n], u_x[n], y[n], u[n], ratios.get(name), least_ohm[name])
            for name, (y, u) in read.items()
            if math.isfinite(y[n])
        ]
        verdicts.append(_owner(seen, unclear))
    return Paths(tuple(verdicts), ratios)


@dataclass(frozen=True, slots=True)
class _Reading:
    """One step as one path shows it: the battery's change, A, the path's, V, each with its standard uncertainty.

    Attributes:
        ohm: the path's ratio; None where no step shows one. least_ohm: what it has at the least.
    """

    amps: float
    u_a: float
    volts: float
    u_v: float
    ohm: float | None
    least_ohm: float


def _owner(seen: Sequence[_Reading], unclear: bool) -> Verdict:
    """Whose a step is by all paths together; ``unclear``: where steps agree on no ratio, none is surely the block's."""
    block = bike = weight = total = silent = 0.0
    for one in seen:
        y, u, x = one.volts, one.u_v, one.amps
        if one.ohm is None:
            silent += ((y - one.least_ohm * x) / u) ** 2 - (y / u) ** 2
            continue
        block += ((y - one.ohm * x) / math.hypot(u, one.ohm * one.u_a, RATIO_SPREAD * one.ohm * x)) ** 2
        bike += (y / math.hypot(u, 0.03 * one.ohm * x)) ** 2
        part_u = math.hypot(u, RATIO_SPREAD / 2 * y) / one.ohm
        weight += 1 / part_u**2
        total += y / one.ohm / part_u**2
    if not weight:
        return Verdict("bike", 0.0, 0.0) if silent > SURE else UNKNOWN
    part, part_u = total / weight, 1 / math.sqrt(weight)
    if unclear and bike > SURE:
        return Verdict("block", part, math.inf, alone=True)
    if min(block, bike) > NEITHER and abs(part) > 2 * part_u:
        return Verdict("both", part, part_u)
    if bike - block > SURE:
        return Verdict("block", part, part_u)
    return Verdict("bike" if block - bike > SURE else "unknown", part, part_u)


def _all_apart(x: Array, u_x: Array, y: Array, u: Array, ohm: float) -> bool:
    """Whether several steps move a path, and no two of them with one ratio: then none says which is pure."""
    clear = (np.abs(y) > CLEAR * u) & (np.sign(y) == np.sign(x))
    like = clear & (_from_block(x, u_x, y, u, ohm) <= SURE)
    return int(clear.sum()) > 1 >= int(like.sum())


def _from_block(x: Array, u_x: Array, y: Array, u: Array, ohm: float) -> Array:
    """How far each step lies from the block's with this ratio, in squared standard deviations."""
    doubt = np.hypot(np.hypot(u, ohm * u_x), RATIO_SPREAD * ohm * x)
    return np.asarray(np.square((y - ohm * x) / doubt))


def _arrays(steps: Sequence[PathStep | None]) -> tuple[Array, Array]:
    volts = np.array([math.nan if step is None else step.volts for step in steps], dtype=float)
    u = np.array([math.inf if step is None else max(step.u, 1e-5) for step in steps], dtype=float)
    return volts, u


def _ratio(x: Array, u_x: Array, y: Array, u: Array, least_ohm: float) -> float | None:
    """The resistance with which most steps are either the block's or the bike's; None where none shows itself.

    Each step that moves the path offers its own ratio; the one is taken that leaves the least unexplained, and made
    better by the steps that agree with it.
    """
    good = np.isfinite(y) & (x != 0.0)
    x, u_x, y, u = x[good], u_x[good], y[good], u[good]
    own = y / x
    clear = (np.abs(y) > CLEAR * u) & (own > least_ohm / 2)
    if not clear.any():
        return None
    bike = np.square(y / u)

    def cost(ohm: float) -> float:
        # a wide ratio explains more, and pays for it by its width
        return float(np.minimum(np.minimum(_from_block(x, u_x, y, u, ohm), bike), MOST_COST).sum())

    best = min((float(value) for value in own[clear]), key=cost)
    for _ in range(3):
        block = _from_block(x, u_x, y, u, best)
        mine = block < np.minimum(bike, NEITHER)
        if not mine.any():
            break
        weight = x[mine] / np.square(np.hypot(u[mine], RATIO_SPREAD / 2 * best * x[mine]))
        best = float((weight @ y[mine]) / (weight @ x[mine]))
    return best
