"""The measuring sheet for a hand meter, as ``benchlog plan --sheet`` writes it, of a plan that is kept or on file."""

from typing import Any

from dash import html

from benchlog.bench.by_hand.sheet import GO_ON, SheetGroup, extra_boxes, measuring_sheet
from benchlog.bench.by_hand.steps import HandStep
from benchlog.core.errors import BenchlogError
from benchlog.core.folding import held_together
from benchlog.plan.kept import kept_plan
from benchlog.plan.model import Plan, load_plan
from dashboards.context import Context
from dashboards.parts.attributes import attributes

_COLUMNS = ("What", "Where", "The plan allows", "Reading")


def measuring_page(context: Context, asked: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and content.

    Args:
        asked: ``record``, a number, or ``plan``, the name of a kept one.

    Raises:
        BenchlogError: there is no such plan, or it limits nothing that a hand meter shows.
    """
    sheet = measuring_sheet(_plan(context, asked))
    blanks = [html.Div([html.Dt(name), html.Dd()]) for name in sheet.blanks]
    throughout = [html.Section([html.H2("Throughout"), _listed(sheet.throughout)], className="state")]
    content = [
        html.Header(
            [
                html.P("Measuring sheet for a hand meter", className="kind"),
                html.H1(sheet.bike),
                html.Div(
                    html.Button("Print this sheet", type="button", className="button", **attributes(data_print="1")),
                    className="row links screen-only",
                ),
                html.Dl(blanks, className="blanks"),
            ],
            className="top",
        ),
        *(throughout if sheet.throughout else []),
        *(_group(number, group) for number, group in enumerate(sheet.groups, start=1)),
        html.P(GO_ON, className="quiet"),
    ]
    return f"{sheet.bike}, measuring sheet", content


def _plan(context: Context, asked: dict[str, str]) -> Plan:
    number, name = asked.get("record", ""), asked.get("plan", "")
    if number.isdecimal() and len(number) < 12:
        return context.store.record(int(number)).plan
    kept = kept_plan(name) if name else None
    if kept is None:
        raise BenchlogError("no plan was named for the measuring sheet; open it from a sheet on file")
    return load_plan(kept.path)


def _group(number: int, group: SheetGroup) -> html.Section:
    rows = [_row(step) for step in group.steps]
    heads = html.Tr([html.Th(name, scope="col") for name in _COLUMNS])
    return html.Section(
        [
            html.H2(f"{number}. {group.title}"),
            html.P(f"{group.state}."),
            _listed(group.cautions) if group.cautions else None,
            html.Table([html.Thead(heads), html.Tbody(rows)], className="readings"),
        ],
        className="state",
    )


def _row(step: HandStep) -> html.Tr:
    hint = [html.Small(held_together(step.hint))] if step.hint else []
    boxes = [_box("", step.unit), *(_box(name, unit) for name, unit in extra_boxes(step))]
    return html.Tr(
        [
            html.Th([step.title, *hint], scope="row"),
            html.Td(step.what),
            html.Td(held_together(step.expected or "–")),
            html.Td(boxes, className="writein"),
        ]
    )


def _box(name: str, unit: str) -> html.Span:
    before = [html.Small(name)] if name else []
    return html.Span([*before, html.I(), html.B(unit)], className="blank")


def _listed(texts: tuple[str, ...]) -> html.Ul:
    return html.Ul([html.Li(text) for text in texts])
