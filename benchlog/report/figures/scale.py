"""The stretched scale of currents: milliamperes beside amperes, sign kept."""

from collections.abc import Iterable
from typing import Any

import numpy as np

from benchlog.core.trace import Array

# below this a current is drawn to scale, above it in decades
LINEAR_A = 1e-3


def stretch(current_a: Array) -> Array:
    """A current on the stretched scale: sign(I) log10(1 + |I| / 1 mA); NaN stays NaN."""
    stretched: Array = np.sign(current_a) * np.log10(1 + np.abs(current_a) / LINEAR_A)
    return stretched


def stretched_axis(currents_a: Iterable[Array]) -> dict[str, Any]:
    """Ticks and range of an axis that holds these currents, as values of a plotly axis.

    Args:
        currents_a: what is drawn, A, not yet stretched; NaN is passed over.
    """
    edges = np.concatenate([np.asarray(part, dtype=float) for part in currents_a] or [np.empty(0)])
    edges = edges[np.isfinite(edges)]
    least, most = (float(edges.min()), float(edges.max())) if len(edges) else (0.0, 1.0)
    # one decade beyond the data, but never less than a milliampere either way
    decades = [(10.0**k, f"{10**k * 1000:g} mA" if k < 0 else f"{10**k:g} A") for k in range(-3, 5)]
    ticks = [(0.0, "0")]
    ticks += [(size, label) for size, label in decades if size <= max(most, 1e-3) * 10]
    ticks += [(-size, f"−{label}") for size, label in decades if least < -LINEAR_A / 2 and size <= -least * 10]
    # 1 mA crowds zero where the scale also runs negative
    crowded = least < -LINEAR_A / 2 and most > LINEAR_A
    ticks = [tick for tick in ticks if not (crowded and abs(tick[0]) == 1e-3)]
    low, high = (float(x) for x in stretch(np.array([min(least, 0.0), max(most, 1e-3)])))
    pad = 0.05 * (high - low)
    return {
        "tickvals": [float(stretch(np.array([x]))[0]) for x, _ in ticks],
        "ticktext": [label for _, label in ticks],
        "range": [low - pad, high + pad],
    }
