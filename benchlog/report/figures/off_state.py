"""The current after the key-off: how it settles, from amperes to milliamperes on one scale."""

from typing import TYPE_CHECKING, Any

import numpy as np

from benchlog.core.thinning import Outline, cut, outline
from benchlog.report.figures.look import INK, LABEL_PX, LIMIT, SPAN_FILLS, colour, faint, plain, short, spoken
from benchlog.report.figures.scale import stretch, stretched_axis
from benchlog.verdict.evidence import LogEvidence, Settling
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

#: Shown before the key-off, as a share of the span and at most, s.
BEFORE_SHARE, BEFORE_S = 0.05, 5.0
#: Shown at least where the log has it, s.
LEAST_S = 120.0


def off_state_figure(evidence: LogEvidence, result: Result) -> "go.Figure | None":
    """The key-off span that tells most: the current over time, its settling, and the limit.

    Args:
        evidence: one log. result: gives the limit.

    Returns:
        The figure; None where the log has no key-off span with a current.
    """
    span = _span(evidence, result)
    if span is None:
        return None
    import plotly.graph_objects as go  # heavy; only a report with evidence pays for it

    roles = [role for role in ("battery_a", "drain_a") if role in evidence.overview.bands]
    lasts_s = _shown_s(span)
    before_s = min(BEFORE_S, BEFORE_SHARE * lasts_s)
    per, unit = (3600.0, "h") if lasts_s > 3 * 3600 else (60.0, "min") if lasts_s > 1800 else (1.0, "s")
    part = cut(evidence.overview, span.from_s - before_s, span.from_s + lasts_s)
    figure = go.Figure()
    edges = []
    for role in roles:
        shape = outline(part, role)
        edges.append(shape.edge)
        _add_current(figure, role, shape, span.from_s, per)
    limit_ma = next((c.limit.max for c in result.checks if c.id == "off_state_drain" and c.limit), None)
    if limit_ma is not None:
        figure.add_hline(y=float(stretch(np.array([limit_ma / 1000]))[0]),
                         line={"color": LIMIT, "width": 2, "dash": "dash"}, annotation_text=f"limit {limit_ma:g} mA",
                         annotation_position="top right")  # fmt: skip
        edges.append(np.array([limit_ma / 1000]))
    if span.settled_s is not None and span.settled_s > span.from_s:
        at = (span.settled_s - span.from_s) / per
        figure.add_vrect(x0=0, x1=at, fillcolor=SPAN_FILLS["cranking"], line_width=0, layer="below", opacity=0.5)
        figure.add_vline(x=at, line={"color": INK, "width": 1},
                         annotation={"text": f"settled after {_seconds(span.settled_s - span.from_s)} s",
                                     "yanchor": "bottom"},
                         annotation_position="top right" if at * per < lasts_s / 2 else "top left")  # fmt: skip
    zero = "key-off" if span.from_s > float(evidence.overview.start_s[0]) else "start of the log"
    figure.update_xaxes(title_text=f"Time after the {zero} / {unit}")
    figure.update_yaxes(title_text="Current, stretched", **stretched_axis(edges))
    plain(figure, height=330)
    figure.update_layout(hovermode="x", margin={"t": LABEL_PX})
    return figure


def _add_current(figure: Any, role: str, shape: Outline, zero_s: float, per: float) -> None:
    """A current over the time from ``zero_s`` on, in units of ``per`` seconds: its band, and its mean as a line."""
    figure.add_scatter(
        x=(shape.edge_s - zero_s) / per, y=short(stretch(shape.edge)), fill="toself", mode="lines",
        fillcolor=faint(colour(role)), line={"width": 0}, hoverinfo="skip", legendgroup=role, showlegend=False,
    )  # fmt: skip
    figure.add_scatter(
        x=(shape.time_s - zero_s) / per, y=short(stretch(shape.mean)), customdata=short(shape.mean * 1000),
        name=spoken(role), mode="lines", legendgroup=role, line={"color": colour(role), "width": 1.5},
        hovertemplate="%{customdata:.4~g} mA<extra></extra>",
    )  # fmt: skip


def _seconds(lasts_s: float) -> str:
    return f"{lasts_s:.1f}" if lasts_s < 10 else f"{lasts_s:.0f}"


def _shown_s(span: Settling) -> float:
    """How much of the span is shown: settling, and as long again that what it settled to is seen."""
    lasts_s = span.to_s - span.from_s
    settles_s = 0.0 if span.settled_s is None else span.settled_s - span.from_s
    return lasts_s if settles_s <= 0 else min(lasts_s, max(8 * settles_s, LEAST_S))


def _span(evidence: LogEvidence, result: Result) -> Settling | None:
    """The span behind the settling time or the drain, else the longest; a start of the log tells no settling."""
    if not evidence.settlings or not {"battery_a", "drain_a"} & set(evidence.overview.bands):
        return None
    for check_id in ("settle_time", "off_state_drain"):
        check = next((c for c in result.checks if c.id == check_id), None)
        if check is not None and check.log == evidence.log and check.from_s is not None:
            for span in evidence.settlings:
                if span.from_s - 1 <= check.from_s <= span.to_s:
                    return span
    start_s = float(evidence.overview.start_s[0])
    return max(evidence.settlings, key=lambda s: (s.from_s > start_s, s.to_s - s.from_s))
