"""A bike on the bench for tests of the guided test: simulated while it runs, with a tester's hands or a stand-in's."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from benchlog.bench.guided.keys import Pressed
from benchlog.bench.live import LiveStep
from benchlog.core.trace import Trace
from benchlog.standin import LoggerSpec, SimulatedInstall, fast_logger, to_logger_toml
from benchlog.standin.streaming import LiveBike

CHUNK_S = 1.0


@dataclass(frozen=True, slots=True)
class FakeBatch:
    """What the recorder hands over."""

    trace: Trace
    told: tuple[str, ...] = ()


@dataclass
class Bench:
    """A simulated bike with a logger on it, and the recorder of its stream.

    Attributes:
        tester: called with the bench before each batch; does what a person would do.
        marks: (time, text) in the log. done: (time, text) of what was really done.
        limit_s: where the stream ends, s. now_s: the newest sample's time. said: what the step says now.
        step: what is shown now. person: who presses Enter where the screen asks for it; None where nobody does.
    """

    install: SimulatedInstall
    spec: LoggerSpec = field(default_factory=lambda: fast_logger(50.0))
    tester: "Callable[[Bench], None]" = lambda _: None
    limit_s: float = 2500.0
    chunk_s: float = CHUNK_S
    seed: int = 1
    done: list[tuple[float, str]] = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)
    steps: list[LiveStep] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Put the logger on the bike."""
        self.bike = LiveBike(self.install, self.spec, np.random.default_rng(self.seed))
        self.chunks: list[Trace] = []
        self.waiting: list[str] = []
        self.now_s = 0.0
        self.said = ""
        self.step: LiveStep | None = None
        self.person: Person | None = None

    def act(self, text: str) -> float:
        """Do it now; a mark's text. Returns the time, s."""
        at_s = self.bike.act(text)
        self.done.append((at_s, text))
        return at_s

    def mark(self, text: str) -> None:
        """As the recorder does it: at the next sample."""
        self.waiting.append(text)

    def show(self, step: LiveStep | None) -> None:
        """Keep each step once, and what it says now."""
        self.said, self.step = "" if step is None else step.say, step
        if step is not None and (not self.steps or self.steps[-1].id != step.id):
            self.steps.append(step)

    def batches(self) -> Iterator[FakeBatch]:
        """The stream, in chunks."""
        while self.now_s < self.limit_s:
            self.tester(self)
            yield FakeBatch(self._chunk())

    def _chunk(self) -> Trace:
        n = max(round(self.chunk_s * self.spec.rate_hz), 1)
        window = self.bike.samples(n)
        time = window.time_s
        self.marks += [(float(time[min(k, n - 1)]), text) for k, text in enumerate(self.waiting)]
        self.waiting = []
        self.now_s = float(time[-1])
        trace = Trace(time, window.values, window.over)
        self.chunks.append(trace)
        return trace

    def write(self, path: Path) -> Path:
        """The log as the recorder would have left it, with its logger file beside it."""
        time = np.concatenate([chunk.time_s for chunk in self.chunks])
        marks = dict[int, str]()
        for at_s, text in self.marks:
            row = int(np.searchsorted(time, at_s - 1e-9))
            while row in marks:
                row += 1
            marks[row] = text
        roles = self.spec.roles
        columns = []
        for channel in self.spec.channels:
            x = np.concatenate([chunk.values[channel.role] for chunk in self.chunks]) / channel.factor
            columns.append(["OL" if np.isnan(value) else f"{value:.6g}" for value in x])
        lines = [",".join(["time_s", *roles, "mark"])]
        for row, values in enumerate(zip(*columns, strict=True)):
            lines.append(",".join([f"{time[row]:.4f}", *values, marks.get(row, "")]))
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        path.with_name(path.stem + ".logger.toml").write_text(to_logger_toml(self.spec), encoding="utf-8")
        return path


#: Fault -> the checks that must fail for it, whatever else the log lacks.
FAILS: dict[str, frozenset[str]] = {
    **dict.fromkeys(
        ("trigger_always_live", "backfed_coil", "welded_contact"),
        frozenset({"off_state_drain", "feed_off_voltage", "relay_drop_out"}),
    ),
    "inverted_contact": frozenset({"off_state_drain", "feed_off_voltage"}),
    **dict.fromkeys(("coil_open", "feed_open"), frozenset({"relay_pull_in"})),
    "feed_resistance": frozenset({"feed_drop"}),
    "ground_resistance": frozenset({"ground_lift"}),
    "ground_open": frozenset({"slot_1_current", "slot_2_current", "slot_3_current", "slot_4_current"}),
    "slot_dead": frozenset({"slot_2_current"}),
    "slot_overload": frozenset({"slot_3_current"}),
    **dict.fromkeys(("unswitched_device", "waking_device"), frozenset({"off_state_drain"})),
    "slow_to_sleep": frozenset({"settle_time"}),
    "slow_trigger_decay": frozenset({"relay_drop_out"}),
    **dict.fromkeys(("weak_coil_supply", "pulsed_trigger", "intermittent_feed"), frozenset({"relay_chatter"})),
    "weak_battery": frozenset({"source_resistance", "resting_voltage"}),
    "no_charge": frozenset({"charging_voltage", "charging_balance"}),
    "overcharge": frozenset({"charging_voltage"}),
    "load_exceeds_charging": frozenset({"charging_balance"}),
    "trigger_dead": frozenset({"slot_1_current", "slot_2_current", "slot_3_current", "slot_4_current"}),
    "slow_relay": frozenset({"relay_drop_out"}),
    # faults that break no limit: current into the battery proves no drain, and clips changed over no relay
    **dict.fromkeys(("charging_while_off", "clips_swapped"), frozenset()),
}
#: Faults whose drain is above the limit, so that the fuses are walked.
WALKED = {
    "trigger_always_live",
    "backfed_coil",
    "welded_contact",
    "inverted_contact",
    "unswitched_device",
    "waking_device",
}


class Person:
    """A person who does what the screen says, a second after it says so; Enter only where the screen asks for it.

    Args:
        does: step -> what is done, as marks; a step that is left out is not done.
        after_s: how long after it was asked for. ready_s: how long the first step takes, s.
    """

    def __init__(self, does: dict[str, tuple[str, ...]], after_s: float = 1.0, ready_s: float = 1.0) -> None:
        """Nothing is done yet."""
        self._does, self._after_s, self._ready_s = dict(does), after_s, ready_s
        self._seen_s: dict[str, float] = {}
        self._entered: set[str] = set()

    def keys(self, bench: Bench) -> list[Pressed]:
        """Enter where nothing else is waited for; the zero is left out, since no shunt is taken off."""
        step = bench.step
        if step is None or step.id in self._entered or not step.waiting_for.startswith("Enter"):
            return []
        if step.waiting_for.endswith("the caution") and step.id != "prepare":
            return []
        after_s = self._ready_s if step.id == "prepare" else self._after_s
        if bench.now_s < self._seen_s.setdefault(step.id, bench.now_s) + after_s:
            return []
        if not step.waiting_for.endswith("the caution"):
            self._entered.add(step.id)
        return ["skip" if step.id == "zero" else "enter"]

    def __call__(self, bench: Bench) -> None:
        """Do what is due."""
        bench.person = self
        if not bench.steps:
            return
        step = bench.steps[-1].id
        begun_s = self._seen_s.setdefault(step, bench.now_s)
        if step in self._does and bench.now_s >= begun_s + self._after_s:
            for text in self._does.pop(step):
                bench.act(text)


#: What a person does on the usual bike, in order.
ALL_DONE: dict[str, tuple[str, ...]] = {
    "key_on": ("key on",),
    **{f"slot_{slot}_on": (f"slot {slot} on",) for slot in (1, 2, 3, 4)},
    "crank": ("crank",),
    "key_off": ("key off",),
}
