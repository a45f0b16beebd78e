"""The measuring sheet for a hand meter, of a plan that is kept or on file: to print, or to fill in here and check."""

import io
from collections.abc import Iterator, Mapping
from datetime import datetime, tzinfo
from itertools import count
from typing import Any

from dash import ALL, Dash, Output, State, dcc, html, no_update

from benchlog.bench.by_hand.filled import CURRENT, TEMPERATURE, VOLTAGE, filled_sheet
from benchlog.bench.by_hand.sheet import GO_ON, SheetGroup, extra_boxes, measuring_sheet
from benchlog.bench.by_hand.steps import HandStep
from benchlog.core.errors import BenchlogError
from benchlog.core.folding import held_together
from benchlog.meter.writing import readings_text
from benchlog.plan.kept import kept_plan
from benchlog.plan.model import Plan, load_plan
from dashboards.context import Context
from dashboards.drop_form import start_check
from dashboards.parts.attributes import attributes
from dashboards.pressed import data, on_press
from dashboards.words.times import zone_of

#: Of one box; a figure is much shorter.
_MOST_TYPED = 40
_COLUMNS = ("What", "Where", "The plan allows", "Reading")


def measuring_page(context: Context, asked: dict[str, str]) -> tuple[str, list[Any]]:
    """Title and content.

    Args:
        asked: ``record``, a number, or ``plan``, the name of a kept one.

    Raises:
        BenchlogError: there is no such plan, or it limits nothing that a hand meter shows.
    """
    source = _source(asked)
    sheet = measuring_sheet(_plan(context, source))
    numbers = count()
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
                html.Dl(blanks, className="blanks print-only"),
            ],
            className="top",
        ),
        *(throughout if sheet.throughout else []),
        *(_group(number, group, numbers) for number, group in enumerate(sheet.groups, start=1)),
        _ending(),
        dcc.Store(id="hand-source", data=source),
        html.P(GO_ON, className="quiet print-only"),
    ]
    return f"{sheet.bike}, measuring sheet", content


def check_filled(
    context: Context, source: object, boxes: Mapping[tuple[int, str], str], meter: Mapping[str, str], zone: tzinfo
) -> str:
    """Have a sheet that was filled in checked; gives the job's id.

    Args:
        source: of the plan, as the page gives it back. boxes, meter: as ``filled_sheet`` takes them.
        zone: of the reader's clock, which says when it was taken.

    Raises:
        BenchlogError: something typed is no figure, or the plan is no longer here.
    """
    taken = datetime.now(zone).replace(microsecond=0)
    file = filled_sheet(_plan(context, str(source)), boxes, meter, taken)
    content = readings_text(file).encode()
    tray, _ = context.trays.take(None, "readings.toml", io.BytesIO(content), len(content))
    return start_check(context, tray.id, source, "")


def _source(asked: Mapping[str, str]) -> str:
    """The plan as the drop form names it: ``record N`` or ``kept NAME``."""
    number, name = asked.get("record", ""), asked.get("plan", "")
    return f"record {number}" if number else f"kept {name}"


def _plan(context: Context, source: str) -> Plan:
    kind, _, name = source.partition(" ")
    if kind == "record" and name.isdecimal() and len(name) < 12:
        return context.store.record(int(name)).plan
    kept = kept_plan(name) if kind == "kept" else None
    if kept is None:
        raise BenchlogError("no plan was named for the measuring sheet; open it from a sheet on file")
    return load_plan(kept.path)


def _group(number: int, group: SheetGroup, numbers: Iterator[int]) -> html.Section:
    rows = [_row(next(numbers), step) for step in group.steps]
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


def _row(number: int, step: HandStep) -> html.Tr:
    hint = [html.Small(held_together(step.hint))] if step.hint else []
    named = zip(step.extras, extra_boxes(step), strict=True)
    boxes = [_box(number, "value", step.title, "", step.unit)]
    boxes += [_box(number, key, step.title, name, unit) for key, (name, unit) in named]
    return html.Tr(
        [
            html.Th([step.title, *hint], scope="row"),
            html.Td(step.what),
            html.Td(held_together(step.expected or "–")),
            html.Td(boxes, className="writein"),
        ]
    )


def _box(number: int, key: str, title: str, name: str, unit: str) -> html.Label:
    """A box for a figure; whose it is is said to those who do not see the row."""
    said = html.Span(f"{title}, {name or 'reading'} in ", className="unseen")
    before = [html.Small(name)] if name else []
    typed = dcc.Input(
        id={"part": "hand", "step": number, "key": key}, type="text", maxLength=_MOST_TYPED, autoComplete="off"
    )
    return html.Label([said, *before, typed, html.B(unit)], className="blank")


def _ending() -> html.Section:
    meter = [
        (VOLTAGE, "The meter's accuracy for DC voltage, such as 0.5 % + 2"),
        (CURRENT, "The same for DC current"),
        (TEMPERATURE, "Battery's temperature, °C, where it is known"),
    ]
    return html.Section(
        [
            html.H2("Check what was read"),
            html.P("Without an accuracy a figure is shown, and proves nothing.", className="fact"),
            *(
                html.Label(
                    [
                        html.Span(text),
                        dcc.Input(id={"part": "meter", "key": key}, type="text", maxLength=_MOST_TYPED,
                                  autoComplete="off"),
                    ]
                )
                for key, text in meter
            ),
            html.Button("Check these readings", id="hand-check", type="button", className="button"),
            html.P(id="hand-said", role="status", className="said"),
        ],
        className="form screen-only",
    )  # fmt: skip


def register(app: Dash, context: Context) -> None:
    """Connect the form."""
    fields = ({"part": "hand", "step": ALL, "key": ALL}, {"part": "meter", "key": ALL})
    filled = [State(field, holds) for field in fields for holds in ("value", "id")]

    @on_press(
        app,
        "hand-check",
        [Output("go", "href", allow_duplicate=True), Output("hand-said", "children")],
        [*filled, *data("hand-source", "here")],
    )
    def _check(typed, ids, *rest):  # type: ignore[no-untyped-def]  # Dash calls it by position
        about, about_ids, source, here = rest
        boxes = {(int(at["step"]), str(at["key"])): str(text or "") for at, text in zip(ids, typed, strict=True)}
        meter = {str(at["key"]): str(text or "") for at, text in zip(about_ids, about, strict=True)}
        try:
            job = check_filled(context, source, boxes, meter, zone_of((here or {}).get("zone")))
        except BenchlogError as problem:
            return no_update, str(problem)
        return f"/checked/{job}", "Checking …"


def _listed(texts: tuple[str, ...]) -> html.Ul:
    return html.Ul([html.Li(text) for text in texts])
