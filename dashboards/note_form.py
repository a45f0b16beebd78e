"""Note what was changed on a bike: a new battery, a device; appended to the ledger as ``season --changed`` does."""

from datetime import date, datetime
from typing import Any

from dash import Dash, Output, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from dashboards.context import Context
from dashboards.pressed import data, on_press, values
from dashboards.results import bike_link
from dashboards.words.times import zone_of

#: A line in a list; more belongs into a sheet's notes.
MOST_WHAT = 200
#: Nothing older is taken for more than a slip.
FIRST_DAY = date(1970, 1, 1)


def note_form(bike: str, today: date) -> html.Div:
    """The form; ``today`` stands in it until another day is chosen."""
    return html.Div(
        [
            html.H3("Note a change"),
            html.P(
                "From that day on, figures are not compared with those before it. If the note names a battery, "
                "resting voltage, source resistance and cranking minimum start afresh; after any other change, drain "
                "and charging do. What is noted stays on file; a mistake can be taken back in the list above.",
                className="fact",
            ),
            html.Label(
                [
                    html.Span("Day of the change"),
                    dcc.Input(id="change-on", type="text", value=today.isoformat(), maxLength=10),
                ],
                className="day",
            ),
            html.Label(
                [
                    html.Span("What was changed, such as: new battery"),
                    dcc.Input(id="change-what", type="text", maxLength=MOST_WHAT),
                ]
            ),
            html.Button("Note the change", id="change-note", type="button", className="button"),
            html.P(id="change-said", role="status"),
            dcc.Store(id="change-bike", data=bike),
        ],
        className="form screen-only",
    )


def note(context: Context, bike: object, on: object, what: object, today: date) -> str:
    """Note a change; gives the address of the season that now knows it.

    Args:
        bike: as the page gives it back. on, what: as typed. today: by the reader's clock.

    Raises:
        BenchlogError: what was typed cannot be used, or the store not written; says why.
    """
    name, text = str(bike or ""), str(what or "").strip()
    if name not in [row.bike for row in context.store.bikes()]:
        raise BenchlogError("there is no sheet of this bike any more; open its season again")
    day = _day(on)
    if not FIRST_DAY <= day <= today:
        raise BenchlogError(f"the day must lie between {FIRST_DAY} and today, {today}; got {day}")
    if not text:
        raise BenchlogError("say what was changed, such as: new battery")
    if len(text) > MOST_WHAT:
        raise BenchlogError(f"what was changed has {len(text)} characters; at most {MOST_WHAT} are kept")
    if any((change.on, change.what) == (day, text) for change in context.store.changes(name)):
        raise BenchlogError("this change is already noted for that day")
    noted = context.store.note_change(name, day, text)
    return f"{bike_link(name, '/season')}&noted={noted.number}"


def register(app: Dash, context: Context) -> None:
    """Connect the form."""

    @on_press(
        app,
        "change-note",
        [Output("go", "href", allow_duplicate=True), Output("change-said", "children")],
        [*values("change-on", "change-what"), *data("change-bike", "here")],
    )
    def _note(on, what, bike, here):  # type: ignore[no-untyped-def]  # Dash calls it by position
        today = datetime.now(zone_of((here or {}).get("zone"))).date()
        try:
            # the season is made anew with the change
            return note(context, bike, on, what, today), "Noted."
        except BenchlogError as problem:
            return no_update, said(problem)


def said(problem: BenchlogError) -> str:
    """A message as a sentence."""
    text = str(problem)
    return f"{text[:1].upper()}{text[1:]}."


def _day(typed: Any) -> date:
    try:
        return datetime.strptime(str(typed or "").strip()[:20], "%Y-%m-%d").date()
    except ValueError:
        raise BenchlogError(
            f"the day must be written as year-month-day, such as 2026-09-20; got {str(typed or 'nothing')[:20]}"
        ) from None
