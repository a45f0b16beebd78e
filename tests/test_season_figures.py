"""What is drawn of a season: thousands of readings by their medians, one by its date, changes by a word each."""

import html
import json
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from season_cases import START, whole_season

from benchlog.plan.model import Limits
from benchlog.season import Season, season_of
from benchlog.season.as_json import season_json
from benchlog.season.figures import LEAST_SHOWN, drawn_of, part_drawing, part_figure
from benchlog.season.report import render_html
from benchlog.season.series import series_of
from benchlog.season.trend import MOST_READINGS
from benchlog.store.readings import Reading

LIMITS = Limits(resting_min_v=12.6, source_resistance_max_mohm=40, crank_min_v=9.6)


def _season(readings: list[Reading], changes=(), limits: Limits | None = LIMITS) -> Season:
    today = max(reading.at for reading in readings).date() + timedelta(days=1)
    return season_of(readings, changes, chemistry="agm", capacity_ah=11.2, limits=limits, today=today, bike="Larch")


def _readings(days, quantity: str = "crank_minimum", value: float = 10.5, uncertainty: float | None = 0.02):
    rng = np.random.default_rng(3)
    return [Reading(START + timedelta(days=float(day)), quantity, value + rng.normal(0, 0.01), uncertainty, 18.0)
            for day in days]  # fmt: skip


@pytest.fixture(scope="module")
def long() -> Season:
    """3,000 readings of each quantity over a year."""
    return _season(whole_season(np.random.default_rng(1), n=3000))


def _measured(season: Season, quantity: str = "crank_minimum"):
    figure = part_figure(season.part(quantity), season)
    return next(trace for trace in figure.data if str(trace.name).startswith("measured"))


def test_thousands_of_readings_are_drawn_by_the_trends_own_medians(long):
    """3,000 readings become 1,000 points at most: the very ones that the trend is made from, without bars."""
    part = long.part("crank_minimum")
    series = series_of(part.readings, part.quantity)
    points = _measured(long)
    days = points.x.astype("datetime64[ms]").astype(float) / 86_400_000

    assert len(part.readings) == 3000
    assert 900 < len(points.y) <= MOST_READINGS
    assert np.asarray(points.y) == pytest.approx(series.value)
    assert days == pytest.approx(series.day, abs=1e-6)
    assert points.error_y.visible is None
    assert points.name == "measured, medians"


def test_medians_keep_one_wild_reading_from_the_drawing():
    """Four readings in each stretch: one of 1 V moves no point of the drawing."""
    readings = _readings(np.linspace(0, 360, 4 * MOST_READINGS))
    readings[1801] = Reading(readings[1801].at, "crank_minimum", 1.0, 0.02, 18.0)

    assert min(_measured(_season(readings)).y) > 10.4


def test_caption_of_medians_says_so(long):
    """How many readings there are, and that medians of equal stretches of time stand for them."""
    part = long.part("crank_minimum")
    _, caption = part_drawing(part, long)

    points = len(drawn_of(part).day)
    assert f"3,000 readings, drawn as {points:,} medians of equal stretches of time" in caption
    assert "uncertainty" not in caption
    assert caption in html.unescape(render_html(long))


def test_json_keeps_every_reading(long):
    """What is left out of the drawing stays in the figures for other programs."""
    data = json.loads(season_json(long))

    assert [len(part["readings"]) for part in data["parts"].values()] == [3000] * 5


def test_page_of_50_000_readings_is_small():
    """10,000 readings of each quantity draw a page of less than 2 MB, 1.2 of it the script that draws."""
    season = _season(whole_season(np.random.default_rng(1), n=10_000))

    assert len(render_html(season).encode()) < 2_500_000


def test_few_readings_are_drawn_as_they_are():
    """1,000 readings are 1,000 points; 40 of them carry their uncertainty, and the caption says which."""
    some, many = _season(_readings(np.arange(40) * 9)), _season(_readings(np.linspace(0, 360, MOST_READINGS)))
    few, all_ = _measured(some), _measured(many)

    assert list(few.y) == [reading.value for reading in some.part("crank_minimum").readings]
    assert (few.error_y.visible, all_.error_y.visible) == (True, None)
    assert len(all_.y) == MOST_READINGS
    assert "readings with their uncertainty (k = 2)" in part_drawing(some.part("crank_minimum"), some)[1]
    assert part_drawing(many.part("crank_minimum"), many)[1].startswith("Cranking minimum: readings and the trend")


@pytest.mark.parametrize("days", [[0.0], [0.0, 0.001], [0.0, 3.0]])
def test_short_seasons_stand_among_dates(days):
    """One reading, two of one hour and two of three days: the axis shows a fortnight, the readings in its middle."""
    season = _season(_readings(days))
    first, last = part_figure(season.part("crank_minimum"), season).layout.xaxis.range

    assert last - first == LEAST_SHOWN == timedelta(days=14)
    assert (first + (last - first) / 2) - START == pytest.approx(timedelta(days=days[-1] / 2), abs=timedelta(seconds=1))


def test_axis_holds_everything_that_is_drawn():
    """First and last reading, the trend and a change after the last reading lie inside the axis, with room beside."""
    season = _season(_readings(np.arange(0, 200, 10)), [(START.date() + timedelta(days=190), "new battery")])
    figure = part_figure(season.part("crank_minimum"), season)
    first, last = figure.layout.xaxis.range
    drawn = np.concatenate([trace.x for trace in figure.data])

    assert np.datetime64(first.replace(tzinfo=None)) < drawn.min()
    assert drawn.max() < np.datetime64(last.replace(tzinfo=None))
    assert all(first < shape.x0 < last for shape in figure.layout.shapes if shape.x0 == shape.x1 and shape.yref)


def test_caption_names_only_what_is_drawn():
    """One reading without a limit has no trend, no change and no limit to speak of."""
    season = _season(_readings([0.0]), limits=None)

    assert part_drawing(season.part("crank_minimum"), season)[1] == (
        "Cranking minimum: one reading with its uncertainty (k = 2)."
    )


def _words(lines: list[float], days: float = 360.0):
    """The words above the changes: their ends as shares of the axis, as wide as they are on a phone, and the texts."""
    noted = [(START.date() + timedelta(days=round(line * days)), f"battery {line}") for line in lines]
    season = _season(_readings(np.linspace(0, days, 60)), noted)
    figure = part_figure(season.part("crank_minimum"), season)
    first, last = figure.layout.xaxis.range
    found = []
    for note in figure.layout.annotations:
        if "change" in note.text:
            assert (note.y, note.yref, note.yanchor) == (1, "paper", "bottom")
            at = (note.x - first) / (last - first)
            # 5.2 px a letter of 11 px beside an axis of 250 px
            wide = 5.8 * len(note.text) / 250
            found.append((at, at + wide, note.text) if note.xanchor == "left" else (at - wide, at, note.text))
    return sorted(found)


@pytest.mark.parametrize(
    ("lines", "texts"),
    [
        ([0.5], ["change"]),
        ([0.97], ["change"]),
        ([0.2, 0.7], ["change", "change"]),
        ([0.5, 0.55], ["2 changes"]),
        ([0.1, 0.3, 0.5, 0.7, 0.9], None),
        ([0.6, 0.98], None),
        ([0.05, 0.1, 0.4, 0.42, 0.8, 0.95, 0.99], None),
    ],
)
def test_words_of_changes_never_touch(lines, texts):
    """Above the plot, no two over each other, none beyond the axis, together they count every change."""
    words = _words(lines)
    counted = sum(1 if text == "change" else int(text.split()[0]) for _, _, text in words)

    assert texts is None or [text for _, _, text in words] == texts
    assert counted == len(lines)
    assert all(end <= start for (_, end, _), (start, _, _) in pairwise(words))
    assert words[0][0] >= 0
    assert words[-1][1] <= 1


def test_change_before_every_reading_is_not_drawn():
    """A battery noted for a day in 1990 parts nothing, and does not stretch the axis to 36 years."""
    season = _season(_readings(np.arange(0, 200, 10)), [(date(1990, 1, 1), "first battery")])
    figure = part_figure(season.part("crank_minimum"), season)

    assert figure.layout.xaxis.range[0] > datetime(2025, 1, 1, tzinfo=UTC)
    assert not [note for note in figure.layout.annotations if "change" in note.text]
