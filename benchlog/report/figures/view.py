"""A log that can be looked into: key states, the spans of the checks and the samples over one time axis.

Plain values instead of plotly's objects: a stretch is drawn anew at every zoom, and validation costs more than that.
"""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchlog.core.thinning import MOST_POINTS, Outline, cut, outline, outline_samples
from benchlog.core.trace import Array, Overview, Trace
from benchlog.report.figures.look import (
    GRID,
    PLAIN_X,
    PLAIN_Y,
    SPAN_FILLS,
    SPAN_LINES,
    colour,
    dash,
    faint,
    mode,
    plain_layout,
    spoken,
)
from benchlog.report.figures.scale import stretch, stretched_axis
from benchlog.verdict.evidence import LogEvidence
from benchlog.verdict.registry.table import find_check
from benchlog.verdict.result import Check

#: With fewer buckets than this in a stretch the samples themselves are drawn.
ENOUGH_BUCKETS = 700

_VERDICT_COLOURS = {
    "pass": "#2f7fc1",
    "fail": "#c4621a",
    "not proven": "#a87a10",
    "not seen": "#7f7f7f",
    "not planned": "#7f7f7f",
}
_STATE_PX, _CHECK_PX, _GAP_PX, _TOP_PX, _BOTTOM_PX = 20, 17, 16, 12, 48
_PANEL_PX = {"volts": 190, "ground": 100, "amps": 270}


@dataclass(frozen=True, slots=True)
class DrawnView:
    """One role over a stretch, few enough to draw.

    Attributes:
        time_s, value: of the line. edge_s, edge: outlines of the band from least to greatest; empty for samples.
    """

    time_s: Array
    value: Array
    edge_s: Array
    edge: Array


def needs_samples(overview: Overview, from_s: float, to_s: float) -> bool:
    """Whether a stretch is so short that its buckets would show less than a screen can."""
    if is_single(overview):
        return False
    first, end = np.searchsorted(overview.start_s, [from_s, to_s])
    return int(end - first) < ENOUGH_BUCKETS


def drawn_overview(overview: Overview, from_s: float, to_s: float) -> dict[str, DrawnView]:
    """Every role's line and band over a stretch, from the buckets; single samples where a bucket is one."""
    part = cut(overview, from_s, to_s)
    if is_single(part):
        return drawn_samples(Trace(part.start_s, {role: band.mean for role, band in part.bands.items()}, {}))
    return {role: _from_outline(outline(part, role)) for role in part.bands}


def drawn_samples(trace: Trace) -> dict[str, DrawnView]:
    """Every role's samples one by one; where a screen cannot show so many, their mean and least to greatest."""
    if len(trace) > MOST_POINTS:
        return {role: _from_outline(outline_samples(trace.time_s, value)) for role, value in trace.values.items()}
    nothing = np.empty(0)
    return {role: DrawnView(trace.time_s, value, nothing, nothing) for role, value in trace.values.items()}


def is_single(overview: Overview) -> bool:
    """Whether every bucket is one sample: the overview is the log itself."""
    return not len(overview) or int(overview.rows.max()) == 1


def _from_outline(shape: Outline) -> DrawnView:
    return DrawnView(shape.time_s, shape.mean, shape.edge_s, shape.edge)


def view_roles(evidence: LogEvidence) -> list[tuple[str, list[str]]]:
    """Panel and its roles, from top to bottom; roles that are neither voltage nor current are left out."""
    bands = evidence.overview.bands
    panels = [
        ("volts", [role for role in bands if role.endswith("_v") and role != "ground_v"]),
        ("ground", [role for role in bands if role == "ground_v"]),
        ("amps", [role for role in bands if role.endswith("_a")]),
    ]
    return [panel for panel in panels if panel[1]]


def view_figure(
    evidence: LogEvidence,
    checks: Sequence[tuple[Check, str]],
    drawn: Mapping[str, DrawnView],
    from_s: float,
    to_s: float,
) -> dict[str, Any]:
    """The whole figure, drawn for one stretch.

    Args:
        evidence: one log. drawn: its roles over the stretch, s.
        checks: those with a span in this log, each with the shape that stands for its verdict.
    """
    strips = _strips(evidence, checks)
    panels = view_roles(evidence)
    heights = [px for px, _, _ in strips] + [_PANEL_PX[kind] for kind, _ in panels]
    inside = sum(heights) + _GAP_PX * (len(heights) - 1)
    layout: dict[str, Any] = plain_layout(inside + _TOP_PX + _BOTTOM_PX)
    # room for the longest name: margins that must grow are drawn twice
    layout["margin"] = {"l": 92, "r": 16, "t": _TOP_PX, "b": _BOTTOM_PX}
    layout["hovermode"] = "x"
    layout["barmode"] = "overlay"
    layout["dragmode"] = "zoom"
    layout["shapes"] = [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": span.from_s, "x1": span.to_s, "y0": 0, "y1": 1,
         "fillcolor": SPAN_FILLS[span.kind], "line": {"width": 0}, "layer": "below"}
        for span in evidence.spans if span.kind != "key off"
    ]  # fmt: skip
    data: list[dict[str, Any]] = []
    top = float(inside)
    for row, height in enumerate(heights):
        axis = {**PLAIN_Y, "domain": [max((top - height) / inside, 0.0), min(top / inside, 1.0)], "anchor": "x",
                "fixedrange": True}  # fmt: skip
        if row < len(strips):
            _, bars, names = strips[row]
            axis |= {"autorange": "reversed", "showgrid": False, "dtick": 1, "type": "category",
                     "categoryorder": "array", "categoryarray": names, "tickfont": {"size": 11}}  # fmt: skip
            data.append({**bars, "yaxis": _axis(row)})
        layout[f"yaxis{row + 1 if row else ''}"] = axis
        top -= height + _GAP_PX
    layout["xaxis"] = {**PLAIN_X, "anchor": _axis(len(heights) - 1), "domain": [0, 1], "showspikes": True,
                       "spikemode": "across", "spikethickness": 1, "spikecolor": GRID}  # fmt: skip
    figure = {"data": data, "layout": layout}
    for place, value in changes(evidence, len(strips), drawn, from_s, to_s):
        _put(figure, place, value)
    return figure


def strip_count(evidence: LogEvidence, checks: Sequence[tuple[Check, str]]) -> int:
    """How many strips stand above the panels; each is one trace."""
    return len(_strips(evidence, checks))


def changes(
    evidence: LogEvidence, strips: int, drawn: Mapping[str, DrawnView], from_s: float, to_s: float
) -> list[tuple[tuple[str | int, ...], Any]]:
    """What another stretch changes in the figure: places in it and their new values.

    Args:
        strips: from ``strip_count``. drawn: the roles over the stretch from ``from_s`` to ``to_s``.
    """
    found: list[tuple[tuple[str | int, ...], Any]] = []
    at = strips
    for row, (kind, roles) in enumerate(view_roles(evidence), start=strips):
        shown = [role for role in roles if role in drawn]
        for role in roles:
            shape = drawn.get(role) or DrawnView(*(np.empty(0),) * 4)
            for trace in _role_traces(role, shape, row, stretched=kind == "amps"):
                found.append((("data", at), trace))
                at += 1
        axis = ("layout", f"yaxis{row + 1 if row else ''}")
        if kind == "amps":
            found.append(((*axis, "title"), {"text": "Current, stretched"}))
            scale = stretched_axis(x for role in shown for x in (drawn[role].edge, drawn[role].value))
            found += [((*axis, name), value) for name, value in scale.items()]
        else:
            found.append(((*axis, "title"), {"text": "Voltage / V" if kind == "volts" else "Ground / V"}))
    return found + [(("layout", "xaxis", name), value) for name, value in _time_axis(from_s, to_s).items()]


def _put(figure: dict[str, Any], place: tuple[str | int, ...], value: Any) -> None:
    into: Any = figure
    for step in place[:-1]:
        into = into[step]
    if isinstance(into, list):
        into.append(value)
    else:
        into[place[-1]] = value


def _axis(row: int) -> str:
    return f"y{row + 1 if row else ''}"


def _strips(evidence: LogEvidence, checks: Sequence[tuple[Check, str]]) -> list[tuple[int, dict[str, Any], list[str]]]:
    """Height, bars and row names of the state strip and of the checks' spans."""
    strips = []
    states = list(dict.fromkeys(span.kind for span in evidence.spans))
    if states:
        bars = _bars([(s.from_s, s.to_s, s.kind, SPAN_LINES[s.kind]) for s in evidence.spans])
        strips.append((_STATE_PX * len(states), bars, [str(kind) for kind in states]))
    spans = [
        (check.from_s, check.to_s, f"{_short_name(check.id)} {shape}", _VERDICT_COLOURS[check.verdict])
        for check, shape in checks
        if check.log == evidence.log and check.from_s is not None and check.to_s is not None
    ]
    if spans:
        strips.append((_CHECK_PX * len(spans), _bars(spans), [name for _, _, name, _ in spans]))
    return strips


def _short_name(check_id: str) -> str:
    known = find_check(check_id)
    return check_id if known is None else known.short


def _bars(spans: Sequence[tuple[float, float, str, str]]) -> dict[str, Any]:
    """From, to, row and colour of each span as one trace: a browser draws it sooner than one a row."""
    colours = [line for _, _, _, line in spans]
    return {
        "type": "bar", "orientation": "h", "width": 0.6, "showlegend": False,
        "base": [a for a, _, _, _ in spans], "x": [b - a for a, b, _, _ in spans], "y": [row for _, _, row, _ in spans],
        # a relay's few milliseconds are still seen in a log of hours
        "marker": {"color": colours, "line": {"color": colours, "width": 1.5}},
        "customdata": [[a, b] for a, b, _, _ in spans],
        "hovertemplate": "%{y}: %{customdata[0]:.3~f} to %{customdata[1]:.3~f} s<extra></extra>",
    }  # fmt: skip


def _role_traces(role: str, shape: DrawnView, row: int, *, stretched: bool) -> list[dict[str, Any]]:
    line, scale = colour(role), stretch if stretched else _as_is
    band = {
        "type": "scatter", "x": _packed(shape.edge_s), "y": _packed(scale(shape.edge)), "fill": "toself",
        "mode": "lines", "fillcolor": faint(line), "line": {"width": 0}, "hoverinfo": "skip", "legendgroup": role,
        "showlegend": False, "yaxis": _axis(row),
    }  # fmt: skip
    unit = "A" if stretched else "V"
    mean = {
        "type": "scatter", "x": _packed(shape.time_s), "y": _packed(scale(shape.value)), "name": spoken(role),
        "customdata": _packed(shape.value), "mode": mode(shape.time_s), "legendgroup": role, "showlegend": True,
        "line": {"color": line, "width": 1.5, "dash": dash(role)}, "marker": {"size": 5, "color": line},
        "hovertemplate": f"%{{customdata:.5~g}} {unit}", "yaxis": _axis(row),
    }  # fmt: skip
    return [band, mean]


def _packed(values: Array) -> dict[str, str]:
    """Plotly's form for typed arrays: no digits to print and parse."""
    return {"dtype": "f8", "bdata": base64.b64encode(np.ascontiguousarray(values, dtype="<f8").tobytes()).decode()}


def _as_is(values: Array) -> Array:
    return values


_HOURS = (1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440)


def _time_axis(from_s: float, to_s: float) -> dict[str, Any]:
    """Seconds while they read well, hours and minutes beyond half an hour."""
    axis: dict[str, Any] = {"range": [from_s, to_s], "autorange": False, "exponentformat": "none", "nticks": 8,
                            "hoverformat": ".4~f", "separatethousands": False}  # fmt: skip
    if to_s - from_s <= 1800:
        return axis | {"title": {"text": "Time / s"}, "tickmode": "auto", "tickvals": None, "ticktext": None}
    step = 60.0 * next((m for m in _HOURS if (to_s - from_s) / 60 / m <= 8), _HOURS[-1])
    ticks = np.arange(np.ceil(from_s / step) * step, to_s + 1e-9, step)
    texts = [f"{'−' if at < 0 else ''}{int(abs(at)) // 3600}:{int(abs(at)) % 3600 // 60:02d}" for at in ticks]
    return axis | {"title": {"text": "Time / h:min"}, "tickmode": "array", "tickvals": list(ticks), "ticktext": texts}
