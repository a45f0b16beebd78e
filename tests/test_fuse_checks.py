"""The plan's fuses against its wires: verdicts, and how each face tells of them first."""

import copy
import tomllib

import pytest
from conftest import Samples
from hypothesis import given
from hypothesis import strategies as st

import benchlog
from benchlog.bench.guided.steps import steps_of
from benchlog.bench.guided.words import opening_words
from benchlog.plan.model import plan_from_mapping
from benchlog.plan.wiring import (
    BEARS_BY_GAUGE,
    FUSE_FOR_AREA,
    Conductor,
    conductor,
    largest_fuse_a,
    most_lenient_fuse_a,
)
from benchlog.report import words
from benchlog.report.html import render_html
from benchlog.report.plan import render_plan
from benchlog.report.text import render_text
from benchlog.verdict.advice import advice, fire_risks
from benchlog.verdict.checks import judge, overall, score
from benchlog.verdict.result import Result

PLAN = {
    "install": {"bike": "Larch"},
    "battery": {"chemistry": "agm", "capacity_ah": 11.2},
    "feed": {"fuse_a": 20, "conductor": "4 mm2", "length_m": 1.5},
    "circuit": [
        {"slot": 7, "device": "horn", "planned_a": 3.0, "fuse_a": 5, "conductor": "1 mm2"},
        {"slot": 2, "device": "lamp", "planned_a": 1.0, "fuse_a": 3, "conductor": "18 AWG"},
    ],
}


def plan_with(feed=(), horn=()):
    """The plan above with some keys of its feed and of slot 7 changed."""
    data = copy.deepcopy(PLAN)
    data["feed"].update(feed)
    data["circuit"][0].update(horn)
    return plan_from_mapping(data)


def fuses_of(plan):
    """Check id -> check, of the plan's own fuses alone."""
    return {check.id: check for check in judge(plan, [("a.csv", {})]) if check.id.endswith("_fuse")}


@pytest.mark.parametrize(
    ("fuse_a", "size", "expected"),
    [
        (10, "1 mm2", "pass"),
        (15, "1 mm2", "not proven"),  # careful practice says 10 A, 33 CFR 183.425 about 15.3 A
        (16, "1 mm2", "fail"),
        (30, "1 mm2", "fail"),
        (14, "18 AWG", "not proven"),  # 20 A x 0.7 for three in a bundle
        (14.1, "18 AWG", "fail"),
        (24.5, "14 AWG", "not proven"),  # 35 A x 0.7
        (25, "14 AWG", "fail"),
        (10, "0.5 mm2", "fail"),
        (30, "6 mm2", "pass"),
    ],
)
def test_verdict_lies_between_the_two_tables(fuse_a, size, expected):
    """Pass up to the careful figure, fail above the lenient one, not proven between; feed and slot alike."""
    feed = fuses_of(plan_with(feed={"fuse_a": fuse_a, "conductor": size}))["feed_fuse"]
    slot = fuses_of(plan_with(horn={"fuse_a": fuse_a, "conductor": size}))["slot_7_fuse"]

    for check in (feed, slot):
        assert (check.verdict, check.measured, check.unit) == (expected, fuse_a, "A")
        assert check.limit.max == pytest.approx(largest_fuse_a(conductor(size)))
        assert check.limit.min is None
        assert (check.log, check.from_s, check.to_s, check.uncertainty) == (None, None, None, None)


def test_each_fuse_has_its_check_once_and_first():
    """The feed's comes first, then each slot's by number; nothing stands between them."""
    checks = judge(plan_with(), [("a.csv", {}), ("b.csv", {})])

    assert [check.id for check in checks][:4] == ["feed_fuse", "slot_2_fuse", "slot_7_fuse", "off_state_drain"]
    assert checks[2].title == "Slot 7 fuse (horn)"


@pytest.mark.parametrize(
    ("feed", "missing"),
    [({"fuse_a": None}, "fuse_a"), ({"conductor": None}, "conductor"), ({"length_m": None}, "")],
)
def test_fuse_or_wire_not_given_is_not_planned(feed, missing):
    """Without fuse or wire there is no limit, and the reason names the missing key; the length does not matter."""
    check = fuses_of(plan_with(feed=feed))["feed_fuse"]

    assert (check.verdict, check.limit is None) == (("not planned", True) if missing else ("pass", False))
    assert missing in check.because


def test_plan_without_tables_says_not_planned():
    """A plan of two tables has a feed fuse check all the same."""
    plan = plan_from_mapping({"install": {"bike": "Larch"}, "battery": {"chemistry": "agm", "capacity_ah": 11.2}})

    assert {key: check.verdict for key, check in fuses_of(plan).items()} == {"feed_fuse": "not planned"}


def test_slot_behind_the_feed_fuse_alone_says_what_burns():
    """A thin wire without a fuse of its own is not planned, and its reason says what the feed fuse would let happen."""
    check = fuses_of(plan_with(horn={"fuse_a": None}))["slot_7_fuse"]

    assert check.verdict == "not planned"
    assert "only the feed fuse protects it" in check.because
    assert "the wire can burn before the fuse blows" in check.because


@given(st.floats(0.05, 150.0), st.floats(0.1, 200.0))
def test_plan_and_check_say_the_same(area, fuse_a):
    """Whatever wire and fuse: a fire risk in the plan is a failed check, a warning is not proven, silence a pass."""
    plan = plan_with(horn={"conductor": f"{area:.3f} mm2", "fuse_a": fuse_a})
    said = [r.severity for r in advice(plan) if r.about == "circuit[1].fuse_a" and "too large for" in r.text]
    verdict = fuses_of(plan)["slot_7_fuse"].verdict

    assert said == {"pass": [], "not proven": ["warning"], "fail": ["fire"]}[verdict]


@given(st.floats(0.05, 150.0))
def test_lenient_table_is_never_the_stricter(area):
    """At any size the most lenient table allows at least what careful practice does."""
    assert most_lenient_fuse_a(Conductor(area)) >= largest_fuse_a(Conductor(area))


@pytest.mark.parametrize(("gauge", "alone_a"), {18: 20, 16: 25, 14: 35, 12: 45, 10: 60, 8: 80, 6: 120, 4: 160}.items())
def test_lenient_table_is_seven_tenths_of_the_single_wire(gauge, alone_a):
    """33 CFR 183.425, 105 °C insulation at 30 °C, as quoted: three wires in a bundle bear 70 % of what one bears."""
    assert BEARS_BY_GAUGE[gauge] == pytest.approx(0.7 * alone_a)
    assert most_lenient_fuse_a(conductor(f"{gauge} AWG")) == pytest.approx(0.7 * alone_a)


def test_fuses_count_in_the_score():
    """A failed fuse fails the install; its margin is the distance from what the wire bears."""
    checks = judge(plan_with(horn={"fuse_a": 30}), [("a.csv", {})])
    found = score(checks)

    assert overall(checks) == "fail"
    assert (found.passed, found.fail, found.closest) == (2, 1, "slot_7_fuse")
    assert {c.id: c.margin_pct for c in checks}["slot_7_fuse"] == pytest.approx(-200.0)


# ---- the faces


@pytest.fixture(scope="module")
def burning(samples: Samples) -> Result:
    """The good acceptance log under its plan with 30 A on 1 mm2, and a lamp that draws more than planned."""
    plan = tomllib.loads(samples.plan.read_text(encoding="utf-8"))
    plan["circuit"][1]["fuse_a"] = 30
    plan["circuit"][2]["planned_a"] = 1.0
    return benchlog.check(samples.log, plan=plan)


def test_dangerous_fuse_never_passes(burning: Result, samples: Samples):
    """Every other check passes as before, and the install fails all the same."""
    good = benchlog.check(samples.log, plan=samples.plan)

    assert good.check("slot_2_fuse").verdict == "pass"
    assert (burning.verdict, burning.check("slot_2_fuse").verdict) == ("fail", "fail")
    assert burning.check("slot_2_current").verdict == "pass"
    assert "the wire can burn before the fuse blows" in burning.check("slot_2_fuse").because
    assert not any("slot_2_fuse" in cause.explains for cause in burning.causes)


def test_result_is_whole_in_json(burning: Result):
    """The result with a fuse that fails goes through its JSON unchanged."""
    assert Result.model_validate_json(burning.to_json()).to_json() == burning.to_json()


def test_text_report_begins_with_the_danger(burning: Result):
    """Danger stands above the score, and the fuse is the first failed check."""
    text = render_text(burning)
    failed = text.split("── FAIL", 1)[1]

    assert text.index("DANGER: Fire risk") < text.index("planned checks failed")
    assert failed.index("Slot 2 fuse") < failed.index("Slot 3 current")


def test_html_report_begins_with_the_danger(burning: Result):
    """Danger stands in the head, before causes and table; the fuse heads the table."""
    page = render_html(burning)

    assert page.index('<p class="danger">') < page.index("What to do next") < page.index("<h2>Checks</h2>")
    table = page[page.index("<h2>Checks</h2>") :]
    assert table.index("Slot 2 fuse") < table.index("Slot 3 current")


def test_good_fuses_raise_no_alarm(samples: Samples):
    """Nothing is said of danger where every fuse protects its wire."""
    good = benchlog.check(samples.log, plan=samples.plan)

    assert words.dangers(good) == []
    assert "DANGER" not in render_text(good)
    assert '<p class="danger">' not in render_html(good)


def test_pages_begin_with_the_danger(burning: Result):
    """The pages' head tells it in the same words."""
    from dashboards.parts.danger import dangers

    (paragraph,) = dangers(burning)

    said = "".join(part for part in paragraph.children if isinstance(part, str)).replace("\N{NO-BREAK SPACE}", " ")
    assert burning.check("slot_2_fuse").because in said


def test_guided_test_warns_before_it_begins():
    """The tester reads the fire risk before the first step, in every way the test begins."""
    plan = plan_with(horn={"fuse_a": 30})
    risks = fire_risks(plan)
    first = steps_of(plan)[0]

    assert "30 A fuse is too large for 1 mm²" in first.caution
    assert first.caution.startswith("FIRE RISK")
    assert opening_words("a.csv", by_itself=True, resumed=False, fire_risks=risks).startswith("FIRE RISK")  # type: ignore[arg-type]
    assert "FIRE RISK" not in steps_of(plan_with())[0].caution


def test_plan_names_the_tables():
    """``benchlog plan`` prints the limit of each fuse with both tables."""
    text = " ".join(render_plan(plan_with()).split())

    assert "slot_7_fuse at most 10 A derived 1 mm² bears 10 A by common practice, 15.3 A by ABYC E-11" in text


def test_table_lists_every_metric_size_on_the_careful_side():
    """Each listed metric size is allowed its own figure by both tables."""
    for area, fuse_a in FUSE_FOR_AREA.items():
        assert fuse_a <= most_lenient_fuse_a(Conductor(area))
