"""The mutation testing itself: what it changes, and that its lists still tell of the code as it is."""

import tomllib

import mutation
import pytest
from mutating.mutants import mutant_of, mutants_of

SAMPLE = '''
LEAST_S = 0.5


def lasts(rows, t):
    """A docstring with 3 numbers stays."""
    if not rows or len(rows) < 4:
        raise ValueError(f"{len(rows)} of 4")
    return max(t[1] - t[0], LEAST_S) > 2.0 * LEAST_S
'''


def test_what_is_changed_and_what_is_not():
    """Numbers, comparisons, signs, and/or and calls are changed; texts, docstrings and messages are not."""
    found = {(each.was, each.becomes) for each in mutants_of("a.py", SAMPLE)}

    assert found == {
        ("0.5", "1.0"),
        ("not rows or len(rows) < 4", "(not rows and len(rows) < 4)"),
        ("not rows", "rows"),
        ("len(rows) < 4", "(len(rows) >= 4)"),
        ("len(rows) < 4", "(len(rows) <= 4)"),
        ("4", "5"),
        ("max(t[1] - t[0], LEAST_S)", "min(t[1] - t[0], LEAST_S)"),
        ("max(t[1] - t[0], LEAST_S) > 2.0 * LEAST_S", "(max(t[1] - t[0], LEAST_S) <= 2.0 * LEAST_S)"),
        ("t[1] - t[0]", "(t[1] + t[0])"),
        ("1", "2"),
        ("0", "1"),
        ("2.0 * LEAST_S", "(2.0 / LEAST_S)"),
        ("2.0", "4.0"),
    }


def test_what_is_for_types_or_examples_is_not_changed():
    """An import for the checker of types, the example beside a key and a name for types are no behaviour."""
    text = "if TYPE_CHECKING:\n    A = 1\nB = Field(examples=[2], le=3)\nC = A | list[B] | None\nD = A.x | B.y\n"

    assert [(each.was, each.becomes) for each in mutants_of("a.py", text)] == [
        ("3", "4"),
        ("A.x | B.y", "(A.x & B.y)"),
    ]


def test_each_change_is_put_where_it_belongs():
    """The changed text is Python, differs in one place, and names the lines of its statement."""
    for each in mutants_of("a.py", SAMPLE):
        compile(each.put_into(SAMPLE), "a.py", "exec")
        assert each.diff(SAMPLE).count("\n") == 1
        assert each.lines[0] <= each.line <= each.lines[1]
    assert {each.names for each in mutants_of("a.py", SAMPLE)} == {("LEAST_S",), ()}


def test_names_are_followed_to_what_is_made_of_them():
    """A number that makes another at the file's top is felt by the tests of both."""
    assert mutation.carried_by(["A"], "A = 1\nB = (A, 2)\nC = B[0]\nD = 3\n") == ("A", "B", "C")


def test_written_changes_stand_in_the_code():
    """Each change that must be noticed can still be made."""
    changes = tomllib.loads(mutation.NAMED.read_text(encoding="utf-8"))["change"]
    for each in changes:
        text = (mutation.ROOT / each["file"]).read_text(encoding="utf-8")
        compile(mutant_of(each["file"], text, each).put_into(text), each["file"], "exec")
    assert len(changes) >= 20


def test_a_written_change_that_is_gone_is_told():
    """A change whose text the file no longer holds is an error, not a survivor less."""
    with pytest.raises(ValueError, match=r"a.py holds 'gone' 0 times, once needed"):
        mutant_of("a.py", SAMPLE, {"what": "x", "was": "gone", "becomes": ""})


def test_equivalent_changes_can_be_made_and_say_why():
    """Each entry of the list is a change that the program makes, with a reason of some words."""
    for each in mutation.equivalents():
        text = (mutation.ROOT / each["file"]).read_text(encoding="utf-8")
        assert any(mutation.is_equivalent(mutant, [each], text) for mutant in mutants_of(each["file"], text)), each
        assert len(each["why"].split()) > 3


def test_an_equivalent_change_may_be_that_of_one_line():
    """An entry without its line stands for every such change of the file."""
    text = "A = 1\nB = 1\n"
    entry = {"file": "a.py", "was": "1", "becomes": "2", "why": "none"}
    mutants = mutants_of("a.py", text)

    assert [mutation.is_equivalent(each, [entry], text) for each in mutants] == [True, True]
    assert [mutation.is_equivalent(each, [entry | {"line": "B = 1"}], text) for each in mutants] == [False, True]


def test_tests_of_three_files_come_before_all_others():
    """In their order; one list where there are no others."""
    tests = ["a::1", "b::1", "c::1", "d::1", "a::2"]

    assert mutation.in_two(tests) == [["a::1", "b::1", "c::1", "a::2"], ["d::1"]]
    assert mutation.in_two(["a::1"]) == [["a::1"]]
    assert mutation.in_two([]) == []
