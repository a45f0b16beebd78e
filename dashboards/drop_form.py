"""The tray: drop a log and its plan in, say which is which, and have them checked."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.plan.kept import kept_plans
from dashboards.checking import check_wish, plans_on_file, wish_of
from dashboards.context import Context
from dashboards.foreign.form import waiting
from dashboards.foreign.looking import unexplained
from dashboards.parts.attributes import attributes
from dashboards.parts.select import select
from dashboards.pressed import data, on_press
from dashboards.trays import Tray

_KINDS = {
    "plan": "plan",
    "logger": "logger file",
    "log": "log",
    "readings": "readings of a hand meter",
    "answers": "answers of a search for a fault",
    "unknown": "not recognised; ignored",
}


def drop_form(context: Context, tray: Tray | None = None) -> html.Section:
    """The tray, empty or as it was left; the script ``drop.js`` sends what is dropped and tells the page."""
    back = {} if tray is None else attributes(data_tray=tray.id)
    return html.Section(
        [
            html.H2("Check a log", id="check-a-log"),
            html.Div(
                [
                    html.P(
                        [html.Strong("Drop a log and its plan here"), " (and the logger file, if there is one), or"]
                    ),
                    html.Label(
                        "Choose files",
                        htmlFor="drop-files",
                        className="button",
                    ),
                    # Dash has no plain file input: drop.js puts one in here
                    html.Div(id="drop-slot", className="drop-slot", **back),
                    html.P(id="drop-said", role="status", className="fact"),
                ],
                id="drop",
                className="drop",
            ),
            dcc.Store(id="tray", data=None if tray is None else tray.listing()),
            html.Div(tray_list(context, tray), id="tray-list"),
        ],
        className="form screen-only",
    )


def tray_list(context: Context, tray: Tray | None) -> list[Any]:
    """What lies in the tray, and what it is to be used as."""
    if tray is None or not tray.files:
        return []
    rows = [
        html.Li(
            [
                html.Span(file.name, className="name"),
                html.Small(f"{_KINDS[file.kind]}, {_size(file.bytes)}"),
                html.Button(
                    "Take out",
                    id={"part": "take-out", "file": file.id},
                    type="button",
                    className="small",
                    **attributes(aria_label=f"Take {file.name} out"),
                ),
            ]
        )
        for file in tray.files.values()
    ]
    plans = [(file.id, file.name) for file in tray.of_kind("plan")]
    plans += [(f"kept {one.name}", f"saved here: {one.name}") for one in kept_plans()]
    plans += [(f"record {number}", f"on file: {bike}, sheet No. {number}") for bike, number in plans_on_file(context)]
    logs = [(file.id, file.name) for file in tray.to_be_checked()]
    parts: list[Any] = [html.Ul(rows, className="tray")]
    if plans:
        parts.append(select("Plan", "plan-choice", plans, plans[0][0]))
    else:
        make_one = html.A("make one on the page Plan", href="/plan")
        missing = html.P(["A plan is still missing: drop its TOML file in, or ", make_one, "."], className="fact")
        parts += [missing, dcc.Store(id="plan-choice")]
    if len(logs) > 1:
        before = [("", "none of them"), *logs]
        parts.append(select("Recorded before the install", "before-choice", before, _before_guess(tray)))
    else:
        parts.append(dcc.Store(id="before-choice"))
    if not logs:
        parts.append(html.P("A log is still missing: drop it in.", className="fact"))
    parts += [waiting(tray, log) for log in unexplained(tray)]
    parts += [
        html.Button("Check", id="check", type="button", className="button", disabled=not (plans and logs)),
        html.P(id="check-said", role="status"),
    ]
    return parts


def start_check(context: Context, tray_id: object, plan_choice: object, before_choice: object) -> str:
    """Begin the check; gives its job's id.

    Raises:
        BenchlogError: what is missing.
    """
    wish = wish_of(context.trays.get(tray_id), plan_choice, before_choice)
    names = ", ".join(log.name for log in wish.logs)
    job = context.works.start(f"checking {names}", lambda job: check_wish(context, wish, job))
    # a job that is kept may yet be filed: its files stay, however many trays are opened meanwhile
    job.let_go = context.trays.hold(tray_id)
    job.back = f"/?tray={wish.tray.id}#check-a-log"
    return job.id


def register(app: Dash, context: Context) -> None:
    """Connect the tray."""

    @app.callback(Output("tray-list", "children"), Input("tray", "data"), prevent_initial_call=True)
    def _list(tray):  # type: ignore[no-untyped-def]  # Dash calls it by position
        return tray_list(context, context.trays.get((tray or {}).get("tray")))

    @app.callback(
        Output("tray", "data"),
        Input({"part": "take-out", "file": ALL}, "n_clicks"),
        State("tray", "data"),
        prevent_initial_call=True,
    )
    def _take_out(clicks, tray):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if not any(clicks) or not ctx.triggered_id:
            return no_update
        left = context.trays.forget((tray or {}).get("tray"), ctx.triggered_id["file"])
        return None if left is None else left.listing()

    chosen = data("tray", "plan-choice", "before-choice")

    @on_press(app, "check", [Output("go", "href"), Output("check-said", "children")], chosen)
    def _check(tray, plan, before):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            return f"/checked/{start_check(context, (tray or {}).get('tray'), plan, before)}", "Checking …"
        except BenchlogError as problem:
            return no_update, str(problem)


def _before_guess(tray: Tray) -> str:
    named = [f for f in tray.of_kind("log") if "before" in f.name.lower()]
    return named[0].id if len(named) == 1 else ""


def _size(count: int) -> str:
    for unit, size in (("GB", 1 << 30), ("MB", 1 << 20), ("kB", 1 << 10)):
        if count >= size:
            return f"{count / size:.1f} {unit}"
    return f"{count} bytes"
