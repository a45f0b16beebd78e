"""The questions of a plan: one list for the terminal and the page, held against the plan's keys."""

import jsonschema
import pytest
from page_server import SAMPLES

from benchlog.core.toml_text import tables_of
from benchlog.core.typed import Unusable
from benchlog.plan.model import Circuit, Plan, load_plan, plan_from_mapping, plan_schema
from benchlog.plan.questions.kinds import AmountAnswer, LengthAnswer, LoadAnswer
from benchlog.plan.questions.listed import SECTIONS
from benchlog.plan.questions.turned_back import turned_back
from benchlog.plan.questions.working_out import worked_out
from benchlog.plan.writing import plan_text

FIRST = {"install.bike": "Larch", "battery.capacity_ah": "11.2"}
BOX = {"circuit[1].device": "cool box", "circuit[1].planned_a": "45 W"}
FULL = """[install]
bike = "Larch"
notes = "two\\nlines"
suggested = ["crank_min_v"]

[battery]
chemistry = "gel"
capacity_ah = 14

[relay]
suppression = "none"

[feed]
conductor = "10 AWG"
length_ft = 5
unfused_m = 0.1
drop_max_v = 0.3

[alternator]
speed_a = 30
bike_a = 0

[[circuit]]
slot = 4
device = "horn"
planned_w = 60.5
tolerance_pct = 35

[limits]
settle_max_s = 0
crank_min_v = 9.6               # suggested: common practice, no source
charging_balance_min_a = -0.5
"""


def test_every_key_of_a_plan_is_asked_once():
    """The questions give all keys of the plan's model, each once; only the list of suggestions is made, not asked."""
    asked = [(section.table, key) for section in SECTIONS for each in section.questions for key in each.keys]
    keys = {("circuit", key) for key in Circuit.model_fields}
    for name, field in Plan.model_fields.items():
        models = [one for one in (field.annotation, *getattr(field.annotation, "__args__", ())) if name != "circuit"]
        keys |= {(name, key) for one in models for key in getattr(one, "model_fields", {})}

    assert len(asked) == len(set(asked))
    assert set(asked) == keys - {("install", "suggested")}
    assert all(each.table == section.table for section in SECTIONS for each in section.questions)


@pytest.mark.parametrize(
    "text", [FULL, (SAMPLES / "larch.plan.toml").read_text(encoding="utf-8")], ids=("full", "larch")
)
def test_a_plan_turned_back_into_answers_comes_out_the_same(text):
    """Opening a plan and saving it changes no value and adds no key, whatever would be suggested."""
    tables = tables_of(text)
    back = turned_back(tables)

    again = worked_out(back.typed, back.circuits)

    assert again.open == []
    assert plan_from_mapping(again.tables) == plan_from_mapping(tables)
    assert tables_of(plan_text(again.tables, again.said)) == tables
    assert back.changed == ()


def test_a_plan_on_file_turns_back_as_well():
    """The dump of a plan that was read has amperes beside its watts; the watts stay what was given."""
    plan = plan_from_mapping(tables_of(FULL))
    back = turned_back(plan.model_dump(exclude_none=True))

    assert back.typed["circuit[1].planned_a"] == "60.5 W"
    assert plan_from_mapping(worked_out(back.typed, 1).tables) == plan


def test_an_empty_answer_takes_the_suggestion_and_a_dash_takes_nothing():
    """What is left empty is as suggested; "-" leaves a key out, and its check is not planned."""
    found = worked_out({**FIRST, **BOX, "relay.coil_a": "-", "limits.crank_min_v": "-"}, 1)
    plan = found.plan()

    assert (plan.circuit[0].fuse_a, plan.circuit[0].conductor, plan.circuit[0].slot) == (5.0, "1 mm2", 1)
    assert plan.relay.coil_a is None
    assert plan.limits.crank_min_v is None
    assert "crank_min_v" not in plan.install.suggested
    assert found.states["circuit[1].fuse_a"].offer.source.startswith("the smallest blade fuse of which 3.46 A are")


def test_a_limit_that_is_typed_is_confirmed():
    """A typed limit is no suggestion any more; one that equals the suggestion says so behind it."""
    found = worked_out({**FIRST, "limits.crank_min_v": "9.6", "limits.resting_min_v": "12,4"}, 0)

    assert found.said["limits.crank_min_v"] == "confirmed: common practice, no source"
    assert "limits.resting_min_v" not in found.said
    assert len(found.plan().install.suggested) == 10


def test_what_cannot_be_used_is_told_and_the_rest_goes_on():
    """One bad answer is no reason to forget the others; what is needed and not there is missing."""
    found = worked_out({"install.bike": "Larch", "feed.fuse_a": "thick", "circuit[1].planned_a": "3 A"}, 1)
    plan, why = found.plan_so_far()

    assert found.open == ["battery.capacity_ah", "circuit[1].device", "feed.fuse_a"]
    assert found.states["feed.fuse_a"].fault == 'a number above 0 is needed, got "thick"'
    assert (plan, why) == (None, ())
    assert "conductor" in found.tables["feed"]


def test_answers_that_do_not_agree_are_told():
    """Two circuits in one slot, or a window that is upside down, are faults between answers."""
    twice = {**FIRST, **BOX, "circuit[2].device": "horn", "circuit[2].planned_a": "2 A", "circuit[2].slot": "1"}
    plan, why = worked_out(twice, 2).plan_so_far()

    assert plan is None
    assert why == ("circuit[2].slot: slot 1 is already taken by circuit[1]; give each circuit its own",)


def test_absurd_answers_are_doubted_where_they_stand():
    """Capacity, load, length and drain limit are doubted as they are typed."""
    typed = {"install.bike": "x", "battery.capacity_ah": "6000", **BOX, "circuit[1].planned_a": "900 A"}
    states = worked_out({**typed, "circuit[1].length_m": "12 m"}, 1).states
    drain = worked_out({**FIRST, "limits.off_state_drain_ma": "1000 mA"}, 0).states

    assert "was 6 Ah meant?" in states["battery.capacity_ah"].doubt
    assert "900 A is more than any usual accessory draws" in states["circuit[1].planned_a"].doubt
    assert "longer than a motorcycle needs" in states["circuit[1].length_m"].doubt
    assert "empties the full battery in 11 hours" in drain["limits.off_state_drain_ma"].doubt


def test_limits_that_nobody_confirmed_move_with_the_suggestion():
    """A plan with an older suggestion is opened with today's, and says what changed."""
    tables = {"install": {"bike": "x", "suggested": ["crank_min_v", "resting_min_v"]}}
    tables |= {"battery": {"chemistry": "agm", "capacity_ah": 11.2}, "limits": {"crank_min_v": 9.0}}

    back = turned_back(tables)

    assert back.changed == ("crank_min_v was 9, and is 9.6",)
    assert "limits.crank_min_v" not in back.typed


def test_units_are_kept_as_given_and_others_told():
    """Watts, feet and AWG stay; inches are turned to metres, and that is told; a minus sign may be typographic."""
    assert LoadAnswer().take("45 watts", ("planned_a", "planned_w")).values == {"planned_w": 45.0}
    assert LengthAnswer().take("4'", ("length_m", "length_ft")).values == {"length_ft": 4.0}
    assert LengthAnswer().take("18 in", ("length_m", "length_ft")).told == "18 in are 0.46 m"
    assert AmountAnswer("A", -10).take("−0,5 A", ("x",)).values == {"x": -0.5}
    with pytest.raises(Unusable, match='a number of 0 or more is needed, got "-1"'):
        AmountAnswer("mA", 0).take("-1", ("x",))


def test_the_schema_takes_watts_for_amperes(tmp_path):
    """The JSON Schema agrees with the reader: amperes or watts, but one of them."""
    path = tmp_path / "p.toml"
    path.write_text(FULL, encoding="utf-8")
    load_plan(path)
    neither = tables_of(FULL)
    del neither["circuit"][0]["planned_w"]

    jsonschema.validate(tables_of(FULL), plan_schema())
    with pytest.raises(jsonschema.ValidationError, match="is not valid under any of the given schemas"):
        jsonschema.validate(neither, plan_schema())
