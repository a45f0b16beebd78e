"""The acceptance test with a hand meter: what it asks, what it keeps, and the sheet for it."""

import re
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

import pytest
from typer.testing import CliRunner

from benchlog.bench.by_hand.filled import filled_sheet
from benchlog.bench.by_hand.session import HandTest, begun, lead_by_hand
from benchlog.bench.by_hand.sheet import render_sheet
from benchlog.bench.by_hand.steps import hand_steps
from benchlog.cli import app
from benchlog.core.errors import BadReadings, BenchlogError
from benchlog.meter.model import load_readings
from benchlog.meter.writing import readings_text
from benchlog.plan.model import load_plan, plan_from_mapping

PLAN = Path(__file__).parent.parent / "sample_data" / "larch.plan.toml"
#: Accuracy of the meter, and no temperature.
ACCURACY = ["0.5 % + 2", "1 % + 3", ""]
#: What a good Larch shows, a line for each question.
GOOD = [
    *("12.81", "10"),  # at rest, hours
    *("0.02", "60"),  # fuse block, minutes
    *("0.61", "45", "10", "0.58", "4.1"),  # drain: minutes since the key-off, averaged, lowest, highest
    *("12.62", "12.41"),  # battery, loads off and on
    *("184 mV", "61.0 mV"),  # drops
    *("3.41", "3.05", "1.82", "1.02"),  # circuits
    *("10.9", ""),  # cranking, no lowest
    *("14,21", "-1.20"),  # charging, balance
]


class Typing:
    """A tester at the keys; the input ends when all is typed."""

    def __init__(self, lines: list[str]) -> None:
        self.lines, self.said = list(lines), []

    def read(self, prompt: str) -> str:
        """The next line."""
        self.said.append(prompt)
        if not self.lines:
            raise EOFError
        return self.lines.pop(0)


def typed(out: Path, lines: list[str]) -> tuple[HandTest, Typing, bool]:
    """A session with these lines: the test, what was said, and whether it came to its end."""
    test, tester = begun(load_plan(PLAN), out), Typing(lines)
    whole = lead_by_hand(test, tester.read, tester.said.append)
    return test, tester, whole


def test_a_whole_session_is_a_file_that_passes_what_a_meter_can_show(tmp_path):
    """Every reading typed stands in the file as shown; nothing fails, and the relay stays unseen."""
    out = tmp_path / "readings.toml"
    lines = "\n".join([*ACCURACY, *GOOD]) + "\n"

    ended = CliRunner().invoke(app, ["acceptance", "--by-hand", "--plan", str(PLAN), "--out", str(out)], input=lines)

    assert ended.exit_code == 3, ended.output
    assert "17 of 24 planned checks passed" in " ".join(ended.output.split())
    assert "NOT PROVEN, 2" in ended.output
    file = load_readings(out)
    assert [table.value for table in file.reading][:3] == ["12.81", "0.02", "0.61"]
    assert file.meter.voltage is not None
    assert (file.meter.voltage.pct, file.meter.voltage.digits) == (0.5, 2)
    assert file.reading[-1].loads_on
    assert file.meter.taken is not None


def test_each_reading_is_kept_before_the_next_is_asked(tmp_path):
    """A session that ends after two readings goes on with the third, and asks for the meter no more."""
    out = tmp_path / "readings.toml"
    _, _, whole = typed(out, [*ACCURACY, *GOOD[:4]])

    again, tester, finished = typed(out, GOOD[4:])

    assert (whole, finished) == (False, True)
    assert len(again.readings) == len(hand_steps(load_plan(PLAN)))
    assert "Reading 3 of 14: Drain" in tester.said[0]


def test_the_last_reading_can_be_taken_back(tmp_path):
    """U takes the last reading out of the file and asks for it again; within a reading it asks for that one."""
    out = tmp_path / "readings.toml"
    typed(out, [*ACCURACY, "12.81", "10", "0.02", "60", "u", "0.03", "u", "0.04", "30"])

    assert [table.value for table in load_readings(out).reading] == ["12.81", "0.04"]


def test_a_reading_can_be_left_out(tmp_path):
    """S leaves a step out: it is not in the file, and is asked for when the session goes on."""
    out = tmp_path / "readings.toml"
    _, tester, _ = typed(out, [*ACCURACY, "s", "0.02", "60"])
    resumed, again, _ = typed(out, [])

    assert [table.role for table in resumed.readings] == ["feed_v"]
    assert "Drain" in tester.said[-2]
    assert "Battery at rest" in again.said[0]


@pytest.mark.parametrize("line", ["twelve", "12.6 A", "12.6 12.7", "--1", "1e3"])
def test_what_is_no_reading_is_asked_again(tmp_path, line):
    """Nothing that a meter does not show, or in another unit, gets into the file."""
    out = tmp_path / "readings.toml"
    _, tester, _ = typed(out, [*ACCURACY, line, "12.81", "10"])

    assert any("is no reading here" in text for text in tester.said)
    assert [table.value for table in load_readings(out).reading] == ["12.81"]


def test_readings_that_contradict_each_other_are_asked_again(tmp_path):
    """A lowest above the reading is said at once, and the reading is typed anew."""
    out = tmp_path / "readings.toml"
    drain = ["0.61", "45", "10", "0.85", "4.1", *GOOD[4:9]]
    _, tester, _ = typed(out, [*ACCURACY, *GOOD[:4], *drain])

    assert any("lowest is above value" in text for text in tester.said)
    assert load_readings(out).reading[-1].lowest == "0.58"


def test_a_caution_and_what_the_plan_allows_stand_before_each_step(tmp_path):
    """Nobody reads what to heed after the probe slipped; the plan's limit is there to compare with."""
    _, tester, _ = typed(tmp_path / "readings.toml", [*ACCURACY, *GOOD])
    shown = [text for text in tester.said if text.startswith("\nReading")]

    assert len(shown) == 14
    assert all("\n  Caution: " in text for text in shown)
    assert "  The plan allows at most 0.3, planned 0.18 V." in shown[5]
    assert "probe that slips" in shown[5]


def test_how_it_is_done_is_told_when_asked(tmp_path):
    """? explains the step that is asked for."""
    _, tester, _ = typed(tmp_path / "readings.toml", [*ACCURACY, *GOOD[:4], "?"])

    assert any("joined before the lead is taken off" in text for text in tester.said)


def test_only_what_the_plan_limits_is_asked_for():
    """A plan with one limit has one reading; without one a sheet is refused."""
    bare = {"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}}

    steps = hand_steps(plan_from_mapping({**bare, "limits": {"charging_min_v": 13.5}}))

    assert [(step.title, step.expected) for step in steps] == [("Charging", "at least 13.5 V")]
    with pytest.raises(BenchlogError, match="no limit that a hand meter can measure against"):
        render_sheet(plan_from_mapping(bare))


def test_the_sheet_has_a_box_for_every_figure():
    """Each step stands there with its probes and what the plan allows; each figure that is asked has its box."""
    plan = load_plan(PLAN)
    page, steps = render_sheet(plan), hand_steps(plan)

    assert page.count("<i></i>") == sum(1 + len(step.extras) for step in steps)
    text = " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).replace("\xa0", " ").split())
    heeded = {f"{sentence.rstrip('.')}." for step in steps for sentence in step.caution.split(". ")}
    assert {each for step in steps for each in (step.title, step.what, step.expected) if each not in text} == set()
    assert {sentence for sentence in heeded if text.count(sentence) != 1} == set()


def test_a_reading_that_no_step_asks_for_stays_in_the_file(tmp_path):
    """What somebody wrote there by hand is not lost when the session goes on."""
    out = tmp_path / "readings.toml"
    spare = '[[reading]]\nrole = "battery_c"\nstate = "asleep"\nvalue = "7.5"\nunit = "degC"\n'
    out.write_text("[meter]\nvoltage = { pct = 0.5, digits = 2 }\n" + spare, encoding="utf-8")
    typed(out, ["12.81", "10"])

    assert [table.role for table in load_readings(out).reading] == ["battery_c", "battery_v"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--out", "a.toml"], "no PORT was given"),
        (["--by-hand"], "name it with --out READINGS.toml"),
        (["--by-hand", "--out", "a.csv"], "name it with --out READINGS.toml"),
        (["/dev/ttyX", "--by-hand", "--out", "a.toml"], "PORT: not for a hand meter"),
        (["--by-hand", "--out", "a.toml", "--resume"], "--resume: not for a hand meter"),
    ],
)
def test_what_does_not_go_together_is_refused_before_anything_is_asked(words, said):
    """One message, exit status 2."""
    ended = CliRunner().invoke(app, ["acceptance", "--plan", str(PLAN), *words])

    assert ended.exit_code == 2
    assert said in ended.stderr


def test_the_temperature_goes_with_the_readings(tmp_path):
    """Typed once at the start, it stands in the file as a reading of its own; what is no number is asked again."""
    out = tmp_path / "readings.toml"
    _, tester, _ = typed(out, ["0.5 + 2", "1 + 3", "cold", "7,5", "12.81", "10"])

    assert [(table.role, table.value) for table in load_readings(out).reading] == [
        ("battery_c", "7,5"), ("battery_v", "12.81"),
    ]  # fmt: skip
    assert any("is no temperature" in text for text in tester.said)


def test_a_session_can_be_saved_and_reported(tmp_path, monkeypatch):
    """--save keeps the readings as a record, and --report writes the page with the rider's first."""
    monkeypatch.setenv("BENCHLOG_DATA", str(tmp_path / "data"))
    out, page = tmp_path / "readings.toml", tmp_path / "r.html"
    words = ["acceptance", "--by-hand", "--plan", str(PLAN), "--out", str(out), "--report", str(page), "--save"]

    ended = CliRunner().invoke(app, words, input="\n".join([*ACCURACY, *GOOD]) + "\n")

    assert "Saved as record 1" in ended.output
    assert "For the rider" in page.read_text(encoding="utf-8")
    assert "readings.toml" in CliRunner().invoke(app, ["records", "show", "1"]).output


def test_the_meters_accuracy_can_be_taken_back(tmp_path):
    """Typed before the first reading, u asks for the meter again."""
    out = tmp_path / "readings.toml"
    typed(out, ["5 + 2", "u", *ACCURACY, "12.81", "10"])

    precision = load_readings(out).meter.voltage
    assert precision is not None
    assert precision.pct == 0.5


SHEET = {(0, "value"): "12.81", (0, "waited"): "10", (1, "value"): "0.02", (2, "value"): "0.61", (2, "waited"): "45",
         (2, "averaged"): "10", (2, "lowest"): "0.58", (2, "highest"): "4.1", (5, "value"): "184 mV",
         (13, "value"): "-1.20"}  # fmt: skip


def test_a_sheet_that_is_filled_in_is_the_same_as_one_that_is_typed(tmp_path):
    """The boxes of a sheet make the readings that the session makes; empty ones are left out."""
    meter = {"voltage": "0.5 % + 2", "current": "1 % + 3", "battery_c": "7,5"}
    file = filled_sheet(load_plan(PLAN), SHEET, meter, datetime(2026, 11, 30, 18, 20, tzinfo=UTC))
    (tmp_path / "r.toml").write_text(readings_text(file), encoding="utf-8")

    assert load_readings(tmp_path / "r.toml") == file
    assert [(table.role or table.start, table.value) for table in file.reading] == [
        ("battery_c", "7,5"), ("battery_v", "12.81"), ("feed_v", "0.02"), ("drain_a", "0.61"), ("battery +", "184"),
        ("battery_a", "-1.20"),
    ]  # fmt: skip
    drain = file.reading[3]
    assert (drain.waited_s, drain.averaged_s, drain.watched_s, drain.lowest) == (2700, 600, 600, "0.58")
    assert file.reading[-1].loads_on


@pytest.mark.parametrize(
    ("boxes", "meter", "fault"),
    [
        ({}, {}, "no reading is filled in; type at least one, as the meter shows it"),
        (
            {(0, "waited"): "10"},
            {},
            "Battery at rest: needs a figure as the meter shows it, such as 12.63, or OL;",
        ),
        ({(0, "value"): "12 A"}, {}, 'such as 12.63, or OL; got "12 A"'),
        ({(0, "value"): "12.8", (0, "waited"): "long"}, {}, "Battery at rest, waited: needs a number, such as 10, got"),
        ({(2, "value"): "0.6", (2, "lowest"): "low"}, {}, "Drain, lowest: needs a figure as the meter shows it, got"),
        ({(2, "value"): "0.6", (2, "lowest"): "0.7"}, {}, "Drain: lowest is above value"),
        ({(0, "value"): "12.8"}, {"voltage": "good"}, "DC voltage: needs per cent and digits, such as 0.5 % + 2, got"),
        ({(0, "value"): "12.8"}, {"battery_c": "cold"}, 'battery, °C: needs a number, such as 18, got "cold"'),
    ],
)
def test_what_is_filled_in_wrongly_is_named_by_its_box(boxes, meter, fault):
    """Each box that cannot be read is named with what is needed; nothing is made of the rest."""
    with pytest.raises(BadReadings, match=re.escape(fault)):
        filled_sheet(load_plan(PLAN), boxes, meter, datetime(2026, 11, 30, tzinfo=UTC))
