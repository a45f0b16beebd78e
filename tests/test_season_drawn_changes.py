"""The axes of a season's figure, its changes and their words, coordinate by coordinate."""

import json
from datetime import timedelta

import pytest
from test_season_drawn import AT, TEN, after, change, drawn, part

from benchlog.season.model import Part


@pytest.mark.parametrize(
    ("one", "low", "high"),
    [
        (part([(0, 10.0), (10, 20.0)], doubt=None), 10 - 0.4, 20 + 1.2),
        (part([(0, 10.0), (10, 20.0)]), 9.8 - 0.416, 20.2 + 1.248),
        (part([(0, 10.0), (10, 20.0)], doubt=None, limit=(None, 30.0)), 10 - 0.8, 30 + 2.4),
        (part([(0, 10.0)], doubt=None), 10 - 0.4, 10 + 1.2),
        (part([(0, -10.0)], doubt=None), -10 - 0.4, -10 + 1.2),
        (part([(0, 0.0)], doubt=None), -1 / 3, 1.0),
    ],
)
def test_the_other_axis_holds_all_with_room_above(one: Part, low: float, high: float):
    """12 % of what is drawn above it, a third of that below; of a single value 12 % of itself, of zero one unit."""
    figure, _ = drawn(one)

    assert figure.layout.yaxis.range == pytest.approx((low, high))
    assert figure.layout.yaxis.title.text == "Cranking minimum / V"


@pytest.mark.parametrize(
    ("last", "first_shown", "last_shown"), [(4, -5.0, 9.0), (13, -0.5, 13.5), (100, -3.0, 103.0), (14, -0.42, 14.42)]
)
def test_the_time_axis_is_a_fortnight_or_wider(last: float, first_shown: float, last_shown: float):
    """Two weeks around a few days; 3 % of the stretch on either side of a longer one."""
    figure, _ = drawn(part([(0, 10.0), (last, 20.0)]))
    first, end = figure.layout.xaxis.range

    assert ((first - AT) / timedelta(days=1), (end - AT) / timedelta(days=1)) == pytest.approx(
        (first_shown, last_shown)
    )


def test_a_change_is_a_line_and_a_found_one_as_wide_as_its_doubt():
    """Noted: one line. Found between two readings: a band, its line in the middle; both widen the axis."""
    noted, caption = drawn(part(TEN), change(30))
    found, _ = drawn(part(TEN), change(80, 100))
    (line,) = noted.layout.shapes
    band, middle = found.layout.shapes

    assert (line.x0, line.x1, line.y0, line.y1, line.yref) == (after(30), after(30), 0, 1, "paper")
    assert (line.line.dash, line.line.width) == ("dot", 2)
    assert (band.x0, band.x1, band.layer, band.line.width) == (after(80), after(100), "below", 0)
    assert middle.x0 == middle.x1 == after(90)
    assert (found.layout.xaxis.range[1] - AT) / timedelta(days=1) == pytest.approx(103.0)
    assert caption.endswith("readings with their uncertainty (k = 2) and changes dotted.")
    assert noted.layout.margin.t > 18


@pytest.mark.parametrize(("day", "drawn_so"), [(0.0, False), (0.1, True)])
def test_a_change_before_all_readings_parts_nothing(day: float, drawn_so: bool):
    """It has to come after the first."""
    figure, caption = drawn(part(TEN), change(day))

    assert bool(figure.layout.shapes) is drawn_so
    assert ("changes" in caption) is drawn_so


def test_a_change_of_something_else_is_not_drawn():
    """Heated grips part no cranking minimum."""
    assert not drawn(part(TEN), change(30, what="grips"))[0].layout.shapes


@pytest.mark.parametrize(
    ("at", "words"),
    [
        ([50.0], [(50.0, "change", "left")]),
        ([72.0], [(72.0, "change", "left")]),
        ([80.0], [(80.0, "change", "right")]),
        ([20.0, 40.0], [(20.0, "2 changes", "left")]),
        ([20.0, 46.0], [(20.0, "change", "left"), (46.0, "change", "left")]),
        ([40.0, 80.0], [(40.0, "2 changes", "left")]),
        ([20.0, 80.0], [(20.0, "change", "left"), (80.0, "change", "right")]),
        ([60.0, 70.0, 80.0], [(60.0, "3 changes", "left")]),
        ([79.0, 85.0], [(85.0, "2 changes", "right")]),
    ],
)
def test_words_of_changes_share_what_is_too_near(at: list[float], words: list[tuple[float, str, str]]):
    """An axis of 106 days: a word takes 24 %, 25.4 days, twice that before one that must stand left of its line."""
    long = [(float(10 * k), 20.0 + k) for k in range(11)]
    figure, _ = drawn(part(long), *(change(day) for day in at))
    told = [((note.x - AT) / timedelta(days=1), note.text, note.xanchor) for note in figure.layout.annotations]

    assert told == [(pytest.approx(day), text, side) for day, text, side in words]
    assert all((note.y, note.yref, note.showarrow) == (1, "paper", False) for note in figure.layout.annotations)


def test_ticks_have_days_months_and_years():
    """As finely as there is room: nothing but these three forms, upright."""
    figure, _ = drawn(part(TEN))
    axis = json.loads(figure.to_json())["layout"]["xaxis"]

    assert [stop["value"] for stop in axis["tickformatstops"]] == ["%-d %b\n%Y", "%b\n%Y", "%Y"]
    assert axis["tickangle"] == 0


def test_captions_name_one_reading_and_several():
    """With its uncertainty, with theirs, or without."""
    one, several = part([(0, 10.0)]), part([(0, 10.0), (5, 11.0)])
    bare = part([(0, 10.0)], doubt=None)

    assert [drawn(each)[1] for each in (one, several, bare)] == [
        "Cranking minimum: one reading with its uncertainty (k = 2).",
        "Cranking minimum: readings with their uncertainty (k = 2).",
        "Cranking minimum: one reading.",
    ]
