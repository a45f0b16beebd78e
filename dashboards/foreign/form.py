"""The form for one foreign file: its lines, what each column is taken for, and its rows as they are read with that."""

from typing import Any

from dash import dcc, html

from dashboards.foreign.sight import SightColumn, Sighted
from dashboards.foreign.words import MEANINGS, UNITS_OF_NUMBERS, meaning_of, time_words
from dashboards.parts.attributes import attributes
from dashboards.parts.select import select
from dashboards.trays import Dropped, Tray

_WIDTH = 120  # letters of a line that is shown
_TIME_UNITS = ("s", "ms", "us", "epoch_s", "epoch_ms")
_SAMPLE = 24  # letters of a cell


def waiting(tray: Tray, log: Dropped) -> html.Div:
    """The place of the form, until the file was looked at."""
    return html.Div(
        [
            html.Div(html.P(f"Looking at {log.name} …", className="fact"), id={"part": "look", "file": log.id}),
            dcc.Store(id={"part": "look-begin", "file": log.id}, data=tray.id),
        ]
    )


def foreign_form(tray: Tray, log: Dropped, sight: Sighted) -> list[Any]:
    """The form; nothing for a log that speaks for itself."""
    if not sight.foreign:
        return []
    if not sight.columns:
        return [html.Div(html.P(sight.fault), className="problem", role="alert")]
    title = f"{log.name}: what its columns are"
    return [
        html.Section(
            [
                html.H3(title),
                html.P(
                    "The names in this file are not benchlog's, so each column was guessed. Choose another meaning "
                    "where a guess is wrong; the rows at the end are read as it stands.",
                    className="fact",
                ),
                html.Pre("\n".join(f"line {n}: {text[:_WIDTH]}" for n, text in sight.lines), className="raw"),
                html.Div([_column(log, column) for column in sight.columns], className="plan-fields"),
                html.Div(_whole(tray, log, sight), className="plan-fields"),
                html.Div(as_read(sight), id={"part": "sight", "file": log.id}, role="status"),
                html.Button("Download the logger file", id=_out(log), type="button", className="small"),
                dcc.Download(id={"part": "logger-file", "file": log.id}),
            ],
            className="foreign",
            **attributes(aria_label=title),
        )
    ]


def as_read(sight: Sighted) -> list[Any]:
    """The first rows as they are read, or why they cannot be."""
    unsure = [str(column.number) for column in sight.columns if column.unsure]
    told: list[Any] = []
    if unsure:
        which = f"column {', '.join(unsure)}: look at its meaning."
        told.append(html.P(f"Nothing tells which way a positive current flows in {which}"))
    if sight.other_time:
        told.append(html.P("Nothing tells whether the day or the month comes first: look at how the time is written."))
    if sight.unit_unsure:
        told.append(html.P("Nothing tells the unit of its times: look at how the time is written."))
    if sight.fault:
        return [*told, html.Div(html.P(sight.fault), className="problem")]
    table = html.Table(
        [
            html.Caption("Rows as they are read now; a current out of the battery is positive."),
            html.Thead(html.Tr([html.Th(head, scope="col") for head in sight.heads])),
            html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in sight.rows]),
        ],
        className="draws",
    )
    scrolled = attributes(aria_label="Rows as they are read")
    return [*told, html.Div(table, className="wide-table", tabIndex="0", role="region", **scrolled)]


def _out(log: Dropped) -> dict[str, str]:
    return {"part": "logger-out", "file": log.id}


def _column(log: Dropped, column: SightColumn) -> html.Fieldset:
    named = column.header or "no name"
    cells = " · ".join(cell[:_SAMPLE] for cell in column.cells) or "empty"
    at = {"file": log.id, "n": column.number}
    parts: list[Any] = [
        html.Legend(f"{column.number} {named}"),
        html.P(cells, className="fact"),
        select("Meaning", {"part": "meaning", **at}, MEANINGS, meaning_of(column.role, column.positive)),
    ]
    if column.role != "time":
        parts.append(select("Unit", {"part": "unit", **at}, UNITS_OF_NUMBERS, column.unit))
    if column.role:
        parts.append(html.Div(html.P([html.Span("guessed", className="mark"), f" by: {column.why}"]), className="hint"))
    return html.Fieldset(parts, className="column")


def _whole(tray: Tray, log: Dropped, sight: Sighted) -> list[Any]:
    """What is asked about the file as a whole."""
    chosen = tray.chosen.get(log.id)
    parts: list[Any] = []
    forms = dict.fromkeys([sight.time, *filter(None, (sight.other_time,))])
    if sight.time in ("", *_TIME_UNITS):
        forms |= dict.fromkeys(_TIME_UNITS)
    options = [(form, time_words(form)) for form in forms]
    parts.append(select("The time is written as", {"part": "form-time", "file": log.id}, options, sight.time))
    if not sight.time:
        parts.append(_text(log, "rate", "No column tells the time: samples a second", chosen.rate if chosen else ""))
    for quantity, what, label in (("V", "volts", "voltages"), ("A", "amps", "currents")):
        if quantity in sight.quantities:
            text = f"Accuracy of the {label}, as the manual prints it, such as 0.5 % + 2 digits; empty: not stated"
            parts.append(_text(log, what, text, getattr(chosen, what, "") or ""))
    return parts


def _text(log: Dropped, what: str, label: str, said: str) -> html.Label:
    at = {"part": "form-text", "file": log.id, "what": what}
    return html.Label([html.Span(label), dcc.Input(id=at, type="text", value=said, debounce=True, maxLength=60)])
