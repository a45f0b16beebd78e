"""Which load step is which circuit's? The likeliest assignment, and how likely every other one is.

A circuit's true current strays from its plan, and strays far where something is wrong: that is what is checked. So a
step that fits a plan best may still be another circuit's, and how sure a circuit's step is follows from all
assignments together, each weighed by its likelihood (Bayes' theorem, summed exactly over the sets of circuits served).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchlog.analysis.load_steps import LoadStep

#: How the logarithm of a circuit's current over its plan is spread: share of circuits and standard deviation. Most lie
#: within a fifth, few as near as a catalogue promises, and a fault may draw anything (common practice, no
#: source).
SPREADS: tuple[tuple[float, float], ...] = ((0.30, 0.08), (0.67, 0.22), (0.03, 1.0))
#: Probability that a circuit of the plan does not step at all: dead, or never switched (common practice, no source).
MISSING = 0.1
#: Loads of the bike's own that step meanwhile, per unit of the logarithm of their current: one in two tests has one,
#: anywhere from 0.1 to 20 A (common practice, no source).
STRAYS = 0.1
#: Of the steps that the paths prove to be the fuse block's, so few are none of its circuits'.
BLOCK_STRAYS = 0.002
#: Assignments with less than this probability are not named.
LEAST_CHANCE = 0.05

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Assignment:
    """What one slot gets.

    Attributes:
        step: in the likeliest assignment of all slots at once; None is no step.
        chances: every step, and None, that the slot may get, with its probability over all assignments.
    """

    step: LoadStep | None
    chances: tuple[tuple[LoadStep | None, float], ...]


def assign(steps: Sequence[LoadStep], planned_a: Mapping[int, float]) -> dict[int, Assignment]:
    """The likeliest assignment of steps to slots, and each slot's probabilities over all of them.

    Args:
        steps: rising ones; not those that are proven to be the bike's own. planned_a: slot -> planned current, A.
    """
    slots = list(planned_a)
    ratio = np.array([[_likelihood(step, planned_a[slot]) for step in steps] for slot in slots])
    # against the step being a stray and the slot having none: what does not depend on the assignment falls out
    ratio = ratio.reshape(len(slots), len(steps)) * (1 - MISSING) / MISSING
    ratio /= np.array([_stray(step) for step in steps])
    _, best = cheapest(-2 * np.log(np.maximum(ratio, 1e-300)))
    chances = _chances(ratio)
    found = {}
    for row, slot in enumerate(slots):
        each: list[tuple[LoadStep | None, float]] = [
            (step, float(chances[row, column])) for column, step in enumerate(steps)
        ]
        each.append((None, max(1.0 - float(chances[row].sum()), 0.0)))
        column = best[row]
        found[slot] = Assignment(None if column is None else steps[column], tuple(each))
    return found


def _likelihood(step: LoadStep, planned: float) -> float:
    """Density of the step's current, over its logarithm, where it is a circuit's of this plan."""
    off = math.log(step.amps / planned)
    own = step.u / step.amps
    total = 0.0
    for share, spread in SPREADS:
        sd = math.hypot(spread, own)
        total += share * math.exp(-((off / sd) ** 2) / 2) / (sd * math.sqrt(2 * math.pi))
    return total


def _stray(step: LoadStep) -> float:
    """Density of the step where it is no circuit's."""
    return BLOCK_STRAYS if step.owner in ("block", "both") else STRAYS


def _chances(ratio: Floats) -> Floats:
    """Probability of each slot having each step: slots x steps, forward and backward over sets of slots served."""
    slots, steps = ratio.shape
    sets = np.arange(1 << slots)
    without = [sets[(sets >> slot) & 1 == 0] for slot in range(slots)]
    forward = np.zeros((steps + 1, 1 << slots))
    forward[0, 0] = 1.0
    for step in range(steps):
        after = forward[step].copy()
        for slot in range(slots):
            after[without[slot] | 1 << slot] += forward[step][without[slot]] * ratio[slot, step]
        forward[step + 1] = after / after.max()
    backward = np.ones(1 << slots)
    found = np.zeros((slots, steps))
    for step in range(steps - 1, -1, -1):
        before = backward.copy()
        stays = float(forward[step] @ backward)
        for slot in range(slots):
            onward = ratio[slot, step] * backward[without[slot] | 1 << slot]
            found[slot, step] = forward[step][without[slot]] @ onward
            before[without[slot]] += onward
        found[:, step] /= stays + found[:, step].sum()
        backward = before / before.max()
    return found


def cheapest(cost: Floats) -> tuple[float, list[int | None]]:
    """Exact assignment by dynamic programming over the sets of slots served so far, one step after another.

    Args:
        cost: slots x steps, against the slot having no step and the step no slot; may be negative.

    Returns:
        The least total, and each slot's step or None.
    """
    slots, steps = cost.shape
    sets = np.arange(1 << slots)
    best = np.full(1 << slots, np.inf)
    best[0] = 0.0
    taken = np.full((steps, 1 << slots), -1, dtype=np.int8)
    for step in range(steps):
        after = best.copy()
        for slot in range(slots):
            without = sets[(sets >> slot) & 1 == 0]
            with_it = without | (1 << slot)
            price = best[without] + cost[slot, step]
            cheaper = price < after[with_it]
            after[with_it[cheaper]] = price[cheaper]
            taken[step, with_it[cheaper]] = slot
        best = after
    at = int(np.argmin(best))
    lowest = float(best[at])
    assigned: list[int | None] = [None] * slots
    for step in range(steps - 1, -1, -1):
        slot = int(taken[step, at])
        if slot >= 0:
            assigned[slot] = step
            at &= ~(1 << slot)
    return lowest, assigned
