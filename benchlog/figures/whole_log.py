"""Plotly figures of a log and of its relay events; no figure holds a word from the user's files."""

from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from benchlog.evidence import LogEvidence, SpanKind
from benchlog.roles import slot_of
from benchlog.thinning import Outline, outline, thin
from benchlog.trace import Array, Trace

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

#: Most relay events drawn over each other; more would hide one another.
MOST_EVENTS = 10

# every line colour keeps 3:1 against white and against the dark page (WCAG 2.1, 1.4.11)
_COLOURS = {
    "battery_v": "#2f7fc1",
    "battery_a": "#2f7fc1",
    "feed_v": "#c4621a",
    "feed_a": "#c4621a",
    "trigger_v": "#8b6fc9",
    "key_v": "#7f7f7f",
    "drain_a": "#15886f",
    "ground_v": "#15886f",
}
_SLOT_COLOURS = ("#a87a10", "#b8578f", "#4a8fa3", "#6f8f2a", "#a06a55", "#7f7f7f")
_DASHES = {"trigger_v": "dot", "key_v": "dash", "drain_a": "dash"}
_SPAN_FILLS: dict[SpanKind, str] = {
    "key off": "rgba(128,128,128,0.00)",
    "key on": "rgba(47,127,193,0.09)",
    "cranking": "rgba(196,98,26,0.30)",
    "running": "rgba(21,136,111,0.13)",
}
_SPAN_LINES: dict[SpanKind, str] = {
    "key off": "#7f7f7f",
    "key on": "#2f7fc1",
    "cranking": "#c4621a",
    "running": "#15886f",
}
_GRID = "rgba(128,128,128,0.25)"
_INK = "#6a6f73"
# below this a current is drawn to scale, above it in decades
_LINEAR_A = 1e-3


def log_figure(evidence: LogEvidence) -> "go.Figure":
    """The whole log: state, voltages, ground bus and currents over one time axis.

    Each role is a band from least to greatest and a line at the mean, 2000 points a trace at most.
    Currents stand on a stretched scale (decades, sign kept), so that milliamperes show beside amperes.

    Args:
        evidence: one log; bands of roles that are neither voltage nor current are left out.
    """
    import plotly.graph_objects as go  # heavy; only a report with evidence pays for it
    from plotly.subplots import make_subplots  # type: ignore[import-untyped]  # plotly ships no types

    bands = evidence.overview.bands
    panels = [
        ("volts", [role for role in bands if role.endswith("_v") and role != "ground_v"], 3.0),
        ("ground", [role for role in bands if role == "ground_v"], 1.4),
        ("amps", [role for role in bands if role.endswith("_a")], 4.6),
    ]
    panels = [panel for panel in panels if panel[1]]
    states = list(dict.fromkeys(span.kind for span in evidence.spans))
    heights = ([0.32 * len(states)] if states else []) + [height for _, _, height in panels]
    figure = make_subplots(rows=max(1, len(heights)), cols=1, shared_xaxes=True, vertical_spacing=0.035,
                           row_heights=heights or None)  # fmt: skip
    row = 1
    per, unit = _time_unit(evidence)
    if states:
        _state_strip(figure, evidence, states, per)
        row = 2
    for kind, roles, _ in panels:
        outlines = {role: outline(evidence.overview, role) for role in roles}
        for role in roles:
            _add_role(figure, go, role, outlines[role], row, per, stretched=kind == "amps")
        if kind == "amps":
            _stretched_axis(figure, list(outlines.values()), row)
        else:
            title = "Voltage / V" if kind == "volts" else "Ground / V"
            figure.update_yaxes(title_text=title, row=row, col=1)
        row += 1
    figure.update_xaxes(title_text=f"Time / {unit}", row=max(1, len(heights)), col=1)
    _shade(figure, evidence, per)
    drawn = sum(len(roles) for _, roles, _ in panels)
    # a long legend must not squeeze the panels
    _plain(figure, height=int(110 + 62 * sum(heights) + 20 * max(0, drawn // 6 - 1)))
    figure.update_layout(hovermode="x")
    return figure


def relay_figure(
    evidence: LogEvidence, kind: Literal["pull in", "drop out"], limit_ms: float | None
) -> "go.Figure | None":
    """Every pull-in or drop-out of one log, the trigger's crossing at 0 ms, with the limit drawn.

    Args:
        evidence: one log; the first ``MOST_EVENTS`` events are drawn.
        kind: which event.
        limit_ms: the plan's longest time, ms; None draws no limit.

    Returns:
        The figure; None where the log has no such event.
    """
    import plotly.graph_objects as go  # heavy; only a report with evidence pays for it

    traces = evidence.pull_ins if kind == "pull in" else evidence.drop_outs
    starts = evidence.pull_in_at_s if kind == "pull in" else evidence.drop_out_at_s
    events = [(trace, at) for trace, at in zip(traces, starts, strict=False) if len(trace)][:MOST_EVENTS]
    if not events:
        return None
    figure = go.Figure()
    named: set[str] = set()
    widest_ms = max((limit_ms or 0.0) * 2, 50.0)
    for number, (trace, at_s) in enumerate(events, start=1):
        near = trace.between(at_s - widest_ms / 2000, at_s + widest_ms / 1000)
        for role in ("trigger_v", "feed_v"):
            if role in near.values and len(near):
                _add_event(figure, go, near, role, at_s, number, first=role not in named)
                named.add(role)
    figure.add_vline(x=0, line={"color": _GRID, "width": 1})
    if limit_ms is not None:
        figure.add_vline(x=limit_ms, line={"color": "#c4621a", "width": 2, "dash": "dash"},
                         annotation={"text": f"limit {limit_ms:g} ms", "yanchor": "bottom"},
                         annotation_position="top")  # fmt: skip
    figure.update_xaxes(title_text="Time after the trigger's crossing / ms", range=[-widest_ms / 2, widest_ms])
    figure.update_yaxes(title_text="Voltage / V")
    _plain(figure, height=320)
    # room above the plot for the limit's label
    figure.update_layout(margin={"t": 66}, legend={"y": 1.1})
    return figure


def _time_unit(evidence: LogEvidence) -> tuple[float, str]:
    """Seconds in one unit of the time axis, and its name: hours read better than tens of thousands of seconds."""
    lasts_s = float(evidence.overview.end_s[-1] - evidence.overview.start_s[0]) if len(evidence.overview) else 0.0
    if lasts_s > 3 * 3600:
        return 3600.0, "h"
    return (60.0, "min") if lasts_s > 1800 else (1.0, "s")


def _add_role(figure: Any, go: Any, role: str, shape: Outline, row: int, per: float, *, stretched: bool) -> None:
    scale = stretch if stretched else _as_is
    colour = _colour(role)
    figure.add_trace(
        go.Scatter(x=shape.edge_s / per, y=_short(scale(shape.edge)), fill="toself", mode="lines",
                   fillcolor=_faint(colour), line={"width": 0}, hoverinfo="skip", legendgroup=role, showlegend=False),
        row=row, col=1,
    )  # fmt: skip
    unit = "A" if stretched else "V"
    figure.add_trace(
        go.Scatter(x=shape.time_s / per, y=_short(scale(shape.mean)), customdata=_short(shape.mean), name=_spoken(role),
                   mode=_mode(shape.time_s), line={"color": colour, "width": 1.5, "dash": _dash(role)},
                   marker={"size": 5},
                   hovertemplate=f"%{{customdata:.4~g}} {unit}", legendgroup=role),
        row=row, col=1,
    )  # fmt: skip


def _add_event(figure: Any, go: Any, near: Trace, role: str, at_s: float, number: int, *, first: bool) -> None:
    time_s, value = thin(near.time_s - at_s, near.values[role])
    line = {"color": _colour(role), "width": 1.5, "dash": _dash(role)}
    figure.add_trace(
        go.Scatter(x=_short(time_s * 1e3), y=_short(value), mode=_mode(time_s), name=_spoken(role), line=line,
                   marker={"size": 5}, legendgroup=role, showlegend=first,
                   hovertemplate=f"event {number}: %{{y:.3~f}} V at %{{x:.2f}} ms<extra></extra>")
    )  # fmt: skip


def _state_strip(figure: Any, evidence: LogEvidence, states: list[SpanKind], per: float) -> None:
    """One row a state, a bar where it holds: labels never collide, however short the span."""
    import plotly.graph_objects as go

    for kind in states:
        spans = [span for span in evidence.spans if span.kind == kind]
        figure.add_trace(
            go.Bar(base=[span.from_s / per for span in spans], x=[(span.to_s - span.from_s) / per for span in spans],
                   y=[kind] * len(spans), orientation="h", width=0.6, showlegend=False,
                   marker={"color": _SPAN_LINES[kind], "line": {"color": _SPAN_LINES[kind], "width": 1}},
                   customdata=[[span.from_s, span.to_s] for span in spans],
                   hovertemplate="%{y}: %{customdata[0]:.2f} to %{customdata[1]:.2f} s<extra></extra>"),
            row=1, col=1,
        )  # fmt: skip
    figure.update_yaxes(autorange="reversed", showgrid=False, dtick=1, row=1, col=1)
    figure.update_layout(barmode="overlay")


def _shade(figure: Any, evidence: LogEvidence, per: float) -> None:
    shapes = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": span.from_s / per, "x1": span.to_s / per, "y0": 0, "y1": 1,
         "fillcolor": _SPAN_FILLS[span.kind], "line": {"width": 0}, "layer": "below"}
        for span in evidence.spans if span.kind != "key off"
    ]  # fmt: skip
    figure.update_layout(shapes=shapes)


def _stretched_axis(figure: Any, outlines: list[Outline], row: int) -> None:
    edges = np.concatenate([shape.edge for shape in outlines])
    edges = edges[np.isfinite(edges)]
    least, most = (float(edges.min()), float(edges.max())) if len(edges) else (0.0, 1.0)
    # one decade beyond the data, but never less than a milliampere either way
    decades = [(10.0**k, f"{10**k * 1000:g} mA" if k < 0 else f"{10**k:g} A") for k in range(-3, 5)]
    ticks = [(0.0, "0")]
    ticks += [(size, label) for size, label in decades if size <= max(most, 1e-3) * 10]
    ticks += [(-size, f"−{label}") for size, label in decades if least < -_LINEAR_A / 2 and size <= -least * 10]
    # 1 mA crowds zero where the scale also runs negative
    crowded = least < -_LINEAR_A / 2 and most > _LINEAR_A
    ticks = [tick for tick in ticks if not (crowded and abs(tick[0]) == 1e-3)]
    low, high = (float(x) for x in stretch(np.array([min(least, 0.0), max(most, 1e-3)])))
    pad = 0.05 * (high - low)
    figure.update_yaxes(
        title_text="Current, stretched", tickvals=[float(stretch(np.array([x]))[0]) for x, _ in ticks],
        ticktext=[label for _, label in ticks], range=[low - pad, high + pad], row=row, col=1,
    )  # fmt: skip


def stretch(current_a: Array) -> Array:
    """A current on the stretched scale: sign(I) log10(1 + |I| / 1 mA); NaN stays NaN."""
    stretched: Array = np.sign(current_a) * np.log10(1 + np.abs(current_a) / _LINEAR_A)
    return stretched


def _plain(figure: Any, height: int) -> None:
    """See-through, system fonts, quiet grid: the page around it sets light or dark."""
    figure.update_layout(
        template="none", height=height, paper_bgcolor="rgba(0,0,0,0)", plot_bgcolor="rgba(0,0,0,0)",
        font={"family": "system-ui, sans-serif", "size": 12, "color": _INK},
        margin={"l": 70, "r": 12, "t": 44, "b": 44}, autosize=True,
        legend={"orientation": "h", "yanchor": "bottom", "y": 1.0, "xanchor": "left", "x": 0.0,
                "entrywidth": 112, "entrywidthmode": "pixels"},
    )  # fmt: skip
    figure.update_xaxes(gridcolor=_GRID, zeroline=False, linecolor=_GRID, automargin=True)
    figure.update_yaxes(gridcolor=_GRID, zeroline=False, linecolor=_GRID, automargin=True)


def _mode(time_s: Array) -> str:
    # few samples are shown one by one: the gaps between them are the doubt
    return "lines+markers" if len(time_s) <= 60 else "lines"


def _short(values: Array) -> npt.NDArray[np.float32]:
    """Half the bytes in the page; seven digits are more than a screen shows."""
    return values.astype(np.float32)


def _as_is(values: Array) -> Array:
    return values


def _colour(role: str) -> str:
    slot = slot_of(role)
    return _COLOURS.get(role, "#7f7f7f") if slot is None else _SLOT_COLOURS[(slot - 1) % len(_SLOT_COLOURS)]


def _dash(role: str) -> str:
    # the colours come round again after slot 6
    return "dash" if (slot_of(role) or 0) > len(_SLOT_COLOURS) else _DASHES.get(role, "solid")


def _faint(colour: str) -> str:
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.28)"


def _spoken(role: str) -> str:
    slot = slot_of(role)
    if role == "ground_v":
        return "ground bus"
    name = role[:-2] if slot is None else f"slot {slot}"
    return f"{name} {'voltage' if role.endswith('_v') else 'current'}"
