"""Where the key's state is decided: each reach and threshold from both sides, on lines and marks written by hand."""

import math

import numpy as np
import pytest
from coarse_points import points

from benchlog.analysis.cranking import Crank
from benchlog.analysis.key_state import (
    KeyState,
    Turn,
    _nearest,
    _unmarked_between,
    _with_lines,
    _without_cranks,
    key_state,
    turns_of,
)
from benchlog.analysis.switched import SwitchedLine
from benchlog.core.trace import Mark

NAN = math.nan


def turns(role: str | None, *times: tuple[float, str]) -> tuple[Turn, ...]:
    """The key was turned then, to that."""
    return tuple(Turn(time_s, 0.1, to, role) for time_s, to in times)


def parts(*levels: tuple[int, float]) -> np.ndarray:
    """So many points of each."""
    return np.concatenate([np.full(rows, level) for rows, level in levels])


def states(text: str) -> np.ndarray:
    """One letter a point: u for up."""
    return np.array([letter == "u" for letter in text])


def test_spans_lie_between_the_turns_that_differ_in_time():
    """On from 10 to 40 s; a turn at the very start leaves no span before it, and nothing is known without a state."""
    known = KeyState("key_v", False, turns("key_v", (10, "on"), (40, "off")), sure=True)
    at_once = KeyState("key_v", False, turns("key_v", (0, "on")), sure=True)

    assert known.spans(0.0, 60.0) == [(False, 0.0, 10), (True, 10, 40), (False, 40, 60.0)]
    assert at_once.spans(0.0, 60.0) == [(True, 0, 60.0)]
    assert KeyState("none", None, (), sure=False).spans(0.0, 60.0) == []


def test_turn_lies_half_way_between_the_points_around_it():
    """Points of 0.4 s that begin every second: from the middle of one to the next, known to their ends."""
    (up, down) = turns_of(states("dduud"), points(1.0, {"key_v": np.zeros(5)}, wide_s=0.4), "key_v")

    assert (up.time_s, up.half_width_s, up.to, up.role) == pytest.approx((1.7, 0.7, "on", "key_v"))
    assert (down.time_s, down.to) == (pytest.approx(3.7), "off")


@pytest.mark.parametrize(
    ("from_s", "to_s", "kept"), [(4.9, 6.0, True), (5.1, 6.0, False), (2.0, 3.1, True), (2.0, 2.9, False)]
)
def test_line_that_a_crank_cuts_stays_up(from_s: float, to_s: float, kept: bool):
    """Down from 4.0 to 4.5 s: at most 1 s before it begins, and back 1.5 s after it ends."""
    up = np.ones(100, dtype=bool)
    up[40:45] = False

    found = _without_cranks(up, points(0.1, {"key_v": np.zeros(100)}), [Crank(from_s, to_s, 12.0, NAN)])

    assert found.all() == kept


@pytest.mark.parametrize("text", ["d" * 45 + "u" * 55, "u" * 40 + "d" * 60])
def test_line_that_is_down_to_an_end_of_the_log_was_not_cut(text: str):
    """Nobody saw it come, or come back."""
    up = states(text)

    assert (_without_cranks(up, points(0.1, {"key_v": np.zeros(100)}), [Crank(0.5, 9.5, 12.0, NAN)]) == up).all()


@pytest.mark.parametrize(("rows", "dwell"), [(4, False), (6, True)])
def test_dwell_lasts_50_ms(rows: int, dwell: bool):
    """In rows of 10 ms, 40 ms are chatter."""
    up = np.ones(100, dtype=bool)
    up[40 : 40 + rows] = False

    assert _without_cranks(up, points(0.01, {"key_v": np.zeros(100)}), []).all() != dwell


CHANGES = {
    "key_v": turns("key_v", (10, "on"), (14, "on"), (30, "off")),
    "trigger_v": turns("trigger_v", (16.5, "on"), (22, "on")),
}


@pytest.mark.parametrize(
    ("at_s", "after_s", "found"),
    [
        (12.1, -math.inf, (14, "key_v")),
        (11.9, -math.inf, (10, "key_v")),
        (18.9, -math.inf, (14, "key_v")),
        (19.1, -math.inf, (16.5, "trigger_v")),
        (15.0, 14, (16.5, "trigger_v")),
        (15.0, 13.9, (14, "key_v")),
        (28.0, 14, (28.0, None)),
    ],
)
def test_mark_means_the_nearest_change_within_5_s_that_no_mark_before_it_meant(
    at_s: float, after_s: float, found: tuple[float, str | None]
):
    """Of the best line that has one; a change to the other state is none."""
    got = _nearest(Mark(at_s, "key on"), "on", CHANGES, after_s)

    assert (got.time_s, got.role) == found
    assert got.half_width_s == (1.0 if found[1] is None else 0.1)


@pytest.mark.parametrize(
    ("role", "line", "found"),
    [
        ("key_v", [(10, "on"), (40, "off"), (50, "on"), (60, "off")], [10, 40, 50, 60]),
        ("key_v", [(10, "on"), (40, "off"), (40.1, "on")], [10, 40]),
        ("key_v", [(10, "on"), (40, "off"), (40.2, "on")], [10, 40, 40.2]),
        ("trigger_v", [(10, "on"), (40, "off"), (50, "off")], [10, 40]),
        ("feed_v", [(10, "on"), (40, "off"), (44, "on")], [10, 40]),
        ("feed_v", [(10, "on"), (40, "off"), (46, "on")], [10, 40, 46]),
        ("feed_v", [(10, "on"), (40, "off"), (50, "on"), (60, "off")], [10, 40]),
        ("feed_v", [(10, "on"), (20, "off"), (25, "on"), (40, "off")], [10, 40]),
        ("key_v", [(2, "on"), (4, "off"), (10, "on"), (40, "off")], [2, 4, 10, 40]),
        ("key_v", [(2, "on"), (5.5, "off"), (10, "on"), (40, "off")], [10, 40]),
        ("key_v", [(4, "off"), (10, "on"), (40, "off")], [4, 10, 40]),
        ("key_v", [], [10, 40]),
    ],
)
def test_line_that_follows_the_marks_tells_what_was_not_noted(role: str, line: list, found: list[float]):
    """0.15 s after the last mark (a feed 5 s, and once only), 5 s before the first, to the other state."""
    marked = list(turns(role, (10, "on"), (40, "off")))

    assert [each.time_s for each in _with_lines(marked, {role: turns(role, *line)})] == found


def test_only_the_first_line_that_every_mark_meant_tells():
    """The key line has one mark's change alone, so the trigger tells; the feed behind it adds nothing."""
    mixed = list(turns("trigger_v", (10, "on"), (40, "off")))
    changes = {
        "key_v": turns("key_v", (10, "on"), (70, "on")),
        "trigger_v": turns("trigger_v", (10, "on"), (40, "off"), (50, "on")),
        "feed_v": turns("feed_v", (10, "on"), (80, "off")),
    }

    assert [each.time_s for each in _with_lines(mixed, changes)] == [10, 40, 50]
    assert [each.time_s for each in _with_lines(mixed[::-1], changes)] == [10, 40, 50]


@pytest.mark.parametrize(
    ("extra", "added"),
    [
        ([(20, "off"), (25, "on")], True),
        ([(20, "on"), (25, "off")], False),
        ([(20, "off")], False),
        ([(20, "off"), (20.14, "on")], False),
        ([(20, "off"), (20.16, "on")], True),
        ([(10.1, "off"), (20, "on")], False),
        ([(20, "off"), (39.9, "on")], False),
        ([(12 + 2 * n, "on" if n % 2 else "off") for n in range(8)], True),
        ([(12 + 2 * n, "on" if n % 2 else "off") for n in range(10)], False),
        ([], False),
    ],
)
def test_pairs_of_turns_between_two_marks_are_a_hands(extra: list[tuple[float, str]], added: bool):
    """0.15 s apart at least, up to eight of them, in pairs that lead back."""
    found = _unmarked_between(list(turns("key_v", (10, "on"), (40, "off"))), turns("key_v", *extra))

    assert [each.time_s for each in found] == [10, *(time_s for time_s, _ in extra if added), 40]


@pytest.mark.parametrize(
    ("text", "at_s", "contradicts"),
    [
        ("crank", 45.5, True),
        ("running", 45.5, True),
        ("slot 1 on", 45.5, True),
        ("crank", 44.5, False),
        ("crank", 54.5, True),
        ("crank", 55.5, False),
        ("crank", 30.0, False),
        ("engine off", 50.0, False),
    ],
)
def test_mark_that_needs_the_key_contradicts_a_key_noted_off(text: str, at_s: float, contradicts: bool):
    """More than 5 s from either end of the stretch that has it off, from 40 to 60 s."""
    marks = [Mark(10.0, "key on"), Mark(12.0, "key on"), Mark(40.0, "key off"), Mark(at_s, text)]
    found = key_state(points(1.0, {"drain_a": np.zeros(61)}), {}, marks, [])

    assert found.marks_contradict is contradicts
    if contradicts:
        assert (found.source, found.starts_on, found.turns) == ("none", False, ())
    else:
        assert (found.source, found.starts_on, [turn.time_s for turn in found.turns]) == ("marks", False, [10.0, 40.0])


@pytest.mark.parametrize(
    ("role", "text", "sure"),
    [("key_v", "uuuu", True), ("trigger_v", "uuuu", False), ("trigger_v", "dddd", True), ("trigger_v", "dduu", True)],
)
def test_line_that_is_up_throughout_is_sure_only_of_the_key(role: str, text: str, sure: bool):
    """A trigger or feed that is up all the time may only mean a log taken with the key on."""
    up = states(text)
    line = SwitchedLine(role, None, up, moves=not up.all(), pulsed=np.zeros(4, dtype=bool))

    found = key_state(points(1.0, {role: np.zeros(4)}), {role: line}, [], [])

    assert (found.source, found.starts_on, found.sure) == (role, text[0] == "u", sure)


def test_log_without_a_line_knows_what_its_currents_and_voltages_show():
    """The drain's channel alone is taken with the key off; with nothing at all nothing is known."""
    volts = parts((10, 12.8), (10, 12.4))

    assert key_state(points(1.0, {"drain_a": np.zeros(9)}), {}, [], []) == KeyState("none", False, (), sure=False)
    assert key_state(points(1.0, {"load_a": np.zeros(9)}), {}, [], []) == KeyState("none", None, (), sure=False)
    assert key_state(points(1.0, {"battery_v": volts}), {}, [], []).source == "battery_v"
    assert key_state(points(1.0, {"battery_a": volts, "battery_v": volts}), {}, [], []).sure
