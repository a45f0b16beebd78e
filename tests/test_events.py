"""Marks: each text that settles something is one event, whatever its case and spacing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchlog.core.events import BY_SLOT, PLAIN, Event, SlotOn, event_of, seconds_ago
from benchlog.core.marks import mark_notes
from benchlog.core.trace import Mark, standing, times_of

EVERY: tuple[Event, ...] = (*PLAIN, *(kind(slot) for kind in BY_SLOT for slot in (1, 3, 12)))


@pytest.mark.parametrize("event", EVERY, ids=lambda event: event.text)
@pytest.mark.parametrize("between", ["  ", "\t", " \u00a0 "], ids=["two spaces", "tab", "hard space"])
def test_spacing_and_case_do_not_count(event: Event, between: str):
    """More spaces than one, tabs, hard spaces and capital letters change nothing."""
    text = f"  {between.join(event.text.split()).title()} "

    assert event_of(event.text) == event
    assert event_of(text) == event_of(text.upper()) == event
    assert mark_notes([Mark(1.0, text)], [1, 3, 12]) == []


def test_events_of_one_kind_differ_by_their_slot():
    """What was noted of slot 2 is not said of slot 12."""
    marks = [Mark(1.0, "slot 2 on"), Mark(2.0, "SLOT  12 on"), Mark(3.0, "slot 2  ON")]

    assert times_of(marks, SlotOn(2)) == [1.0, 3.0]


@pytest.mark.parametrize(
    "text", ["", "slot on", "slot 2", "slot 2 out", "fuse 2 on", "slot two on", "key on again", "zeroend", "slot -1 on"]
)
def test_anything_else_is_free_text(text: str):
    """A text that is not one of them stands for nothing, however near it comes."""
    assert event_of(text) is None


@given(st.lists(st.sampled_from(["slot", "fuse", "key", "on", "off", "in", "out", "zero", "end", "1", "02", "12345"])))
def test_reading_what_was_read_changes_nothing(words: list[str]):
    """Any words are read or left, and an event's own text stands for that event."""
    event = event_of("  ".join(words))

    assert event is None or event_of(event.text) == event


def test_a_number_without_end_is_free_text():
    """A slot of ten thousand digits is no slot."""
    assert event_of(f"slot {'1' * 10000} on") is None


@pytest.mark.parametrize(
    ("text", "what", "ago_s"),
    [
        ("slot 3 on 20.1 s ago", "slot 3 on", 20.1),
        ("Slot 3  on, 4 s ago", "slot 3 on", 4.0),
        ("key off 0.5 s ago", "key off", 0.5),
        ("slot 3 on", "slot 3 on", 0.0),
        ("The horn sounded 3 s ago", "The horn sounded 3 s ago", 0.0),
        ("slot 3 on a while ago", "slot 3 on a while ago", 0.0),
    ],
)
def test_what_was_noted_late_says_how_long_before(text: str, what: str, ago_s: float):
    """In seconds; free text stays as it was written."""
    assert seconds_ago(text) == (what, ago_s)


def test_what_was_noted_late_counts_at_its_own_time():
    """Noted at 34 and 36 s; the first was so 20 s before, and a withdrawal finds it all the same."""
    marks = [Mark(20.0, "slot 2 on"), Mark(34.0, "slot 3 on 20 s ago"), Mark(36.0, "slot 4 on")]

    assert [(mark.time_s, mark.text) for mark in standing(marks)] == [
        *((14.0, "slot 3 on"), (20.0, "slot 2 on"), (36.0, "slot 4 on")),
    ]
    gone = standing([*marks, Mark(40.0, "slot 3 withdrawn")])
    assert [mark.text for mark in gone] == ["slot 2 on", "slot 4 on", "slot 3 withdrawn"]
