"""Find the fault: one test at a time, on the same answers as ``benchlog find`` at a terminal."""

from typing import Any
from urllib.parse import quote

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.find.answers import text_of
from benchlog.find.as_json import kept
from benchlog.find.hunt import Hunt, Reply
from benchlog.find.terminal import no_answer_words, value_typed
from dashboards.context import Context
from dashboards.looked import Behind, behind
from dashboards.parts.path_drawing import path_drawing
from dashboards.parts.search import MOST_MENDED, answered, asked_card, found_card, open_card, suspects_list
from dashboards.searches import answers_path

ANSWERS_PATH = "/answers"
_ELSEWHERE = "The search went on elsewhere; this is where it is now."


def find_page(context: Context, source: str) -> tuple[str, list[Any]]:
    """Title and content.

    Args:
        source: ``record N`` or ``checked ID``.

    Raises:
        BenchlogError: there is no such result, or its answers cannot be read.
    """
    whose = behind(context, source)
    back = f"/{whose.source.replace(' ', '/')}"
    with context.searches.lock:
        hunt = context.searches.hunt(whose)
        now = shown(whose, hunt)
    head = html.Header(
        [
            html.P([f"{whose.result.bike}: ", html.A("back to the result", href=back)], className="kind"),
            html.H1("Find the fault"),
        ],
        className="top",
    )
    return "Find the fault", [dcc.Store(id="source", data=whose.source), head, html.Div(now, id="find-now")]


def shown(whose: Behind, hunt: Hunt, said: str = "", typed: str = "") -> list[Any]:
    """The page as the session stands.

    Args:
        whose: the result. hunt: the session.
        said: what is wrong with what was typed. typed: that stays in its field.
    """
    suspects, found = hunt.suspects(), hunt.found()
    question = None if found else hunt.next_question()
    if found is not None:
        number = None if whose.record is None else whose.record.number
        card = found_card(found, record=number, kept=_is_kept(whose, hunt))
    elif question is None:
        card = open_card()
    else:
        card = asked_card(question, hunt, typed)
    return [
        dcc.Store(id="find-test", data=None if question is None else question.name),
        html.Div(
            [
                html.Div(
                    [
                        card,
                        html.P(said, id="find-said", role="status"),
                        html.Div(_ways(hunt, asking=question is not None), className="row screen-only"),
                    ],
                    className="asking",
                ),
                html.Div([path_drawing(hunt, question), suspects_list(suspects)], className="suspected"),
            ],
            className="finding",
        ),
        answered(hunt),
        html.P(
            [
                "Each answer is kept at once. To go on at a terminal: ",
                html.A(
                    "take the answers along", href=f"{ANSWERS_PATH}?of={quote(whose.source)}", download="answers.toml"
                ),
                " and give them to ",
                html.Code("benchlog find LOG --plan PLAN --answers answers.toml", className="wraps"),
            ],
            className="fact screen-only",
        ),
    ]


def act(context: Context, source: object, do: str, test: object, typed: object) -> list[Any]:
    """Do what was clicked or typed; gives the page anew.

    Args:
        source: as the page gives it back. do: yes, no, enter, skip, back or keep.
        test: the test that was shown. typed: the value's field.

    Raises:
        BenchlogError: the session is gone, or its file cannot be written.
    """
    whose = behind(context, source)
    text = str(typed or "").strip()[:MOST_MENDED]
    with context.searches.lock:
        hunt = context.searches.hunt(whose)
        question = None if hunt.found() else hunt.next_question()
        if do == "back":
            if hunt.replies:
                hunt.replies.pop()
                context.searches.write(whose, hunt)
            return shown(whose, hunt)
        if do == "keep":
            return shown(keep(context, whose, hunt, text), hunt)
        if question is None or question.name != test:
            return shown(whose, hunt, _ELSEWHERE)
        value = None if do == "skip" else value_typed(do if do in ("yes", "no") else text, question)
        if value is None and do != "skip":
            return shown(whose, hunt, no_answer_words(text, question), text)
        doubted = set(hunt.doubtful())
        hunt.replies.append(Reply(question.name, value))
        context.searches.write(whose, hunt)
        return shown(whose, hunt, _doubt_words(sorted(set(hunt.doubtful()) - doubted)))


def keep(context: Context, whose: Behind, hunt: Hunt, mended: str) -> Behind:
    """Keep the search with its sheet; gives the sheet with it.

    Raises:
        BenchlogError: the sheet is not filed, or the store not written.
    """
    if whose.record is None:
        raise BenchlogError("this sheet is not on file; file it, and the search is kept with it")
    if not _is_kept(whose, hunt):
        context.store.keep_search(whose.record.number, kept(hunt), mended)
    return behind(context, whose.source)


def take_along(context: Context, whose: Behind, number: int) -> None:
    """A search that was begun before its sheet was filed goes on with the sheet, and is kept if it has ended.

    Args:
        whose: the check as it was before. number: of the sheet.

    Raises:
        BenchlogError: its answers cannot be read or written, or not be kept.
    """
    if not answers_path(whose).exists():
        return
    with context.searches.lock:
        hunt = context.searches.hunt(whose)
        filed = behind(context, f"record {number}")
        context.searches.write(filed, hunt)
        if hunt.found() is not None:
            keep(context, filed, hunt, "")


def _is_kept(whose: Behind, hunt: Hunt) -> bool:
    """Whether the sheet has the session as it stands."""
    if whose.record is None or not whose.record.searches:
        return False
    return bool(list(whose.record.searches[-1].answers) == kept(hunt)["answers"])


def _doubt_words(names: list[str]) -> str:
    return " ".join(f'The answer to "{name}" does not fit the others; it is asked in another way.' for name in names)


def _ways(hunt: Hunt, *, asking: bool) -> list[Any]:
    """What else can be done than to answer."""
    found = [_button("Cannot do", "skip")] if asking else []
    return [*found, _button("Take back", "back", disabled=not hunt.replies)]


def _button(text: str, do: str, *, disabled: bool = False) -> html.Button:
    return html.Button(text, id={"part": "find", "do": do}, type="button", disabled=disabled)


def register(app: Dash, context: Context) -> None:
    """Connect the buttons and the field, and give the answers away as a file."""
    from flask import Response, request

    @app.callback(
        Output("find-now", "children"),
        Input({"part": "find", "do": ALL}, "n_clicks"),
        Input({"part": "find-value", "test": ALL}, "n_submit"),
        State({"part": "find-value", "test": ALL}, "value"),
        State("find-test", "data"),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _act(clicks, submits, values, test, source):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if not any(clicks) and not any(submits):  # the parts have only just appeared
            return no_update
        which = ctx.triggered_id or {}
        do = which.get("do") or ("keep" if which.get("test") == "mended" else "enter")
        try:
            return act(context, source, str(do), test, values[0] if values else None)
        except BenchlogError as problem:
            return html.P(str(problem), className="problem", role="alert")

    def answers() -> Response:
        try:
            whose = behind(context, request.args.get("of"))
            with context.searches.lock:
                hunt = context.searches.hunt(whose)
        except BenchlogError as problem:
            return Response(f"{problem}\n", status=404, mimetype="text/plain")
        text = text_of(hunt.replies, hunt.knowledge.questions)
        return Response(text, mimetype="application/toml", headers={"Content-Disposition": "attachment"})

    app.server.add_url_rule(ANSWERS_PATH, "answers", answers)
