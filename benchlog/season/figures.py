"""Plotly figures of a season: readings with uncertainty, limits, changes, and the trend with its band."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from benchlog.core.numbers import number
from benchlog.report.figures.look import LABEL_PX, LIMIT, MEASURED, PLANNED, faint, plain
from benchlog.season.chart import is_drawn
from benchlog.season.forecast import Trend
from benchlog.season.model import Part, Season
from benchlog.season.series import AT_C, day_of, series_of
from benchlog.season.trend import MOST_READINGS, Array

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

Moments = npt.NDArray[np.datetime64]

_TREND = "#15886f"
_CHANGE = "#8b6fc9"
# days, months and years in as few letters as a phone has room for; the year stands under the first of its ticks
_TICKS = [{"dtickrange": [None, "M1"], "value": "%-d %b\n%Y"}, {"dtickrange": ["M1", "M12"], "value": "%b\n%Y"},
          {"dtickrange": ["M12", None], "value": "%Y"}]  # fmt: skip
#: More readings than this are drawn without uncertainty bars: they would be one dark band.
_MOST_BARS = 400
#: The time axis is no shorter than this: a single reading stands among dates.
LEAST_SHOWN = timedelta(days=14)
# room on either side of what is drawn, and what "2 changes" takes on a phone, whose axis is some 250 px wide; shares
# of the axis
_BESIDE, _WORD = 0.03, 0.24
# room above the highest limit, for its word; a share of what is drawn
_ABOVE = 0.12


@dataclass(frozen=True, slots=True)
class DrawnSeason:
    """The points of one quantity: its readings, or what stands for thousands of them.

    Attributes:
        day: days since 1970 UTC, ascending. value: in the quantity's unit. temperature_c: NaN where not noted.
        uncertainty: k = 2, 0 where not stated.
        readings: how many they stand for; as many as there are points where each is a reading.
    """

    day: Array
    value: Array
    temperature_c: Array
    uncertainty: Array
    readings: int

    @property
    def thinned(self) -> bool:
        """Whether the points are medians of several readings."""
        return len(self.day) < self.readings

    @property
    def bars(self) -> bool:
        """Whether each point has its uncertainty beside it; that of a median is not stated."""
        return not self.thinned and bool(self.uncertainty.any()) and len(self.day) <= _MOST_BARS


def drawn_of(part: Part) -> DrawnSeason:
    """What is drawn of a quantity: thousands of readings by the very medians that its trend is made from."""
    readings = [r for r in part.readings if math.isfinite(r.value)]
    if len(readings) > MOST_READINGS:
        series = series_of(readings, part.quantity)
        return DrawnSeason(
            series.day, series.value, series.temperature_c, np.nan_to_num(series.uncertainty), len(readings)
        )
    known = [(day_of(r.at), r.value, r.temperature_c, r.uncertainty or 0.0) for r in readings]
    columns = np.array(known, dtype=np.float64).reshape(len(known), 4)  # a temperature of None becomes NaN
    return DrawnSeason(columns[:, 0], columns[:, 1], columns[:, 2], columns[:, 3], len(readings))


def part_drawing(part: Part, season: Season) -> "tuple[go.Figure, str] | None":
    """The figure of one quantity and its caption; None without readings."""
    drawn = drawn_of(part)
    return (_figure(part, season, drawn), _caption(part, season, drawn)) if drawn.readings else None


def _caption(part: Part, season: Season, drawn: DrawnSeason) -> str:
    """What the figure shows, in words: only what is there."""
    if drawn.thinned:
        what = [f"{drawn.readings:,} readings, drawn as {len(drawn.day):,} medians of equal stretches of time"]
    else:
        many = "readings" if drawn.readings > 1 else "one reading"
        what = [f"{many} with {'their' if drawn.readings > 1 else 'its'} uncertainty (k = 2)" if drawn.bars else many]
    if any(limit is not None and is_drawn(limit, drawn.value.tolist()) for limit in part.limit):
        what.append("the plan's limit dashed")
    if _changes(part, season):
        what.append("changes dotted")
    trends = [trend for trend in (*part.earlier, part.trend) if isinstance(trend, Trend)]
    if trends:
        what.append("the trend with its 95 % band")
    days, _ = _at_20(part, drawn)
    rings = f" Trend and open rings: as it would be at {AT_C:.0f} °C." if len(days) else ""
    return f"{part.title}: {_listed(what)}.{rings}"


def part_figure(part: Part, season: Season) -> "go.Figure | None":
    """One quantity over the season, with today's forecast where a limit would be crossed; None without readings."""
    drawn = part_drawing(part, season)
    return None if drawn is None else drawn[0]


def _figure(part: Part, season: Season, drawn: DrawnSeason) -> "go.Figure":
    import plotly.graph_objects as go  # heavy; only a report or a page pays for it

    figure = go.Figure()
    for trend in (*part.earlier, part.trend):
        if isinstance(trend, Trend):
            _add_trend(figure, go, trend, part, season)
    warm = None if np.isnan(drawn.temperature_c).all() else [_warm(c) for c in drawn.temperature_c.tolist()]
    size = 7 if len(drawn.day) <= _MOST_BARS else 4
    bars = {"type": "data", "array": drawn.uncertainty, "visible": True, "color": MEASURED, "thickness": 1.2}
    figure.add_trace(
        go.Scatter(
            x=_when(drawn.day), y=drawn.value, mode="markers", marker={"size": size, "color": MEASURED},
            name="measured, medians" if drawn.thinned else "measured", text=warm,
            error_y={**bars, "width": 3} if drawn.bars else None,
            hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}{'' if warm is None else '%{text}'}<extra></extra>",
        )
    )  # fmt: skip
    _add_at_20(figure, go, part, drawn)
    limits = [(x, side) for x, side in zip(part.limit, ("least", "most"), strict=True) if x is not None]
    limits = [(limit, side) for limit, side in limits if is_drawn(limit, drawn.value.tolist())]
    for limit, side in limits:
        figure.add_hline(y=limit, line={"color": LIMIT, "width": 2, "dash": "dash"},
                         annotation={"text": f"{side} {number(limit)} {part.unit}", "yanchor": "bottom"},
                         annotation_position="top left")  # fmt: skip
    changes = _changes(part, season)
    ends = [(day_of(after), day_of(before)) for after, before in changes]
    shown = _shown(np.concatenate([*(trace.x for trace in figure.data), *map(_when, ends)]))
    for after, before in changes:
        _add_change(figure, after, before)
    _name_changes(figure, [after + (before - after) / 2 for after, before in changes], shown)
    figure.update_xaxes(title_text="Date", type="date", range=list(shown), tickangle=0, tickformatstops=_TICKS)
    low, high = _span(figure, drawn, [limit for limit, _ in limits])
    figure.update_yaxes(title_text=f"{part.title} / {part.unit}", range=[low, high])
    plain(figure, height=290)
    figure.update_layout(margin={"t": LABEL_PX if changes else 18})
    return figure


def _add_trend(figure: Any, go: Any, trend: Trend, part: Part, season: Season) -> None:
    start, stop = day_of(_midnight(trend.since)), day_of(_midnight(trend.until)) + 1
    if trend is part.trend and part.crossing.state == "will cross":
        # on to the crossing, as far again as the readings reach at most
        beyond = part.crossing.latest or part.crossing.earliest or season.today
        stop = min(day_of(_midnight(beyond)), stop + (stop - start))
    days = np.linspace(start, stop, 40)
    low, high = np.array([trend.band(day) for day in days]).T
    when = _when(days)
    name = "trend" if trend.proven else "no trend proven"
    first = not any(trace.name == name for trace in figure.data)
    figure.add_trace(
        go.Scatter(x=np.concatenate([when, when[::-1]]), y=np.concatenate([high, low[::-1]]), fill="toself",
                   mode="lines", line={"width": 0}, fillcolor=faint(_TREND if trend.proven else PLANNED),
                   hoverinfo="skip", showlegend=False)
    )  # fmt: skip
    figure.add_trace(
        go.Scatter(x=when, y=np.array([trend.at(day) for day in days]), mode="lines", name=name, showlegend=first,
                   line={"color": _TREND if trend.proven else PLANNED, "width": 2,
                         "dash": "solid" if trend.proven else "dot"},
                   hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}<extra>{name}</extra>")
    )  # fmt: skip


def _add_at_20(figure: Any, go: Any, part: Part, drawn: DrawnSeason) -> None:
    days, values = _at_20(part, drawn)
    if len(days):
        name = f"at {AT_C:.0f} °C"
        figure.add_trace(
            go.Scatter(x=_when(days), y=values, mode="markers", name=name, opacity=0.8,
                       marker={"size": 7, "color": _TREND, "symbol": "circle-open"},
                       hovertemplate=f"%{{x|%d %b %Y}}: %{{y:.4~g}} {part.unit}<extra>{name}</extra>")
        )  # fmt: skip


def _at_20(part: Part, drawn: DrawnSeason) -> tuple[Array, Array]:
    """The points as they would be at 20 degC, for those trends that temperature was taken out of."""
    days, values = [np.empty(0)], [np.empty(0)]
    for trend in (*part.earlier, part.trend):
        if not isinstance(trend, Trend) or trend.per_other is None:
            continue
        since, until = day_of(_midnight(trend.since)), day_of(_midnight(trend.until)) + 1
        own = (drawn.day >= since) & (drawn.day < until) & np.isfinite(drawn.temperature_c)
        days.append(drawn.day[own])
        values.append(drawn.value[own] - trend.per_other * (drawn.temperature_c[own] - AT_C))
    return np.concatenate(days), np.concatenate(values)


def _changes(part: Part, season: Season) -> list[tuple[datetime, datetime]]:
    """The dates around each change that splits the quantity's trend; one before all readings splits nothing."""
    first = min((r.at for r in part.readings), default=datetime.max.replace(tzinfo=UTC))
    parted = season.breaks_of(part.quantity)
    return [(one.after, one.before) for one in season.breaks if one.before in parted and one.before > first]


def _shown(moments: Moments) -> tuple[datetime, datetime]:
    """The stretch of the time axis: all that is drawn with room beside it, days at least and never milliseconds."""
    first, last = (at.astype("datetime64[ms]").item().replace(tzinfo=UTC) for at in (moments.min(), moments.max()))
    beside = max((LEAST_SHOWN - (last - first)) / 2, _BESIDE * (last - first))
    return first - beside, last + beside


def _span(figure: Any, drawn: DrawnSeason, limits: Sequence[float]) -> tuple[float, float]:
    """The stretch of the other axis: all that is drawn, with room for the word above a limit."""
    bars = drawn.uncertainty if drawn.bars else np.zeros(len(drawn.value))
    every = [drawn.value - bars, drawn.value + bars, np.array(limits), *(trace.y for trace in figure.data)]
    low, high = float(min(y.min() for y in every if len(y))), float(max(y.max() for y in every if len(y)))
    beside = _ABOVE * (high - low) or _ABOVE * abs(high) or 1.0
    return low - beside / 3, high + beside


def _add_change(figure: Any, after: datetime, before: datetime) -> None:
    # a change that was noted is a line, one found between two readings is as wide as they are apart
    if after < before:
        figure.add_vrect(x0=after, x1=before, fillcolor=faint(_CHANGE), line_width=0, layer="below")
    middle = after + (before - after) / 2
    figure.add_shape(type="line", x0=middle, x1=middle, y0=0, y1=1, yref="paper",
                     line={"color": _CHANGE, "width": 2, "dash": "dot"})  # fmt: skip


def _name_changes(figure: Any, lines: Sequence[datetime], shown: tuple[datetime, datetime]) -> None:
    """The word beside the top of each line, above the plot; lines too near for a word each share one."""
    wide = _WORD * (shown[1] - shown[0])
    groups: list[list[datetime]] = []
    for line in sorted(lines):
        # the last word may have to stand before its line, where the one before it stands after its own
        reach = wide if line + wide < shown[1] else 2 * wide
        if groups and line - groups[-1][0] < reach:
            groups[-1].append(line)
        else:
            groups.append([line])
    for group in groups:
        text = "change" if len(group) == 1 else f"{len(group)} changes"
        fits = group[0] + wide < shown[1]
        figure.add_annotation(x=group[0] if fits else group[-1], y=1, yref="paper", text=text, showarrow=False,
                              yanchor="bottom", xanchor="left" if fits else "right")  # fmt: skip


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _when(days: Sequence[float] | Array) -> Moments:
    """Days since 1970 as plotly takes moments, UTC."""
    return (np.asarray(days, dtype=np.float64) * 86_400_000).round().astype("datetime64[ms]")


def _warm(celsius: float) -> str:
    return "" if math.isnan(celsius) else f", {celsius:.1f} °C"


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)
