"""Words on the pages: nothing is cut or torn, and nobody is told of options that a page does not have."""

import pytest
from page_server import until
from test_pages import context, filled, texts  # noqa: F401  # fixtures, by their names

from benchlog.report.text import render_text
from dashboards import log_view
from dashboards.looked import at_hand, behind, reading
from dashboards.one_result import result_page
from dashboards.parts.boxes import boxes
from dashboards.parts.nothing import nothing


def test_boxes_keep_words_and_per_cents_whole():
    """A long text, and a path without a space, get a wide box; a per cent sign stays with its number."""
    drawn = boxes([("Score", "11 of 19 passed (57.9 %)"), ("Port", "/dev/serial/by-id/one"), ("Log", "a.csv")])

    assert [one.className for one in drawn.children] == ["box", "box long", "box"]
    assert texts(drawn.children[0]) == "Score 11 of 19 passed (57.9\N{NO-BREAK SPACE}%)"


def test_empty_box_lists_what_to_type():
    """What each command does, and the command as it is typed; without commands the text stands alone."""
    assert texts(nothing("None yet.", [("Make one", "benchlog demo")])) == "None yet. Make one benchlog demo"
    assert texts(nothing("None yet.")) == "None yet."


def test_a_result_on_a_page_names_no_option(context):  # noqa: F811  # the fixture
    """What the terminal calls --before is dropped in on a page; the result itself says what is missing, no more."""
    whose = behind(context, "record 2")
    shown = texts(result_page(context, whose, [], []))

    assert whose.result.check("added_drain").because == "No log from before the install was given."
    assert "No log from before the install was given; name it with --before." in " ".join(
        render_text(whose.result).split()
    )
    assert "No log from before the install was given; drop one in together with the log." in shown
    assert "--" not in shown


@pytest.mark.parametrize(
    ("shown", "words"), [((0, 38), "0.0 to 38.0 s"), ((10, 10.02), "10.0000 to 10.0200 s"), ((0, 5), "0.00 to 5.00 s")]
)
def test_a_stretch_has_as_many_digits_as_tell_it(context, shown, words):  # noqa: F811  # the fixture
    """A whole log is told to a tenth of a second, twenty milliseconds to a tenth of one."""
    whose = behind(context, "record 2")
    job = reading(context, whose, 0)
    until(lambda: job.state == "done")
    looked = at_hand(context, whose, 0)

    assert log_view.said(looked, shown, {}).startswith(words)
