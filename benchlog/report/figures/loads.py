"""Voltage against current: the battery, the feed and the return, with the fitted and the planned line."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal

from benchlog.report.figures.look import LIMIT, MEASURED, PLANNED, plain
from benchlog.verdict.evidence import LoadPoint, LogEvidence
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import is_of
from benchlog.verdict.result import Check, Result

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

Where = Literal["battery", "feed", "return"]
_CHECKS: dict[Where, str] = {"battery": "source_resistance", "feed": "feed_drop", "return": "ground_lift"}
_AXES: dict[Where, tuple[str, str]] = {
    "battery": ("Current out of the battery / A", "Battery voltage / V"),
    "feed": ("Load through the feed / A", "Voltage lost in the feed / V"),
    "return": ("Load through the feed / A", "Ground bus / V"),
}


def load_figure(evidence: LogEvidence, result: Result, where: Where) -> "go.Figure | None":
    """The steady stretches as points, the line that the check fitted, and the line of the plan's limit.

    Args:
        evidence: one log. result: gives slope, limit and planned load. where: which path.

    Returns:
        The figure; None where this log has no points for it or the check took its value from another log.
    """
    check = _check(result, _CHECKS[where])
    groups = (
        evidence.battery_points
        if where == "battery"
        else ((evidence.feed_points if where == "feed" else evidence.ground_points),)
    )
    groups = tuple(group for group in groups if group)
    if not groups or check is None or check.log not in (None, evidence.log):
        return None
    import plotly.graph_objects as go  # heavy; only a report with evidence pays for it

    figure = go.Figure()
    # the widest group carries the lines; the others have a rested voltage of their own
    widest = max(groups, key=lambda group: max(p.load_a for p in group) - min(p.load_a for p in group))
    most_a = max(point.load_a for point in widest)
    planned_a = sum(c.planned or 0.0 for c in result.checks if is_of(c.id, SLOT_CURRENT))
    far_a = max(most_a, planned_a if where != "battery" else 0.0) * 1.05
    for slope, name, line in _lines(check, where, planned_a):
        start, zero = _zero(widest, slope if where == "battery" else None)
        _add_line(figure, go, (start, far_a), (zero + slope * start, zero + slope * far_a), name, line)
    points = [point for group in groups for point in group]
    figure.add_trace(
        go.Scatter(x=[p.load_a for p in points], y=[p.volts for p in points], mode="markers", name="steady load",
                   marker={"size": 9, "color": MEASURED, "line": {"width": 1, "color": "#ffffff"}},
                   hovertemplate="%{y:.4~g} V at %{x:.3~f} A<extra></extra>")
    )  # fmt: skip
    across, up = _AXES[where]
    figure.update_xaxes(title_text=across)
    figure.update_yaxes(title_text=up)
    plain(figure, height=280)
    return figure


def _check(result: Result, check_id: str) -> Check | None:
    return next((check for check in result.checks if check.id == check_id), None)


def _lines(check: Check, where: Where, planned_a: float) -> list[tuple[float, str, dict[str, Any]]]:
    """Slope in V/A, name and look of each line; the battery's voltage falls with the load."""
    turned, per = (-1.0, 1000.0) if where == "battery" else (1.0, planned_a)
    if not per:
        return []
    found: list[tuple[float, str, dict[str, Any]]] = []
    values = (
        (check.limit.max if check.limit else None, "limit", {"color": LIMIT, "width": 2, "dash": "dash"}),
        (check.planned, "planned", {"color": PLANNED, "width": 1.5, "dash": "dot"}),
        (check.measured, "fitted", {"color": MEASURED, "width": 2}),
    )
    for value, name, line in values:
        if value is not None:
            ohm = value / per
            found.append((turned * ohm, f"{name}, {ohm * 1000:.3g} mΩ", line))
    return found


def _zero(group: Sequence[LoadPoint], slope: float | None) -> tuple[float, float]:
    """Where a line starts, A, and its voltage at no current; paths start at nothing, the battery at its rest."""
    if slope is None:
        return 0.0, 0.0
    first = min(group, key=lambda point: point.load_a)
    return first.load_a, first.volts - slope * first.load_a


def _add_line(
    figure: Any, go: Any, x: tuple[float, float], y: tuple[float, float], name: str, line: dict[str, Any]
) -> None:
    figure.add_trace(go.Scatter(x=list(x), y=list(y), mode="lines", name=name, line=line, hoverinfo="skip"))
