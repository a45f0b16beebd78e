"""Which line is which: under every figure, as text, in the report and on the pages, and never inside the drawing."""

import re
from datetime import UTC, datetime, timedelta

import plotly.graph_objects as go
import pytest
from report_samples import healthy, log_evidence

from benchlog.plan.model import Limits
from benchlog.report.figures import (
    circuits_figure,
    load_figure,
    log_figure,
    minute_figure,
    off_state_figure,
    relay_figure,
)
from benchlog.report.figures.in_page import filled
from benchlog.report.figures.legend import LegendEntry, entries_of, entries_of_roles, swatch
from benchlog.report.html import render_html
from benchlog.season import season_of
from benchlog.season.figures import part_figure
from benchlog.store.readings import Reading


def test_lines_are_named_once_in_their_colour_and_dash():
    """Every relay event of one channel shares an entry; the trigger is dotted as it is drawn."""
    figure = relay_figure(log_evidence("a.csv"), "pull in", 30.0)
    entries = entries_of(figure)
    drawn = {trace.name: (trace.line.color, trace.line.dash) for trace in figure.data}

    assert [(entry.name, entry.kind, entry.style) for entry in entries] == [
        ("trigger voltage", "line", "dotted"),
        ("feed voltage", "line", "solid"),
    ]
    assert [entry.colour for entry in entries] == [drawn[entry.name][0] for entry in entries]
    assert entries == [*entries_of_roles(["trigger_v", "feed_v"])]


def test_markers_and_bars_look_as_they_are_drawn():
    """The circuits' window is a filled box, the planned current a stroke, the measured one a diamond."""
    entries = entries_of(circuits_figure(healthy()))

    assert [(entry.name, entry.kind) for entry in entries] == [
        ("allowed", "box"), ("planned", "stroke"), ("measured", "diamond"),
    ]  # fmt: skip
    assert swatch(entries[0]) == {"color": "#c4621a", "border-style": "solid", "background": "rgba(47,127,193,0.22)"}


def test_points_are_dots_and_open_ones_rings():
    """Steady loads are dots, readings as they would be at 20 °C rings."""
    figure = go.Figure([go.Scatter(mode="markers", name="a", marker={"color": "#000"}),
                        go.Scatter(mode="markers", name="b", marker={"color": "#111", "symbol": "circle-open"}),
                        go.Scatter(mode="lines", name="c", line={"color": "#222"}, showlegend=False),
                        go.Scatter(mode="lines", line={"color": "#333"})])  # fmt: skip

    assert entries_of(figure) == [LegendEntry("a", "dot", "#000"), LegendEntry("b", "ring", "#111")]


def test_no_figure_has_a_legend_inside():
    """Inside a figure a legend would squeeze the drawing on a phone and touch the words above it."""
    result, evidence = healthy(), log_evidence("a.csv")
    reading = Reading(datetime(2026, 3, 1, tzinfo=UTC), "crank_minimum", 10.5)
    season = season_of([reading], chemistry="agm", capacity_ah=10, limits=Limits(crank_min_v=9.6),
                       today=(reading.at + timedelta(days=1)).date())  # fmt: skip
    figures = [log_figure(evidence), relay_figure(evidence, "drop out", 60.0), circuits_figure(result),
               load_figure(evidence, result, "feed"), off_state_figure(evidence, result),
               part_figure(season.part("crank_minimum"), season)]  # fmt: skip
    shown = [figure.layout.showlegend for figure in figures if figure is not None]

    assert len(shown) >= 4
    assert set(shown) == {False}
    assert minute_figure((), {})["layout"]["showlegend"] is False


def test_report_names_every_line_under_its_figure():
    """Each figure of the report has its own list of names, every one of them drawn in that figure."""
    page = render_html(healthy())
    boxes = re.findall(r'<figure class="(?:wide|narrow).*?</figure>', page, re.DOTALL)
    named = [re.findall(r"</span>([^<]+)</li>", box) for box in boxes]

    assert len(boxes) >= 3
    assert {"battery voltage", "feed voltage", "battery current"} <= set(named[0])
    assert ["trigger voltage", "feed voltage"] in named
    assert all(named)


@pytest.mark.parametrize(
    ("wide", "found"),
    [
        ([True, False, False], [True, False, False]),
        ([True, False, False, False], [True, False, False, True]),
        ([True, False, False, False, True], [True, False, False, True, True]),
        ([False], [True]),
        ([], []),
    ],
)
def test_no_place_beside_a_figure_stays_empty(wide, found):
    """The last of an odd number of narrow figures takes the width of the page."""
    assert filled(wide) == found
