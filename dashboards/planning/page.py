"""The page Plan: new, open, edit, save and download."""

from datetime import tzinfo
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from benchlog.plan.kept import kept_plans, plans_folder
from dashboards.checking import plans_on_file
from dashboards.context import Context
from dashboards.parts.attributes import attributes
from dashboards.words.times import spoken

#: ms after which what the browser kept is there.
_BEGIN_MS = 60


def plan_page(context: Context, zone: tzinfo) -> tuple[str, list[Any]]:
    """Title and content; the form itself comes once the browser has told what it kept."""
    return "Plan", [
        html.Header(
            [
                html.P("What is to be wired", className="kind"),
                html.H1("Plan"),
                html.P(
                    "Say what you know of the bike, its battery and what you connect. What follows is worked out as "
                    "you type; an empty field takes what is suggested under it, and a dash (-) means: not there, or "
                    "not known. Until you save it, what you type is kept in this browser tab alone, over a reload too.",
                    className="fact",
                ),
            ],
            className="top",
        ),
        html.Details(
            [html.Summary("Open a plan, or begin a new one"), _openers(context, zone)],
            className="opener",
            id="plan-opener",
        ),
        html.Div(
            [
                html.P(id="plan-said", role="status", className="said-here"),
                html.Button(
                    "Bring back what was there", id="plan-undo", type="button", className="small", hidden="hidden"
                ),
            ],
            className="row",
        ),
        html.Div(
            [
                html.Div(html.P("Opening …", className="fact"), id="plan-form", className="form"),
                html.Section(
                    [html.H2("What follows from it"), html.Div(id="plan-follows")],
                    className="follows",
                    tabIndex="0",
                    **attributes(aria_label="What follows from the plan"),
                ),
            ],
            className="plan-two",
        ),
        _endings(),
        dcc.Store(id="plan-kept", storage_type="session"),
        dcc.Store(id="plan-base"),
        dcc.Store(id="plan-before"),
        dcc.Store(id="plan-focus"),
        dcc.Store(id="plan-focused"),
        dcc.Interval(id="plan-begin", interval=_BEGIN_MS, max_intervals=1),
    ]


def _measuring(at: dict[str, Any]) -> str:
    """Address of the measuring sheet of a plan that is kept, or of a record's."""
    return "/measuring?" + (f"plan={quote(at['kept'])}" if at["kept"] else f"record={at['sheet']}")


def _openers(context: Context, zone: tzinfo) -> html.Div:
    kept = [
        (f"{one.name}, saved {spoken(one.changed, zone)}", {"part": "open", "kept": one.name, "sheet": 0})
        for one in kept_plans()
    ]
    filed = [
        (f"{bike}, of sheet No. {number}", {"part": "open", "kept": "", "sheet": number})
        for bike, number in plans_on_file(context)
    ]
    buttons = [
        html.Li(
            [
                html.Span(name, className="name"),
                html.Button("Open", id=at, type="button", className="small", **attributes(aria_label=f"Open {name}")),
                html.A(
                    "Measuring sheet",
                    href=_measuring(at),
                    **attributes(aria_label=f"Measuring sheet of {name}"),
                ),
            ]
        )
        for name, at in (*kept, *filed)
    ]
    return html.Div(
        [
            html.Div(
                html.Button("New plan: clear the form", id="plan-new", type="button", className="button"),
                className="row",
            ),
            html.Div(
                [
                    html.P([html.Strong("Drop a plan's TOML file here"), ", or"]),
                    html.Label("Choose a file", htmlFor="drop-files", className="button"),
                    html.Div(id="drop-slot", className="drop-slot", **attributes(data_to="plan-file")),
                    html.P(id="drop-said", role="status", className="fact"),
                ],
                id="drop",
                className="drop",
            ),
            dcc.Store(id="plan-file"),
            *([html.H2("Plans here"), html.Ul(buttons, className="tray")] if buttons else []),
        ],
        className="form",
    )


def _endings() -> html.Section:
    return html.Section(
        [
            html.H2("Save it"),
            html.P(f"Saved plans lie in {plans_folder()}, and can be chosen on the results page.", className="fact"),
            html.Div(
                [
                    html.Button("Save", id="plan-save", type="button", className="button"),
                    html.Button("Download", id="plan-download", type="button"),
                ],
                className="row",
            ),
            html.P(id="plan-saved", role="status"),
            html.Div(
                html.Button("Replace the plan that is there", id="plan-replace", type="button", className="button"),
                id="plan-replacing",
                hidden="hidden",
            ),
            dcc.Store(id="plan-there"),
            dcc.Download(id="plan-file-out"),
        ],
        className="form",
    )
