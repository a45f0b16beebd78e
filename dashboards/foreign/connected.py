"""The forms for foreign files connected: looked at once they are there, read again with every choice."""

import threading
from collections.abc import Mapping, Sequence
from typing import Any

from dash import ALL, MATCH, Dash, Input, Output, State, ctx, html, no_update

from benchlog.core.errors import BenchlogError
from benchlog.log.foreign.choices import Choices
from dashboards.context import Context
from dashboards.foreign.form import as_read, foreign_form
from dashboards.foreign.looking import logger_name, sight_of
from dashboards.foreign.words import role_and_sign
from dashboards.parts.matching import matching
from dashboards.trays import Dropped, Tray

#: Looks at a time, beside those of checks: each is a process.
_turns = threading.Semaphore(2)


def choices_of(
    meanings: Sequence[tuple[int, object]], units: Sequence[tuple[int, object]], time: object, texts: dict[str, object]
) -> Choices:
    """What stands in a form.

    Args:
        meanings, units: column number and choice. time: how the time is written. texts: what was typed, by its name.
    """
    columns: dict[int, dict[str, str]] = {number: role_and_sign(str(chosen)) for number, chosen in meanings}
    for number, unit in units:
        columns.setdefault(number, {})["unit"] = str(unit)
    typed = {what: str(said or "").strip()[:60] for what, said in texts.items() if what in ("rate", "volts", "amps")}
    return Choices(columns, str(time or "")[:60], **typed)


def register(app: Dash, context: Context) -> None:
    """Connect them."""
    _look(app, context)
    _choose(app, context)
    _download(app, context)


def _found(context: Context, tray_id: object, at: Mapping[str, object]) -> tuple[Tray, Dropped] | None:
    tray = context.trays.get(tray_id)
    log = tray.files.get(str(at["file"])) if tray is not None else None
    return None if tray is None or log is None else (tray, log)


def _look(app: Dash, context: Context) -> None:
    @app.callback(
        *matching("file", (Output, "look", "children"), (Input, "look-begin", "data"), (State, "look-begin", "id")),
    )
    def _looked(tray_id, at):  # type: ignore[no-untyped-def]  # Dash calls it by position
        there = _found(context, tray_id, at)
        if there is None:
            return []
        try:
            with _turns:
                return foreign_form(*there, sight_of(*there))
        except BenchlogError as problem:
            return _refused(problem)


def _choose(app: Dash, context: Context) -> None:
    @app.callback(
        *matching("file", (Output, "sight", "children")),
        Input({"part": "meaning", "file": MATCH, "n": ALL}, "data"),
        Input({"part": "unit", "file": MATCH, "n": ALL}, "data"),
        *matching("file", (Input, "form-time", "data")),
        Input({"part": "form-text", "file": MATCH, "what": ALL}, "value"),
        *matching("file", (State, "look-begin", "data"), (State, "look-begin", "id")),
        prevent_initial_call=True,
    )
    def _chosen(meanings, units, time, texts, tray_id, at):  # type: ignore[no-untyped-def]  # Dash calls it by position
        there = _found(context, tray_id, at)
        if there is None or not ctx.triggered_id:
            return no_update
        tray, log = there
        numbers = [[each["id"]["n"] for each in group] for group in ctx.inputs_list[:2]]
        named = [each["id"]["what"] for each in ctx.inputs_list[3]]
        meant, sized = (list(zip(n, said, strict=True)) for n, said in zip(numbers, (meanings, units), strict=True))
        tray.chosen[log.id] = choices_of(meant, sized, time, dict(zip(named, texts, strict=True)))
        try:
            with _turns:
                return as_read(sight_of(tray, log))
        except BenchlogError as problem:
            return _refused(problem)


def _download(app: Dash, context: Context) -> None:
    @app.callback(
        *matching("file", (Output, "logger-file", "data"), (Input, "logger-out", "n_clicks")),
        *matching("file", (State, "look-begin", "data"), (State, "look-begin", "id")),
        prevent_initial_call=True,
    )
    def _downloaded(clicks, tray_id, at):  # type: ignore[no-untyped-def]  # Dash calls it by position
        there = _found(context, tray_id, at)
        if not clicks or there is None or not (toml := sight_of(*there).toml):
            return no_update
        return {"content": toml, "filename": logger_name(there[1])}


def _refused(problem: BenchlogError) -> list[Any]:
    return [html.Div(html.P(str(problem)), className="problem", role="alert")]
