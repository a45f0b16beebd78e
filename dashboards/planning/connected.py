"""The page Plan connected: the form is made anew where its fields change, and worked out as one types."""

from collections.abc import Sequence
from typing import Any

from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.plan.kept import AnotherPlan
from dashboards.context import Context
from dashboards.note_form import said as as_sentence
from dashboards.parts.attributes import dom_id
from dashboards.planning.fields import hint_of, placeholder
from dashboards.planning.follows import follows, remarks_on
from dashboards.planning.form import ADD, form
from dashboards.planning.opening import open_dropped, open_filed, open_kept
from dashboards.planning.saving import save_plan, written
from dashboards.planning.sketch import Sketch, sketch_of
from dashboards.pressed import data, move_focus, on_press

#: Kinds of fields, and what holds their answers.
_PARTS = {"ask": "value", "choose": "data", "limit": "value"}
_ANSWERS = [State({"part": part, "at": ALL}, holds) for part, holds in _PARTS.items()]
_PLACES = [State({"part": part, "at": ALL}, "id") for part in _PARTS]


def register(app: Dash, context: Context) -> None:
    """Connect the page."""
    _remake(app, context)
    _work_out(app)
    _end(app)
    move_focus(app, "plan")
    ours: Any = app.clientside_callback  # Dash gives it no types
    ours(
        ClientsideFunction("benchlog", "confirm"),
        Output({"part": "limit", "at": MATCH}, "value"),
        Input({"part": "confirm", "at": MATCH}, "n_clicks"),
        State({"part": "limit", "at": MATCH}, "value"),
        State({"part": "limit", "at": MATCH}, "placeholder"),
        prevent_initial_call=True,
    )


def as_answered(base: object, said: Sequence[Sequence[object]], ids: Sequence[Sequence[dict[str, str]]]) -> Sketch:
    """The sketch with what stands in the fields now."""
    places = [each["at"] for group in ids for each in group]
    return sketch_of(base).with_answers(places, [text for group in said for text in group])


def remade(context: Context, why: object, sketch: Sketch, kept: object, file: object) -> tuple[Sketch, str, str]:
    """The sketch after a button, what to say, and the id of the element to go to.

    Args:
        why: id of what was pressed. sketch: as it stands. file: what was dropped in.
        kept: what the browser kept, or what stood there before.

    Raises:
        BenchlogError: what is to be opened cannot be used.
    """
    match why:
        case "plan-begin":
            found = sketch_of(kept)
            return found, "What you typed before is here again." if not found.is_empty else "", ""
        case "plan-undo":
            return sketch_of(kept), "What was there is back.", ""
        case "plan-new":
            return Sketch(), "The form is empty.", _field_at("install.bike")
        case "plan-file":
            return *open_dropped(context, file), ""
        case {"part": "add"}:
            more = sketch.with_circuit()
            return more, f"Circuit {more.circuits} is added.", _field_at(f"circuit[{more.circuits}].device")
        case {"part": "remove", "circuit": number} if isinstance(number, int):
            less = sketch.without_circuit(number)
            # what takes its place, or the button that brings it back
            then = _field_at(f"circuit[{number}].device") if number <= less.circuits else dom_id(ADD)
            return less, f"Circuit {number} is removed.", then
        case {"part": "open", "kept": "", "sheet": number}:
            return *open_filed(context, number), ""
        case {"part": "open", "kept": name}:
            return *open_kept(name), ""
    return sketch, "", ""


def replaces(why: object) -> bool:
    """Whether a button puts another plan in the place of what was typed."""
    return why in ("plan-new", "plan-file") or (isinstance(why, dict) and why.get("part") in ("open", "remove"))


def _field_at(place: str) -> str:
    return dom_id({"part": "ask", "at": place})


def _remake(app: Dash, context: Context) -> None:
    @app.callback(
        Output("plan-form", "children"),
        Output("plan-base", "data"),
        Output("plan-said", "children"),
        Output("plan-focus", "data"),
        Output("plan-before", "data"),
        Output("plan-undo", "hidden"),
        Input("plan-begin", "n_intervals"),
        Input("plan-undo", "n_clicks"),
        Input("plan-new", "n_clicks"),
        Input({"part": "add", "after": ALL}, "n_clicks"),
        Input({"part": "remove", "circuit": ALL}, "n_clicks"),
        Input({"part": "open", "kept": ALL, "sheet": ALL}, "n_clicks"),
        Input("plan-file", "data"),
        State("plan-kept", "data"),
        State("plan-base", "data"),
        State("plan-before", "data"),
        *_ANSWERS,
        *_PLACES,
        prevent_initial_call=True,
    )
    def _changed(*given):  # type: ignore[no-untyped-def]  # Dash calls it by position
        file, kept, base, before, *rest = given[6:]
        # buttons that come with the form ask as well, unpressed
        if not ctx.triggered or not ctx.triggered[0]["value"]:
            return [no_update] * 6
        was = as_answered(base, rest[:3], rest[3:])
        again = before if ctx.triggered_id == "plan-undo" else kept
        try:
            sketch, said, focus = remade(context, ctx.triggered_id, was, again, file)
        except BenchlogError as problem:
            return no_update, no_update, as_sentence(problem), no_update, no_update, no_update
        lost = base and not was.is_empty and replaces(ctx.triggered_id)
        undo = (was.as_data(), None) if lost else (None, "hidden")
        return form(sketch), sketch.as_data(), said, focus or no_update, *undo


def _work_out(app: Dash) -> None:
    @app.callback(
        Output("plan-follows", "children"),
        Output("plan-kept", "data"),
        Output({"part": "hint", "at": ALL}, "children"),
        Output({"part": "ask", "at": ALL}, "placeholder"),
        Output({"part": "limit", "at": ALL}, "placeholder"),
        *(Input({"part": part, "at": ALL}, holds) for part, holds in _PARTS.items()),
        Input("plan-base", "data"),
        *_PLACES,
        State({"part": "hint", "at": ALL}, "id"),
        prevent_initial_call=True,
    )
    def _typed(*given):  # type: ignore[no-untyped-def]  # Dash calls it by position
        said, base, ids, hints = given[:3], given[3], given[4:7], given[7]
        if not base or not hints:
            return no_update, no_update, [no_update] * len(hints), *([no_update] * len(ids[n]) for n in (0, 2))
        sketch = as_answered(base, said, ids)
        found = sketch.found
        remarks = remarks_on(found)
        about: dict[str, list[str]] = {}
        for one in remarks:
            if one.severity != "note" and (place := found.asked_at(one.about)):
                about.setdefault(place, []).append(one.text)
        told = [
            hint_of(found.states[at["at"]], sketch.typed.get(at["at"], ""), tuple(about.get(at["at"], ())))
            for at in hints
        ]
        stand_in = [[placeholder(found.states[at["at"]]) for at in ids[n]] for n in (0, 2)]
        return follows(found, remarks), sketch.as_data(), told, *stand_in


def _end(app: Dash) -> None:
    @app.callback(
        Output("plan-saved", "children"),
        Output("plan-replacing", "hidden"),
        Output("plan-there", "data"),
        Output("plan-base", "data", allow_duplicate=True),
        Input("plan-save", "n_clicks"),
        Input("plan-replace", "n_clicks"),
        State("plan-there", "data"),
        State("plan-base", "data"),
        *_ANSWERS,
        *_PLACES,
        prevent_initial_call=True,
    )
    def _save(save, replace, there, base, *rest):  # type: ignore[no-untyped-def]  # Dash calls it by position
        if not save and not replace:
            return no_update, no_update, no_update, no_update
        sketch = as_answered(base, rest[:3], rest[3:])
        try:
            saved = save_plan(sketch, there if ctx.triggered_id == "plan-replace" else None)
        except AnotherPlan as problem:
            return as_sentence(problem), None, problem.digest, no_update
        except BenchlogError as problem:
            return as_sentence(problem), "hidden", None, no_update
        on = html.A("Check a log with it", href="/#check-a-log")
        return [f"Saved: {saved.path}. ", on], "hidden", None, saved.sketch.as_data()

    @on_press(
        app,
        "plan-download",
        [Output("plan-file-out", "data"), Output("plan-saved", "children", allow_duplicate=True)],
        [*data("plan-base"), *_ANSWERS, *_PLACES],
    )
    def _download(base, *rest):  # type: ignore[no-untyped-def]  # Dash calls it by position
        try:
            name, text = written(as_answered(base, rest[:3], rest[3:]))
        except BenchlogError as problem:
            return no_update, as_sentence(problem)
        return {"content": text, "filename": name}, f"Downloaded: {name}"
