"""The form: a group of fields for each table of the plan, and one for each circuit."""

from typing import Any

from dash import html

from benchlog.core.roles import SLOTS
from benchlog.plan.questions.listed import SECTIONS
from benchlog.plan.questions.question import PlanQuestion, PlanSection
from benchlog.plan.questions.working_out import WorkedOut
from dashboards.parts.attributes import attributes
from dashboards.planning.fields import field
from dashboards.planning.sketch import Sketch

#: The button that adds a circuit; it comes with the form, so that the page waits for none.
ADD = {"part": "add", "after": "circuits"}
_EXPLAINED = {
    "circuit": "One for each used position of the fuse block: its device, its fuse and its wire.",
    "limits": "Each is suggested for this battery until you type your own, or confirm it; what nobody has confirmed "
    "stays marked as a suggestion in the plan. A dash (-) leaves its check out.",
}


def form(sketch: Sketch) -> list[Any]:
    """All fields, with what was typed in them."""
    found = sketch.found
    parts: list[Any] = []
    for section in SECTIONS:
        if section.table == "circuit":
            parts.append(_circuits(section, sketch, found))
        else:
            parts.append(_group(section, sketch, found))
    return parts


def _group(section: PlanSection, sketch: Sketch, found: WorkedOut) -> html.Section:
    more = []
    if section.table == "limits":
        more = [
            html.Button("Confirm all limits as suggested", id="plan-confirm-all", type="button", className="button")
        ]
    explained = _EXPLAINED.get(section.table)
    return html.Section(
        [
            html.H2(section.title),
            *([html.P(explained, className="fact")] if explained else []),
            *_fields(section, None, sketch, found),
            *more,
        ]
    )


def _circuits(section: PlanSection, sketch: Sketch, found: WorkedOut) -> html.Section:
    groups = [_circuit(section, number, sketch, found) for number in range(1, sketch.circuits + 1)]
    return html.Section(
        [
            html.H2(section.title),
            html.P(_EXPLAINED["circuit"], className="fact"),
            *groups,
            html.Button(
                "Add a circuit",
                id=ADD,
                type="button",
                className="button",
                disabled=sketch.circuits >= SLOTS,
            ),
        ]
    )


def _circuit(section: PlanSection, number: int, sketch: Sketch, found: WorkedOut) -> html.Fieldset:
    return html.Fieldset(
        [
            html.Legend(f"Circuit {number}"),
            *_fields(section, number, sketch, found),
            html.Button(
                "Remove this circuit",
                id={"part": "remove", "circuit": number},
                type="button",
                className="small",
                **attributes(aria_label=f"Remove circuit {number}"),
            ),
        ],
        className="circuit",
    )


def _fields(section: PlanSection, number: int | None, sketch: Sketch, found: WorkedOut) -> list[Any]:
    """What is asked, and folded below it what few need: the terminal does not ask for it either."""
    quiet = [each for each in section.questions if each.quiet and section.table != "limits"]
    parts: list[Any] = [_grid([each for each in section.questions if each not in quiet], number, sketch, found)]
    if quiet:
        typed = any(each.place(number) in sketch.typed for each in quiet)
        grid = _grid(quiet, number, sketch, found)
        parts.append(html.Details([html.Summary(_more(quiet)), grid], open=typed, className="more"))
    return parts


def _more(quiet: list[PlanQuestion]) -> str:
    names = [each.text.partition(",")[0] for each in quiet]
    return f"More: {', '.join([names[0], *(name[:1].lower() + name[1:] for name in names[1:])])}"


def _grid(questions: list[PlanQuestion], number: int | None, sketch: Sketch, found: WorkedOut) -> html.Div:
    places = [each.place(number) for each in questions]
    fields = [field(place, found.states[place], sketch.typed.get(place, "")) for place in places]
    return html.Div(fields, className="plan-fields")
