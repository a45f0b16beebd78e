"""What every examination needs: the log, the plan, the story so far and how good the channels are."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

from benchlog.analysis.bridge import Bridge, told
from benchlog.analysis.cranking import Crank
from benchlog.analysis.key_state import Source
from benchlog.analysis.levels import Crossing
from benchlog.analysis.noise import NoiseModel
from benchlog.analysis.pulsing import Pulses
from benchlog.analysis.running import Running
from benchlog.analysis.true_step import TrueSteps
from benchlog.analysis.zero import Zero
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Array, Mark, Overview, Trace
from benchlog.core.uncertainty import Accuracy, Mean, block_mean
from benchlog.logger.model import Logger
from benchlog.plan.model import Plan
from benchlog.verdict.evidence import Span


class Samples(Protocol):
    """What an examination asks of a log."""

    @property
    def name(self) -> str:
        """As in the result."""

    @property
    def overview(self) -> Overview:
        """The whole log in buckets."""

    @property
    def marks(self) -> Sequence[Mark]:
        """What the tester noted."""

    @property
    def start_s(self) -> float:
        """Time of the first sample."""

    @property
    def end_s(self) -> float:
        """Time of the last sample."""

    def trace(self, from_s: float, to_s: float, roles: Sequence[str] | None = None) -> Trace:
        """Single samples of a stretch."""


@dataclass(frozen=True, slots=True)
class KeyTurn:
    """The key was turned, s; ``half_width_s`` says how well the time is known."""

    time_s: float
    half_width_s: float
    on: bool


@dataclass(frozen=True, slots=True)
class Timeline:
    """What happened over one log.

    Attributes:
        source: what the key's state was read from. sure: False where the key may have been on throughout.
        turns: key events in time order.
        on, off: stretches with the key on and off, s; a stretch that opens or ends the log is cut there.
        cranks, running: what the engine did.
        rises, falls: the trigger's passages outside cranks, closely timed.
        spans: the same for drawing.
        parked: the key is off throughout.
        trigger_pulses: duty and rate where the trigger hangs on a line that is pulsed; None where it does not.
        marks_contradict: the key was noted, but other marks contradict that, so it is not used.
    """

    source: Source
    sure: bool
    turns: tuple[KeyTurn, ...]
    on: tuple[tuple[float, float], ...]
    off: tuple[tuple[float, float], ...]
    cranks: tuple[Crank, ...]
    running: tuple[Running, ...]
    rises: tuple[Crossing, ...]
    falls: tuple[Crossing, ...]
    spans: tuple[Span, ...]
    parked: bool
    trigger_pulses: Pulses | None = None
    marks_contradict: bool = False

    def half_width_s(self, turn_s: float) -> float:
        """How well the key event at this very time is known, s; 0 where the log begins or ends there instead."""
        return next((turn.half_width_s for turn in self.turns if turn.time_s == turn_s), 0.0)


@dataclass(frozen=True, slots=True)
class LogContext:
    """One log on the bench.

    Attributes:
        accuracy: role -> its accuracy, as stated or as the zeros prove it; None where neither.
        low_side_ohm: role -> its shunt, where that lifts the ground bus, Ω.
        left_out: stretches of the key-off state that are not the bike's own, since a fuse was out, s.
        zeros: role -> what was taken off it. stated: role -> its accuracy without them.
        bridged: where the battery's shunts were bridged, so that the log holds no current of theirs.
        noise: role -> the noise of the channel with the engine off, over all of the log.
        steps: how fast the logger really sees, where that is slower than its rows.
        calm_a: role of a load's current -> how far noise alone makes it swing, A.
    """

    log: Samples
    plan: Plan
    story: Timeline
    accuracy: Mapping[str, Accuracy | None]
    low_side_ohm: Mapping[str, float]
    left_out: tuple[tuple[float, float], ...] = ()
    zeros: Mapping[str, Zero] = field(default_factory=dict)
    stated: Mapping[str, Accuracy | None] = field(default_factory=dict)
    bridged: tuple[Bridge, ...] = ()
    noise: Mapping[str, NoiseModel] = field(default_factory=dict)
    steps: TrueSteps = field(default_factory=TrueSteps)
    calm_a: Mapping[str, float] = field(default_factory=dict)

    @property
    def overview(self) -> Overview:
        """The log's overview."""
        return self.log.overview

    def has(self, *roles: str) -> bool:
        """Whether the log has all of these channels."""
        return all(role in self.log.overview.bands for role in roles)

    def true_step_s(self, *roles: str) -> float:
        """How far apart in time the logger really sees these channels, the slowest of them, s."""
        return max([self.overview.step_s, *(self.steps.by_role.get(role, 0.0) for role in roles if self.has(role))])

    def bridged_in(self, *stretches: tuple[float, float]) -> str:
        """To be added to a reason: where the shunt was bridged in one of these stretches, s; "" where it was not."""
        there = [one for one in self.bridged if any(one.touches(a, b) for a, b in stretches)]
        return f"; the shunt was {told(there)}, so no current was measured there" if there else ""

    def cut(self, from_s: float, to_s: float) -> list[tuple[float, float]]:
        """A stretch, s, cut where its current begins or ceases to count."""
        edges = (t for bridge in self.bridged for t in (bridge.from_s, bridge.to_s))
        return list(pairwise([from_s, *sorted({t for t in edges if from_s < t < to_s}), to_s]))

    def measured(self, from_s: float, to_s: float) -> list[tuple[float, float]]:
        """The parts of a stretch, s, over which the battery's shunts were not bridged."""
        middle = [(a, b, (a + b) / 2) for a, b in self.cut(from_s, to_s)]
        return [(a, b) for a, b, t in middle if not any(bridge.touches(t, t) for bridge in self.bridged)]

    def lift_known(self, from_s: float, to_s: float) -> bool:
        """Whether the drop of the shunts that lift the ground bus is known there: not while they are bridged."""
        hidden = any(one.touches(from_s, to_s) for one in self.bridged)
        return not (hidden and any(role in SHUNT_ROLES for role in self.low_side_ohm))

    def mean_of(self, role: str, values: Array, step_s: float, blocks: int = 24) -> Mean:
        """The mean of one channel over a stretch with the engine off, and its type A uncertainty.

        A short stretch does not show what noise outlasts it; the rest of the log does.

        Args:
            values: points about ``step_s`` apart, in time order; no NaN.
        """
        known = self.noise.get(role)
        mean = block_mean(values, blocks=blocks, memory=known.memory_s / step_s if known else 1.0)
        if known is None or len(values) * step_s > known.windows_s[-1]:
            return mean
        return Mean(mean.value, max(mean.u, known.mean_u(len(values) * step_s)))

    def resolution(self, role: str) -> float:
        """The channel's smallest step, in its unit; 0 where not stated."""
        accuracy = self.accuracy.get(role)
        return accuracy.resolution if accuracy else 0.0


def accuracy_of(logger: Logger) -> tuple[dict[str, Accuracy | None], dict[str, float]]:
    """Each role's stated accuracy, and the shunts (Ω) that lift the ground bus by their own drop."""
    accuracy: dict[str, Accuracy | None] = {}
    low_side: dict[str, float] = {}
    for channel in logger.channel:
        gain, offset = channel.gain_rel, channel.offset_canonical
        accuracy[channel.role] = None
        if gain is not None and offset is not None:
            accuracy[channel.role] = Accuracy(gain, offset, channel.resolution_c or 0.0)
        if channel.low_side_mohm:
            low_side[channel.role] = channel.low_side_mohm / 1000
    return accuracy, low_side
