"""Plotly figures of a season: readings with uncertainty, limits, changes, and the trend with its band."""

from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from benchlog.figures.look import LIMIT, MEASURED, PLANNED, faint, plain
from benchlog.numbers import number
from benchlog.season.chart import is_drawn
from benchlog.season.forecast import Trend
from benchlog.season.season import Part, Season
from benchlog.season.series import AT_C, day_of, moment_of

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

_TREND = "#15886f"
_CHANGE = "#8b6fc9"
#: More readings than this are drawn without uncertainty bars: they would be one dark band.
_MOST_BARS = 400


def part_figure(part: Part, season: Season) -> "go.Figure | None":
    """One quantity over the season, with today's forecast where a limit would be crossed; None without readings."""
    import plotly.graph_objects as go  # heavy; only a report or a page pays for it

    readings = [r for r in part.readings if np.isfinite(r.value)]
    if not readings:
        return None
    figure = go.Figure()
    values = [r.value for r in readings]
    doubts = [r.uncertainty or 0.0 for r in readings]
    warm = ["" if r.temperature_c is None else f", {r.temperature_c:.1f} °C" for r in readings]
    for trend in (*part.earlier, part.trend):
        if isinstance(trend, Trend):
            _add_trend(figure, go, trend, part, season)
    figure.add_trace(
        go.Scatter(
            x=[r.at for r in readings], y=values, mode="markers", name="measured",
            marker={"size": 7, "color": MEASURED},
            error_y={"type": "data", "array": doubts, "color": MEASURED, "thickness": 1.2, "width": 3,
                     "visible": any(doubts) and len(readings) <= _MOST_BARS},
            customdata=warm, hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}%{{customdata}}<extra></extra>",
        )
    )  # fmt: skip
    _add_at_20(figure, go, part)
    for limit, side in zip(part.limit, ("least", "most"), strict=True):
        if limit is not None and is_drawn(limit, values):
            figure.add_hline(y=limit, line={"color": LIMIT, "width": 2, "dash": "dash"},
                             annotation={"text": f"{side} {number(limit)} {part.unit}", "yanchor": "bottom"},
                             annotation_position="top left")  # fmt: skip
    for one in season.breaks:
        if one.before in season.breaks_of(part.quantity):
            _add_change(figure, one.after, one.before)
    figure.update_xaxes(title_text="Date", type="date")
    figure.update_yaxes(title_text=f"{part.title} / {part.unit}")
    plain(figure, height=320)
    figure.update_layout(margin={"t": 52})
    return figure


def _add_trend(figure: Any, go: Any, trend: Trend, part: Part, season: Season) -> None:
    start, stop = day_of(_midnight(trend.since)), day_of(_midnight(trend.until)) + 1
    if trend is part.trend and part.crossing.state == "will cross":
        # on to the crossing, as far again as the readings reach at most
        beyond = part.crossing.latest or part.crossing.earliest or season.today
        stop = min(day_of(_midnight(beyond)), stop + (stop - start))
    days = np.linspace(start, stop, 40)
    low, high = np.array([trend.band(day) for day in days]).T
    when = [moment_of(day) for day in days]
    name = "trend" if trend.proven else "no trend proven"
    first = not any(trace.name == name for trace in figure.data)
    figure.add_trace(
        go.Scatter(x=[*when, *when[::-1]], y=[*high, *low[::-1]], fill="toself", mode="lines", line={"width": 0},
                   fillcolor=faint(_TREND if trend.proven else PLANNED), hoverinfo="skip", showlegend=False)
    )  # fmt: skip
    figure.add_trace(
        go.Scatter(x=when, y=[trend.at(day) for day in days], mode="lines", name=name, showlegend=first,
                   line={"color": _TREND if trend.proven else PLANNED, "width": 2,
                         "dash": "solid" if trend.proven else "dot"},
                   hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}<extra>{name}</extra>")
    )  # fmt: skip


def _add_at_20(figure: Any, go: Any, part: Part) -> None:
    """The readings as they would be at 20 degC, for those trends that temperature was taken out of."""
    when, values = [], []
    for trend in (*part.earlier, part.trend):
        if not isinstance(trend, Trend) or trend.per_other is None:
            continue
        for r in part.readings:
            if r.temperature_c is not None and trend.since <= r.at.date() <= trend.until:
                when.append(r.at)
                values.append(r.value - trend.per_other * (r.temperature_c - AT_C))
    if when:
        name = f"at {AT_C:.0f} °C"
        figure.add_trace(
            go.Scatter(x=when, y=values, mode="markers", name=name, opacity=0.8,
                       marker={"size": 7, "color": _TREND, "symbol": "circle-open"},
                       hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}<extra>{name}</extra>")
        )  # fmt: skip


def _add_change(figure: Any, after: datetime, before: datetime) -> None:
    # a change that was noted is a line, one found between two readings is as wide as they are apart
    if after < before:
        figure.add_vrect(x0=after, x1=before, fillcolor=faint(_CHANGE), line_width=0, layer="below")
    middle = after + (before - after) / 2
    figure.add_shape(type="line", x0=middle, x1=middle, y0=0, y1=1, yref="paper",
                     line={"color": _CHANGE, "width": 2, "dash": "dot"})  # fmt: skip
    figure.add_annotation(x=middle, y=1, yref="paper", text="change", showarrow=False, yanchor="bottom")


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)
