"""Planned against measured current, one row a circuit."""

from typing import TYPE_CHECKING

from benchlog.report.figures.look import LIMIT, MEASURED, PLANNED, plain
from benchlog.verdict.registry.loads import SLOT_CURRENT
from benchlog.verdict.registry.table import check_of, is_of
from benchlog.verdict.result import Result

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types


def circuits_figure(result: Result) -> "go.Figure | None":
    """Each planned circuit: the allowed window, the planned current, and what was measured with its uncertainty.

    Rows are named by their slot number alone: what the devices are called stands beside the figure.

    Returns:
        The figure; None where the plan has no circuit.
    """
    checks = [check for check in result.checks if is_of(check.id, SLOT_CURRENT)]
    if not checks:
        return None
    import plotly.graph_objects as go  # heavy; only a report with evidence pays for it

    names = [f"slot {check_of(check.id).slot}" for check in checks]
    figure = go.Figure()
    windows = [(n, c.limit.min, c.limit.max) for n, c in zip(names, checks, strict=True)
               if c.limit and c.limit.min is not None and c.limit.max is not None]  # fmt: skip
    figure.add_trace(
        go.Bar(y=[n for n, _, _ in windows], base=[low for _, low, _ in windows],
               x=[high - low for _, low, high in windows], orientation="h", width=0.55, name="allowed",
               marker={"color": "rgba(47,127,193,0.22)", "line": {"color": LIMIT, "width": 1.5}},
               hovertemplate="%{y}: %{base:.3~g} to %{x:.3~g} A allowed<extra></extra>")
    )  # fmt: skip
    planned = [(n, c.planned) for n, c in zip(names, checks, strict=True) if c.planned is not None]
    figure.add_trace(
        go.Scatter(y=[n for n, _ in planned], x=[x for _, x in planned], mode="markers", name="planned",
                   marker={"symbol": "line-ns", "size": 26, "color": PLANNED, "line": {"width": 3, "color": PLANNED}},
                   hovertemplate="%{y}: %{x:.3~g} A planned<extra></extra>")
    )  # fmt: skip
    measured = [(n, c.measured, c.uncertainty or 0.0) for n, c in zip(names, checks, strict=True)
                if c.measured is not None]  # fmt: skip
    figure.add_trace(
        go.Scatter(y=[n for n, _, _ in measured], x=[x for _, x, _ in measured], mode="markers", name="measured",
                   marker={"symbol": "diamond", "size": 12, "color": MEASURED,
                           "line": {"width": 1, "color": "#ffffff"}},
                   error_x={"type": "data", "array": [u for _, _, u in measured], "color": MEASURED, "thickness": 2},
                   hovertemplate="%{y}: %{x:.3~g} A measured<extra></extra>")
    )  # fmt: skip
    figure.update_xaxes(title_text="Current / A", rangemode="tozero")
    figure.update_yaxes(autorange="reversed", categoryorder="array", categoryarray=names, showgrid=False)
    plain(figure, height=100 + 44 * len(checks))
    return figure
