"""What does a current channel read when no current flows? From the stretches marked ``zero`` to ``zero end``."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchlog.core.events import ZeroFrom, ZeroTo
from benchlog.core.spread import robust_noise
from benchlog.core.trace import Array, Mark
from benchlog.core.uncertainty import block_mean, combine, rectangular

#: A shorter zero, s, or one of fewer samples says too little; more of a long one than this says no more, s.
SHORTEST_S, FEWEST, LONGEST_S = 1.0, 10, 120.0
#: Marks are set by hand: this share of the stretch, at most so many seconds, is left out at both its ends.
EDGE_SHARE, EDGE_S = 0.1, 1.0
#: The means of so many parts of the stretch show whether the current varied.
PARTS = 8
#: How far those may lie apart, in uncertainties of one of them, and as a share of the stated offset.
SPREAD_U, SPREAD_OFFSET = 6.0, 0.2
#: An offset so many times the stated one is a current that flowed.
FAR = 1.5
#: The same where no offset is stated, A (common practice, no source).
FAR_UNSTATED_A = 0.25


@dataclass(frozen=True, slots=True)
class Zero:
    """What one channel reads with no current.

    Attributes:
        offset: to be taken off every reading, A.
        u: its standard uncertainty, A: scatter, rounding, and the drift between several zeros.
    """

    offset: float
    u: float


def zero_stretches(marks: Sequence[Mark]) -> tuple[list[tuple[float, float]], list[str]]:
    """``(from_s, to_s)`` of each stretch from ``zero`` to the next ``zero end``, and what is wrong with others."""
    found: list[tuple[float, float]] = []
    faults: list[str] = []
    begun: float | None = None
    for mark in marks:
        if isinstance(mark.event, ZeroFrom):
            if begun is not None:
                faults.append(_endless(begun))
            begun = mark.time_s
        elif isinstance(mark.event, ZeroTo):
            if begun is None:
                faults.append(f'the mark "zero end" at {mark.time_s:.1f} s has no "zero" before it, so it was not used')
            else:
                found.append((begun, mark.time_s))
            begun = None
    if begun is not None:
        faults.append(_endless(begun))
    return found, faults


def _endless(begun_s: float) -> str:
    return f'the zero at {begun_s:.1f} s was not used: it has no "zero end"; mark where it ends'


def inner(from_s: float, to_s: float) -> tuple[float, float]:
    """The part of a zero that is looked at, s."""
    edge = min(EDGE_SHARE * (to_s - from_s), EDGE_S)
    return from_s + edge, min(to_s - edge, from_s + edge + LONGEST_S)


def read_zero(time_s: Array, amps: Array, offset: float | None, resolution: float) -> Zero | str:
    """One channel over one zero, or why it is none.

    Args:
        time_s: s, of the inner part. amps: A, NaN where missing or over range.
        offset: half-width that the logger file states, A; None where it does not.
        resolution: the channel's smallest step, A; 0 where not stated.
    """
    good = np.isfinite(amps)
    x = amps[good]
    lasts = float(time_s[-1] - time_s[0]) if len(time_s) else 0.0
    if len(x) < FEWEST or lasts < (1 - 2 * EDGE_SHARE) * SHORTEST_S * 0.99:
        return f"it holds {len(x)} samples over {lasts:.1f} s; mark at least 2 s and {2 * FEWEST} samples"
    mean = block_mean(x)
    scatter = robust_noise(x)
    parts = [float(part.mean()) for part in np.array_split(x, PARTS)]
    apart = max(parts) - min(parts)
    allowed = max(
        SPREAD_U * scatter * math.sqrt(PARTS / len(x)), 2 * resolution, SPREAD_OFFSET * (offset or 0.0), 1e-12
    )
    if apart > allowed:
        return f"the current varied by {_milli(apart)} mA in it, so some flowed"
    most = FAR_UNSTATED_A if offset is None else FAR * offset + resolution
    if abs(mean.value) > most:
        stated = "" if offset is None else f", where the logger file states ± {_milli(offset)} mA"
        return f"it reads {_milli(mean.value)} mA{stated}, so a current may have flowed"
    return Zero(mean.value, combine(mean.u, rectangular(resolution / 2)))


def _milli(amps: float) -> str:
    return f"{amps * 1000:.3g}".replace("-", "\N{MINUS SIGN}")


def pooled(zeros: Sequence[Zero]) -> Zero:
    """Several zeros of one channel: their middle, and half of what lies between them as drift.

    A drift may have taken any course between and beyond them, so they do not average out.
    """
    low, high = min(zero.offset for zero in zeros), max(zero.offset for zero in zeros)
    return Zero((low + high) / 2, combine(max(zero.u for zero in zeros), rectangular((high - low) / 2)))
