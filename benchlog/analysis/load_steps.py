"""Which loads came on and went off over one key-on?

A step up and the step down that undoes it are one load; a load that comes back is the same load again. So a circuit
that goes off and on, a brake light or a fan is one load however often it steps.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchlog.analysis.witness import Owner
from benchlog.core.uncertainty import rectangular

#: A step down undoes a step up where their sizes differ by no more than the first share (a lamp draws less when hot);
#: a load that comes back has the same size to within the second; in either case within so many A.
BACK_SHARE, AGAIN_SHARE, CLOSE_A = 0.12, 0.07, 0.06
#: As the voltage falls, the loads that are on together draw less by this share of what is in proportion, give or take
#: so much: heaters all of it, filament lamps half, motors little, converters the opposite (common practice, no source).
ANSWERS, ANSWERS_HALF = 0.3, 0.8


@dataclass(frozen=True, slots=True)
class LoadStep:
    """A change of load between two steady stretches.

    Attributes:
        time_s: s. amps: positive where a load comes on, A; of a pulsed load its mean. u: standard uncertainty, A.
        from_s, to_s: the stretches behind it, s.
        owner: whose load it is by the feed's drop and the ground's lift; "both" has the fuse block's part in amps.
        peak_a: of a pulsed load while it is on, A; None of a steady one.
        answer_a: by how much the loads that were on before would draw less, in proportion to the voltage that fell with
            this step, A; the step shows the new load less what they answer, and ``u`` holds all of it as doubt.
        since_s: the end of the steady stretch before it, s; None where the step is as sharp as the log.
        doubtful: why its size may be wrong by more than its uncertainty; None where it is not.
    """

    time_s: float
    amps: float
    u: float
    from_s: float
    to_s: float
    owner: Owner = "unknown"
    peak_a: float | None = None
    doubtful: str | None = None
    since_s: float | None = None
    answer_a: float = 0.0

    @property
    def load_a(self) -> float:
        """Current of the load that came or went, with what the others are thought to have answered put back, A."""
        return self.amps + ANSWERS * self.answer_a

    @property
    def load_u(self) -> float:
        """Standard uncertainty of ``load_a``, A."""
        rest = max(self.u**2 - rectangular(self.answer_a) ** 2, 0.0)
        return math.hypot(math.sqrt(rest), rectangular(ANSWERS_HALF * self.answer_a))

    def apart_s(self, at_s: float) -> float:
        """How far a time lies before (positive) or after (negative) the step, s; 0 within it."""
        since = self.time_s if self.since_s is None else min(self.since_s, self.time_s)
        return max(since - at_s, 0.0) - max(at_s - self.time_s, 0.0)

    @property
    def rms_a(self) -> float:
        """Root mean square of the load over whole pulses, A."""
        return self.amps if self.peak_a is None else math.sqrt(max(self.amps * self.peak_a, 0.0))


@dataclass(frozen=True, slots=True)
class OneLoad:
    """One load of a key-on.

    Attributes:
        ons, offs: its steps up and down, in time order; without ons it was on from the beginning.
    """

    ons: tuple[LoadStep, ...]
    offs: tuple[LoadStep, ...]

    @property
    def on(self) -> bool:
        """Whether it is on at the end."""
        return len(self.ons) > len(self.offs)


def follow(steps: Sequence[LoadStep]) -> list[OneLoad]:
    """The loads behind a key-on's steps, in the order in which they first came on.

    Args:
        steps: in time order, rising and falling.
    """
    loads: list[OneLoad] = []
    for step in steps:
        if step.amps > 0.0:
            at = _nearest(step, [(n, load) for n, load in enumerate(loads) if load.ons and not load.on], AGAIN_SHARE)
            if at is None:
                loads.append(OneLoad((step,), ()))
            else:
                loads[at] = replace(loads[at], ons=(*loads[at].ons, step))
            continue
        at = _nearest(step, [(n, load) for n, load in enumerate(loads) if load.on], BACK_SHARE)
        if at is not None:
            loads[at] = replace(loads[at], offs=(*loads[at].offs, step))
    return loads


def hidden_beside(step: LoadStep, planned_a: float, steps: Sequence[LoadStep]) -> float | None:
    """A load that may have come, or gone, in the very step of a circuit that does not fit its plan, A.

    Args:
        step: the circuit's. planned_a: what it should draw, A. steps: all of the key-on, in time order.

    Returns:
        A load that was off by then and makes up the excess, or was never seen to come though it went; or one that was
        on, makes up what is missing, and came on once more later though it was not seen to go. None where there is
        none.
    """
    at = next(n for n, one in enumerate(steps) if one is step)
    excess = step.amps - planned_a
    for load in follow(steps[:at]):
        size = load.ons[-1].amps
        if {step.owner, load.ons[-1].owner} == {"block", "bike"} or not _makes_up(excess, size, planned_a):
            continue
        if load.on != (excess > 0.0) and (excess > 0.0 or any(_like(later, size) for later in steps[at + 1 :])):
            return size
    unseen = [-fall.amps for fall in _without_a_rise(steps) if {step.owner, fall.owner} != {"block", "bike"}]
    return next((size for size in unseen if excess > 0.0 and _makes_up(excess, size, planned_a)), None)


def _makes_up(excess: float, size: float, planned_a: float) -> bool:
    return abs(abs(excess) - size) <= max(2 * BACK_SHARE * planned_a, BACK_SHARE * size, CLOSE_A)


def _without_a_rise(steps: Sequence[LoadStep]) -> list[LoadStep]:
    """The steps down of loads that no step up shows: they came with others, or were on from the beginning."""
    went = {id(off) for load in follow(steps) for off in load.offs}
    return [step for step in steps if step.amps < 0.0 and id(step) not in went]


def _like(step: LoadStep, amps: float) -> bool:
    return step.amps > 0.0 and abs(step.amps - amps) <= max(BACK_SHARE * amps, CLOSE_A)


def _nearest(step: LoadStep, loads: Sequence[tuple[int, OneLoad]], share: float) -> int | None:
    """The load whose last step up is most like this one in size, and has no other owner."""
    best: tuple[float, int] | None = None
    for number, load in loads:
        last = load.ons[-1]
        if {step.owner, last.owner} == {"block", "bike"}:
            continue
        apart = abs(abs(step.amps) - last.amps)
        if apart > max(share * last.amps, 3 * math.hypot(step.u, last.u), CLOSE_A):
            continue
        # of two alike the one that came last goes first
        if best is None or apart < best[0] + 1e-9:
            best = (apart, number)
    return None if best is None else best[1]
