"""Relay events laid over each other, the trigger's crossing at zero, with the limit drawn."""

from typing import TYPE_CHECKING, Any, Literal

from benchlog.core.thinning import thin
from benchlog.core.trace import Trace
from benchlog.report.figures.look import GRID, LABEL_PX, LIMIT, colour, dash, mode, plain, short, spoken
from benchlog.verdict.evidence import LogEvidence

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

#: Most relay events drawn over each other; more would hide one another.
MOST_EVENTS = 10


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
                _add_event(figure, near, role, at_s, number, first=role not in named)
                named.add(role)
    figure.add_vline(x=0, line={"color": GRID, "width": 1})
    if limit_ms is not None:
        figure.add_vline(x=limit_ms, line={"color": LIMIT, "width": 2, "dash": "dash"},
                         annotation={"text": f"limit {limit_ms:g} ms", "yanchor": "bottom"},
                         annotation_position="top")  # fmt: skip
    figure.update_xaxes(title_text="Time after the trigger's crossing / ms", range=[-widest_ms / 2, widest_ms])
    figure.update_yaxes(title_text="Voltage / V")
    plain(figure, height=280)
    figure.update_layout(margin={"t": LABEL_PX})
    return figure


def _add_event(figure: Any, near: Trace, role: str, at_s: float, number: int, *, first: bool) -> None:
    time_s, value = thin(near.time_s - at_s, near.values[role])
    line = {"color": colour(role), "width": 1.5, "dash": dash(role)}
    figure.add_scatter(
        x=short(time_s * 1e3), y=short(value), mode=mode(time_s), name=spoken(role), line=line,
        marker={"size": 5}, legendgroup=role, showlegend=first,
        hovertemplate=f"event {number}: %{{y:.3~f}} V at %{{x:.2f}} ms<extra></extra>",
    )  # fmt: skip
