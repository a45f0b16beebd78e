"""A plan's text: written as a person would, its comments kept through opening and saving."""

import tomllib
from typing import Any

from benchlog.plan.comments import comments_of, placed_again
from benchlog.plan.writing import plan_text

COMMENTED = '''# a plan by hand
[install]
bike = "Larch"   # the old one
notes = """
[[circuit]]
[[circuit]]
[[circuit]]
x = 1  # no key of a plan
"""

  # about the battery
[battery]
chemistry = "agm"
capacity_ah = 11.2 # new in May

[[circuit]]
slot = 3
device = "horn # loud" # borrowed
[[circuit]]
slot = 1
device = 'grips # warm' # both sides
[[circuit]]
planned_a = 2 # no slot yet

[limits]
crank_min_v = 9.6  # suggested: common practice
resting_min_v = 12.4 # as the shop said
settle_max_s = 60  # confirmed: common practice
'''


def test_comments_behind_keys_are_told_with_their_circuit_and_value():
    """Each with its table, its circuit's slot and the value it stands behind; benchlog's own are not kept."""
    text = COMMENTED.replace("[[circuit]]\n" * 3, "", 1).replace("x = 1  # no key of a plan\n", "", 1)
    found = comments_of(text, tomllib.loads(text))

    assert found.behind == (
        ("install", 0, "bike", "Larch", "the old one"),
        ("battery", 0, "capacity_ah", 11.2, "new in May"),
        ("circuit", 3, "device", "horn # loud", "borrowed"),
        ("circuit", 1, "device", "grips # warm", "both sides"),
        ("circuit", 0, "planned_a", 2, "no slot yet"),
        ("limits", 0, "resting_min_v", 12.4, "as the shop said"),
    )
    assert found.alone == 2


def test_lines_within_a_text_that_look_like_tables_lose_no_more_than_their_comments():
    """Three tables of circuits in a note's lines: the circuits' comments go with none, those of the limits stay."""
    found = comments_of(COMMENTED, tomllib.loads(COMMENTED))

    assert [each[:3] for each in found.behind] == [
        ("install", 0, "bike"),
        ("battery", 0, "capacity_ah"),
        ("circuit", 3, "device"),
        ("circuit", 1, "device"),
        ("circuit", 0, "planned_a"),
        ("limits", 0, "resting_min_v"),
    ]
    many = COMMENTED.replace("[battery]", "[battery_2]", 1)
    assert [each[0] for each in comments_of(many, {"limits": {"resting_min_v": 1}}).behind] == ["limits"]
    few = "[[circuit]]\n[[circuit]]\nslot = 2 # gone\n"
    assert comments_of(few, {"circuit": [{"slot": 2}]}).behind == ()
    assert comments_of(few, {"circuit": 7}).behind == ()


def test_a_comment_comes_back_where_its_value_still_stands():
    """A circuit is found by its slot wherever it stands now; a value that changed or is gone loses its comment."""
    behind: list[tuple[str, int, str, Any, str]] = [
        ("battery", 0, "capacity_ah", 11.2, "new in May"),
        ("battery", 0, "chemistry", "gel", "guessed"),
        ("circuit", 3, "device", "horn", "borrowed"),
        ("circuit", 1, "device", "grips", "both sides"),
        ("circuit", 1, "planned_a", 3.5, "by the label"),
        ("circuit", 7, "device", "lamp", "sold"),
        ("limits", 0, "crank_min_v", 9.0, "low"),
    ]
    circuits = [{"slot": 1, "device": "grips", "planned_a": 4.0}, {"slot": 3, "device": "horn"}]

    assert placed_again(behind, {"battery": {"chemistry": "agm", "capacity_ah": 11.2}, "circuit": circuits}) == {
        "battery.capacity_ah": "new in May",
        "circuit[2].device": "borrowed",
        "circuit[1].device": "both sides",
    }


def test_text_of_a_plan_by_hand():
    """Tables in a fixed order, circuits numbered from 1, comments in a column, numbers without tails."""
    tables = {
        "limits": {"crank_min_v": 9.6, "settle_max_s": 120},
        "circuit": [{"slot": 3, "device": "horn"}, {"slot": 1, "fuse_a": 7.5}],
        "battery": {"capacity_ah": 0.1 + 0.2},
        "install": {"bike": 'a "b" \\ é \x7f', "suggested": ("crank_min_v", "settle_max_s"), "notes": "x\ny"},
        "feed": {},
    }
    said = {"limits.crank_min_v": "usual", "circuit[2].fuse_a": "small", "install.bike": "old"}

    text = plan_text(tables, said)

    assert text == "\n".join(
        [
            "[install]",
            r'bike = "a \"b\" \\ é \u007f"    # old',
            'suggested = ["crank_min_v", "settle_max_s"]',
            r'notes = "x\ny"',
            "",
            "[battery]",
            "capacity_ah = 0.3",
            "",
            "[[circuit]]",
            "slot = 3",
            'device = "horn"',
            "",
            "[[circuit]]",
            "slot = 1",
            "fuse_a = 7.5                    # small",
            "",
            "[limits]",
            "crank_min_v = 9.6               # usual",
            "settle_max_s = 120",
            "",
        ]
    )
    assert tomllib.loads(text)["install"]["bike"] == tables["install"]["bike"]
