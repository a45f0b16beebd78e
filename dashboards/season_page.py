"""The season of a bike: its battery's health over the records; and all bikes at a glance."""

from datetime import date, datetime, tzinfo
from typing import Any

from dash import html

from benchlog.core.folding import held_together
from benchlog.report.figures.in_page import filled
from benchlog.season import Part, Season
from benchlog.season import words as season_words
from benchlog.season.bikes import at_a_glance
from benchlog.season.chart import change_words
from benchlog.season.dates import day_words
from benchlog.season.figures import part_drawing
from benchlog.season.model import SeasonAdvice
from benchlog.season.newest import WITH_SAVE, folded_advice, newest_words, stale_words
from benchlog.season.on_file import season_on_file
from benchlog.season.todo import KEEP_IT, NOTE_IT
from dashboards.change_list import change_list
from dashboards.context import Context
from dashboards.frame import trouble
from dashboards.note_form import note_form
from dashboards.parts.attributes import attributes
from dashboards.parts.boxes import boxes
from dashboards.parts.drawing import drawing
from dashboards.parts.nothing import nothing
from dashboards.results import bike_link
from dashboards.words import empty
from dashboards.words.times import day

#: How readings are kept here.
FILED = "file the check"
_COLUMNS = ("Quantity", "Now", "Limit", "Trend", "Against the limit")


def season_page(context: Context, bike: str | None, zone: tzinfo, noted: str = "") -> tuple[str, list[Any]]:
    """Title and content: one bike's season, or all bikes at a glance.

    Args:
        bike: whose; None for all. noted: number of the change that was noted just now; "" for none.
    """
    bikes = [row.bike for row in context.store.bikes()]
    if not bikes:
        to_results = html.P(html.A("To the results page", href="/"))
        return "Season", [_head("Season", "Season"), nothing(empty.NO_SEASON), to_results]
    if bike is not None and bike not in bikes:
        return "Season", trouble("No such season", empty.NO_SEASON_OF_BIKE)
    today = datetime.now(zone).date()
    if bike is None:
        return "Season", [
            _head("Season", "All bikes"),
            glances([season_at(context, each, today, zone) for each in bikes], zone),
        ]
    season = season_at(context, bike, today, zone)
    return f"Season of {bike}", [
        _top(season, zone),
        *_noted(season, noted),
        html.Section(
            [html.H2("What to do, worst first"), html.Ul([_advice(a) for a in folded_advice(season)], className="open")]
        ),
        _quantities(season, zone),
        _changes(season),
        _figures(season),
    ]


def _noted(season: Season, number: str) -> list[html.P]:
    """What was noted just now, and where it is taken back."""
    told = next((text for known, text in change_words(season) if number == str(known)), None)
    if told is None:
        return []
    link = html.A("Changes", href="#changes")
    return [html.P([html.Strong("Noted: "), f"{told}. It stands under ", link, "."], role="status", className="noted")]


def season_at(context: Context, bike: str, today: date, zone: tzinfo) -> Season:
    """The season of a bike on file, by the plan of its newest record; days are those of ``zone``."""
    store = context.store
    plan = store.record(store.rows(bike, limit=1)[0].number).plan
    return season_on_file(store, bike, plan, today, zone=zone)


def badge(advice: SeasonAdvice) -> html.Span:
    """The few words with the shape of their urgency."""
    return html.Span(
        [html.Span(className=f"shape s-{advice.urgency}", **attributes(aria_hidden="true")), advice.words],
        className=f"badge v-{advice.urgency}",
    )


def _head(kind: str, title: str) -> html.Header:
    return html.Header([html.P(kind, className="kind"), html.H1(title)], className="top")


def _top(season: Season, zone: tzinfo) -> html.Header:
    worst = season.advice[0]
    stands = season.standing
    standing = "not known" if stands is None else f"{stands.words} from {day(stands.since, zone)}, to half charge"
    stale = stale_words(season, zone)
    newest = max((part.readings[-1].at for part in season.parts if part.readings), default=None)
    return html.Header(
        [
            html.P("Season", className="kind"),
            html.H1(season.bike),
            html.P(html.Strong(held_together(stale.replace(WITH_SAVE, FILED)))) if stale else None,
            html.P([badge(worst), html.Span(f"{worst.about}: {held_together(worst.because)}.")], className="verdict"),
            boxes(
                [
                    ("Today", day(season.today, zone)),
                    ("Last reading", "none" if newest is None else day(newest, zone)),
                    ("Battery", f"{season.chemistry}, {season.capacity_ah:g} Ah"),
                    ("Charge", _charge(season, zone)),
                    ("Can stand", standing),
                ]
            ),
            html.Div(
                [html.A("Sheets of this bike", href=bike_link(season.bike)), html.A("All bikes", href="/season")],
                className="row links screen-only",
            ),
        ],
        className="top",
    )


def _charge(season: Season, zone: tzinfo) -> str:
    return "not known" if season.charge is None else f"{season.charge.words} on {day(season.charge.at, zone)}"


def _advice(advice: SeasonAdvice) -> html.Li:
    how = advice.how.replace(NOTE_IT, "note it under Changes below").replace(KEEP_IT, "file its check")
    how_to: list[Any] = [html.Br(), f"How: {how}."] if how else []
    return html.Li([badge(advice), " ", html.Strong(advice.about), f": {held_together(advice.because)}.", *how_to])


def _quantities(season: Season, zone: tzinfo) -> html.Section | None:
    parts = [part for part in season.parts if part.readings]
    if not parts:
        return html.Section([html.H2("Quantities"), nothing(empty.NO_SEASON)])
    return html.Section(
        [
            html.H2("Quantities"),
            _table(
                "± is the expanded uncertainty (k = 2); the range of a trend is its 95 % interval.",
                _COLUMNS,
                [[part.title, *_facts(part, zone)] for part in parts],
            ),
        ]
    )


def _facts(part: Part, zone: tzinfo) -> list[Any]:
    read = newest_words(part, zone)
    earlier = [
        html.Small(f"{day_words(t.since)} to {day_words(t.until)}: {season_words.trend_words(t, part.unit)}")
        for t in part.earlier
    ]
    return [
        [season_words.now_words(part), html.Small(held_together(read)) if read else None],
        season_words.limit_words(part),
        [season_words.trend_words(part.trend, part.unit), *earlier],
        season_words.crossing_words(part),
    ]


def _changes(season: Season) -> html.Section:
    return html.Section([html.H2("Changes"), change_list(season), note_form(season.bike, season.today)])


def _figures(season: Season) -> html.Section | None:
    drawn = [one for part in season.parts if (one := part_drawing(part, season)) is not None]
    wide = filled(number == 0 for number in range(len(drawn)))
    boxes = [drawing(*one, wide=is_wide) for one, is_wide in zip(drawn, wide, strict=True)]
    return html.Section([html.H2("Over the season"), html.Div(boxes, className="figures")]) if boxes else None


def glances(seasons: list[Season], zone: tzinfo) -> html.Section:
    """Every bike in a line, the one that needs attention first."""
    rows, today = [], seasons[0].today
    for glance in at_a_glance(seasons):
        stands = "not known" if glance.stand_until is None else f"until {day(glance.stand_until, zone)}"
        if glance.stand_until is not None and glance.stand_until < today:
            stands += ", which is past"
        rows.append(
            [
                html.A(glance.bike, href=bike_link(glance.bike, "/season")),
                badge(glance.advice),
                f"{glance.advice.about}: {held_together(glance.advice.because)}.",
                glance.charge or "not known",
                stands,
            ]
        )
    return html.Section(
        [
            html.H2("At a glance"),
            _table(
                "Every bike on file, the one that needs attention first.",
                ("Bike", "To do first", "Because", "Charge", "Can stand"),
                rows,
            ),
        ]
    )


def _table(caption: str, columns: tuple[str, ...], rows: list[list[Any]]) -> html.Table:
    return html.Table(
        [
            html.Caption(caption),
            html.Thead(
                html.Tr([html.Th(name, scope="col", role="columnheader") for name in columns], role="row"),
                role="rowgroup",
            ),
            html.Tbody(
                [
                    html.Tr(
                        [html.Th(row[0], scope="row", role="rowheader")]
                        + [
                            html.Td(html.Div(content), role="cell", **attributes(data_label=name))
                            for name, content in zip(columns[1:], row[1:], strict=True)
                        ],
                        role="row",
                    )
                    for row in rows
                ],
                role="rowgroup",
            ),
        ],
        className="checks",
        role="table",
    )
