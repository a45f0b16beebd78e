"""The log over time as a still drawing in SVG: seen before a browser has read the script that draws it to be zoomed."""

import base64
from collections.abc import Mapping
from html import escape
from typing import Any

import numpy as np

from benchlog.core.trace import Array

#: The drawing's own units across; a browser stretches them to the width that there is.
ACROSS = 1000.0
#: Most points of a line or an outline: about what a wide screen can show.
MOST_POINTS = 2400


def still(figure: Mapping[str, Any]) -> str:
    """A figure of ``view.view_figure`` as one SVG element of the same height and margins.

    Lines, bands, bars and shaded stretches stand where plotly puts them, so that nothing moves when it takes over;
    of the words only the names of rows and axes are there.
    """
    layout = figure["layout"]
    margin, height = layout["margin"], layout["height"]
    inside = height - margin["t"] - margin["b"]
    from_s, to_s = layout["xaxis"]["range"]
    across = ACROSS / max(to_s - from_s, 1e-12)
    shapes, words = [], []
    for shape in layout["shapes"]:
        x0, x1 = ((shape[end] - from_s) * across for end in ("x0", "x1"))
        shapes.append(_rect(x0, x1, 0, inside, shape["fillcolor"]))
    for name, axis in layout.items():
        if not name.startswith("yaxis"):
            continue
        low, high = axis["domain"]
        top, tall = (1 - high) * inside, (high - low) * inside
        traces = [trace for trace in figure["data"] if trace["yaxis"] == name.replace("axis", "")]
        if axis.get("type") == "category":
            rows = axis["categoryarray"]
            for trace in traces:
                shapes += _bars(trace, rows, from_s, across, top, tall)
            words += [
                _word(row, margin["l"] - 6, margin["t"] + top + tall * (k + 0.5) / len(rows))
                for k, row in enumerate(rows)
            ]
        else:
            y_range = axis.get("range") or _range_of(traces)
            shapes += [_line(trace, from_s, across, top, tall, y_range) for trace in traces if len(_values(trace["x"]))]
            words.append(_word(axis["title"]["text"], margin["l"] - 6, margin["t"] + top + tall / 2))
    return (
        f'<svg class="still" width="100%" height="{height:g}" aria-hidden="true" font-size="11">'
        f'<svg x="{margin["l"]}" y="{margin["t"]}" height="{inside:g}" viewBox="0 0 {ACROSS:g} {inside:g}" '
        f'preserveAspectRatio="none" style="width:calc(100% - {margin["l"] + margin["r"]}px)">{"".join(shapes)}</svg>'
        f"{''.join(words)}</svg>"
    )


def _values(packed: Any) -> Array:
    """The numbers of a trace, which plotly takes packed."""
    if isinstance(packed, Mapping):
        return np.frombuffer(base64.b64decode(packed["bdata"]), dtype=packed["dtype"])
    return np.asarray(packed, dtype=float)


def _range_of(traces: list[Mapping[str, Any]]) -> tuple[float, float]:
    """Least to greatest of what is drawn, with plotly's margin of a twentieth about it."""
    drawn = np.concatenate([_values(trace["y"]) for trace in traces] or [np.empty(0)])
    drawn = drawn[np.isfinite(drawn)]
    if not len(drawn):
        return 0.0, 1.0
    low, high = float(drawn.min()), float(drawn.max())
    margin = 0.05 * (high - low) or 1.0
    return low - margin, high + margin


def _line(
    trace: Mapping[str, Any], from_s: float, across: float, top: float, tall: float, y_range: tuple[float, float]
) -> str:
    time_s, value = _values(trace["x"]), _values(trace["y"])
    every = max(len(time_s) // MOST_POINTS, 1)
    x = (time_s[::every] - from_s) * across
    y = top + tall * (1 - (value[::every] - y_range[0]) / max(y_range[1] - y_range[0], 1e-12))
    path: list[str] = []
    pen_up = True
    for px, py in zip(np.round(x, 1).tolist(), np.round(y, 1).tolist(), strict=True):
        if px != px or py != py:  # a gap in the log
            pen_up = True
            continue
        path.append(f"{'M' if pen_up else 'L'}{px:g} {py:g}")
        pen_up = False
    fill = trace["fillcolor"] if "fill" in trace else "none"
    stroke = "" if "fill" in trace else f' stroke="{trace["line"]["color"]}" vector-effect="non-scaling-stroke"'
    return f'<path d="{"".join(path)}" fill="{fill}"{stroke}/>'


def _bars(
    trace: Mapping[str, Any], rows: list[str], from_s: float, across: float, top: float, tall: float
) -> list[str]:
    row_px = tall / len(rows)
    return [
        _rect(
            (begin - from_s) * across,
            (begin + lasts - from_s) * across,
            top + row_px * (rows.index(row) + 0.2),
            row_px * 0.6,
            colour,
        )
        for begin, lasts, row, colour in zip(
            trace["base"], trace["x"], trace["y"], trace["marker"]["color"], strict=True
        )
    ]


def _rect(x0: float, x1: float, top: float, tall: float, fill: str) -> str:
    # a relay's few milliseconds are still seen in a log of hours
    return f'<rect x="{x0:.1f}" y="{top:.1f}" width="{max(x1 - x0, 1.5):.1f}" height="{tall:.1f}" fill="{fill}"/>'


def _word(text: str, right: float, middle: float) -> str:
    return (
        f'<text x="{right:g}" y="{middle:.1f}" text-anchor="end" dominant-baseline="middle" fill="#6a6f73">'
        f"{escape(text)}</text>"
    )
