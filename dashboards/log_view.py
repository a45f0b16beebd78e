"""The log over time: the whole first, then any stretch down to single samples."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, Patch, State, ctx, dcc, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.report import words
from benchlog.report.figures.view import DrawnView, changes, strip_count, view_figure, view_roles
from benchlog.verdict.result import Check, Result
from dashboards.context import Context
from dashboards.looked import at_hand, behind
from dashboards.parts.attributes import attributes
from dashboards.parts.drawing import drawing
from dashboards.parts.matching import matching
from dashboards.shelf import LookedAt
from dashboards.stretches import Stretch, around, dragged, stepped, typed, within

_BUTTONS = (("earlier", "Earlier"), ("later", "Later"), ("in", "Zoom in"), ("out", "Zoom out"), ("whole", "Whole log"))
CAPTION = (
    "Key states and the stretch behind every check, then voltages and currents over time: mean as a line, minimum to "
    "maximum as a band. Currents are on a stretched scale, each mark ten times the one before. "
    "Drag across the drawing, or use the buttons, to look closer."
)


def log_view(looked: LookedAt, result: Result, number: int) -> html.Div:
    """Controls and figure of one log, drawn for the whole of it.

    Args:
        looked: the log. result: whose checks are marked. number: of the figure on the page.
    """
    whole = (looked.start_s, looked.end_s)
    drawn = looked.drawn(*whole)
    figure = whole_figure(looked, result, drawn)
    roles = [role for _, panel in view_roles(looked.evidence) for role in panel]
    named = {part: {"part": part, "log": number} for part in ("graph", "from", "to", "go", "stretch", "said")}
    return html.Div(
        [
            html.Div(
                [
                    html.Div(
                        [
                            html.Button(text, id={"part": "step", "log": number, "by": by}, type="button")
                            for by, text in _BUTTONS
                        ],
                        className="row",
                    ),
                    html.Div(
                        [
                            _box("From / s", named["from"], whole[0]),
                            _box("to / s", named["to"], whole[1]),
                            html.Button("Show", id=named["go"], type="button"),
                        ],
                        className="row",
                    ),
                ],
                className="tools screen-only",
                role="group",
                **attributes(aria_label=f"Which stretch of {looked.evidence.log} is shown"),
            ),
            html.P(said(looked, whole, drawn), id=named["said"], className="said", role="status"),
            drawing(figure, CAPTION, id=named["graph"], wide=True, roles=roles),
            dcc.Store(id=named["stretch"], data=list(whole)),
        ],
        id=f"log-{number}",
        className="log-view",
        tabIndex="-1",
    )


def whole_figure(looked: LookedAt, result: Result, drawn: Mapping[str, DrawnView] | None = None) -> dict[str, Any]:
    """The figure of a whole log; ``drawn`` where its lines are at hand already."""
    whole = (looked.start_s, looked.end_s)
    return view_figure(looked.evidence, _marked(result), drawn or looked.drawn(*whole), *whole)


def said(looked: LookedAt, shown: Stretch, drawn: Mapping[str, DrawnView]) -> str:
    """What is shown, in words."""
    # as many digits as tell a hundredth of the stretch
    digits = min(max(math.ceil(2 - math.log10(max(shown[1] - shown[0], 1e-9))), 1), 6)
    text = f"{shown[0]:.{digits}f} to {shown[1]:.{digits}f} s of {looked.end_s:.1f} s"
    if any(len(one.edge) for one in drawn.values()):
        rows = int(looked.evidence.overview.rows.sum())
        count = rows * (shown[1] - shown[0]) / max(looked.end_s - looked.start_s, 1e-9)
        return f"{text}, about {count:,.0f} samples drawn as bands from minimum to maximum."
    return f"{text}, every sample."


def move(
    context: Context, source: object, number: int, trigger: str, told: dict[str, Any]
) -> tuple[Patch, list[float], str, str, str] | str:
    """What the page changes after the user asked for another stretch; or what is wrong, in words.

    Args:
        source: whose log. number: of the figure. trigger: ``graph``, ``step``, ``show``, ``go``.
        told: ``relayout``, ``by``, ``check``, ``from``, ``to``, ``now``, as far as they are known.
    """
    whose = behind(context, source)
    looked = at_hand(context, whose, number)
    if looked is None:
        return "this log is no longer loaded; reload the page"
    whole, step_s = (looked.start_s, looked.end_s), looked.evidence.overview.step_s
    wanted: Stretch | None = None
    if trigger == "graph":
        wanted = dragged(told.get("relayout"), whole)
    elif trigger == "step":
        now = typed(*(told.get("now") or whole)) or whole
        wanted = stepped(str(told.get("by")), now, whole)
    elif trigger == "show":
        found = next((c for c in whose.result.checks if c.id == told.get("check")), None)
        if found is not None and found.from_s is not None and found.to_s is not None:
            wanted = around(found.from_s, found.to_s, step_s)
    elif (wanted := typed(told.get("from"), told.get("to"))) is None:
        return "two times in seconds are needed, the first smaller than the second"
    if wanted is None:
        return ""
    shown = within(wanted, whole, step_s)
    drawn = looked.drawn(*shown)
    patch = Patch()
    for place, value in changes(looked.evidence, strip_count(looked.evidence, _marked(whose.result)), drawn, *shown):
        into = patch
        for part in place[:-1]:
            into = into[part]
        into[place[-1]] = value
    return patch, list(shown), _short(shown[0]), _short(shown[1]), said(looked, shown, drawn)


def asked_by(triggered: Sequence[Mapping[str, Any]], ids: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """The id of what the user did last: a button or a box before the figure, which also tells when it was resized."""
    causes = [ids[one["prop_id"]] for one in triggered if one["value"] and one["prop_id"] in ids]
    return next((cause for cause in causes if cause["part"] != "graph"), causes[0] if causes else None)


def register(app: Dash, context: Context) -> None:
    """Connect the figure, its buttons and boxes, and the checks' buttons."""

    @app.callback(
        *matching("log", (Output, "graph", "figure"), (Output, "stretch", "data")),
        *matching("log", (Output, "from", "value"), (Output, "to", "value"), (Output, "said", "children")),
        *matching("log", (Input, "graph", "relayoutData")),
        Input({"part": "step", "log": MATCH, "by": ALL}, "n_clicks"),
        Input({"part": "show", "log": MATCH, "check": ALL}, "n_clicks"),
        *matching("log", (Input, "go", "n_clicks"), (Input, "from", "n_submit"), (Input, "to", "n_submit")),
        *matching("log", (State, "from", "value"), (State, "to", "value"), (State, "stretch", "data")),
        State("source", "data"),
        prevent_initial_call=True,
    )
    def _move(relayout, *given):  # type: ignore[no-untyped-def]  # Dash calls it by position
        from_text, to_text, now, source = given[5:]
        cause = asked_by(ctx.triggered, ctx.triggered_prop_ids)
        if cause is None:
            return (no_update,) * 5
        told = {"relayout": relayout, "by": cause.get("by"), "check": cause.get("check"), "from": from_text,
                "to": to_text, "now": now}  # fmt: skip
        part = "go" if cause["part"] in ("from", "to") else cause["part"]
        try:
            moved = move(context, source, int(cause["log"]), part, told)
        except BenchlogError as problem:
            moved = str(problem)
        if isinstance(moved, str):
            return (*(no_update,) * 4, moved or no_update)
        return moved


def _marked(result: Result) -> list[tuple[Check, str]]:
    ordered = sorted(result.checks, key=lambda check: words.READING_ORDER.index(check.verdict))
    return [(check, words.SHAPES[check.verdict]) for check in ordered]


def _box(label: str, box_id: dict[str, Any], value: float) -> html.Label:
    return html.Label([html.Span(label), dcc.Input(id=box_id, type="text", value=_short(value), size="9")])


def _short(value: float) -> str:
    return f"{value:.4f}".rstrip("0").rstrip(".")
