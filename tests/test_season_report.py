"""A season as text, figures and page: words, units, marks, and nothing that a name could smuggle in."""

import json
import re
from datetime import date, timedelta

import numpy as np
import pytest
from season_cases import START, whole_season
from season_table import AGEING, NEW_BATTERY

from benchlog.plan.model import Limits
from benchlog.season import Change, Season, season_of
from benchlog.season.as_json import bikes_json, season_json
from benchlog.season.bikes import at_a_glance, render_bikes
from benchlog.season.chart import chart, fold, render_season
from benchlog.season.dates import between_words
from benchlog.season.figures import part_figure
from benchlog.season.newest import folded_advice
from benchlog.season.report import render_html
from benchlog.store.readings import Reading

LIMITS = Limits(resting_min_v=12.6, source_resistance_max_mohm=40, crank_min_v=9.6, off_state_drain_ma=1.0)


def made(bike: str = "Larch", changes=(), **worse: float) -> Season:
    """A season with a new battery on day 200; ``worse`` adds to every reading of a quantity."""
    readings = whole_season(np.random.default_rng(5), step_day=200, steps=NEW_BATTERY, per_year=AGEING)
    readings = [
        Reading(r.at, r.quantity, r.value + worse.get(r.quantity, 0.0), r.uncertainty, r.temperature_c)
        for r in readings
    ]
    return season_of(readings, changes, chemistry="agm", capacity_ah=11.2, limits=LIMITS,
                     today=(START + timedelta(days=380)).date(), bike=bike)  # fmt: skip


@pytest.fixture(scope="module")
def season() -> Season:
    """The season of one bike."""
    return made()


def test_text_fits_a_terminal(season):
    """80 columns, no colour codes unless asked for, and it ends with a newline."""
    text = render_season(season)

    assert max(map(len, text.splitlines())) <= 80
    assert "\x1b" not in text
    assert text.endswith("\n")
    assert "\x1b[1m" in render_season(season, colour=True)


def test_text_says_what_it_found(season):
    """Advice, charge, days, the change and each quantity's trend are there, the worst advice first."""
    text = " ".join(render_season(season).split())

    assert text.index(season.advice[0].words) < text.index("What to do, worst first")
    assert f"{season.charge.words}:" in text
    assert f"can stand {season.standing.words}" in text
    assert "as with a new battery" in text
    assert "note it with --changed" in text
    assert "before, 10 March 2025 to" in text


def test_change_of_the_store_is_named_by_its_number():
    """Text, page and JSON name it, so that it can be taken back; one that is in no store has none."""
    entered = made(changes=[Change(date(2025, 9, 19), "new battery", 41), Change(date(2151, 1, 1), "slip", 42)])
    plain = made(changes=[(date(2025, 9, 19), "new battery")])
    data = json.loads(season_json(entered))

    for text in (" ".join(render_season(entered).split()), render_html(entered)):
        assert "change 41, 19 September 2025: new battery" in text
        assert "change 42, 1 January 2151: slip, which does not count yet" in text
    assert "change 41" not in render_season(plain)
    assert "19 September 2025: new battery" in render_season(plain)
    assert [one["number"] for one in data["breaks"]] == [41]
    assert data["later"] == [{"on": "2151-01-01", "what": "slip", "number": 42}]


def test_chart_has_limit_change_and_dates(season):
    """The limit is dashed, the change a bar, each named below; the first and last day stand at the edges."""
    part = season.part("source_resistance")

    lines = chart(part, season.breaks_of("source_resistance"))

    assert any("╌" in line for line in lines)
    assert sum("│" in line for line in lines) >= 4
    assert "2025-03-10" in lines[-2]
    assert "2026-03-10" in lines[-2]
    assert "limit 40" in lines[-1]


def test_chart_dots_fall_and_rise_with_the_readings():
    """The highest reading is in the first row, the lowest in the last."""
    readings = [
        Reading(START + timedelta(days=10 * k), "crank_minimum", value) for k, value in enumerate((9.0, 10.0, 11.0))
    ]
    part = season_of(readings, chemistry="agm", capacity_ah=10, today=date(2026, 1, 1)).part("crank_minimum")

    rows = [line.split("┤", 1)[1] for line in chart(part, []) if "┤" in line]

    assert [index for index, row in enumerate(rows) if row.strip()] == [0, 2, 4]
    assert rows[4][0] != " "
    assert rows[0].rstrip()[-1] == rows[0][-1]


def test_units_stay_with_their_numbers():
    """No line ends between a number and its unit."""
    lines = fold("the drain is " + "1.25 mA and " * 20, "", "  ", 40)

    assert not [line for line in lines if re.search(r"\d$", line)]


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (date(2026, 9, 12), date(2026, 9, 20), "between 12 and 20 September 2026"),
        (date(2026, 8, 28), date(2026, 9, 3), "between 28 August and 3 September 2026"),
        (date(2025, 12, 28), date(2026, 1, 3), "between 28 December 2025 and 3 January 2026"),
        (date(2026, 9, 12), date(2026, 9, 12), "on 12 September 2026"),
    ],
)
def test_dates_are_said_once(first, last, words):
    """What two dates share is not repeated."""
    assert between_words(first, last) == words


def test_limit_without_a_reading_since_a_change_is_still_a_limit():
    """What was not measured since the last change has its limit, and says that a reading is missing; days are words."""
    day = START + timedelta(days=380)
    text = " ".join(render_season(made(changes=[(day.date(), "heated grips")])).split())

    assert "now no value; at most 1 mA; not measured since the last change trend" in text
    assert "now no value; no limit planned trend" in text
    assert not re.search(r"charge on \d{4}-", text)


def test_figure_has_units_bars_limit_change_and_band(season):
    """Every figure names its unit; uncertainty bars, limit, change and trend are drawn."""
    figure = part_figure(season.part("source_resistance"), season)
    names = [trace.name for trace in figure.data if trace.name]
    measured = next(trace for trace in figure.data if trace.name == "measured")

    assert figure.layout.yaxis.title.text == "Source resistance / mΩ"
    assert measured.error_y.visible
    assert {"measured", "trend", "at 20 °C"} <= set(names)
    assert any("most 40 mΩ" in str(note.text) for note in figure.layout.annotations)
    assert any("change" in str(note.text) for note in figure.layout.annotations)
    assert any(trace.fill == "toself" for trace in figure.data)


def test_no_readings_no_figure():
    """A quantity that was never measured has none."""
    empty = season_of([], chemistry="agm", capacity_ah=10, today=date(2026, 1, 1))

    assert part_figure(empty.part("crank_minimum"), empty) is None
    assert "plot-0" not in render_html(empty)
    assert "nothing measured yet" in render_season(empty)


def test_page_stands_alone_and_says_the_same(season):
    """No address is fetched; plotly is inside once; advice, change and quantities are there."""
    page = render_html(season)

    assert not re.findall(r'(?:src|href)="(?!data:)', page.split("<script>")[0])
    assert page.count('id="figures"') == 1
    assert page.count('class="plot"') == 5
    assert all(advice.words in page for advice in folded_advice(season))
    assert "as with a new battery" in page


def test_names_are_only_text():
    """A bike or a note named like a tag or a control code is shown, not obeyed."""
    nasty = made("<script>alert(1)</script>\x1b[2J", [(date(2025, 9, 26), "<img src=x> battery")])
    page, text = render_html(nasty), render_season(nasty)

    assert "<script>alert(1)" not in page
    assert "<img src=x>" not in page
    assert "\x1b" not in text


def test_json_is_whole_and_plain(season):
    """Every part by its quantity, dates as ISO 8601, nothing that JSON has no word for."""
    data = json.loads(season_json(season), parse_constant=pytest.fail)

    assert list(data["parts"]) == [part.quantity for part in season.parts]
    assert data["standing"]["until"] == season.standing.until.isoformat()
    assert data["charge"]["words"] == season.charge.words
    assert data["advice"][0]["words"] == season.advice[0].words
    assert data["parts"]["source_resistance"]["trend"]["per_year"] == season.part("source_resistance").trend.per_year


def test_bikes_stand_worst_first():
    """The bike whose battery needs attention comes before those that are fine, then by name."""
    glances = at_a_glance([made("Birch"), made("Yew", source_resistance=30.0, crank_minimum=-3.0), made("Alder")])
    text = render_bikes(glances)

    assert [glance.bike for glance in glances] == ["Yew", "Alder", "Birch"]
    assert glances[0].advice.words == "replace soon"
    assert text.startswith("▲ Yew: replace soon")
    assert max(map(len, text.splitlines())) <= 80
    assert json.loads(bikes_json(glances))["bikes"][0]["bike"] == "Yew"
