"""The voltages of a small direct-current network, many copies at once."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Ties every point to battery negative, so that one that hangs on nothing has a voltage: far above any real leak.
LEAK_S = 1e-10
#: Copies solved together: as many as keep the matrices small.
_BATCH = 256


@dataclass(frozen=True, slots=True)
class Branch:
    """One resistance between two points, an array of ohms with one element a copy."""

    start: str
    end: str
    ohm: NDArray[np.float64]


def voltages(
    branches: Sequence[Branch], source: tuple[str, NDArray[np.float64]], zero: str
) -> dict[str, NDArray[np.float64]]:
    """Point -> its voltage against ``zero``, V, one element a copy: nodal analysis.

    Args:
        branches: all resistances.
        source: the point that a source without resistance holds, and its voltage in each copy.
        zero: the point that counts as 0 V.
    """
    held, emf = source
    points = [
        point
        for point in dict.fromkeys(p for branch in branches for p in (branch.start, branch.end))
        if point not in (held, zero)
    ]
    at = {point: index for index, point in enumerate(points)}
    found = np.empty((len(emf), len(points)))
    for first in range(0, len(emf), _BATCH):
        here = slice(first, first + _BATCH)
        found[here] = _solved(branches, at, held, emf[here], here)
    return {point: found[:, index] for point, index in at.items()} | {held: emf, zero: np.zeros_like(emf)}


def _solved(
    branches: Sequence[Branch], at: dict[str, int], held: str, emf: NDArray[np.float64], here: slice
) -> NDArray[np.float64]:
    count, size = len(emf), len(at)
    conductance = np.zeros((count, size, size))
    conductance[:, range(size), range(size)] = LEAK_S
    current = np.zeros((count, size))
    for branch in branches:
        siemens = 1 / branch.ohm[here]
        for near, far in ((branch.start, branch.end), (branch.end, branch.start)):
            if near not in at:
                continue
            conductance[:, at[near], at[near]] += siemens
            if far in at:
                conductance[:, at[near], at[far]] -= siemens
            elif far == held:
                current[:, at[near]] += siemens * emf
    return np.asarray(np.linalg.solve(conductance, current[..., None])[..., 0], dtype=np.float64)
