"""The guided test with a cable across the shunt for the start: when it is on, what the log says, what is judged."""

import json
from pathlib import Path

import numpy as np
import pytest
from guided_bike import ALL_DONE, Bench, Person
from test_guided_session import USUAL, Once, Run, failed, plan

from benchlog.analysis.bridge import HAND_S
from benchlog.bench.guided import resume
from benchlog.bench.guided.actions import OpenActions
from benchlog.bench.guided.keys import KEYS, Pressed
from benchlog.bench.guided.memory import Memory
from benchlog.bench.guided.paging import page
from benchlog.bench.guided.screen import PlainScreen
from benchlog.bench.guided.session import run_session
from benchlog.bench.guided.steps import steps_of
from benchlog.bench.guided.view import View
from benchlog.bench.guided.walk import Walk
from benchlog.bench.live import LiveStep
from benchlog.core.errors import BenchlogError
from benchlog.standin import Script, SimulatedInstall
from benchlog.standin.channels import true_values
from benchlog.standin.timeline import timeline_of
from benchlog.verdict.result import Check

#: The marks of the bridge; ``shunt back`` is the zero's.
BRIDGE = ("shunt bridged", "shunt free")
#: The start with a bridge: step, seconds after it came up, and what is done to the bike, or pressed.
BRIDGED_START = (
    ("crank", 3.0, "b"),
    ("crank", 5.0, "shunt bridged"),
    ("crank", 12.0, "crank"),
    ("run", 12.0, "shunt free"),
    ("run", 14.0, "b"),
)


class Hands:
    """A person who does the usual, and at the start what a list says; presses ``b`` as it says too.

    Args:
        does: step, seconds after it came up, what is done; "b" and "s" are keys.
    """

    def __init__(self, does: tuple[tuple[str, float, str], ...] = BRIDGED_START) -> None:
        """Nothing is done yet."""
        self._usual = Person({step: did for step, did in ALL_DONE.items() if step != "crank"}, ready_s=80.0)
        self._does, self._since, self._pressed = list(does), dict[str, float](), list[Pressed]()

    def __call__(self, bench: Bench) -> None:
        """Do what is due."""
        self._usual(bench)
        if not bench.steps:
            return
        step = bench.steps[-1].id
        begun_s = self._since.setdefault(step, bench.now_s)
        for one in [one for one in self._does if one[0] == step and bench.now_s >= begun_s + one[1]]:
            self._does.remove(one)
            if one[2] in KEYS:
                self._pressed.append(KEYS[one[2]])
            else:
                bench.act(one[2])

    def keys(self, _: Bench) -> list[Pressed]:
        """What is pressed."""
        pressed, self._pressed = self._pressed, []
        return pressed

    @property
    def usual(self) -> Person:
        """Who presses Enter where the screen asks for it."""
        return self._usual


def led(
    tmp_path: Path, does: tuple[tuple[str, float, str], ...] = BRIDGED_START, install: SimulatedInstall | None = None
) -> Run:
    """The test led by a person with a bridge."""
    tester = Hands(does)
    return Run(Bench(install or SimulatedInstall(), tester=tester), tmp_path / "a.csv", keys=tester.keys)


def true_balance_a(bench: Bench, check: Check) -> float:
    """What really flowed into the battery over the stretch that the check names."""
    line = timeline_of(bench.install, Script(bench.now_s + 1.0, bench.bike.remembered))
    time_s = np.arange(check.from_s, check.to_s, 0.01)
    return -float(true_values(line, time_s, ["battery_a"])["battery_a"].mean())


def at(run: Run, text: str) -> float:
    """When the log says so."""
    return next(at_s for at_s, mark in run.bench.marks if mark == text)


def test_charging_is_judged_from_the_free_shunt_on(tmp_path: Path):
    """Both marks stand in the log as b was pressed, the run lasts 30 s from the second, and its balance is true."""
    run = led(tmp_path)
    balance = run.check().check("charging_balance")
    began = {step.id: n for n, step in enumerate(run.bench.steps)}

    assert run.ended == "done"
    assert list(began) == USUAL
    assert [t for t in run.texts if t in ("shunt bridged", "crank", "running", "shunt free", "key off")] == [
        *("shunt bridged", "crank", "running", "shunt free", "key off"),
    ]
    assert at(run, "key off") - at(run, "shunt free") > 30
    assert balance.from_s == pytest.approx(at(run, "shunt free") + HAND_S, abs=0.5)
    assert balance.measured == pytest.approx(true_balance_a(run.bench, balance), abs=balance.uncertainty)
    assert failed(run.check()) == set()
    assert balance.verdict == "pass"


def test_a_bridge_that_nobody_notes_falsifies_the_balance(tmp_path: Path):
    """The same hands without b: the test goes on as ever, and the balance is not the true one."""
    run = led(tmp_path, tuple(one for one in BRIDGED_START if one[2] != "b"))
    balance = run.check().check("charging_balance")

    assert run.ended == "done"
    assert not any(text in BRIDGE for text in run.texts)
    assert abs(balance.measured - true_balance_a(run.bench, balance)) > balance.uncertainty


def test_the_screen_asks_for_the_bridge_and_waits_for_it(tmp_path: Path):
    """With the engine running the order is to take it off and press b; until then no current is shown."""
    seen: list[tuple[View, set[str]]] = []

    class Watched(PlainScreen):
        def show(self, view, last) -> None:  # type: ignore[no-untyped-def]  # as in the screen
            seen.append((view, set(last)))

    tester = Hands()
    bench = Bench(SimulatedInstall(), tester=tester)
    run_session(
        bench,
        plan(),
        Watched(lambda _: None),
        lambda: [*tester.keys(bench), *tester.usual.keys(bench)],
        log=tmp_path / "a.csv",
    )
    crank = [view for view, _ in seen if view.step.id == "crank"]
    run = [(view, last) for view, last in seen if view.step.id == "run"]
    waiting = [(view, last) for view, last in run if view.bridge == "on"]

    assert (crank[0].bridge, crank[-1].bridge) == ("offered", "on")
    assert waiting[-1][0].step.say.startswith("Take the bridge off the shunt, then press b.")
    assert waiting[-1][0].step.waiting_for == "b, once the bridge is off"
    assert all("battery_v" in last and not last & {"battery_a", "drain_a"} for _, last in waiting)
    assert run[-1][0].bridge == ""
    assert (
        run[-1][0].step.say == "If you bridged the shunt, take the bridge off now. Hold a fast idle, with all loads on."
    )
    assert "battery_a" in run[-1][1]


def test_a_bridge_left_on_is_asked_for_and_wins_nothing(tmp_path: Path):
    """Nobody takes it off: the test waits, and goes on by s alone; what was measured before it still fails."""
    run = led(tmp_path, (*BRIDGED_START[:3], ("run", 200.0, "s")), SimulatedInstall(drain_a=0.005))
    result = run.check()

    assert run.ended == "done"
    assert "is the bridge off the shunt? then press b" in run.said
    assert at(run, "step skipped: Engine running") - at(run, "running") > 180
    assert "the drain has settled" not in run.said
    assert result.check("off_state_drain").verdict == "fail"
    assert result.check("off_state_drain").to_s < at(run, "shunt bridged")
    for check_id in ("settle_time", "charging_balance"):
        assert result.check(check_id).verdict == "not seen"
        assert "the shunt was bridged from" in result.check(check_id).because
    assert result.check("charging_voltage").verdict == "pass"


def test_a_bridge_taken_off_after_the_run_still_shows_the_drain(tmp_path: Path):
    """With b pressed only as the bike is to sleep the sleep is watched from then on, and its drain is the true one."""
    run = led(tmp_path, (*BRIDGED_START[:3], ("run", 40.0, "s"), ("sleep", 20.0, "shunt free"), ("sleep", 22.0, "b")))
    result = run.check()

    assert "Take the bridge off the shunt, then press b. Take the key out." in run.said
    assert result.check("charging_balance").verdict == "not seen"
    assert result.check("off_state_drain").verdict == "pass"
    assert result.check("off_state_drain").measured == pytest.approx(0.6, abs=0.05)


def test_a_stand_in_puts_the_bridge_on_and_takes_it_off_by_itself(tmp_path: Path):
    """With b pressed once before the start the shunt is bridged, and free again as soon as the engine runs."""
    run = Run(
        Bench(SimulatedInstall(), chunk_s=0.25), tmp_path / "a.csv", by_itself=True, keys=Once(all_on=(6.0, "bridge"))
    )
    result = run.check()
    balance = result.check("charging_balance")
    done = {text: at_s for at_s, text in run.bench.done}

    assert run.ended == "done"
    assert run.steps == USUAL
    for text in ("shunt bridged", "shunt free"):
        assert at(run, text) == pytest.approx(done[text], abs=1.0)
    assert done["shunt bridged"] < done["crank"] < done["shunt free"]
    assert failed(result) == set()
    assert balance.measured == pytest.approx(true_balance_a(run.bench, balance), abs=balance.uncertainty)
    assert balance.from_s >= done["shunt free"]


@pytest.mark.parametrize("why", ["never fires", "left out"])
def test_a_stand_in_s_bridge_comes_off_though_no_engine_runs(tmp_path: Path, why: str):
    """An engine that never fires, or a run that is left out, leaves the shunt free for the sleep all the same."""
    skip: dict[str, tuple[float, Pressed]] = {"run": (0.0, "skip")} if why == "left out" else {}
    keys = Once(all_on=(6.0, "bridge"), **skip)
    run = Run(Bench(SimulatedInstall(starts=why == "left out")), tmp_path / "a.csv", by_itself=True, keys=keys)

    assert run.ended == "done"
    assert at(run, "shunt bridged") < at(run, "shunt free") < at(run, "key off")
    assert run.check().check("off_state_drain").verdict == "pass"


def test_a_stand_in_that_refuses_the_bridge_notes_none(tmp_path: Path):
    """What was not done is not in the log."""

    def refuse(text: str) -> float:
        if text == "shunt bridged":
            raise BenchlogError("no cable at hand")
        return bench.act(text)

    bench, lines, keys = Bench(SimulatedInstall()), list[str](), Once(all_on=(6.0, "bridge"))
    ended = run_session(
        bench, plan(), PlainScreen(lines.append), lambda: keys(bench), log=tmp_path / "a.csv", ask=refuse
    )

    assert ended == "done"
    assert "no cable at hand" in " ".join(lines)
    assert not any(text in BRIDGE for _, text in bench.marks)


def test_a_stopped_test_knows_that_the_shunt_is_bridged(tmp_path: Path):
    """Stopped with the bridge on and taken up again: it is asked for, and what is measured after it is judged."""
    stops = Hands(BRIDGED_START[:3])
    quits = Once(run=(8.0, "quit"))
    bench = Bench(SimulatedInstall(), tester=stops)
    first = Run(bench, tmp_path / "a.csv", keys=lambda bench: [*stops.keys(bench), *quits(bench)])
    memory = resume.load(first.log).memory
    was_bridged = memory.bridged
    goes_on = Hands((("run", 5.0, "shunt free"), ("run", 7.0, "b")))
    bench.steps.clear()
    bench.tester = goes_on
    second = Run(bench, first.log, keys=goes_on.keys, memory=memory)
    balance = second.check().check("charging_balance")

    assert first.ended == "stopped"
    assert was_bridged
    assert second.ended == "done"
    assert "The shunt was bridged when the test stopped: press b if the bridge is off now" in second.said
    assert [text for text in second.texts if text in BRIDGE] == [*BRIDGE]
    assert balance.verdict == "pass"
    assert balance.measured == pytest.approx(true_balance_a(bench, balance), abs=balance.uncertainty)


def test_the_bridge_is_on_disk_as_soon_as_its_mark_is_in_the_log(tmp_path: Path):
    """A test that is killed within the step knows of the bridge all the same."""
    states: list[tuple[float, bool]] = []

    def look(bench: Bench) -> list[Pressed]:
        path = resume.state_path(tmp_path / "a.csv")
        if path.exists():
            states.append((bench.now_s, resume.load(tmp_path / "a.csv").memory.bridged))
        return tester.keys(bench)

    tester = Hands()
    run = Run(Bench(SimulatedInstall(), tester=tester), tmp_path / "a.csv", keys=look)
    first, last = at(run, "shunt bridged"), at(run, "shunt free")

    assert all(bridged for now_s, bridged in states if first + 1.0 < now_s < last)
    assert not any(bridged for now_s, bridged in states if now_s < first or now_s > last + 1.0)


def test_a_state_from_before_there_were_bridges_can_be_taken_up(tmp_path: Path):
    """A state file without a word of the bridge is one with the shunt free."""
    log = tmp_path / "a.csv"
    resume.save(log, "Larch", Memory(step="run"))
    path = resume.state_path(log)
    state = json.loads(path.read_text(encoding="utf-8"))
    del state["memory"]["bridged"]
    path.write_text(json.dumps(state), encoding="utf-8")

    assert resume.load(log).memory == Memory(
        step="run", key_off_s=pytest.approx(np.nan, nan_ok=True), wakes_every_s=pytest.approx(np.nan, nan_ok=True)
    )


def test_b_pressed_twice_leaves_the_shunt_free(tmp_path: Path):
    """A slip is undone by pressing it again: the run waits for nothing, and only the time between is hidden."""
    slip = (("crank", 6.0, "b"), ("crank", 8.0, "b"), ("crank", 16.0, "crank"))
    run = led(tmp_path, slip)
    result = run.check()

    assert [text for text in run.texts if text in BRIDGE] == [*BRIDGE]
    assert "b was not pressed" not in run.said
    assert result.check("charging_balance").verdict == "pass"
    assert failed(result) == set()


def test_b_says_nothing_with_the_key_off(tmp_path: Path):
    """Before the key-on and asleep there is nothing to bridge for; the tester is told, and the log is not."""
    run = Run(
        Bench(SimulatedInstall(), tester=Person(ALL_DONE)),
        tmp_path / "a.csv",
        keys=Once(rest=(3.0, "bridge"), sleep=(3.0, "bridge")),
    )

    assert not any(text in BRIDGE for text in run.texts)
    assert run.said.count("to start the engine, with the key on; nothing was noted") == 2


def test_a_bridge_noted_after_the_start_says_what_is_lost(tmp_path: Path):
    """Pressed in the run b is too late for what was measured before; the tester is told to take the test anew."""
    run = led(tmp_path, (("crank", 3.0, "crank"), ("run", 4.0, "b"), ("run", 8.0, "b")))

    assert "if it was on before the start, the log is wrong: start the test over" in run.said


def test_the_page_shows_the_bridge_and_its_key():
    """Offered where the engine is started; bold above the values, and its key turned round, while it is on."""
    step = LiveStep(11, 14, "crank", "Start the engine", "Press the starter.", "Hands clear.", "a dip")
    offered, on, none = (
        "\n".join(page(View(step, False, False, False, bridge=bridge), {"battery_v": 12.5}, ()))
        for bridge in ("offered", "on", "")
    )

    assert "[b] shunt bridged" in offered
    assert "[b] bridge is off" in on
    assert "The shunt is bridged: no current is measured." in on
    assert "bridge" not in none
    assert "no current is measured" not in offered


@pytest.mark.parametrize("bridge", ["offered", "on"])
def test_the_caution_before_the_start_fits_on_the_screen(bridge):
    """Caution, order, values and every key of the longest step stand on 24 lines of 76 characters."""
    walk = Walk(
        steps_of(plan()), OpenActions(Bench(SimulatedInstall()), PlainScreen(lambda _: None), None, lambda: 0.0)
    )
    crank = next(spec for spec in walk.shown if spec.id == "crank")
    step = LiveStep(11, 14, "crank", crank.title, crank.say, crank.caution, crank.waiting_for)
    values = {"battery_v": 12.5, "battery_a": 9.3, "drain_a": 0.001, "trigger_v": 12.3, "feed_v": 12.3}

    text = "\n".join(lines := page(View(step, False, False, True, bridge=bridge), values, ("one", "two", "three")))

    assert len(lines) <= 24
    assert "press b, then put it on" in " ".join(text.split())
    for key in ("[Enter] done", "[b] ", "[w] fuse walk", "[q] stop"):
        assert key in text
