"""How much voltage does a path lose an ampere? Straight lines through sustained values."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.core.uncertainty import combine, t_inflation

#: No reading is surer than this, V.
LEAST_U_V = 1e-6


@dataclass(frozen=True, slots=True)
class Slope:
    """A resistance from readings.

    Attributes:
        ohm: Ω. u: its type A standard uncertainty, Ω.
        points: readings or steps behind it. most_a: the largest current or step used, A.
    """

    ohm: float
    u: float
    points: int
    most_a: float


def from_steps(steps_v: Sequence[float], steps_a: Sequence[float], u_v: Sequence[float]) -> Slope | None:
    """Least squares through the origin over load steps: ΔV = ohm · ΔI.

    The scatter of the steps about the line widens the uncertainty where it is larger than the readings' own.

    Args:
        steps_v, steps_a: changes of voltage and of current. u_v: standard uncertainty of each ΔV.
    """
    y, x, u = (np.asarray(values, dtype=float) for values in (steps_v, steps_a, u_v))
    if not np.any(x):
        return None
    weight = _weights(u)
    power = float((weight * x * x).sum())
    ohm = float((weight * x * y).sum()) / power
    known = 1 / math.sqrt(power)
    residual = y - ohm * x
    scatter = 0.0
    if len(x) > 1:
        spread = math.sqrt(float((weight * residual**2).sum()) / (len(x) - 1) / power)
        scatter = t_inflation(spread, len(x) - 1)
    return Slope(ohm, max(known, scatter), len(x), float(np.abs(x).max()))


def _weights(u_v: npt.ArrayLike) -> npt.NDArray[np.float64]:
    return 1 / np.square(np.maximum(u_v, LEAST_U_V))


def with_offset(
    drops_v: Sequence[float],
    loads_a: Sequence[float],
    u_v: Sequence[float],
    u_offset_v: float,
) -> Slope | None:
    """A line whose zero is known only as well as the channels' offsets: drop = ohm · load + offset.

    The offset is estimated with the slope, from its stated limits and from the readings at small load; one
    reading under load gives the slope with the full doubt of the offset, several let it cancel
    (weighted least squares with prior knowledge, JCGM 100:2008, H.3 for the line itself).

    Args:
        drops_v, loads_a: voltage lost and current, one pair a plateau. u_v: standard uncertainty of each drop.
        u_offset_v: standard uncertainty of the common offset, V; inf where the load's zero is not known.
    """
    y, x, u = (np.asarray(values, dtype=float) for values in (drops_v, loads_a, u_v))
    if not np.any(x):
        return None
    weight = _weights(u)
    prior = 0.0 if math.isinf(u_offset_v) else float(_weights(u_offset_v))
    normal = np.array(
        [
            [float((weight * x * x).sum()), float((weight * x).sum())],
            [float((weight * x).sum()), float(weight.sum()) + prior],
        ]
    )
    # no two loads and no offset known: nothing parts slope and offset
    if normal[0, 1] ** 2 >= (1 - 1e-12) * normal[0, 0] * normal[1, 1]:
        return None
    spread = np.linalg.inv(normal)
    ohm, offset = spread @ np.array([float((weight * x * y).sum()), float((weight * y).sum())])
    known = math.sqrt(float(spread[0, 0]))
    scatter = 0.0
    degrees = len(x) - (1 if prior else 2)
    if degrees >= 1:
        residual = y - ohm * x - offset
        chi2 = float((weight * residual**2).sum()) / degrees
        scatter = t_inflation(known * math.sqrt(chi2), degrees) if chi2 > 1.0 else 0.0
    return Slope(float(ohm), max(known, scatter), len(x), float(np.abs(x).max()))


def with_gains(slope: Slope, gain_v: float, gain_a: float) -> float:
    """Standard uncertainty of a slope in Ω, its channels' gain errors (half-widths, relative) included."""
    gain = math.sqrt(gain_v**2 + gain_a**2) / math.sqrt(3)
    return combine(slope.u, slope.ohm * gain)
