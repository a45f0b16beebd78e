"""The step that a run is at: what is known of it so far, and what the stream shows of it. No clock, no marks."""

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from benchlog.bench.guided import watch
from benchlog.bench.guided.actions import SessionActions
from benchlog.bench.guided.history import Before, History
from benchlog.bench.guided.memory import Memory
from benchlog.bench.guided.moves import is_up
from benchlog.bench.guided.right import Asked, PutRight
from benchlog.bench.guided.sight import Look, Sight
from benchlog.bench.guided.spec import StepSpec
from benchlog.bench.guided.view import Key

Phase = Literal["back", "look", "read", "act", "hold"]

#: How a step says that Enter does as well.
OR_ENTER = ", or Enter"
#: What came on stands after this time, inrush over, s.
STANDS_S = 1.0
#: With this outcome a step's deed was done.
DONE = ("seen", "confirmed", "done", "not seen")


class AtStep:
    """Where a run stands in its steps.

    Attributes:
        history: the stream so far. memory: where it stands.
        resolution: role -> the logger's smallest step, canonical unit, as far as it is known.
    """

    def __init__(
        self,
        steps: Sequence[StepSpec],
        ways: SessionActions,
        *,
        by_itself: bool = False,
        limit_ma: float | None = None,
        memory: Memory | None = None,
    ) -> None:
        """Begin at the first step, or where ``memory`` says that a run stopped."""
        self.history = History()
        self.memory = memory or Memory(step=steps[0].id)
        self.resolution: Mapping[str, float] = {}
        self._steps, self._ways, self._by_itself = tuple(steps), ways, by_itself
        self._limit_ma = math.nan if limit_ma is None else limit_ma
        self._at = next((n for n, spec in enumerate(self._steps) if spec.id == self.memory.step), len(self._steps))
        # a step whose state nobody knows is looked at before it is asked for
        self._unknown = memory is not None
        self._begun = False
        self._early: list[Key] = []
        # nobody is told what to do before the caution has been read, not even while no line has come yet
        self._phase: Phase = "read" if not by_itself and not self.finished and self.spec.caution else "act"
        self._right: PutRight | None = None
        self._asked: Asked | None = None
        self._since_s = 0.0
        self._held_from_s = 0.0
        self._did_s = -math.inf
        self._before = Before(0.0, {})
        self._waiting = ""
        self._doubted = self._tester = self._noted = False
        self._later: tuple[float, str] | None = None
        self._out_s: float | None = None
        self._left_out: list[tuple[float, float]] = []
        self._free_from_s = -math.inf
        # by slot, A, as long as this run lasts; and the levels at which a circuit is to go off that was on too early
        self._rose_a: dict[int, float] = {}
        self._was_on: Before | None = None
        self._begin_run()

    def _begin_run(self) -> None:
        """What else a run begins with."""

    @property
    def finished(self) -> bool:
        """Whether all steps are behind."""
        return self._at >= len(self._steps)

    @property
    def spec(self) -> StepSpec:
        """The step that it is at; the last one once finished."""
        return self._steps[min(self._at, len(self._steps) - 1)]

    @property
    def _waits_for_bridge(self) -> bool:
        """Whether the engine runs, and its current is not measured yet."""
        return self._phase == "hold" and self.spec.question == "engine_on" and self.memory.bridged

    @property
    def _on(self) -> list[StepSpec]:
        """The circuits that were switched on before this step."""
        return [one for one in self._steps[: self._at] if switched(one) and self.memory.outcomes.get(one.id) in DONE]

    @property
    def _off(self) -> list[StepSpec]:
        """The circuits of this step and later ones, which must still be off."""
        return [one for one in self._steps[self._at :] if switched(one)]

    def _begin_asking(self, over_s: float) -> None:
        """From now on it is watched for; ``over_s``: how far back the levels before it reach."""
        self._since_s, self._before = self.history.now_s, self.history.before(self.history.now_s, over_s)

    def _look(self) -> Look:
        spec = self.spec
        question = self._right.question if self._right is not None else spec.question
        if not question:
            return Look()
        return watch.QUESTIONS[question](self._sight())

    def _sight(self) -> Sight:
        spec = self.spec
        return Sight(
            self.history,
            self._since_s,
            self._before,
            slot=spec.slot if self._right is None or self._right.marks else 0,
            planned_a=spec.planned_a if self._right is None or self._right.marks else 0.0,
            need_s=spec.need_s,
            key_off_s=self.memory.key_off_s,
            before_crank=self.memory.before_crank,
            fallen_a=self.memory.fallen_a.get(spec.slot, math.nan),
            limit_ma=self._limit_ma,
            resolution=self.resolution,
            left_out=self._left_out,
        )

    def _is_clear(self) -> bool:
        """Whether what was asked about shows by itself meanwhile, or is gone again."""
        seen = self._look().seen
        return seen is None or not seen.unsure

    def _risen(self, start: Before, end: Before) -> bool:
        """Whether a load has come on from the one level to the other, by the first current that is logged."""
        role = self._load_role()
        return end.of(role) - start.of(role) >= watch.LEAST_STEP_A

    def _load_role(self) -> str:
        """The first current that is logged and that the step's circuit shows in; "" for none."""
        roles = (f"slot{self.spec.slot}_a", "feed_a", "battery_a")
        return next((one for one in roles if one in self.history.roles), "")

    def _dead_feed(self) -> str:
        dead = "feed_v" in self.history.roles and not is_up(self.history, "feed_v")
        if self.spec.question != "slot_on" or not dead:
            return ""
        return "the feed is dead, so nothing can come on; Enter once it is switched on"


def switched(spec: StepSpec) -> bool:
    """Whether the step switches a circuit on."""
    return spec.question == "slot_on"
