"""The season's page as functions: changes are noted and taken back as by the command, words fit the page."""

import shutil
from datetime import UTC, date
from pathlib import Path

import pytest
from dash import html
from page_server import NASTY, SAMPLES, fill
from test_pages import texts

from benchlog.core.errors import BenchlogError
from benchlog.season.todo import KEEP_IT, NOTE_IT
from benchlog.store import open_store
from dashboards.change_list import change_list, question, take_back
from dashboards.context import Context
from dashboards.note_form import FIRST_DAY, MOST_WHAT, note, said
from dashboards.season_page import glances, season_at, season_page
from dashboards.settings import Settings
from dashboards.trays import Trays
from dashboards.words import empty

TODAY = date(2026, 3, 1)


@pytest.fixture
def context(tmp_path: Path):
    """The sample season's 40 records of "Larch"."""
    shutil.copy(SAMPLES / "season" / "records.sqlite", tmp_path / "records.sqlite")
    made = Context(Settings(), open_store(str(tmp_path / "records.sqlite")), Trays(1 << 20))
    yield made
    made.close()


def test_change_is_noted_in_the_ledger(context):
    """Day and words stand in the store as the command would have them, chained like every entry."""
    number, _ = context.store.head()
    address = note(context, "Larch", "2025-09-20", "  new battery ", TODAY)
    (change,) = context.store.changes("Larch")

    assert (change.on, change.what, change.number) == (date(2025, 9, 20), "new battery", number + 1)
    assert address == f"/season?bike=Larch&noted={change.number}"
    assert context.store.verify() == []


def test_noted_change_parts_the_season(context):
    """Before, the step is told from the readings alone; after, by its day and its words."""
    before = texts(season_page(context, "Larch", UTC)[1])
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    after = texts(season_page(context, "Larch", UTC)[1])

    assert "Something changed between 16 and 25 September 2025" in before
    assert "20 September 2025: new battery" in after
    assert "Something changed" not in after


@pytest.mark.parametrize(
    ("bike", "on", "what", "words"),
    [
        ("Larch", "", "new battery", "the day must be written as year-month-day, such as 2026-09-20; got nothing"),
        ("Larch", None, "new battery", "got nothing"),
        ("Larch", "20.9.2025", "new battery", "got 20.9.2025"),
        ("Larch", "2025-02-30", "new battery", "got 2025-02-30"),
        ("Larch", "2026-03-02", "new battery", "the day must lie between 1970-01-01 and today, 2026-03-01"),
        ("Larch", "1969-12-31", "new battery", "the day must lie between"),
        ("Larch", "2025-09-20", "  ", "say what was changed, such as: new battery"),
        ("Larch", "2025-09-20", None, "say what was changed"),
        ("Larch", "2025-09-20", "x" * (MOST_WHAT + 1), "201 characters; at most 200 are kept"),
        ("Larch", "2025-09-20", "two\nlines", "must be one line of text"),
        ("Elm", "2025-09-20", "new battery", "there is no sheet of this bike any more"),
        (None, "2025-09-20", "new battery", "there is no sheet of this bike any more"),
        (["Larch"], "2025-09-20", "new battery", "there is no sheet of this bike any more"),
        ("Larch", "9" * 1000, "new battery", "got 99999999999999999999$"),
    ],
)
def test_what_cannot_be_noted_is_said(context, bike, on, what, words):
    """One message for each, and nothing is written."""
    with pytest.raises(BenchlogError, match=words):
        note(context, bike, on, what, TODAY)

    assert context.store.changes("Larch") == []


def test_a_second_click_notes_nothing(context):
    """The same words for the same day are there already; another thing on that day is another change."""
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    with pytest.raises(BenchlogError, match="already noted for that day"):
        note(context, "Larch", "2025-09-20", "new battery", TODAY)
    note(context, "Larch", "2025-09-20", "heated grips", TODAY)
    note(context, "Larch", FIRST_DAY.isoformat(), "first battery", TODAY)

    assert [change.what for change in context.store.changes("Larch")] == [
        "first battery",
        "new battery",
        "heated grips",
    ]


def test_change_is_taken_back_in_the_ledger(context):
    """As the command does it: an entry more, the season as before, and the same words can be noted again."""
    before = texts(season_page(context, "Larch", UTC)[1])
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    (change,) = context.store.changes("Larch")
    address = take_back(context, "Larch", change.number)
    after = texts(season_page(context, "Larch", UTC)[1])
    number, _ = context.store.head()

    assert address == "/season?bike=Larch"
    assert after == before
    assert number == change.number + 1
    assert context.store.verify() == []
    assert note(context, "Larch", "2025-09-20", "new battery", TODAY).startswith(address)


def test_taking_back_asks_first(context):
    """The question names the day and the words; nothing is written until it is answered."""
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    (change,) = context.store.changes("Larch")
    asked = texts(question(context, "Larch", change.number))

    assert "Take back “new battery” of 20 September 2025?" in asked
    assert context.store.changes("Larch") == [change]
    with pytest.raises(BenchlogError, match="this change is no longer in the list"):
        question(context, "Elm", change.number)


def test_what_was_noted_is_shown(context):
    """The season that a note leads to says what was noted; another number says nothing."""
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    (change,) = context.store.changes("Larch")
    shown = [texts(season_page(context, "Larch", UTC, str(number))[1]) for number in (change.number, 7, "<b>")]

    assert ["Noted: " in one for one in shown] == [True, False, False]
    assert "20 September 2025: new battery" in shown[0].split("Noted: ")[1][:60]


@pytest.mark.parametrize(
    ("bike", "number"),
    [("Larch", 1), ("Larch", 42), ("Larch", "41"), ("Larch", None), ("Larch", True), ("Larch", [41]), ("Larch", 41.0),
     ("Larch", 2**70), ("Elm", 41), (None, 41), (["Larch"], 41)],
)  # fmt: skip
def test_what_cannot_be_taken_back_is_said(context, bike, number):
    """Only the number of a change that stands in this bike's list; nothing else is written, or breaks anything."""
    note(context, "Larch", "2025-09-20", "new battery", TODAY)
    with pytest.raises(BenchlogError, match="this change is no longer in the list; open the season again"):
        take_back(context, bike, number)

    assert [change.number for change in context.store.changes("Larch")] == [41]


def test_every_noted_change_has_its_button(context):
    """Named by day and words; a step that only the readings tell has none, one of a later day has its own."""
    note(context, "Larch", "2025-03-01", NASTY, TODAY)
    context.store.note_change("Larch", date(2152, 1, 1), "new battery")
    season = season_at(context, "Larch", TODAY, UTC)
    lines = change_list(season).children[0].children
    buttons = [[one for one in line.children if isinstance(one, html.Button)] for line in lines]

    assert [[(one.id["number"], getattr(one, "aria-label")) for one in own] for own in buttons] == [
        [(41, f"Take back: 1 March 2025: {NASTY}")],
        [],
        [(42, "Take back: 1 January 2152: new battery, which does not count yet")],
    ]


def test_messages_on_a_page_are_sentences():
    """What the library says in lower case begins and ends as a sentence does."""
    assert said(BenchlogError("the store is gone; open it again")) == "The store is gone; open it again."


def test_page_names_no_option_of_the_command(context):
    """A reader of the page has no command line before them: it tells of the form below, and offers it."""
    _, content = season_page(context, "Larch", UTC)
    shown = texts(content)

    assert "note what it was below" in shown
    assert "Note the change" in shown
    assert "--" not in shown
    assert NOTE_IT.endswith("--changed")
    assert KEEP_IT.endswith("--save")


def test_without_a_change_the_form_is_there(tmp_path):
    """A bike whose readings show no change can have one noted all the same."""
    with open_store(str(tmp_path / "records.sqlite")) as store:
        fill(store, tmp_path)
        made = Context(Settings(), store, Trays(1 << 20))
        shown = texts(season_page(made, "Alder", UTC)[1])
        made.trays.close()
        made.works.close()

    assert empty.NO_CHANGE in shown
    assert "Note the change" in shown
    assert "too few readings for a trend: one so far, 6 over 60 days are needed" in shown
    assert "one reading with its uncertainty (k = 2)" in shown


def test_words_of_a_change_stay_text(context):
    """A change whose words are HTML is a text of the list."""
    note(context, "Larch", "2025-09-20", NASTY, TODAY)
    _, content = season_page(context, "Larch", UTC)

    assert f"20 September 2025: {NASTY}" in texts(content)


@pytest.mark.parametrize(("today", "past"), [(date(2026, 6, 27), False), (date(2026, 6, 28), True)])
def test_a_day_that_is_past_is_marked(context, today, past):
    """Until 27 June it could surely stand; from the day after on the glance says that this is past."""
    shown = texts(glances([season_at(context, "Larch", today, UTC)], UTC))

    assert ("until 27 Jun 2026, which is past" in shown) is past
    assert "until 27 Jun 2026" in shown
