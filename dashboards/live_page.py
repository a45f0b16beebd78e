"""Running recordings: what the logger reads now, the last minute, and where the guided test stands."""

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import dcc, html

from benchlog.bench.live import READ_FIRST, LiveState, LiveStep, running
from benchlog.bench.presses import press, seen_at
from benchlog.core.roles import ROLE_UNITS
from benchlog.report.figures import minute_figure
from benchlog.report.figures.legend import entries_of_roles
from benchlog.report.figures.look import spoken
from benchlog.report.figures.minute import minute_roles
from dashboards.parts.attributes import attributes
from dashboards.parts.boxes import boxes
from dashboards.parts.legend import legend
from dashboards.parts.nothing import nothing
from dashboards.words import empty

if TYPE_CHECKING:
    from flask import Flask

LOOK_PATH, PRESS_PATH = "/look/live", "/press"
#: Five looks a second while something runs; one while nothing does.
BUSY_MS, IDLE_MS = 200, 1000
#: Most letters of each text that a press brings.
MOST_SAID = 500
#: Most lines of what happened, newest last.
MOST_TOLD = 6

_CAPTION = "The last minute: voltages above; currents below on a stretched scale, each mark ten times the one before."


def live_page() -> tuple[str, list[Any]]:
    """Title and content; filled in a moment later."""
    return "Live", [
        html.Header([html.P("On the bench", className="kind"), html.H1("Live")], className="top"),
        html.Div(id="live-step", role="status"),
        html.Div(id="live-now"),
        html.Figure(
            [
                html.Div(
                    dcc.Graph(
                        id="live-graph",
                        figure=minute_figure((), {}),
                        config={"displayModeBar": False, "responsive": True, "staticPlot": True},
                        className="plot",
                        responsive=True,
                        style={"height": "430px"},
                    ),
                    role="img",
                    **attributes(aria_label=_CAPTION),
                ),
                html.Div(id="live-legend"),
                html.Figcaption(_CAPTION),
            ],
            id="live-figure",
            hidden="hidden",
            className="wide",
        ),
        html.Div(id="live-told"),
    ]


def step_card(state: LiveState) -> html.Section | None:
    """What the tester is asked to do, the caution first."""
    step = state.step
    if step is None:
        return None
    unread = step.waiting_for == READ_FIRST
    say = "Paused." if step.paused else "Read the caution." if unread else step.say
    waiting = f"Waiting for: {step.waiting_for}" if step.waiting_for else "Seen."
    return html.Section(
        [
            html.P(f"Step {step.number} of {step.of}", className="kind"),
            html.H2(step.title),
            html.P([html.Strong("Caution: "), step.caution], className="caution") if step.caution else None,
            html.P(say, className="say"),
            html.P("" if step.paused or unread else waiting, className="fact"),
            html.P(step.hint[:1].upper() + step.hint[1:], className="fact", hidden=not step.hint),
            html.P(step.ask[:1].upper() + step.ask[1:], className="ask", hidden=not step.ask),
            html.Div(_presses(state, step, unread), className="presses") if state.pid else None,
        ],
        className="step",
    )


def _presses(state: LiveState, step: LiveStep, unread: bool) -> list[html.Button]:
    """Large buttons for hands with gloves: what the keys of the terminal do."""
    if step.ask:
        known = [("yes", "Yes"), ("no", "No")]
    elif step.paused:
        known = [("pause", "Go on")]
    else:
        known = [("enter", "I have read it" if unread else "Done"), ("skip", "Leave out"), ("again", "Again"),
                 ("pause", "Pause")]  # fmt: skip
    at = {"data_pid": str(state.pid), "data_step": seen_at(step), "data_ask": step.ask}
    return [html.Button(words, **attributes(data_press=word, **at)) for word, words in known]


def now_card(state: LiveState, at_s: float) -> html.Section:
    """The newest values, large, and how the recording goes."""
    lasts = max(int(state.updated_at - state.started_at), 0)
    values = [html.Div([html.Dt(_name(role)), _value(role, value)], className="reading")
              for role, value in state.last.items()]  # fmt: skip
    quiet = at_s - state.updated_at
    rate = "not known yet" if state.rate_hz is None else f"{state.rate_hz:.0f} samples a second"
    return html.Section(
        [
            html.H2(state.bike or "Recording"),
            html.Dl(values, className="values"),
            boxes(
                [
                    ("Log", state.log),
                    ("Port", state.port),
                    ("Running for", f"{lasts // 60}:{lasts % 60:02d} min"),
                    ("Rate", rate),
                    ("Lines kept", f"{state.kept:,}"),
                    ("Lines refused", f"{state.refused:,}"),
                    ("State", "ended" if state.ended else f"silent for {quiet:.0f} s" if quiet > 2 else "recording"),
                ]
            ),
        ]
    )


def told_card(states: Sequence[LiveState]) -> html.Section | None:
    """What happened on the way, and what else is being recorded."""
    told = [html.Li(text) for text in states[0].told[-MOST_TOLD:]]
    others = [html.Li(f"also recording: {state.log} from {state.port}") for state in states[1:]]
    if not told and not others:
        return None
    return html.Section([html.H2("What happened"), html.Ul(told + others)])


def looked_at(states: Sequence[LiveState], at_s: float) -> dict[str, dict[str, Any]]:
    """What changes on the page: id of a part -> its new properties."""
    if not states:
        return {
            "live-step": {"children": None},
            "live-now": {"children": nothing(empty.NO_RECORDING, empty.NO_RECORDING_COMMANDS)},
            "live-told": {"children": None},
            "live-figure": {"hidden": "hidden"},
        }
    state = states[0]
    return {
        "live-step": {"children": step_card(state)},
        "live-now": {"children": now_card(state, at_s)},
        "live-told": {"children": told_card(states)},
        "live-figure": {"hidden": None},
        "live-legend": {"children": legend(entries_of_roles(r for panel in minute_roles(state.recent) for r in panel))},
        "live-graph": {"figure": minute_figure(state.time_s, state.recent)},
    }


def value_words(value: float | None) -> str:
    """A value in few digits; milliamperes keep theirs."""
    if value is None:
        return "no reading"
    size = abs(value)
    return f"{value:.4f}" if size < 0.1 else f"{value:.3f}" if size < 1 else f"{value:.2f}"


def answer_looks(server: "Flask") -> None:
    """Add the endpoint that the script ``live.js`` asks several times a second, each time after the answer before.

    A timer that asks regardless of answers would, on a slow machine, have each answer thrown away for the next.
    """
    from flask import Response, request
    from plotly.io.json import to_json_plotly  # type: ignore[import-untyped]  # plotly ships no types

    @server.get(LOOK_PATH)
    def _look() -> Response:
        states = running()
        now = time.time()
        fresh = bool(states) and now - states[0].updated_at < 2
        mark = f"{[(state.port, state.updated_at) for state in states]}" if states else "none"
        if mark == request.args.get("seen") and (fresh or not states):
            return Response(status=204)
        parts = looked_at(states, now)
        every_ms = BUSY_MS if states else IDLE_MS
        return Response(
            to_json_plotly({"seen": mark, "every_ms": every_ms, "parts": parts}), mimetype="application/json"
        )


def take_presses(server: "Flask") -> None:
    """Add the endpoint that the script ``live.js`` sends a pressed button to; the door has let in who asks."""
    from flask import Response, request

    @server.post(PRESS_PATH)
    def _press() -> Response:
        told = request.get_json(silent=True)
        if not isinstance(told, dict):
            return Response("a press is a small JSON object\n", status=400, mimetype="text/plain")
        asked = {name: str(told.get(name, ""))[:MOST_SAID] for name in ("pid", "word", "step", "ask")}
        state = next((one for one in running() if str(one.pid) == asked["pid"]), None)
        if state is None or not press(state, asked["word"], asked["step"], asked["ask"]):
            return Response("no test runs that takes this\n", status=409, mimetype="text/plain")
        return Response(status=204)


def _value(role: str, value: float | None) -> html.Dd:
    """The value, large, with its unit; words are no larger than other words."""
    if value is None:
        return html.Dd(value_words(value), className="none")
    return html.Dd([value_words(value), html.Small(_unit(role))])


def _name(role: str) -> str:
    words = spoken(role) if role in ROLE_UNITS else role
    return words[:1].upper() + words[1:]


def _unit(role: str) -> str:
    unit = ROLE_UNITS.get(role, "")
    return {"degC": "°C", "text": ""}.get(unit, unit)
