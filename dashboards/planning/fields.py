"""One question as a field: its label, what is typed, and under it what an empty answer stands for."""

from typing import Any

from dash import dcc, html

from benchlog.plan.batteries import CHEMISTRY
from benchlog.plan.questions.kinds import ChoiceAnswer, TextAnswer
from benchlog.plan.questions.question import NONE, PlanQuestion, nothing_offered
from benchlog.plan.questions.working_out import AnswerState
from dashboards.parts.attributes import attributes
from dashboards.parts.select import select

#: Words of a plan that need more of them.
WORDS = {
    **{name: kind.name for name, kind in CHEMISTRY.items()},
    **{"hold": "must stay live", "drop": "must go dead", "any": "not judged", "none": "nothing"},
}


def part_of(question: PlanQuestion) -> str:
    """What kind of component it has: the page listens to each kind."""
    if isinstance(question.kind, ChoiceAnswer):
        return "choose"
    return "limit" if question.table == "limits" else "ask"


def field(place: str, state: AnswerState, said: str) -> html.Div:
    """The field.

    Args:
        place: of the question. state: how it stands with it. said: what was typed.
    """
    question = state.question
    hint = html.Div(hint_of(state, said, ()), id={"part": "hint", "at": place}, className="hint")
    if isinstance(question.kind, ChoiceAnswer):
        return html.Div([_choice(place, state, question.kind, said), hint], className="field")
    control: Any
    shared: dict[str, Any] = {
        "id": {"part": part_of(question), "at": place},
        "value": said,
        "placeholder": placeholder(state),
    }
    if isinstance(question.kind, TextAnswer) and question.kind.lines:
        control = dcc.Textarea(**shared, rows=2)
    else:
        control = dcc.Input(**shared, type="text", maxLength=200)
    return html.Div(
        [html.Label([html.Span(question.text), control]), hint, *_confirm(place, question)], className="field"
    )


def placeholder(state: AnswerState) -> str:
    """What stands in an empty field."""
    if state.offer is not None:
        return state.offer.text
    return f"such as {state.question.such_as}" if state.question.such_as else ""


def hint_of(state: AnswerState, said: str, remarks: tuple[str, ...]) -> list[Any]:
    """What stands under a field: a fault, a doubt, what is suggested and why.

    Args:
        remarks: what the plan as a whole has to say about it.
    """
    lines: list[Any] = []
    if state.fault:
        lines.append(html.P([html.Strong("Not usable: "), state.fault], className="fault"))
    elif state.missing:
        lines.append(html.P("needed"))
    if state.told:
        lines.append(html.P(state.told))
    doubted = () if state.fault else remarks or ((state.doubt,) if state.doubt else ())
    lines += [html.P([html.Strong("Look again: "), text], className="doubt") for text in doubted]
    if not said:
        lines += _left_empty(state)
    elif said == NONE:
        lines.append(html.P("left out of the plan"))
    return lines


def _left_empty(state: AnswerState) -> list[Any]:
    if state.offer is not None:
        mark = html.Span("suggested", className="mark")
        return [html.P([mark, f" {state.offer.text}: {state.offer.source}"])]
    return [html.P(f"empty: {state.question.empty}")] if state.question.empty else []


def _choice(place: str, state: AnswerState, kind: ChoiceAnswer, said: str) -> html.Label:
    """Nothing chosen is what is suggested, where anything is; else nothing is known."""
    question = state.question
    empty = "not known" if question.offer is nothing_offered else "as suggested"
    options = [("", empty), *((word, WORDS.get(word, word)) for word in kind.words)]
    if question.table == "limits":
        options.append((NONE, "not planned"))
    confirms = state.offer.text if question.table == "limits" and state.offer else None
    return select(question.text, {"part": "choose", "at": place}, options, said, confirms)


def _confirm(place: str, question: PlanQuestion) -> list[Any]:
    if part_of(question) != "limit":
        return []
    button = html.Button(
        "Confirm",
        id={"part": "confirm", "at": place},
        type="button",
        className="small",
        **attributes(aria_label=f"Confirm: {question.text}"),
    )
    return [button]
