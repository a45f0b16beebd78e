"""From a failed check to the faulty place: the forward model, the beliefs, the session and its answers."""

import io
import json
import os
import signal
import subprocess
import sys
import time
import tomllib
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from find_bike import FaultyBike, every_fault
from find_table import trials
from find_trial import looked, shown

from benchlog.find.answers import read_answers, write_answers
from benchlog.find.as_json import expected, question_table, state
from benchlog.find.beliefs import Knowledge
from benchlog.find.circuit import points_of
from benchlog.find.flaws import OF_CAUSE, TABLE
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.mending import check_again
from benchlog.find.questions import UNFUSED
from benchlog.find.terminal import lead, shown_test, value_typed
from benchlog.plan.model import Plan, load_plan, plan_from_mapping
from benchlog.verdict.causes.faults import FAULTS
from benchlog.verdict.registry.table import limits_of

ROOT = Path(__file__).parent.parent
PLAN_FILE = ROOT / "sample_data" / "larch.plan.toml"
LOG = ROOT / "sample_data" / "fault_slow_drop_out.csv"
#: Chance by which a share may miss its bound by luck in the small trial: about one in a thousand.
_Z = 3.1


def twelve() -> Plan:
    """A plan of twelve circuits."""
    data = tomllib.loads(PLAN_FILE.read_text(encoding="utf-8"))
    one = data["circuit"][0] | {"planned_a": 1.2}
    data["circuit"] = [one | {"slot": slot} for slot in range(1, 13)]
    return plan_from_mapping(data)


BARE = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "lifepo4", "capacity_ah": 4.0}})


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    """Of the sample plan."""
    return Knowledge(load_plan(PLAN_FILE))


def test_every_cause_leads_to_places_of_the_table():
    """Each fault that a log can name has its places and kinds, all of them in the one table."""
    assert set(OF_CAUSE) == {fault.id for fault in FAULTS}
    assert {pair for pairs in OF_CAUSE.values() for pair in pairs} <= {
        (place, kind) for place, kinds in TABLE.items() for kind in kinds
    }


def test_the_trial_knows_every_place_and_kind(knowledge: Knowledge):
    """The faults of the bikes that ngspice solves are those of the table, no more and no fewer."""
    assert set(every_fault(knowledge.plan)) == {(flaw.place, flaw.kind) for flaw in knowledge.flaws}


def test_a_good_bike_in_ngspice_shows_what_is_expected(knowledge: Knowledge):
    """Every voltage, current and look of three good bikes lies in the stated range.

    A meter may show two digits less than nothing.
    """
    outside = []
    for seed in range(3):
        bike = FaultyBike(knowledge.plan, "none", "none", seed)
        draw = np.random.default_rng(seed)
        for name in knowledge.asked:
            question = knowledge.questions[name]
            good = expected(question, knowledge.good[name])
            if question.kind == "look":
                outside += [] if looked(bike, question) else [name]
            elif question.state != "running" or question.kind != "current":  # the trial's own guess of an alternator
                value = shown(bike, question, draw)
                low, high = good["min"], good["max"]
                assert isinstance(low, float)
                if value < low - 0.0021 or (high is not None and value > float(high) + 0.001):
                    outside.append(f"{name}: {value:g} is not in {low:g} to {high}")

    assert outside == []


def any_plan(seed: int) -> Plan:
    """A plan with whatever a plan may have: 0 to 12 circuits on any slots, wires, fuses and limits given or not."""
    draw = np.random.default_rng(seed)

    def maybe(**values: object) -> dict[str, object]:
        return {key: value for key, value in values.items() if draw.random() < 0.6}

    slots = sorted(int(slot) for slot in draw.permutation(np.arange(1, 13))[: draw.integers(0, 13)])
    wires = ("0.75 mm2", "1.5 mm2", "14 AWG", "4 mm2", "6 mm2")
    circuits = [
        {"slot": slot, "device": f"device of {slot}", "planned_a": round(float(draw.uniform(0.1, 12.0)), 2)}
        | maybe(fuse_a=15, tolerance_pct=5, conductor=str(draw.choice(wires)), length_m=float(draw.uniform(0.2, 3.0)))
        for slot in slots
    ]
    return plan_from_mapping(
        {
            "install": {"bike": "Larch"},
            "battery": {"chemistry": str(draw.choice(["flooded", "agm", "gel", "lifepo4"])), "capacity_ah": 8.0},
            "relay": maybe(coil_a=float(draw.uniform(0.08, 0.25)), contact_a=40, suppression="diode"),
            "feed": maybe(fuse_a=30, conductor=str(draw.choice(wires)), length_m=1.2, drop_max_v=0.4),
            "ground": maybe(conductor=str(draw.choice(wires)), length_ft=4.0, lift_max_v=0.1),
            "circuit": circuits,
            "limits": maybe(off_state_drain_ma=2.0, source_resistance_max_mohm=25.0, crank_min_v=9.0),
        }
    )


@pytest.mark.parametrize(
    "plan",
    [load_plan(PLAN_FILE), twelve(), BARE, *(any_plan(seed) for seed in range(4))],
    ids=["larch", "twelve circuits", "bare", *(f"random {seed}" for seed in range(4))],
)
def test_every_test_states_all_that_it_needs(plan: Plan):
    """Each test of each plan has points that exist, a state, an expected range, what to do, and a caution before it."""
    known = Knowledge(plan)
    points = {*points_of(plan), "battery +", "battery -"}
    for name in known.asked:
        table = question_table(known.questions[name], known)
        assert table["caution"], name
        assert table["ask"], name
        assert table["state"] in ("asleep", "key on", "all on", "cranking", "running", "power off")
        assert table["minutes"] > 0
        shown = shown_test(known.questions[name], Hunt(known))
        assert shown.index(f"Caution: {table['caution']}") < shown.index(table["ask"]) < shown.index("A good install")
        if table["kind"] in ("voltage", "resistance"):
            assert table["from"] in table["ask"]
            assert table["to"] in table["ask"]
        assert {table.get("from", "bus"), table.get("to", "bus")} <= points
        good = table["expected"]
        assert good == {"seen": "yes"} or good["max"] is None or good["min"] < good["max"], name


def test_an_unfused_point_comes_with_its_caution(knowledge: Knowledge):
    """A probe on a point in front of the fuse, or on 30, is warned of slipping; ohms come with the power off."""
    for name in knowledge.asked:
        table = question_table(knowledge.questions[name], knowledge)
        if table["kind"] == "voltage" and {table["from"], table["to"]} & set(UNFUSED):
            assert "slips" in table["caution"]
        if table["kind"] == "resistance":
            assert "Ohms only with power off" in table["caution"]
        if table["kind"] == "drain":
            assert "No key-on and no crank" in table["caution"]


def test_beliefs_sum_to_one(knowledge: Knowledge):
    """With "something else" among them the beliefs sum to one, before any answer and after some."""
    hunt = Hunt(knowledge)
    for reply in (None, Reply("feed fuse intact", 0.0), Reply("voltage fuse in to 30, all on", 12.1)):
        hunt.replies += [] if reply is None else [reply]
        assert sum(suspect.belief for suspect in hunt.suspects()) == pytest.approx(1.0)
        assert "something else" in {suspect.place for suspect in hunt.suspects()}


def test_a_test_that_a_fault_does_not_touch_says_nothing_about_it(knowledge: Knowledge):
    """A good drop at the feed's contact leaves two devices that may leak as likely as they were, one to the other."""
    hunt = Hunt(knowledge)
    hunt.replies = [Reply("voltage 30 to 87, all on", 0.05)]
    belief = {(suspect.place, suspect.kind): suspect.belief for suspect in hunt.suspects()}

    assert belief["device 1", "leak"] == pytest.approx(belief["device 2", "leak"], rel=1e-6)


def test_an_answer_that_does_not_fit_is_doubted_and_asked_about(knowledge: Knowledge):
    """A drop of 0 V said of an open contact is doubted once others speak against it, and is asked in another way."""
    hunt = Hunt(knowledge)
    hunt.replies = [Reply("voltage 30 to 87, all on", 0.0), Reply("voltage 30 to battery -, all on", 12.4)]
    hunt.replies += [Reply("voltage 87 to battery -, all on", 0.0), Reply("click at the relay", 1.0)]
    hunt.replies += [Reply("voltage fuse out to 87, all on", 12.41), Reply("block's wire on 87", 1.0)]
    asked = hunt.next_question()
    assert asked is not None
    assert asked.name not in {reply.test for reply in hunt.replies}
    assert "30" in (asked.start, asked.end)
    assert hunt.suspects()[0].place == "contact"
    assert hunt.found() is None


def test_each_try_counts(knowledge: Knowledge):
    """Moved by hand twice without effect a joint is suspected far less than after once: each try may open it."""
    beliefs = []
    for count in (0, 1, 2):
        hunt = Hunt(knowledge)
        hunt.replies = [Reply("wiggle fuse out to 30 changes nothing", 1.0)] * count
        beliefs.append(
            next(s.belief for s in hunt.suspects() if (s.place, s.kind) == ("fuse out to 30", "intermittent"))
        )

    assert beliefs[0] > 3 * beliefs[1] > 9 * beliefs[2]


def test_a_test_that_could_not_be_done_is_offered_once_more(knowledge: Knowledge):
    """Not at once, and not after it could not be done a second time."""
    hunt = Hunt(knowledge)
    hunt.replies = [Reply("voltage fuse in to block, all on", 5.0), Reply("voltage 30 to block, all on", 0.05)]
    asked = []
    for _ in range(60):
        if (question := hunt.next_question()) is None:
            break
        asked.append(question.name)
        hunt.replies.append(Reply(question.name, None))

    assert all(before != after for before, after in pairwise(asked[: len(set(asked)) // 2]))
    assert max(asked.count(name) for name in asked) == 2


def test_every_place_has_a_check_to_take_again(knowledge: Knowledge):
    """The check to take again is one that this plan has."""
    checks = set(limits_of(knowledge.plan))

    assert {check_again(flaw.place, flaw.kind) for flaw in knowledge.flaws} <= checks


def test_the_right_place_is_found():
    """Of 40 random faults in ngspice not significantly less than 95 % end right, nor more than 3 % wrong."""
    done = trials(40, seed=7)
    right = sum(trial.ended == "right" for trial in done)
    wrong = sum(trial.ended == "wrong" for trial in done)

    assert right >= 40 * 0.95 - _Z * (40 * 0.95 * 0.05) ** 0.5
    assert wrong <= 40 * 0.03 + _Z * (40 * 0.03 * 0.97) ** 0.5
    assert np.median([trial.tests for trial in done]) <= 3


def test_the_next_test_comes_at_once(monkeypatch: pytest.MonkeyPatch):
    """With twelve circuits it is one pass over 25 million chances at most, and no answer is weighed twice."""
    known = Knowledge(twelve())
    weighed: list[str] = []
    passes: list[int] = []
    likelihood, information = known._likelihood, known.information

    def weigh(name: str, *given: float):
        weighed.append(name)
        return likelihood(name, *given)

    def inform(weights: np.ndarray, names: list[str]):
        passes.append(sum(known.chances(name).size for name in names))
        return information(weights, names)

    monkeypatch.setattr(known, "_likelihood", weigh)
    monkeypatch.setattr(known, "information", inform)
    hunt = Hunt(known)
    hunt.replies = [Reply("click at the relay", 1.0)]
    for _ in range(3):
        hunt.next_question()

    assert weighed == ["click at the relay"]
    assert len(passes) == 3
    assert max(passes) < 25_000_000


def test_answers_come_back_as_they_were_written(tmp_path: Path, knowledge: Knowledge):
    """A value, a look and a skipped test are read back alike."""
    replies = [Reply("voltage 30 to 87, all on", 0.41), Reply("feed fuse intact", 0.0), Reply("drain", None)]
    path = tmp_path / "log.csv.answers.toml"
    write_answers(path, replies, knowledge.questions)

    assert read_answers(path, knowledge.questions) == replies
    assert path.read_text(encoding="utf-8").startswith('[[answer]]\ntest = "voltage 30 to 87, all on"\nvalue = 0.41\n')


@pytest.mark.parametrize(
    ("text", "name", "value"),
    [
        *(("0.41", "voltage 30 to 87, all on", 0.41), ("0,41 V", "voltage 30 to 87, all on", 0.41)),
        *(("410 mV", "voltage 30 to 87, all on", 0.41), ("−3 mV", "voltage 30 to 87, all on", -0.003)),
        *(("18.6", "drain", 18.6), ("18.6 mA", "drain", 18.6), ("0.0186 A", "drain", 18.6)),
        *(
            ("OL", "resistance 86 to 85 without relay, power off", 1e6),
            ("91 ohm", "resistance 86 to 85 without relay, power off", 91.0),
        ),
        ("n", "feed fuse intact", 0.0),
        *(("3 A", "voltage 30 to 87, all on", None), ("many", "voltage 30 to 87, all on", None)),
        ("0.4", "feed fuse intact", None),
    ],
)
def test_values_are_read_as_typed(knowledge: Knowledge, text: str, name: str, value: float | None):
    """Decimal commas, units and prefixes are understood; another quantity's unit is not."""
    got = value_typed(text, knowledge.questions[name])

    assert got == (None if value is None else pytest.approx(value))


def test_the_terminal_asks_explains_skips_and_takes_back(tmp_path: Path, knowledge: Knowledge):
    """``?`` explains, what is no answer is asked again, ``s`` and an answer are kept, ``u`` takes the answer back."""
    hunt, said, path = Hunt(knowledge), io.StringIO(), tmp_path / "answers.toml"
    typed = iter(["?", "nonsense", "s", "u", "s", "q"])
    lead(hunt, path, lambda _: next(typed), lambda text: print(text, file=said))

    assert [reply.value for reply in hunt.replies] == [None]
    assert '"nonsense" is no answer here' in said.getvalue()
    assert "Taken back" in said.getvalue()
    assert "Caution:" in said.getvalue()
    assert read_answers(path, knowledge.questions) == hunt.replies


def test_the_state_for_programs(knowledge: Knowledge):
    """The JSON has the next test or what is found, never both, and how many were asked."""
    hunt = Hunt(knowledge)
    began = state(hunt)
    hunt.replies = [Reply("fuse 2 intact", 0.0), Reply("new fuse 2 holds", 1.0), Reply("fuse 2 intact", 0.0)]
    hunt.replies += [Reply("voltage block to slot 2, all on", 12.4), Reply("device 2 works", 0.0)]
    hunt.replies += [Reply("resistance device 2 + to device 2 - without device 2, power off", 4.2)]
    hunt.replies += [Reply("lamp in place of fuse 2 dark without device 2", 1.0)]
    ended = state(hunt)

    assert (began["asked"], began["found"]) == (0, None)
    assert {"test", "kind", "state", "expected", "unit", "minutes", "ask", "caution"} <= set(began["next"])
    assert (ended["asked"], ended["next"]) == (7, None)
    assert (ended["found"]["place"], ended["found"]["kind"]) == ("fuse 2", "open")
    assert ended["found"]["check_again"] == "slot_2_current"


def test_no_answer_is_lost_when_the_program_is_killed(tmp_path: Path):
    """Killed outright after an answer, the program has it in its file, and goes on with it."""
    kept = tmp_path / "answers.toml"
    words = [sys.executable, "-m", "benchlog", "find", str(LOG), "--plan", str(PLAN_FILE), "--answers", str(kept)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, cwd=ROOT, text=True) as running:
        assert running.stdin is not None
        running.stdin.write("s\n")
        running.stdin.flush()
        until = time.monotonic() + 120
        while not kept.exists():
            assert time.monotonic() < until
            time.sleep(0.05)
        os.kill(running.pid, signal.SIGKILL)
    done = subprocess.run([*words, "--json", "-"], capture_output=True, text=True, cwd=ROOT, check=False, timeout=120)

    assert done.returncode == 3
    assert json.loads(done.stdout)["asked"] == 1
