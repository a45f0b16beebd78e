"""One result: the verdict, every check against its limit, what to do next, and the logs behind it."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.report import words
from benchlog.report.figures import circuits_figure, load_figure, off_state_figure, relay_figure
from benchlog.report.figures.in_page import filled
from benchlog.report.html import LOAD_CAPTIONS, OFF_CAPTION
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import is_of
from benchlog.verdict.result import Result
from dashboards.context import Context
from dashboards.log_view import log_view
from dashboards.looked import Behind, at_hand, behind, reading
from dashboards.parts.badge import badge
from dashboards.parts.boxes import boxes
from dashboards.parts.checks import check_table
from dashboards.parts.danger import dangers
from dashboards.parts.drawing import drawing
from dashboards.parts.draws import draws_section
from dashboards.parts.matching import matching
from dashboards.parts.next_steps import next_steps
from dashboards.parts.nothing import nothing
from dashboards.parts.progress import progress
from dashboards.shelf import LookedAt
from dashboards.words import empty

_POLL_MS = 400
#: The small figures are asked for this much later, so that the log's own is drawn first.
_LATER_MS = 700


def result_page(context: Context, whose: Behind, head: list[tuple[str, Any]], links: list[Any]) -> list[Any]:
    """The whole page.

    Args:
        context: of this server. whose: the result and its logs. head: the boxes at the top.
        links: what can be done with it, under the boxes.
    """
    result = whose.result
    numbers = {name: n for n, name in enumerate(whose.logs) if _drawable(context, whose, n)}
    return [
        dcc.Store(id="source", data=whose.source),
        html.Header(
            [
                html.P("Install check", className="kind"),
                html.H1(result.bike),
                html.P([badge(result.verdict), html.Span(words.verdict_sentence(result))], className="verdict"),
                *dangers(result),
                boxes([*head, ("Score", f"{words.score_sentence(result)}."), ("Closest", closest(result))]),
                html.Div(links, className="row links screen-only") if links else None,
            ],
            className="top",
        ),
        next_steps(result),
        html.Section([html.H2("Checks"), check_table(result, numbers)]),
        draws_section(whose.walks),
        _circuits(result),
        *(
            html.Section(
                [html.H2(["Log ", html.Span(name, className="log")]), drawings(context, whose, n)],
                className="log-section",
            )
            for n, name in enumerate(whose.logs)
        ),
        _notes(whose),
    ]


def find_link(whose: Behind) -> list[Any]:
    """The way to the search for the place of the fault, where a check failed."""
    if not any(check.verdict == "fail" for check in whose.result.checks):
        return []
    return [html.A("Find the fault", href=f"/{whose.source.replace(' ', '/')}/find", className="button")]


def closest(result: Result) -> str:
    """Which check has the smallest margin."""
    text = words.closest_sentence(result)
    return f"{text}." if text else "no check has a margin"


def drawings(context: Context, whose: Behind, number: int) -> html.Div:
    """What is drawn of one log; how far reading it is where that must come first."""
    looked = at_hand(context, whose, number)
    if looked is not None:
        inside: list[Any] = figures_of(looked, whose.result, number)
    else:
        job = reading(context, whose, number)
        if job is None:
            inside = [nothing(empty.NO_COPY)]
        elif job.state == "failed":
            inside = [html.P(job.problem, className="problem", role="alert")]
        else:
            inside = [
                html.Div(progress(job), id={"part": "progress", "log": number}),
                dcc.Interval(id={"part": "poll", "log": number}, interval=_POLL_MS),
                dcc.Store(id={"part": "ready", "log": number}, data=False),
            ]
    return html.Div(inside, id={"part": "drawings", "log": number})


def figures_of(looked: LookedAt, result: Result, number: int) -> list[Any]:
    """The log over time, and room for what its relay, its battery and its off state show: that comes after."""
    return [
        log_view(looked, result, number),
        html.Div(id={"part": "small", "log": number}, className="figures"),
        dcc.Interval(id={"part": "later", "log": number}, interval=_LATER_MS, max_intervals=1),
    ]


def small_figures(looked: LookedAt, result: Result) -> list[Any]:
    """What a log's relay, battery and off state show."""
    evidence = looked.evidence
    small: list[Any] = []
    for kind, check_id, what in (
        ("pull in", "relay_pull_in", "closing"),
        ("drop out", "relay_drop_out", "opening"),
    ):
        limit = next((c.limit.max for c in result.checks if c.id == check_id and c.limit), None)
        figure = relay_figure(evidence, "pull in" if kind == "pull in" else "drop out", limit)
        if figure is not None:
            caption = f"The relay {what}: all events overlaid, the trigger's crossing at 0 ms."
            small.append(drawing(figure, caption))
    for where, caption in LOAD_CAPTIONS.items():
        figure = load_figure(evidence, result, where)
        if figure is not None:
            small.append(drawing(figure, caption))
    for one, wide in zip(small, filled([False] * len(small)), strict=True):
        one.className = "wide" if wide else "narrow"
    off = off_state_figure(evidence, result)
    if off is not None:
        small.append(drawing(off, OFF_CAPTION, wide=True))
    return small


def register(app: Dash, context: Context) -> None:
    """Draw each log as soon as it has been read, then what is drawn beside it."""
    _draw_logs(app, context)
    _draw_the_rest(app, context)


def _draw_logs(app: Dash, context: Context) -> None:
    # two steps: drawing takes longer than a tick, and the browser drops the answer of a question asked again
    @app.callback(
        *matching("log", (Output, "progress", "children"), (Output, "poll", "disabled"), (Output, "ready", "data")),
        *matching("log", (Input, "poll", "n_intervals"), (State, "poll", "id")),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _poll(_ticks, which, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            whose, number = behind(context, source), int(which["log"])
            job = None if at_hand(context, whose, number) else reading(context, whose, number)
        except BenchlogError:
            job = None  # the drawing says what is wrong
        if job is None or job.state in ("done", "failed"):
            return no_update, True, True
        return progress(job), False, no_update

    @app.callback(
        *matching("log", (Output, "drawings", "children"), (Input, "ready", "data"), (State, "poll", "id")),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _ready(ready, which, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if not ready:
            return no_update
        try:
            return drawings(context, behind(context, source), int(which["log"])).children
        except BenchlogError as problem:
            return html.P(str(problem), className="problem", role="alert")


def _draw_the_rest(app: Dash, context: Context) -> None:
    # the small figures come after the log's own, which is what a reader looks for
    @app.callback(
        *matching("log", (Output, "small", "children"), (Input, "later", "n_intervals"), (State, "later", "id")),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _small(_ticks, which, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            whose = behind(context, source)
            looked = at_hand(context, whose, int(which["log"]))
        except BenchlogError:
            return []  # what is wrong is said where the log itself would stand
        return [] if looked is None else small_figures(looked, whose.result)

    @app.callback(
        Output("circuits", "children"),
        Input("circuits-later", "n_intervals"),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _draw_circuits(_ticks, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            return circuits(behind(context, source).result)
        except BenchlogError:
            return []


def _drawable(context: Context, whose: Behind, number: int) -> bool:
    if whose.checked is not None:
        return True
    return whose.record is not None and context.store.log_path(whose.record.number, whose.logs[number]) is not None


def _circuits(result: Result) -> html.Section | None:
    if not any(is_of(check.id, SLOT_CURRENT) for check in result.checks):
        return None
    return html.Section(
        [
            html.H2("Circuits"),
            html.Div(id="circuits", className="figures"),
            dcc.Interval(id="circuits-later", interval=_LATER_MS, max_intervals=1),
        ]
    )


def circuits(result: Result) -> list[Any]:
    """Planned against measured current of each circuit."""
    figure = circuits_figure(result)
    caption = "Each circuit: the allowed window, the planned current as a stroke, the measured one as a diamond."
    return [] if figure is None else [drawing(figure, caption, wide=True)]


def _notes(whose: Behind) -> html.Section:
    result = whose.result
    notes = [
        f"{note.log}, line {note.line}: {note.text}" if note.line is not None else f"{note.log}: {note.text}"
        for note in result.notes
    ]
    return html.Section(
        [
            html.H2("Notes"),
            html.Ul([html.Li(text) for text in (f"{words.key_sentence(result)}.", *notes)]),
            html.P(f"benchlog {result.benchlog_version}", className="quiet"),
        ]
    )
