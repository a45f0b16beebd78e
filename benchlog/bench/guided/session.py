"""One run of the guided test: the recorder feeds the walk, keys and stand-in act on it, the screen shows it."""

import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Literal, Protocol

from benchlog.bench.guided import resume
from benchlog.bench.guided.actions import OpenActions
from benchlog.bench.guided.keys import Pressed
from benchlog.bench.guided.memory import Memory
from benchlog.bench.guided.silence import StreamSilence
from benchlog.bench.guided.steps import steps_of
from benchlog.bench.guided.view import Key, View
from benchlog.bench.guided.walk import Walk
from benchlog.bench.live import LiveStep
from benchlog.core.interrupts import answered
from benchlog.core.roles import SHUNT_ROLES
from benchlog.core.trace import Trace
from benchlog.plan.model import Plan

Ended = Literal["done", "stopped", "lost"]


class NewSamples(Protocol):
    """New samples, and what happened on the way."""

    @property
    def trace(self) -> Trace:
        """The samples."""

    @property
    def told(self) -> tuple[str, ...]:
        """Plain sentences."""


class Recorder(Protocol):
    """What the run asks of a recording."""

    def batches(self) -> Iterable[NewSamples]:
        """New samples, several times a second, also when none came."""

    def mark(self, text: str) -> object:
        """Note this at the next sample written."""

    def show(self, step: LiveStep | None) -> object:
        """Show this step to whoever looks at the recording."""


class Screen(Protocol):
    """What shows the run."""

    def show(self, view: View, last: Mapping[str, float]) -> object:
        """The step, and the newest values."""

    def tell(self, text: str) -> object:
        """One sentence."""

    def turned(self) -> bool:
        """Show more of a caution that is longer than the screen; False where it was all there."""


def run_session(
    recorder: Recorder,
    plan: Plan,
    screen: Screen,
    keys: Callable[[], list[Pressed]],
    *,
    log: Path,
    ask: Callable[[str], float] | None = None,
    memory: Memory | None = None,
    only: tuple[str, ...] = (),
    resolution: Callable[[], Mapping[str, float]] = dict,
    clock: Callable[[], float] = time.monotonic,
) -> Ended:
    """Lead through all steps while the recorder records.

    Args:
        keys: the keys pressed since the last call.
        log: where the recorder writes; where the run stands is kept beside it.
        ask: has the stand-in do a step, by its mark; None where a person does.
        memory: where a stopped run stands.
        only: the checks that are taken again; all where none is named.
        resolution: role -> the logger's smallest step, as far as it is known by now.
        clock: wall clock, s; tells a stream that stands still.

    Returns:
        ``done`` after the last step; ``stopped`` where the tester stopped; ``lost`` where the stream ended.

    Raises:
        BenchlogError: the state beside the log cannot be written.
    """
    ways = OpenActions(recorder, screen, ask, clock)
    walk = Walk(
        steps_of(plan, only),
        ways,
        by_itself=ask is not None,
        limit_ma=plan.limits.off_state_drain_ma,
        memory=memory,
    )
    walk.memory.only = only
    if memory is not None:
        ways.mark(f"resumed at: {walk.spec.title}")
        if memory.bridged:
            ways.tell("the shunt was bridged when the test stopped: press b if the bridge is off now")
    try:
        return _follow(recorder, plan, screen, keys, walk, ways, log, resolution, StreamSilence(clock, ask is not None))
    except KeyboardInterrupt:
        answered()
        resume.save(log, plan.install.bike, walk.memory)
        return "stopped"


def _follow(
    recorder: Recorder,
    plan: Plan,
    screen: Screen,
    keys: Callable[[], list[Pressed]],
    walk: Walk,
    ways: OpenActions,
    log: Path,
    resolution: Callable[[], Mapping[str, float]],
    silence: StreamSilence,
) -> Ended:
    kept: object = None
    unsaved = False
    for batch in recorder.batches():
        pressed = keys()
        if "quit" in pressed:
            resume.save(log, plan.install.bike, walk.memory)
            return "stopped"
        if still := silence.heard(len(batch.trace) > 0, bool(batch.told)):
            ways.tell(still)
        if silence.over:
            break
        for told in batch.told:
            ways.tell(told)
        if unsaved and len(batch.trace):
            # its marks stand in the log by now: after a kill the log never lacks what the state says is done
            resume.save(log, plan.install.bike, walk.memory)
            unsaved = False
        walk.resolution = resolution()
        ways.heard(batch.trace)
        if walk.view().read_first and "enter" in pressed and screen.turned():
            pressed.remove("enter")
        walk.advance(batch.trace, _of_the_walk(pressed))
        memory = walk.memory
        state = (memory.step, memory.walk, memory.bridged, memory.key, dict(memory.outcomes), dict(memory.tries))
        if state != kept:
            kept, unsaved = state, True
        if walk.finished:
            recorder.show(None)
            return "done"
        view = replace(walk.view(), silent_s=silence.lasts_s)
        recorder.show(view.step)
        shown = [role for role in walk.history.roles if not (memory.bridged and role in SHUNT_ROLES)]
        screen.show(view, {role: walk.history.newest(role, 0.5) for role in shown})
    resume.save(log, plan.install.bike, walk.memory)
    return "lost"


def _of_the_walk(pressed: Iterable[Pressed]) -> list[Key]:
    return [key for key in pressed if key != "quit"]
