"""Faults at places of the stand-in, and its meter: what is typed there is enough to find each of them."""

import ast
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pexpect
import pytest
from find_hands import answer_at

import benchlog
from benchlog.find.as_json import expected
from benchlog.find.beliefs import Knowledge
from benchlog.find.flaws import OF_CAUSE, TABLE
from benchlog.find.hunt import FoundPlace, Hunt, Reply
from benchlog.find.terminal import value_typed
from benchlog.plan.model import load_plan
from benchlog.standin import (
    FAULTS,
    LiveBike,
    SimulatedInstall,
    acceptance_script,
    live_logger,
    plan_toml_of,
    simulate,
    with_fault,
    write_csv,
)
from benchlog.standin.hands import answer_to, hands_of, shown
from benchlog.standin.probing.installs import install_at
from benchlog.standin.probing.meter import Probes
from benchlog.standin.probing.places import KINDS, USUAL, PlacedFault, placed, usual

ROOT = Path(__file__).parent.parent
GOOD = SimulatedInstall()
SLOTS = [circuit.slot for circuit in GOOD.circuits]
NOT_BEFORE = {"added_drain_ma": None}
RATE_HZ, SPEED, PATIENCE_S = 100.0, 50.0, 150.0
At = Callable[[str], str]


def standing(fault: PlacedFault | None = None) -> At:
    """A stand-in's bike as its terminal has it: what is typed gives one line."""
    install = GOOD if fault is None else install_at(GOOD, lambda name: with_fault(GOOD, name), fault)
    bike = LiveBike(install, live_logger(50), np.random.default_rng(1))
    probes = Probes(bike, GOOD, fault)
    return lambda text: answer_to(text, lambda asked: probes.answer(asked, read=False) or bike.act(asked))


@pytest.fixture(scope="module")
def knowledge(tmp_path_factory: pytest.TempPathFactory) -> Knowledge:
    """Of the stand-in's plan."""
    plan = tmp_path_factory.mktemp("plan") / "plan.toml"
    plan.write_text(plan_toml_of(GOOD, NOT_BEFORE), encoding="utf-8")
    return Knowledge(load_plan(plan))


def hunted(knowledge: Knowledge, fault: PlacedFault, folder: Path) -> tuple[FoundPlace | None, int]:
    """From the stand-in's log to the place, by what its meter shows; and how many tests that took."""
    install = install_at(GOOD, lambda name: with_fault(GOOD, name), fault)
    made = simulate(install, acceptance_script(rest_s=60), live_logger(200), np.random.default_rng(3), NOT_BEFORE)
    write_csv(made, folder / "a.csv")
    plan = folder / "plan.toml"
    plan.write_text(made.plan_toml, encoding="utf-8")
    hunt, at = Hunt(knowledge, benchlog.check([folder / "a.csv"], plan=plan)), standing(fault)
    while (found := hunt.found()) is None and (question := hunt.next_question()) is not None:
        hunt.replies.append(Reply(question.name, value_typed(answer_at(at, question), question)))
    return found, len(hunt.replies)


def test_both_tables_of_places_hold_the_same():
    """The stand-in's places, kinds and causes, written apart, are those of the search."""
    assert {(place, kind) for place, kinds in KINDS.items() for kind in kinds} == {
        (place, kind) for place, kinds in TABLE.items() for kind in kinds
    }
    for place, kinds in KINDS.items():
        for kind, cause in kinds.items():
            assert cause is None or (place, kind) in OF_CAUSE[cause]


def test_stand_in_knows_nothing_of_the_search():
    """No file of the stand-in imports the search, whose forward model it is to be held against."""
    for file in (ROOT / "benchlog" / "standin").rglob("*.py"):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        names = [node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]

        assert not [name for name in names if name.startswith("benchlog.find")], file


def test_every_fault_has_a_usual_place():
    """Each fault that the stand-in shows without a place sits somewhere where that fault can sit."""
    for name in FAULTS:
        fault = usual(name, SLOTS)

        assert fault is not None
        assert placed(fault.kind, fault.place, SLOTS) == fault
    assert set(USUAL) <= set(FAULTS)


def test_good_stand_in_shows_what_is_expected(knowledge: Knowledge):
    """Every test of the search, done with the meter on a good stand-in, lies in its stated range."""
    at, outside = standing(), []
    for name in knowledge.asked:
        question = knowledge.questions[name]
        answer = answer_at(at, question)
        value, good = value_typed(answer, question), expected(question, knowledge.good[name])
        low, high = good.get("min"), good.get("max")
        if question.kind == "look":
            outside += [] if value == 1.0 else [f"{name}: {answer}"]
            continue
        assert value is not None
        assert isinstance(low, float)
        if value < low - 0.0021 or (high is not None and value > float(high) + 0.001):
            outside.append(f"{name}: {answer} is not in {good}")

    assert outside == []


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("fuse out to 30", "resistive"),
        ("85 to battery -", "resistive"),
        ("coil", "open"),
        ("device 4", "backfeeds"),
        ("slot 2 to device", "short"),
        ("bike", "wakes"),
    ],
)
def test_what_the_meter_shows_leads_to_the_place(knowledge: Knowledge, tmp_path: Path, place: str, kind: str):
    """From a log of the stand-in and its meter's figures the search comes to the fault, within six tests."""
    found, tests = hunted(knowledge, placed(kind, place, SLOTS), tmp_path)

    assert found is not None
    assert (found.place, found.kind) == (place, kind)
    assert tests <= 6


def test_drop_stands_where_the_fault_is():
    """With all on, a poor joint between fuse and relay has nearly all of the feed's drop, and mended it has none."""
    at = standing(placed("feed_resistance", "fuse out to 30", SLOTS))
    at("key on")
    at("all on")
    before = [float(at(f"probe {pair}").split()[0]) for pair in ("fuse out 30", "battery + block", "30 fuse out")]
    wrong, done = at("mend contact"), at("mend fuse out to 30")
    after = float(at("probe fuse out 30").split()[0])

    assert before[0] == pytest.approx(-before[2], abs=0.001)
    assert 0.3 < before[0] < before[1] < before[0] + 0.15
    assert (wrong, done) == ("nothing was wrong there", "mended")
    assert after < 0.06


def test_device_around_the_block_is_unplugged_not_pulled():
    """A leaking device's block fuse takes nothing away; its plug does."""
    at = standing(placed("leak", "device 3", SLOTS))
    seen = [at("drain")]
    for what in ("slot 3", "device 3"):
        at(f"unplug {what}")
        seen.append(at("drain"))
        at(f"plug {what}")

    assert seen == ["18.60 mA", "18.60 mA", "0.60 mA"]


def test_pulsed_line_shows_its_mean():
    """A meter on a trigger line that is up 60 % of the time shows 60 % of its voltage, and it is not steady."""
    at = standing(placed("wrong circuit", "trigger source", SLOTS))
    at("key on")

    assert float(at("probe 86 battery -").split()[0]) == pytest.approx(0.6 * 12.5, abs=0.15)
    assert at("look voltage at 86 steady") == "no"


def test_moved_clip_reads_its_point():
    """With its feed clip on the fuse's far end, the logger's feed channel reads that point until it is put back."""
    bike = LiveBike(GOOD, live_logger(50), np.random.default_rng(1))
    probes = Probes(bike)
    told = [probes.answer("clip feed fuse out", read=True)]
    moved = bike.samples(10).values["feed_v"].mean()
    told.append(probes.answer("clip feed back", read=True))
    back = bike.samples(10).values["feed_v"].mean()

    assert told == ["feed clip on fuse out", "feed clip back"]
    assert moved == pytest.approx(12.85, abs=0.1)
    assert back < 0.1


@contextmanager
def running(folder: Path, *options: str) -> Iterator[str]:
    """A stand-in as a process of its own; its port."""
    words = ["standin", "--speed", f"{SPEED:g}", "--rate", f"{RATE_HZ:g}", "--seed", "1", *options]
    environment = {**os.environ, "BENCHLOG_DATA": str(folder / "data"), "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, "-m", "benchlog", *words], stdout=subprocess.PIPE, env=environment, text=True, cwd=folder
    ) as process:
        assert process.stdout is not None
        told = [process.stdout.readline() for _ in range(4)]
        lines = [line.split() for line in told]
        try:
            yield next(line[1] for line in lines if line[:1] == ["port"])
        finally:
            process.terminate()


@pytest.mark.slow
def test_whole_hunt_on_a_terminal(tmp_path: Path):
    """Stand-in, acceptance, find at a terminal with what the meter shows, mended, tested again: it passes."""
    environment = {**os.environ, "BENCHLOG_DATA": str(tmp_path / "data"), "PYTHONPATH": str(ROOT), "COLUMNS": "200"}
    place = "fuse out to 30"
    with running(tmp_path, "--fault", "feed_resistance", "--place", place) as port:
        hands = hands_of(port)
        assert hands is not None
        plan = tmp_path / "plan.toml"
        plan.write_text(plan_toml_of(GOOD, {"settle_max_s": 60, **NOT_BEFORE}), encoding="utf-8")
        knowledge = Knowledge(load_plan(plan))

        def accepted(log: str, *only: str) -> int:
            words = [sys.executable, "-m", "benchlog", "acceptance", port, "--plan", str(plan), "--out", log, *only]
            return subprocess.run(
                words, env=environment, cwd=tmp_path, capture_output=True, check=False, timeout=PATIENCE_S
            ).returncode

        first = accepted("first.csv")
        told = _led(["find", "first.csv", "--plan", str(plan)], environment, tmp_path, knowledge, hands)
        mended = shown(hands, f"mend {place}")
        again = accepted("again.csv", "--only", "feed_drop")

    assert first == 1
    assert f"Found: {place}, resistive" in told
    assert "take this check again: feed_drop" in told
    assert mended == "mended"
    assert again == 0


def _led(words: list[str], environment: dict[str, str], folder: Path, knowledge: Knowledge, hands: object) -> str:
    """All that the search says at a terminal, where each value typed is what the stand-in shows."""
    terminal = pexpect.spawn(
        sys.executable, ["-m", "benchlog", *words], env=environment, cwd=str(folder), encoding="utf-8", timeout=60
    )
    told = ""
    while terminal.expect([r"Test \d+: (.+?)   \(about", pexpect.EOF]) == 0:
        told += terminal.before
        question = knowledge.questions[terminal.match.group(1)]
        terminal.expect(r"stop\): ")
        assert "Caution: " in terminal.before
        terminal.sendline(answer_at(lambda text: shown(hands, text), question))
    return told + terminal.before
