"""The changes of a bike, noted and found; one that was noted wrongly is taken back, as ``season --take-back`` does."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.core.folding import held_together
from benchlog.season import Season
from benchlog.season.chart import change_words
from benchlog.season.dates import day_words
from benchlog.store import Change
from dashboards.context import Context
from dashboards.note_form import said
from dashboards.parts.attributes import attributes, dom_id
from dashboards.pressed import move_focus
from dashboards.results import bike_link
from dashboards.words import empty

_BUTTON, _SURE = "change-back", "change-back-sure"


def change_list(season: Season) -> html.Div:
    """Each change in a sentence; those that are in the store with a button that takes them back."""
    told = [
        html.Li([f"{held_together(text)}.", *(_button(number, text) if number is not None else [])])
        for number, text in change_words(season, note="note what it was below")
    ]
    listed = html.Ul(told) if told else html.P(empty.NO_CHANGE, className="fact")
    stores = [dcc.Store(id="change-focus"), dcc.Store(id="change-focused")]
    return html.Div([listed, html.Div(id="change-back-said", role="status"), *stores], id="changes")


def _button(number: int, text: str) -> list[Any]:
    return [
        " ",
        html.Button(
            "Take back",
            id={"type": _BUTTON, "number": number},
            type="button",
            className="small screen-only",
            # one button like the other to the eye, which sees the line; not to the ear
            **attributes(aria_label=f"Take back: {text}"),
        ),
    ]


def question(context: Context, bike: object, number: object) -> list[Any]:
    """Asks before a change is taken back.

    Raises:
        BenchlogError: as ``take_back``.
    """
    known, change = _known(context, str(bike or ""), number)
    return [
        html.P(f"Take back “{change.what}” of {day_words(change.on)}? It stays on file, and no longer counts."),
        html.Div(
            [
                html.Button("Yes, take it back", id=_sure(known), type="button", className="button"),
                html.Button("No, keep it", id="change-back-no", type="button"),
            ],
            className="row",
        ),
    ]


def take_back(context: Context, bike: object, number: object) -> str:
    """Take a change back; gives the address of the season that no longer knows it.

    Args:
        bike: as the page gives it back. number: of the change, as its button gives it.

    Raises:
        BenchlogError: the bike has no such change any more, or the store cannot be written; says why.
    """
    name = str(bike or "")
    known, _ = _known(context, name, number)
    context.store.take_back(known, name)
    return bike_link(name, "/season")


def _known(context: Context, bike: str, number: object) -> tuple[int, Change]:
    # True is a number to Python
    if isinstance(number, int) and not isinstance(number, bool):
        for change in context.store.changes(bike):
            if change.number == number:
                return number, change
    raise BenchlogError("this change is no longer in the list; open the season again")


def _sure(number: object) -> dict[str, Any]:
    return {"type": _SURE, "number": number}


def register(app: Dash, context: Context) -> None:
    """Connect the buttons."""

    @app.callback(
        Output("change-back-said", "children"),
        Output("change-focus", "data"),
        Input({"type": _BUTTON, "number": ALL}, "n_clicks"),
        State("change-bike", "data"),
        prevent_initial_call=True,
    )
    def _ask(clicks, bike):  # type: ignore[no-untyped-def]  # Dash calls it by position
        # buttons that come with a page ask as well, unpressed
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        number = ctx.triggered_id.get("number")
        try:
            return question(context, bike, number), dom_id(_sure(number))
        except BenchlogError as problem:
            return said(problem), no_update

    @app.callback(
        Output("go", "href", allow_duplicate=True),
        Output("change-back-said", "children", allow_duplicate=True),
        Input({"type": _SURE, "number": ALL}, "n_clicks"),
        Input("change-back-no", "n_clicks"),
        State("change-bike", "data"),
        prevent_initial_call=True,
    )
    def _take_back(clicks, no, bike):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if no and ctx.triggered_id == "change-back-no":
            return no_update, "It stays."
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        try:
            # the season is made anew without the change
            return take_back(context, bike, ctx.triggered_id.get("number")), "Taken back."
        except BenchlogError as problem:
            return no_update, said(problem)

    move_focus(app, "change")
