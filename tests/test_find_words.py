"""What a test asks for, its caution, what a good install shows, and the session's state: on tests written by hand."""

from typing import Any

import numpy as np
import pytest
from test_find_drawing import plan
from test_find_hunt import Scripted, hunt

from benchlog.find.as_json import expected, kept, question_table, state
from benchlog.find.beliefs import Knowledge
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.questions import Question, questions_of, voltage
from benchlog.find.words import answer_words, ask, caution, range_words
from benchlog.plan.model import Plan, plan_from_mapping

PLAN = plan((1, 4))
TESTS = {question.name: question for question in questions_of(PLAN)}
#: The cautions by a few words of theirs.
CAUTIONS = {
    "slip": "slips", "leads": "left in the current jack", "jack": "More than 10 A", "in line": "No key-on",
    "ohms": "Ohms only", "out": "Take fuses", "diode": "polarity", "crank": "short cranks", "run": "open air",
    "key": "fan may start", "lithium": "cut off",
}  # fmt: skip


def lithium() -> Plan:
    """The same with another battery."""
    return plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "lifepo4", "capacity_ah": 4.0}})


def cautions(name: str, of: Plan = PLAN) -> list[str]:
    """Which of the cautions stand before a test, in their order."""
    said = caution(TESTS[name], of)
    return sorted(
        (each for each, words in CAUTIONS.items() if words in said), key=lambda each: said.index(CAUTIONS[each])
    )


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("voltage fuse in to fuse out, all on", ["slip", "leads", "key"]),
        ("voltage 87 to block, all on", ["leads", "key"]),
        ("voltage 30 to 87, all on", ["slip", "leads", "key"]),
        ("voltage 86 to battery - without relay, asleep", ["leads", "out", "diode"]),
        ("voltage block to battery - without slot 1, asleep", ["leads", "out"]),
        ("voltage battery + to battery -, cranking", ["slip", "leads", "crank"]),
        ("voltage battery + to battery -, running", ["slip", "leads", "run"]),
        ("voltage block to battery -, asleep", ["leads"]),
        ("voltage 86 to 85, key on", ["leads", "key"]),
        ("current feed, all on", ["jack", "key"]),
        ("current battery, asleep", ["jack"]),
        ("drain", ["in line"]),
        ("drain without device 1", ["in line", "out"]),
        ("resistance 86 to 85 without relay, power off", ["ohms", "out", "diode"]),
        ("resistance device 1 + to device 1 - without device 1, power off", ["ohms", "out"]),
        ("click at the relay", ["key", "diode"]),
        ("feed fuse intact", ["out"]),
        ("fuse 4 intact", ["out"]),
        ("trigger clip on 86, feed clip on 87", ["ohms"]),
        ("charger and solar panel unplugged", ["in line"]),
        ("no wake-up in the watch without device 1", ["out", "in line"]),
        ("device 1 works", ["key"]),
        ("lamp in place of feed fuse dark without relay", ["key", "out", "diode"]),
    ],
)
def test_each_test_has_its_cautions(name: str, wanted: list[str]):
    """What can hurt there, and no more than that."""
    assert cautions(name) == wanted


def test_a_lithium_battery_has_its_own():
    """At the battery's positive post alone."""
    assert cautions("voltage battery + to battery -, asleep", lithium()) == ["slip", "leads", "lithium"]
    assert cautions("voltage 87 to block, all on", lithium()) == ["leads", "key"]
    assert cautions("voltage battery + to battery -, asleep") == ["slip", "leads"]


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("voltage 30 to 87, all on",
         "Key on, engine off, every circuit on. Measure the voltage from 30 (red) to 87 (black)."),
        ("current slot 1, all on",
         "Key on, engine off, every circuit on. Measure the current of the fuse of slot 1 with a clamp."),
        ("drain without slot 4",
         "Everything switched off, turn the key on and off once, and wait until the bike sleeps; take out or unplug: "
         "the fuse of slot 4. Measure what leaves the battery, in mA."),
        ("drain without bike fuse",
         "Everything switched off, turn the key on and off once, and wait until the bike sleeps; take out or unplug: "
         "the bike's own main fuse. Measure what leaves the battery, in mA."),
        ("resistance 86 to 85 without relay, power off",
         "Key off, and the battery's negative lead off its post; take out or unplug: relay. Measure the resistance "
         "from 86 to 85."),
        ("feed fuse intact", "Key off, and the battery's negative lead off its post. True or not: feed fuse intact."),
    ],
)  # fmt: skip
def test_each_test_says_what_to_do(name: str, words: str):
    """State, what is out, and what is measured."""
    assert ask(TESTS[name], PLAN) == words


@pytest.mark.parametrize(
    ("name", "ends"),
    [
        ("no wake-up in the watch without device 1", "is there no wake-up in that hour."),
        ("asleep in time without device 1", "does the bike fall asleep within its time."),
        ("wiggle battery + to 30 changes nothing",
         "Move each wire, joint and plug from battery + to 30 by hand and watch a lamp: does nothing change."),
        ("new fuse 4 holds", "away from the face: is it true: new fuse 4 holds."),
        ("lamp in place of fuse 4 dark without device 4",
         "Plug a 21 W test lamp in place of the fuse: is it true: lamp in place of fuse 4 dark."),
    ],
)  # fmt: skip
def test_looks_say_what_to_look_for(name: str, ends: str):
    """What is out stands before, in the plan's own names."""
    told = ask(TESTS[name], PLAN)

    assert told.endswith(ends)
    if "without device" in name:
        assert "unplug: device" in told
        assert "(heated grips; with its in-line fuse, if it has one)" in told


@pytest.mark.parametrize(
    ("good", "name", "words"),
    [
        ({"min": 0.0, "max": 0.31}, "voltage 30 to 87, all on", "0 to 0.31 V"),
        ({"min": 100_000.0, "max": None}, "resistance 86 to 85 without relay, power off", "more than 100,000 Ω, or OL"),
        ({"seen": "yes"}, "feed fuse intact", "yes"),
    ],
)
def test_what_a_good_install_shows_in_words(good: dict[str, Any], name: str, words: str):
    """A range, an open circuit, or yes."""
    assert range_words(good, TESTS[name]) == words


@pytest.mark.parametrize(
    ("value", "name", "words"),
    [
        (None, "drain", "could not be done"), (18.6, "drain", "18.6 mA"), (1.0, "feed fuse intact", "yes"),
        (0.0, "feed fuse intact", "no"), (1e6, "resistance 86 to 85 without relay, power off", "OL"),
        (999_999.0, "resistance 86 to 85 without relay, power off", "999999 Ω"),
        (1e6, "drain", "1e+06 mA"),
    ],
)  # fmt: skip
def test_answers_in_words(value: float | None, name: str, words: str):
    """As they were given."""
    assert answer_words(value, TESTS[name]) == words


VOLTS = voltage("87", "block", "all on", 1.5)
ASLEEP = voltage("block", "battery -", "asleep", 1.5)
DRAIN = Question("drain", "drain", "asleep", 4.0)
OHMS = Question("r", "resistance", "power off", 4.0, start="86", end="85")


@pytest.mark.parametrize(
    ("question", "good", "least", "most"),
    [
        # half a per cent and two digits: 1 mV below 2 V, 10 mV above; three decimals below 2, two above
        (VOLTS, (0.1, 0.2), 0.0, 0.203),
        (VOLTS, (0.1, 1.499), 0.0, 1.509),
        (VOLTS, (1.2, 1.5), 1.19, 1.51),
        (VOLTS, (1.9034, 2.0), 1.87, 2.03),
        (VOLTS, (1.9, 2.001), 1.86, 2.04),
        (VOLTS, (-0.001, 0.0), 0.0, 0.002),
        (VOLTS, (12.0, 13.0), 11.91, 13.09),
        (VOLTS, (-0.2, -0.1), -0.203, -0.097),
        *((ASLEEP, (0.0, 0.0), 0.0, 0.102), (ASLEEP, (0.0, 0.099), 0.0, 0.103), (ASLEEP, (0.0, 0.101), 0.0, 0.104)),
        (VOLTS, (0.0, 0.01), 0.0, 0.013),
        *((DRAIN, (0.0, 1.0), 0.0, 1.025), (DRAIN, (5.0, 100.0), 4.3, 100.7), (DRAIN, (1.0, 300.0), 0.0, 303.5)),
        (OHMS, (64.0, 119.0), 63.0, 120.0),
        (OHMS, (19.0, 20.0), 18.88, 20.12),
        (OHMS, (20.0, 20.5), 19.0, 21.0),
        (OHMS, (0.5, 1.0), 0.475, 1.025),
        (OHMS, (499_999.0, 1e6), 494_998.0, 1_005_001.0),
    ],
)
def test_expected_ranges_by_hand(question: Question, good: tuple[float, float], least: float, most: float):
    """The parts' own range and the meter's error, rounded outward; a small drop from zero; a dead line up to 0.1 V."""
    got = expected(question, np.array(good))

    assert (got["min"], got["max"]) == pytest.approx((least, most), abs=1e-9)


def test_good_insulation_is_more_than_a_hundred_kiloohm():
    """From half of OL on; a look is yes."""
    assert expected(OHMS, np.array([500_000.0, 1e6])) == {"min": 100_000.0, "max": None}
    assert expected(TESTS["feed fuse intact"], np.array([1.0])) == {"seen": "yes"}


@pytest.fixture(scope="module")
def known() -> Knowledge:
    """Of an install with two circuits."""
    return Knowledge(PLAN)


@pytest.mark.parametrize(
    ("name", "keys"),
    [
        ("voltage 30 to 87, all on", {"from", "to"}),
        ("current feed, all on", {"of", "how"}),
        ("drain", {"without"}),
        ("drain without feed", {"without"}),
        ("resistance 86 to 85 without relay, power off", {"from", "to", "without"}),
        ("feed fuse intact", {"of"}),
    ],
)
def test_a_test_as_data_has_what_its_kind_needs(known: Knowledge, name: str, keys: set[str]):
    """And nothing that it has not."""
    table = question_table(known.questions[name], known)

    assert set(table) == keys | {"test", "kind", "state", "expected", "unit", "minutes", "ask", "caution"}


def test_state_names_what_is_found_or_next():
    """Never both; something else has no kind."""
    sure = hunt(Scripted([0.5, 0.4, 0.08, 0.01, 0.01], {}))
    open_ = state(hunt(Scripted([0.2] * 5, {})))
    found = state(sure)

    assert (open_["found"], open_["next"], open_["asked"], open_["doubtful"]) == (None, None, 0, [])
    assert {"place": "something else", "belief": 0.2} in open_["suspects"]
    assert {"place": "coil", "kind": "open", "belief": 0.2} in open_["suspects"]
    assert (found["found"]["place"], found["found"]["also"], found["next"]) == ("contact", ["relay socket"], None)
    assert found["found"]["check_again"] == "feed_drop"
    assert kept(sure) == {"found": found["found"], "answers": []}


def test_state_has_the_next_test(known: Knowledge):
    """Its table, while nothing is found."""
    session = Hunt(known, None, [Reply("drain", None)])
    told = state(session)

    assert told["found"] is None
    assert told["next"]["test"] in known.asked
    assert told["asked"] == 1
    assert kept(session)["answers"] == [{"test": "drain", "skipped": True}]
