"""How likely an answer is on each copy: the meter's accuracy, the spread of real parts, a share of wrong answers."""

import numpy as np
from numpy.typing import NDArray

from benchlog.find.copies import Values
from benchlog.find.questions import ProbeKind, Question

#: Share of answers that are wrong: read at another point, or yes for no. An estimate of what tired hands do.
WRONG = 0.04
#: A hand meter, +- of the reading and digits; its leads; a usual manual's figures (common practice, no source).
METER_SHARE, METER_DIGITS, LEADS_OHM = 0.005, 2, 0.3
#: Share of the reading, most, and least by which a copy stands for its neighbours in strength and scatter.
_SPREAD: dict[ProbeKind, tuple[float, float, float]] = {
    "voltage": (0.14, 0.25, 0.003),
    "current": (0.14, 1.0, 0.05),
    "drain": (0.15, 200.0, 0.1),
}
#: The same for the logarithm of a resistance, in decades.
_DECADES = 0.12
BINS = 10


def scale(question: Question, values: Values) -> Values:
    """Answers on the scale on which they are compared: resistances by their logarithm, all else as it is."""
    if question.kind == "resistance":
        return np.asarray(np.log10(np.clip(values, 0.0, 1e5) + LEADS_OHM))
    return values


def spread_of(question: Question, values: Values) -> Values:
    """Standard deviation of an answer about a copy's value, on the scale of ``scale``."""
    if question.kind == "resistance":
        return np.full_like(values, _DECADES)
    size = np.abs(values)
    share, most, least = _SPREAD[question.kind]
    last = digit(question.kind, size)
    meter = (METER_SHARE * size + METER_DIGITS * last) / 1.7
    return np.asarray(np.sqrt(meter**2 + np.minimum(share * size, most) ** 2 + least**2))


def digit(kind: ProbeKind, size: Values) -> Values:
    """The last place of a 2,000-count meter at a value: V in 2 V and 20 V ranges, A of a clamp, mA."""
    if kind == "voltage":
        return np.where(size < 2, 0.001, 0.01)
    if kind == "drain":
        return np.where(size < 20, 0.01, np.where(size < 200, 0.1, 1.0))
    return np.full_like(size, 0.01)


def density(question: Question, values: Values, answer: float) -> Values:
    """How likely a right answer is on each copy: a density, or of a look (answer 1 yes, 0 no) a chance."""
    if question.kind == "look":
        return np.asarray(np.where(answer > 0.5, values, 1 - values))
    spread = spread_of(question, values)
    z = (float(scale(question, np.array([answer]))[0]) - scale(question, values)) / spread
    return np.asarray(np.exp(-0.5 * np.minimum(z * z, 700.0)) / (spread * np.sqrt(2 * np.pi)))


def bins(question: Question, values: Values) -> NDArray[np.float32]:
    """Chance that the answer falls into each of some ranges, copy by copy: copies x ranges."""
    if question.kind == "look":
        right = np.stack([1 - values, values], axis=1)
    else:
        z = scale(question, values)
        spread = spread_of(question, values)
        usual = np.unique(np.round(z / spread))
        if len(usual) < 2:
            return np.ones((len(values), 1), np.float32)
        order = np.sort(np.unique(np.round(z, 4)))
        edges = np.unique(np.quantile(order, np.linspace(0, 1, BINS + 1)[1:-1]))
        below = 0.5 * (1 + np.tanh(0.851 * (edges[None, :] - z[:, None]) / spread[:, None]))
        right = np.diff(np.concatenate([np.zeros((len(z), 1)), below, np.ones((len(z), 1))], axis=1), axis=1)
    mixed = (1 - WRONG) * right + WRONG * right.mean(axis=0)
    return np.asarray(mixed, dtype=np.float32)
