"""A check in the making, then its result, with the choice to save it."""

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from dashboards.checking import Checked, save_checked
from dashboards.context import Context
from dashboards.find_page import take_along
from dashboards.looked import Behind, behind
from dashboards.one_result import find_link, result_page
from dashboards.parts.progress import progress
from dashboards.parts.select import select
from dashboards.pressed import data, on_press, values
from dashboards.work import Job

MOST_NOTES = 2000
_POLL_MS = 400
_KEEPING = (("keep", "keep a copy, so that they can be drawn later"), ("", "keep no copy, only their hashes"))
_GONE = "This check is no longer here. Drop the log and its plan in again on the results page."


def checked_page(context: Context, job_id: str) -> tuple[str, list[Any]]:
    """Title and content: how far it is, what went wrong, or the result."""
    job = context.works.get(job_id)
    if job is None:
        return "Check", [html.H1("Check"), html.P(_GONE, className="empty"), _back()]
    if job.state == "failed":
        lines = [html.P(line) for line in job.problem.splitlines()]
        return "Check", [
            html.H1("This could not be checked"),
            html.Div(lines, className="problem", role="alert"),
            html.P(html.A("Back to these files", href=job.back)),
        ]
    if not isinstance(job.result, Checked):
        return "Checking", [
            html.Div([html.H1("Checking"), html.Div(progress(job), id="checking")]),
            html.Button("Stop the check", id="check-stop", type="button", className="button"),
            html.P(id="check-stop-said", role="status"),
            dcc.Interval(id="check-poll", interval=_POLL_MS),
            dcc.Store(id="checking-job", data=job_id),
        ]
    whose = behind(context, f"checked {job_id}")
    content = result_page(context, whose, [("Sheet", "not filed yet")], find_link(whose))
    return f"{job.result.result.bike}, not filed yet", [*content[:2], _form(), *content[2:]]


def save(context: Context, source: object, notes: object, temperature: object, keep: object) -> Job:
    """Begin filing the result; the job's result is the record's number.

    Raises:
        BenchlogError: the check is gone, or what was typed cannot be used.
    """
    whose = behind(context, source)
    if whose.checked is None:
        raise BenchlogError("this sheet is already on file; open it from the results page")
    text = str(notes or "").strip()
    if len(text) > MOST_NOTES:
        raise BenchlogError(f"the notes have {len(text)} characters; at most {MOST_NOTES} are kept, shorten them")
    warm = _celsius(temperature)
    return context.works.start(
        "filing the sheet",
        lambda job: _file(context, whose, job, (text, warm, bool(keep))),
        key=("save", whose.source),
    )


def register(app: Dash, context: Context) -> None:
    """Ask how far the check is, and connect the form."""
    _while_checking(app, context)
    _filing(app, context)


def _while_checking(app: Dash, context: Context) -> None:
    @app.callback(
        Output("checking", "children"),
        Output("go", "href", allow_duplicate=True),
        Input("check-poll", "n_intervals"),
        State("checking-job", "data"),
        prevent_initial_call=True,
    )
    def _poll(_ticks, job_id):  # type: ignore[no-untyped-def]  # Dash calls it by position
        job = context.works.get(str(job_id))
        if job is None or job.state in ("done", "failed"):
            # the same address again, which now shows the result
            return no_update, f"/checked/{job_id}"
        return progress(job), no_update

    @on_press(app, "check-stop", [Output("check-stop-said", "children")], data("checking-job"))
    def _stop(job_id):  # type: ignore[no-untyped-def]  # Dash calls it by position
        context.works.stop(str(job_id))
        return "Stopping …"


def _filing(app: Dash, context: Context) -> None:
    @on_press(
        app,
        "save",
        [Output("save-said", "children"), Output("save-poll", "disabled"), Output("save-job", "data")],
        [*values("save-notes", "save-celsius"), *data("save-keep", "source")],
    )
    def _save(notes, celsius, keep, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            job = save(context, source, notes, celsius, keep)
        except BenchlogError as problem:
            return str(problem), True, None
        return "Filing the sheet …", False, job.id

    @app.callback(
        Output("save-said", "children", allow_duplicate=True),
        Output("save-poll", "disabled", allow_duplicate=True),
        Output("go", "href", allow_duplicate=True),
        Input("save-poll", "n_intervals"),
        State("save-job", "data"),
        prevent_initial_call=True,
    )
    def _saved(ticks, job_id):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if not ticks or job_id is None:
            # Dash asks as the form appears, before anything was clicked
            return no_update, no_update, no_update
        job = context.works.get(str(job_id))
        if job is None or job.state == "failed":
            return (job.problem if job else _GONE), True, no_update
        if job.state == "done":
            return "Filed.", True, f"/record/{job.result}"
        return no_update, no_update, no_update


def _file(context: Context, whose: Behind, job: Job, given: tuple[str, float | None, bool]) -> int:
    """File it; ``given`` are notes, temperature (°C) and whether the logs are kept."""
    notes, warm, keep = given
    job.doing = "copying the logs" if keep else "hashing the logs"
    assert whose.checked is not None  # only a check that is not filed is filed
    number = save_checked(context, whose.checked, notes=notes, temperature_c=warm, keep_logs=keep)
    take_along(context, whose, number)
    return number


def _form() -> html.Section:
    return html.Section(
        [
            html.H2("File this sheet"),
            html.P("Nothing is kept unless you file it.", className="fact"),
            html.Label([html.Span("Notes"), dcc.Textarea(id="save-notes", maxLength=MOST_NOTES, rows=3)]),
            html.Label(
                [
                    html.Span("Battery or air temperature / °C, if you measured it"),
                    dcc.Input(id="save-celsius", type="text", size="8"),
                ]
            ),
            select("The logs", "save-keep", _KEEPING, "keep"),
            html.Button("File the sheet", id="save", type="button", className="button"),
            html.P(id="save-said", role="status"),
            dcc.Interval(id="save-poll", interval=_POLL_MS, disabled=True),
            dcc.Store(id="save-job"),
        ],
        className="form screen-only",
    )


def _celsius(typed: object) -> float | None:
    text = str(typed or "").strip().replace(",", ".").replace("−", "-")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not -60 <= value <= 90:
        raise BenchlogError(
            f'the temperature must be a number of °C from -60 to 90, or nothing at all; got "{str(typed)[:40]}"'
        )
    return value


def _back() -> html.P:
    return html.P(html.A("Back to the results", href="/"))
