"""What a person does out of order in the guided test: noted, put right or asked about, and never judged wrongly."""

import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from guided_bike import ALL_DONE, FAILS, Bench, Person
from test_guided_session import Run, failed

from benchlog.bench.guided.history import History
from benchlog.bench.guided.keys import KEYS, Pressed
from benchlog.bench.guided.sight import Sight
from benchlog.bench.guided.watch import QUESTIONS
from benchlog.core.trace import Mark, Trace, standing
from benchlog.standin import SimulatedInstall, fast_logger, with_fault
from benchlog.standin.behaving import with_behaviours
from benchlog.standin.logger import live_logger

Deed = tuple[str, float, str]
#: From a question to its answer, s.
THINKS_S = 4.0


class Wilful(Person):
    """A person who does the usual, and besides what a list says, so long after a step came up.

    Args:
        besides: step, s after it came up, and what is done; a text in brackets is a key.
        answers: what is answered to the questions, in their order. leaves: steps that are not done.
    """

    def __init__(
        self, besides: Sequence[Deed] = (), answers: str = "", leaves: Sequence[str] = (), after_s: float = 1.0
    ) -> None:
        super().__init__({step: did for step, did in ALL_DONE.items() if step not in leaves}, after_s)
        self.besides, self.answers, self.asked = list(besides), list(answers), list[str]()
        self._up_s: dict[str, float] = {}
        self._press: list[Pressed] = []
        self.bench: Bench | None = None
        self._answer_s = math.inf

    def __call__(self, bench: Bench) -> None:
        step = bench.step
        if step is not None:
            since_s = bench.now_s - self._up_s.setdefault(step.id, bench.now_s)
            if step.ask and (not self.asked or self.asked[-1] != step.ask):
                self.asked.append(step.ask)
                self._answer_s = bench.now_s + THINKS_S
            if step.ask and bench.now_s >= self._answer_s:
                self._answer_s = math.inf
                self._press.append(KEYS[self.answers.pop(0)])
            due = [one for one in self.besides if one[0] == step.id and since_s >= one[1]]
            for one in due:
                self.besides.remove(one)
                if one[2].startswith("["):
                    self._press += [KEYS[key] for key in one[2].strip("[]").replace("Enter", "\r")]
                else:
                    bench.act(one[2])
        self.bench = bench
        super().__call__(bench)

    def keys(self, bench: Bench) -> list[Pressed]:
        pressed, self._press = self._press, []
        return [*pressed, *super().keys(bench)]


def led(tmp_path: Path, person: Wilful, install: SimulatedInstall | None = None, spec_hz: float = 50.0) -> Run:
    """The test led by this person to its end."""
    bench = Bench(install or SimulatedInstall(), spec=fast_logger(spec_hz), tester=person, limit_s=2200.0, chunk_s=0.5)
    run = Run(bench, tmp_path / "a.csv")

    assert run.ended == "done", run.said[-600:]
    assert person.besides == []
    assert person.answers == []
    return run


def test_a_rider_late_at_every_step_has_the_verdicts_of_a_quick_one(tmp_path: Path):
    """100 s late at each step: no load is taken for another one's, and nothing fails on a good bike."""
    run = led(tmp_path, Wilful(after_s=100.0))
    result = run.check()

    assert failed(result) == set()
    assert {f"slot_{n}_current" for n in (1, 2, 3, 4)} <= {c.id for c in result.checks if c.verdict == "pass"}
    assert not any(text.startswith(("again", "out of order", "step skipped: Key")) for text in run.texts)


def test_a_key_that_goes_off_at_a_circuit_is_noted_and_turned_back(tmp_path: Path):
    """The key off and on again before slot 3: both stand in the log in their place, and nothing fails."""
    besides = [("slot_3_on", 0.5, "key off"), ("slot_3_on", 8.0, "key on"), ("slot_3_on", 12.0, "slot 3 on")]
    run = led(tmp_path, Wilful(besides, leaves=["slot_3_on"]))

    assert [text for text in run.texts if text.startswith("key")] == ["key on", "key off", "key on", "key off"]
    assert "out of order: key off, at Slot 3: auxiliary lamp" in run.texts
    assert "Turn the key on and switch on again: Slot 1: vaccine cool box; Slot 2: heated grips." in run.said
    assert "Leave off: Slot 3: auxiliary lamp; Slot 4: tracker and charger." in run.said
    assert failed(run.check()) == set()


def test_a_key_that_comes_on_too_early_is_turned_back(tmp_path: Path):
    """The key on at the rest: it is noted, goes off again, and the rest begins anew."""
    run = led(tmp_path, Wilful([("rest", 5.0, "key on"), ("rest", 11.0, "key off")]))
    key = [(at_s, text) for at_s, text in run.bench.marks if text.startswith("key")]

    assert [text for _, text in key] == ["key on", "key off", "key on", "key off"]
    assert key[2][0] - key[1][0] > 30
    assert "Turn the key off again. Touch nothing else." in run.said
    assert failed(run.check()) == set()


def test_a_device_that_comes_on_is_no_key_that_was_turned_back(tmp_path: Path):
    """The key must go off again and a device comes on instead: that is asked about, and the key's own fall counts."""
    besides = [
        ("rest", 5.0, "key on"),
        ("rest", 12.0, "slot 1 on"),
        ("rest", 28.0, "key off"),
        ("rest", 29.0, "slot 1 off"),
    ]
    person = Wilful(besides, answers="n")
    run = led(tmp_path, person)
    offs = [at_s for at_s, text in run.bench.marks if text == "key off"]
    (turned_s,) = [at_s for at_s, text in run.bench.done if text == "key off"][:1]

    assert person.asked == ["the battery's current changed, but the trigger and the feed stay up: is the key off?"]
    assert offs[0] == pytest.approx(turned_s, abs=2.0)
    assert failed(run.check()) == set()


def test_another_circuit_than_the_one_asked_for_is_asked_about_and_withdrawn(tmp_path: Path):
    """The tracker comes on in place of the grips: asked, answered no, switched off; the grips' own current counts."""
    besides = [("slot_2_on", 1.0, "slot 4 on"), ("slot_2_on", 12.0, "slot 4 off"), ("slot_2_on", 17.0, "slot 2 on")]
    person = Wilful(besides, answers="n", leaves=["slot_2_on"])
    result = led(tmp_path, person).check()
    marks = [text for _, text in person_marks(person) if "2" in text and text.startswith("slot")]

    assert person.asked == ["0.96 A came on, and 3 A ± 20 % is planned. Is it slot 2, and nothing else?"]
    assert marks == ["slot 2 on", "slot 2 withdrawn", "slot 2 on"]
    assert result.check("slot_2_current").measured == pytest.approx(3.05, abs=0.05)
    assert failed(result) == set()


def marked(run: Run, text: str) -> float:
    """When the log says so for the last time, s."""
    return [at_s for at_s, mark in run.bench.marks if mark == text][-1]


def person_marks(person: Wilful) -> list[tuple[float, str]]:
    """The marks of the log that this person left."""
    assert person.bench is not None
    return person.bench.marks


def test_a_device_that_comes_on_with_the_key_is_asked_about(tmp_path: Path):
    """A lamp that was left on comes with the key: it is no load of the bike's own, goes off, and has its own step."""
    besides = [("rest", 5.0, "slot 3 on"), ("slot_1_on", 0.5, "slot 3 off"), ("slot_1_on", 5.0, "slot 1 on")]
    person = Wilful(besides, answers="n", leaves=["slot_1_on"])
    result = led(tmp_path, person).check()

    assert len(person.asked) == 1
    assert person.asked[0].startswith("1.8 A came on with the key, and the fuse block carries current")
    assert result.check("slot_3_current").measured == pytest.approx(1.84, abs=0.05)
    assert failed(result) == set()


def test_a_start_before_its_time_is_stopped_and_comes_later(tmp_path: Path):
    """The engine started at slot 3: it is stopped, the circuits come with the engine off, and the start comes again."""
    besides = [("slot_3_on", 0.5, "crank"), ("slot_3_on", 9.0, "engine off"), ("slot_3_on", 14.0, "slot 3 on")]
    run = led(tmp_path, Wilful(besides, leaves=["slot_3_on"]))

    assert [text for text in run.texts if text in ("crank", "engine off", "running")] == [
        *("crank", "engine off", "crank", "running"),
    ]
    assert "Stop the engine with the kill switch." in run.said
    assert failed(run.check()) == set()


def test_a_run_that_the_key_ends_counts_as_far_as_it_came(tmp_path: Path):
    """The key off after 12 s of running: the test goes on to the sleep, and charging is judged on what there was."""
    run = led(tmp_path, Wilful([("run", 13.0, "key off")], leaves=["key_off"]))
    result = run.check()

    late_s = marked(run, "key off") - run.bench.done[-1][0]

    assert re.search(r"the key was turned off after 1\d s of 30 s", run.said)
    assert late_s < 3.0
    assert run.steps[-2:] == ["key_off", "sleep"] or run.steps[-1] == "sleep"
    assert result.check("charging_voltage").verdict == "pass"
    assert failed(result) == set()


def test_an_engine_that_stops_by_itself_is_started_again(tmp_path: Path):
    """It stalls after 9 s: asked, answered yes, the start comes again, and the run lasts its time."""
    person = Wilful([("crank", 30.0, "crank")], answers="y")
    run = led(tmp_path, person, with_behaviours(SimulatedInstall(), ["stall"]))

    assert person.asked[0].startswith("the engine seems to have stopped after")
    assert run.texts.count("crank") == 2
    assert failed(run.check()) == set()


def test_a_pause_asks_for_nothing_and_goes_on_from_what_is_there(tmp_path: Path):
    """Paused before slot 3 with the key off meanwhile: nothing is asked, the key stands in the log, then it goes on."""
    besides = [
        *(("slot_3_on", 0.5, "[p]"), ("slot_3_on", 60.0, "key off"), ("slot_3_on", 200.0, "[p]")),
        *(("slot_3_on", 205.0, "key on"), ("slot_3_on", 212.0, "slot 3 on")),
    ]
    run = led(tmp_path, Wilful(besides, leaves=["slot_3_on"]))
    marks = {text: at_s for at_s, text in run.bench.marks}

    assert [text for text in run.texts if text.startswith(("paused", "resumed", "key"))] == [
        *("key on", "paused", "key off", "resumed after a pause", "key on", "key off"),
    ]
    assert marks["resumed after a pause"] - marks["paused"] > 190
    assert failed(run.check()) == set()


def test_a_number_goes_back_to_a_step_and_what_came_after_is_taken_again(tmp_path: Path):
    """From the start of the engine back to slot 3 by 8 and Enter: 3 and 4 go off, come again, and both count once."""
    besides = [("crank", 0.5, "[8Enter]"), ("slot_3_on", 20.0, "slot 3 off"), ("slot_3_on", 20.0, "slot 4 off")]
    besides += [("slot_3_on", 21.0, "[Enter]"), ("slot_3_on", 26.0, "slot 3 on"), ("slot_4_on", 20.0, "slot 4 on")]
    besides += [("crank", 22.0, "crank")]
    person = Wilful(besides, leaves=["crank"])
    run = led(tmp_path, person)

    assert "Switch off: Slot 3: auxiliary lamp; Slot 4: tracker and charger." in run.said
    assert [text for text in run.texts if text.startswith(("slot 3", "slot 4"))] == [
        *("slot 3 on", "slot 4 on", "slot 3 withdrawn", "slot 4 withdrawn"),
        *("slot 3 off", "slot 4 off", "slot 3 on", "slot 4 on"),
    ]
    assert failed(run.check()) == set()


def test_enter_alone_makes_no_dead_circuit(tmp_path: Path):
    """Enter without a switch pressed asks first; after no the circuit goes off and on, and its current is measured."""
    besides = [("slot_3_on", 2.0, "[Enter]"), ("slot_3_on", 10.0, "[Enter]"), ("slot_3_on", 15.0, "slot 3 on")]
    person = Wilful(besides, answers="n", leaves=["slot_3_on"])
    result = led(tmp_path, person).check()

    assert person.asked[0].startswith("no current has come on in this step. Is slot 3 switched on")
    assert result.check("slot_3_current").verdict == "pass"


def test_a_coil_that_is_fed_back_is_found_though_the_key_off_is_asked_about(tmp_path: Path):
    """Nothing falls with the key: asked, answered yes; the fuse that lets the relay go proves no drop-out."""
    fuses = [(f"fuse_{n}_{way}", 6.0, f"fuse {n} {way}") for n in (1, 2, 3, 4) for way in ("out", "in")]
    enters = [(f"fuse_{n}_{way}", 14.0, "[Enter]") for n in (1, 2, 3, 4) for way in ("out", "in")]
    besides = [*fuses, *enters, ("fuse_1_out", 3.0, "[Enter]"), ("sleep_again", 300.0, "[s]")]
    bench = Bench(
        with_fault(SimulatedInstall(), "backfed_coil"), tester=Wilful(besides, answers="y"), limit_s=900.0, chunk_s=0.5
    )
    run = Run(bench, tmp_path / "a.csv")

    assert "but the trigger and the feed stay up: is the key off?" in run.said
    assert failed(run.check()) >= FAILS["backfed_coil"]


def test_a_load_of_the_bike_itself_is_not_the_circuit_s():
    """Without the fuse block's own current: a pump of the bike that comes on is no circuit; the circuit after it is."""
    bench, history = (
        Bench(with_behaviours(SimulatedInstall(), ["brake_light"]), spec=live_logger(50.0), chunk_s=0.5),
        History(),
    )
    key_s = bench.act("key on")
    _until(bench, history, key_s + 6.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), slot=3, planned_a=1.8)
    _until(bench, history, key_s + 8.9)  # the brake light, 1.8 A, from 7.1 s on
    braked = QUESTIONS["slot_on"](sight)
    _until(bench, history, key_s + 10.0)
    on_s = bench.act("slot 3 on")
    _until(bench, history, on_s + 2.0)
    seen = QUESTIONS["slot_on"](sight).seen

    assert braked.seen is None
    assert braked.waiting.endswith("came on elsewhere on the bike, not at the fuse block")
    assert seen is not None
    assert seen.at_s == pytest.approx(on_s, abs=0.3)


def _until(bench: Bench, history: History, until_s: float) -> None:
    while bench.now_s < until_s:
        history.add(bench._chunk())


def test_a_circuit_that_draws_in_pulses_is_seen_by_its_mean():
    """Heated grips at 1.5 Hz, 60 % of the time: seen within 8 s, at their mean current."""
    bench, history = Bench(with_behaviours(SimulatedInstall(), ["pulsed_grips"]), chunk_s=0.5), History()
    bench.act("key on")
    _until(bench, history, 8.0)
    sight = Sight(history, history.now_s, history.before(history.now_s), slot=2, planned_a=3.0)
    on_s = bench.act("slot 2 on")
    _until(bench, history, on_s + 8.0)
    seen = QUESTIONS["slot_on"](sight).seen

    assert seen is not None
    assert seen.value == pytest.approx(0.93 * 3.05, rel=0.15)
    assert seen.at_s == pytest.approx(on_s, abs=0.5)


def test_pulses_that_go_on_are_no_load_that_comes_on():
    """With the grips' pulses on the battery's current nothing is taken for the next circuit until it comes."""
    bench, history = (
        Bench(with_behaviours(SimulatedInstall(), ["pulsed_grips"]), spec=live_logger(50.0), chunk_s=0.5),
        History(),
    )
    bench.act("key on")
    bench.act("slot 2 on")
    _until(bench, history, 12.0)
    early = []
    for begun_s in np.arange(12.0, 18.0, 0.25).tolist():
        _until(bench, history, begun_s)
        sight = Sight(history, history.now_s, history.before(history.now_s), slot=4, planned_a=1.0)
        for later_s in (1.0, 2.0, 5.0):
            _until(bench, history, max(begun_s + later_s, bench.now_s))
            early.append(QUESTIONS["slot_on"](sight).seen)
    on_s = bench.act("slot 4 on")
    _until(bench, history, on_s + 6.0)
    seen = QUESTIONS["slot_on"](sight).seen

    assert early == [None] * len(early)
    assert seen is not None
    assert seen.value == pytest.approx(1.0, abs=0.1)
    assert seen.at_s == pytest.approx(on_s, abs=0.7)


@pytest.mark.parametrize("begun_s", [6.0, 6.1, 6.2, 6.3, 6.4, 6.5, 6.6])
def test_a_load_after_pulses_that_ended_counts_from_their_floor(begun_s: float):
    """Flashers that end before the circuit comes on neither add to its current nor take from it."""
    time = np.arange(0.0, 14.0, 0.02)
    flashes = (np.mod(1.5 * time, 1.0) < 0.5) & (time < 7.4)
    amps = 7.7 + 1.9 * flashes + 3.0 * (time >= 8.0)
    history = History()
    history.add(Trace(time[time <= begun_s], {"battery_a": amps[time <= begun_s]}, {}))
    sight = Sight(history, history.now_s, history.before(history.now_s), slot=2, planned_a=3.0)
    history.add(Trace(time[time > begun_s], {"battery_a": amps[time > begun_s]}, {}))
    seen = QUESTIONS["slot_on"](sight).seen

    assert seen is not None
    assert seen.value == pytest.approx(3.0, abs=0.1)
    assert seen.at_s == pytest.approx(8.0, abs=0.2)


def test_a_withdrawal_takes_the_newest_mark_of_its_circuit():
    """Each withdrawal takes one mark back, the newest before it, and no other circuit's."""
    times = np.arange(6.0)
    texts = ("slot 2 on", "slot 1 on", "slot 2 on", "slot 2 withdrawn", "slot 3 withdrawn", "slot 2 on")
    kept = standing([Mark(float(at_s), text) for at_s, text in zip(times, texts, strict=True)])

    assert [(one.time_s, one.text) for one in kept if one.text.endswith("on")] == [
        *((0.0, "slot 2 on"), (1.0, "slot 1 on"), (5.0, "slot 2 on")),
    ]


@pytest.mark.parametrize("hasty", [False, True], ids=["seen", "Enter before it is seen"])
def test_a_circuit_taken_for_the_one_before_it_is_found_as_it_goes_off(tmp_path: Path, hasty: bool):
    """A lamp of 2.7 A comes on for grips of 3 A: once it goes off at its own step, the grips' step comes again."""
    besides = [
        ("slot_2_on", 2.0, "slot 3 on"),
        ("slot_3_on", 20.0, "[Enter]"),
        ("slot_3_on", 40.0, "slot 3 off"),
        *([("slot_3_on", 40.0, "[Enter]")] if hasty else []),
        ("slot_2_on", 80.0, "slot 2 on"),
        ("slot_3_on", 120.0, "slot 3 on"),
    ]
    person = Wilful(besides, answers="ny", leaves=["slot_2_on", "slot_3_on"])
    run = led(tmp_path, person, with_fault(SimulatedInstall(), "slot_overload"))
    result = run.check()

    assert "what went off is what came on at Slot 2: heated grips, which comes again" in run.said
    assert "slot 2 withdrawn" in run.texts
    assert result.check("slot_2_current").measured == pytest.approx(3.0, abs=0.15)
    assert failed(result) == {"slot_3_current"}
