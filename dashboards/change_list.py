"""The changes of a bike, noted and found; one that was noted wrongly is taken back, as ``season --take-back`` does."""

from typing import Any

from dash import ALL, Dash, Input, Output, State, ctx, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.core.folding import held_together
from benchlog.season import Season
from benchlog.season.chart import change_words
from dashboards.context import Context
from dashboards.note_form import said
from dashboards.parts.attributes import attributes
from dashboards.results import bike_link
from dashboards.words import empty

_BUTTON = "change-back"


def change_list(season: Season) -> html.Div:
    """Each change in a sentence; those that are in the store with a button that takes them back."""
    told = [
        html.Li([f"{held_together(text)}.", *(_button(number, text) if number is not None else [])])
        for number, text in change_words(season, note="note what it was below")
    ]
    listed = html.Ul(told) if told else html.P(empty.NO_CHANGE, className="fact")
    return html.Div([listed, html.P(id="change-back-said", role="status")])


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


def take_back(context: Context, bike: object, number: object) -> str:
    """Take a change back; gives the address of the season that no longer knows it.

    Args:
        bike: as the page gives it back. number: of the change, as its button gives it.

    Raises:
        BenchlogError: the bike has no such change any more, or the store cannot be written; says why.
    """
    name = str(bike or "")
    known = [change.number for change in context.store.changes(name)]
    # True is a number to Python
    if not isinstance(number, int) or isinstance(number, bool) or number not in known:
        raise BenchlogError("this change is no longer in the list; open the season again")
    context.store.take_back(number, name)
    return bike_link(name, "/season")


def register(app: Dash, context: Context) -> None:
    """Connect the buttons."""

    @app.callback(
        Output("go", "href", allow_duplicate=True),
        Output("change-back-said", "children"),
        Input({"type": _BUTTON, "number": ALL}, "n_clicks"),
        State("change-bike", "data"),
        prevent_initial_call=True,
    )
    def _take_back(clicks, bike):  # type: ignore[no-untyped-def]  # Dash calls it by position
        # buttons that come with a page ask as well, unpressed
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, no_update
        try:
            # the season is made anew without the change
            return take_back(context, bike, ctx.triggered_id.get("number")), "Taken back."
        except BenchlogError as problem:
            return no_update, said(problem)
