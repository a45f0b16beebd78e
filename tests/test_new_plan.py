"""A first plan from questions in the terminal, played by a person who knows the bike and no TOML."""

import re
import sys

import pexpect
import pytest
from foreign_files import FILES, recorded
from person import DEVICES, KNOWS, MOST_TYPED, knows_of_circuit
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.core.errors import BadPlan
from benchlog.plan.batteries import CHEMISTRY
from benchlog.plan.model import load_plan, plan_from_mapping
from benchlog.plan.suggested import fuse_for, suggested_limits, wire_for
from benchlog.plan.wiring import FUSE_FOR_AREA
from benchlog.verdict.advice import advice
from benchlog.verdict.registry.table import not_planned

RUN = CliRunner()


def test_person_without_toml_reaches_a_plan_and_a_verdict(tmp_path):
    """Six circuits take at most 40 typed answers; the plan has every limit; a foreign log gets a verdict with it."""
    plan, log = tmp_path / "larch.plan.toml", tmp_path / "bench.csv"
    FILES["german"].write(log, recorded(2.0))
    child = pexpect.spawn(sys.executable, ["-m", "benchlog", "plan", str(plan), "--new"], encoding="utf-8", timeout=30)
    slot, met = 0, []
    while child.expect([r"([^\n]*?)(?:, such as [^\n\[]*)?(?: \[[^\]\n]*\])?: $", pexpect.EOF]) == 0:
        question = child.match[1].strip()
        assert len(met) < 100, met[-3:]
        met.append(question)
        if found := re.match(r"Slot (\d+) of", question):
            slot = int(found[1])
            child.sendline(knows_of_circuit(slot, "Device") if slot <= len(DEVICES) else "")
            slot = slot if slot <= len(DEVICES) else 0
        else:
            child.sendline((knows_of_circuit(slot, question) if slot else "") or KNOWS.get(question, ""))
    child.close()

    typed = int(re.search(r"(\d+) answers typed of \d+ questions", child.before)[1])
    made = load_plan(plan)

    assert child.exitstatus == 0
    assert set(KNOWS) <= set(met)
    assert typed <= MOST_TYPED
    assert set(not_planned(made)) <= {"feed_in_crank"}  # "any" is suggested: not judged
    assert [each.device for each in made.circuit] == [each[0] for each in DEVICES]
    assert "planned_w = 45" in plan.read_text(encoding="utf-8")
    assert "length_ft = 4" in plan.read_text(encoding="utf-8")
    assert made.circuit[2].length_m == pytest.approx(0.46)
    assert len(made.install.suggested) == 12
    described = pexpect.spawn(sys.executable, ["-m", "benchlog", "logger", str(log)], encoding="utf-8", timeout=30)
    for _ in range(3):
        described.expect(r"\]: $")
        described.sendline("")
    described.expect(pexpect.EOF)
    checked = RUN.invoke(app, ["check", str(log), "--plan", str(plan)])
    assert checked.exit_code in (0, 1, 3), checked.output


def answered(*typed: str, path) -> str:
    """What is said where these answers are typed and then they end."""
    return RUN.invoke(app, ["plan", str(path), "--new"], input="\n".join(typed) + "\n").output


def test_absurd_sizes_are_doubted_at_once(tmp_path):
    """6000 Ah and 900 A are asked again before they are taken; unusable answers say what is needed."""
    said = answered(
        *("", "Larch", "lead", "agm", "6000", "", "11.2", "horn", "loud", "900 A", "n", "4 A", "", "thick", "", "far"),
        path=tmp_path / "p.toml",
    )

    for words in (
        "An answer is needed here",
        "one of flooded, agm, gel, lifepo4 is needed",
        "6000 Ah is hardly a motorcycle's battery: they have 1.5 to 40 Ah; was 6 Ah meant? Is it right?",
        "900 A is more than any usual accessory draws; was it watts (planned_w)? Is it right?",
        "a number with A or W is needed",
        "a number with its unit is needed, such as 1.2 m",
        "the answers ended before the last question; nothing was written",
    ):
        assert words in said
    assert list(tmp_path.iterdir()) == []


def test_limits_are_changed_by_number_and_confirmed(tmp_path):
    """A limit that the person types, and limits that are confirmed, are no suggestions any more."""
    path = tmp_path / "p.toml"
    before = ["La\trch", "Larch", "", "11.2", "", *[""] * 12]

    said = answered(*before, "99", "1 2.5", "9 hold", "", "y", path=path)

    assert "one line of plain text is needed" in said
    assert "the number of a limit (1 to 12) and its value are needed" in said
    plan = load_plan(path)
    assert (plan.limits.off_state_drain_ma, plan.limits.feed_in_crank) == (2.5, "hold")
    assert plan.install.suggested == ()
    assert "confirmed: " in path.read_text(encoding="utf-8")


def test_a_plan_that_is_there_stays(tmp_path):
    """A file that lies there is not replaced."""
    path = tmp_path / "p.toml"
    path.write_text("mine", encoding="utf-8")

    assert "there is a file already" in answered(path=path)
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("chemistry", CHEMISTRY)
@pytest.mark.parametrize("capacity_ah", [4.0, 11.2, 32.0])
def test_suggestions_raise_no_doubt(chemistry, capacity_ah):
    """A plan of suggested limits has all of them, each with a source, and no warning about one."""
    found = suggested_limits(chemistry, capacity_ah)
    plan = plan_from_mapping(
        {
            "install": {"bike": "Larch"},
            "battery": {"chemistry": chemistry, "capacity_ah": capacity_ah},
            "limits": {each.key: each.value for each in found},
        }
    )

    assert all(each.source for each in found)
    assert [each for each in advice(plan) if each.about.startswith("limits.") and each.severity == "warning"] == []


def test_fuse_and_wire_suit_each_other():
    """A suggested fuse bears its load with a fifth to spare, and the suggested wire bears that fuse."""
    for load_a in (0.3, 3.5, 8.1, 20.0):
        fuse_a = fuse_for(load_a)
        area = float(wire_for(fuse_a).removesuffix(" mm2"))

        assert load_a <= 0.8 * fuse_a
        assert FUSE_FOR_AREA[area] >= fuse_a


BASE = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
SEVEN_A = '[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 7\n'


@pytest.mark.parametrize(
    ("more", "about"),
    [
        ("[limits]\noff_state_drain_ma = 1000\n", "limits.off_state_drain_ma"),
        ("[feed]\nfuse_a = 20\nunfused_m = 0.5\n", "feed.unfused_m"),
        ("[feed]\nfuse_a = 20\nunfused_ft = 2\n", "feed.unfused_m"),
        ("[relay]\ncoil_a = 0.2\ntrigger_fuse_a = 0.2\n", "relay.trigger_fuse_a"),
        ('[[circuit]]\nslot = 1\ndevice = "horn"\nplanned_a = 60\n', "circuit[1].planned_a"),
        (
            '[alternator]\nidle_a = 5\nspeed_a = 9\n[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 7\n',
            "alternator.idle_a",
        ),
        (
            '[alternator]\nspeed_a = 9\nbike_a = 6\n[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 7\n',
            "alternator.speed_a",
        ),
        ("[ground]\nlength_m = 12\n", "ground.length_m"),
    ],
)
def test_absurd_numbers_are_warned_about(tmp_path, more, about):
    """What is hardly meant, or beyond what a named practice allows, is a warning of the plan."""
    path = tmp_path / "p.toml"
    path.write_text(BASE + more, encoding="utf-8")

    assert about in [each.about for each in advice(load_plan(path)) if each.severity == "warning"]


def test_6000_ah_is_doubted():
    """6000 Ah is no motorcycle's battery; 6 Ah was probably meant."""
    plan = plan_from_mapping({"install": {"bike": "x"}, "battery": {"chemistry": "agm", "capacity_ah": 6000}})

    assert any("was 6 Ah meant?" in each.text for each in advice(plan))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (BASE.replace('"Larch"', "“Larch”"), r"line 2: has typographic quotes \(“ ”\)"),
        (
            BASE + "[circuit]\nslot = 1\n[circuit]\nslot = 2\n",
            r"\[circuit\] stands twice; write \[\[circuit\]\] in double",
        ),
        (BASE + "[circuit]\nslot = 1\n", r"write \[\[circuit\]\] in double brackets"),
        (BASE + "[feed]\nlength_in = 18\n", "length_in: inches are not known; 18 in are 0.46 m: length_m = 0.46"),
        (
            BASE + "[limits]\noff_state_drain_a = 0.002\n",
            "amperes are not known; 0.002 a are 2 ma: off_state_drain_ma = 2",
        ),
        ("PK\x03\x04", "is a word processor's document, not plain text"),
        ("{\\rtf1 hello", "is a word processor's document, not plain text"),
        (BASE + "[feed]\nunfused_m = 1\nunfused_ft = 1\n", "give unfused_m or unfused_ft, not both"),
        (BASE + '[[circuit]]\nslot = 1\ndevice = "a"\nplanned_a = 1\nplanned_w = 40\n', "give planned_a or planned_w"),
    ],
)
def test_first_mistakes_have_true_messages(tmp_path, text, said):
    """Each usual mistake is told as what it is, with its place and what to write."""
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(BadPlan, match=said):
        load_plan(path)


def test_watts_are_kept_as_given(tmp_path):
    """45 W are 3.46 A at 13 V, and the plan's dump can be read again."""
    path = tmp_path / "p.toml"
    path.write_text(BASE + '[[circuit]]\nslot = 1\ndevice = "box"\nplanned_w = 45\n', encoding="utf-8")

    plan = load_plan(path)

    assert plan.circuit[0].planned_a == pytest.approx(45 / 13, abs=1e-3)
    assert plan_from_mapping(plan.model_dump(exclude_none=True)).circuit[0].planned_w == 45
