"""The whole log in one figure: state, voltages, ground bus and currents over one time axis."""

from typing import TYPE_CHECKING, Any

from benchlog.core.thinning import Outline, outline
from benchlog.core.trace import Array
from benchlog.report.figures.look import SPAN_FILLS, SPAN_LINES, colour, dash, faint, mode, plain, short, spoken
from benchlog.report.figures.scale import stretch, stretched_axis
from benchlog.verdict.evidence import LogEvidence, SpanKind

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types


def log_figure(evidence: LogEvidence) -> "go.Figure":
    """The whole log: state, voltages, ground bus and currents over one time axis.

    Each role is a band from least to greatest and a line at the mean, 2000 points a trace at most.
    Currents stand on a stretched scale (decades, sign kept), so that milliamperes show beside amperes.

    Args:
        evidence: one log; bands of roles that are neither voltage nor current are left out.
    """
    from plotly.subplots import make_subplots  # type: ignore[import-untyped]  # heavy, and plotly ships no types

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
            _add_role(figure, role, outlines[role], row, per, stretched=kind == "amps")
        if kind == "amps":
            axis = stretched_axis(shape.edge for shape in outlines.values())
            figure.update_yaxes(title_text="Current, stretched", **axis, row=row, col=1)
        else:
            title = "Voltage / V" if kind == "volts" else "Ground / V"
            figure.update_yaxes(title_text=title, row=row, col=1)
        row += 1
    figure.update_xaxes(title_text=f"Time / {unit}", row=max(1, len(heights)), col=1)
    _shade(figure, evidence, per)
    if len(evidence.overview):
        # the log from end to end, without the room that a browser would leave beside it
        start_s, end_s = float(evidence.overview.start_s[0]), float(evidence.overview.end_s[-1])
        figure.update_xaxes(range=[start_s / per, end_s / per])
    plain(figure, height=int(80 + 62 * sum(heights)))
    figure.update_layout(hovermode="x")
    return figure


def _time_unit(evidence: LogEvidence) -> tuple[float, str]:
    """Seconds in one unit of the time axis, and its name: hours read better than tens of thousands of seconds."""
    lasts_s = float(evidence.overview.end_s[-1] - evidence.overview.start_s[0]) if len(evidence.overview) else 0.0
    if lasts_s > 3 * 3600:
        return 3600.0, "h"
    return (60.0, "min") if lasts_s > 1800 else (1.0, "s")


def _add_role(figure: Any, role: str, shape: Outline, row: int, per: float, *, stretched: bool) -> None:
    scale = stretch if stretched else _as_is
    line = colour(role)
    figure.add_scatter(
        x=shape.edge_s / per, y=short(scale(shape.edge)), fill="toself", mode="lines", fillcolor=faint(line),
        line={"width": 0}, hoverinfo="skip", legendgroup=role, showlegend=False, row=row, col=1,
    )  # fmt: skip
    unit = "A" if stretched else "V"
    figure.add_scatter(
        x=shape.time_s / per, y=short(scale(shape.mean)), customdata=short(shape.mean), name=spoken(role),
        mode=mode(shape.time_s), line={"color": line, "width": 1.5, "dash": dash(role)}, marker={"size": 5},
        hovertemplate=f"%{{customdata:.4~g}} {unit}", legendgroup=role, row=row, col=1,
    )  # fmt: skip


def _state_strip(figure: Any, evidence: LogEvidence, states: list[SpanKind], per: float) -> None:
    """One row a state, a bar where it holds: labels never collide, however short the span."""
    import plotly.graph_objects as go

    for kind in states:
        spans = [span for span in evidence.spans if span.kind == kind]
        figure.add_trace(
            go.Bar(base=[span.from_s / per for span in spans], x=[(span.to_s - span.from_s) / per for span in spans],
                   y=[kind] * len(spans), orientation="h", width=0.6, showlegend=False,
                   marker={"color": SPAN_LINES[kind], "line": {"color": SPAN_LINES[kind], "width": 1}},
                   customdata=[[span.from_s, span.to_s] for span in spans],
                   hovertemplate="%{y}: %{customdata[0]:.2f} to %{customdata[1]:.2f} s<extra></extra>"),
            row=1, col=1,
        )  # fmt: skip
    figure.update_yaxes(autorange="reversed", showgrid=False, dtick=1, row=1, col=1)
    figure.update_layout(barmode="overlay")


def _shade(figure: Any, evidence: LogEvidence, per: float) -> None:
    shapes = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": span.from_s / per, "x1": span.to_s / per, "y0": 0, "y1": 1,
         "fillcolor": SPAN_FILLS[span.kind], "line": {"width": 0}, "layer": "below"}
        for span in evidence.spans if span.kind != "key off"
    ]  # fmt: skip
    figure.update_layout(shapes=shapes)


def _as_is(values: Array) -> Array:
    return values
