"""The parts of a search for a place: the test that is asked for, what was answered, who is suspected, what is found."""

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from benchlog.find.as_json import expected, question_table
from benchlog.find.hunt import FoundPlace, Hunt, Suspect, share_words
from benchlog.find.mending import check_again, mend
from benchlog.find.questions import Question
from benchlog.find.words import HOW, answer_words, range_words
from dashboards.parts.attributes import attributes
from dashboards.parts.table import row, table

#: Suspects that are listed, from a belief on; letters of what was mended, as on a line of a sheet.
LISTED, LEAST, MOST_MENDED = 5, 0.005, 200


def asked_card(question: Question, hunt: Hunt, typed: str = "") -> html.Section:
    """One test: its caution first, what to do, where the probes go, what is expected, and the answer."""
    told = question_table(question, hunt.knowledge)
    parts: list[Any] = [
        html.H2([f"Test {len(hunt.replies) + 1}: ", html.Span(question.name, className="log")]),
        html.P([html.Strong("Caution:"), f" {told['caution']}"], className="caution"),
        html.P(told["ask"], className="say"),
    ]
    if question.start:
        parts.append(
            html.P(["Red probe: ", html.Strong(question.start), "; black probe: ", html.Strong(question.end), "."])
        )
    shows = range_words(told["expected"], question)
    parts.append(html.P(["A good install shows ", html.Strong(shows), f". About {question.minutes:g} minutes."]))
    parts.append(_answer(question, typed))
    parts.append(html.Details([html.Summary("How?"), html.P(HOW[question.kind])]))
    return html.Section(parts, className="step", key=question.name)


def _answer(question: Question, typed: str) -> html.Div:
    """Where it is answered; the first part has the keyboard."""
    if question.kind == "look":
        buttons = [
            html.Button(
                text.capitalize(),
                id={"part": "find", "do": text},
                type="button",
                className="button",
                autoFocus=text == "yes",
            )
            for text in ("yes", "no")
        ]
        return html.Div(buttons, className="row", role="group", **attributes(aria_label="Is it true?"))
    field = dcc.Input(
        id={"part": "find-value", "test": question.name},
        type="text",
        value=typed,
        maxLength=24,
        size="10",
        autoFocus=True,
        autoComplete="off",
    )
    enter = html.Button("Enter", id={"part": "find", "do": "enter"}, type="button", className="button")
    label = html.Label([html.Span(f"The meter shows / {question.unit}"), field], className="value")
    return html.Div([label, enter], className="row")


def found_card(found: FoundPlace, record: int | None, *, kept: bool) -> html.Section:
    """The place, how to mend it, and the check to take again.

    Args:
        found: the place. record: number of the sheet; None where it is not filed. kept: the sheet has this search.
    """
    also = f" (or, which no test at hand can tell from it: {', '.join(found.also)})" if found.also else ""
    again = check_again(found.place, found.kind)
    return html.Section(
        [
            html.H2(f"Found: {found.place}, {found.kind}"),
            html.P(f"{100 * found.belief:.1f} % sure{also}."),
            html.P([html.Strong("Mend it: "), mend(found.place, found.kind)], className="say"),
            html.P([html.Strong("Then take this check again: "), again, "."]),
            html.P(html.Code(f"benchlog acceptance PORT --plan PLAN --only {again}", className="wraps")),
            *_keeping(record, kept=kept),
        ],
        className="step found",
        key="found",
    )


def _keeping(record: int | None, *, kept: bool) -> list[Any]:
    """How the search comes onto the hand-over sheet."""
    if record is None:
        return [html.P("File the sheet, and the search is kept with it.", className="fact")]
    if kept:
        sheet = html.A("the hand-over sheet", href=f"/record/{record}/sheet")
        return [html.P(["This search is kept, and stands on ", sheet, "."], className="fact")]
    field = dcc.Input(id={"part": "find-value", "test": "mended"}, type="text", value="", maxLength=MOST_MENDED)
    button = html.Button("Keep with the sheet", id={"part": "find", "do": "keep"}, type="button", className="button")
    return [html.Div([html.Label([html.Span("What was mended"), field]), button], className="form screen-only")]


def open_card() -> html.Section:
    """Nothing is found, and nothing is left to ask."""
    return html.Section(
        [
            html.H2("Not found yet"),
            html.P("No test is left that would tell more. Take back what could not be done, or look at the suspects."),
        ],
        className="step",
        key="open",
    )


def suspects_list(suspects: Sequence[Suspect]) -> html.Section:
    """The likeliest places."""
    items = [
        html.Li([html.Strong(f"{share_words(each.belief)} "), " ".join((each.place, each.kind)).strip()])
        for each in suspects[:LISTED]
        if each.belief >= LEAST
    ]
    return html.Section([html.H2("Suspected"), html.Ul(items)])


def answered(hunt: Hunt) -> html.Section | None:
    """What was answered, beside what a good install shows; the newest first."""
    if not hunt.replies:
        return None
    doubtful = set(hunt.doubtful())
    rows = []
    for reply in reversed(hunt.replies):
        question = hunt.knowledge.questions[reply.test]
        good = range_words(expected(question, hunt.knowledge.good[reply.test]), question)
        note = "doubtful" if reply.test in doubtful else ""
        rows.append(row(reply.test, [("Answer", answer_words(reply.value, question)), ("Good", good), ("Note", note)]))
    listed = table("Answers, the newest first", ("Test", "Answer", "Good", "Note"), rows, "draws answers")
    return html.Section([html.H2("Answers"), listed])
