"""The figure of one quantity, coordinate by coordinate: readings, trend, limit, changes and axes of a made-up part."""

import math
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from benchlog.season.breaks import Break
from benchlog.season.figures import drawn_of, part_drawing, part_figure
from benchlog.season.forecast import LimitCrossing, TooFew, Trend
from benchlog.season.model import Part, Season
from benchlog.store.readings import Reading

AT = datetime(2026, 1, 1, 12, tzinfo=UTC)
FIRST = 20454.5  # days from 1970 to then
TODAY = date(2026, 4, 1)
OPEN = LimitCrossing("open")
FEW = TooFew("few", 1)


def after(days: float) -> datetime:
    """So many days later."""
    return AT + timedelta(days=days)


def trend(
    since: date,
    until: date,
    *,
    proven: bool = True,
    per_other: float | None = None,
    per_year: float = 36.525,
) -> Trend:
    """20 V on the first day, rising 0.1 V a day, known to 0.5 V, 0.05 to 0.2 V a day."""
    return Trend(since, until, 8, per_year, 0.5 * per_year, 2 * per_year, 0.01, 20.0, 0.5, FIRST,
                 "none" if per_other is None else "temperature", per_other, proven, "")  # fmt: skip


def part(
    readings: list[tuple[float, float]],
    *,
    limit: tuple[float | None, float | None] = (None, None),
    own: Trend | TooFew = FEW,
    earlier: tuple[Trend, ...] = (),
    crossing: LimitCrossing = OPEN,
    celsius: float | None = None,
    doubt: float | None = 0.2,
) -> Part:
    """Readings (day, V) of one quantity."""
    given = tuple(Reading(after(day), "crank_minimum", value, doubt, celsius) for day, value in readings)
    return Part("crank_minimum", "Cranking minimum", "V", given, limit, None, (1.0, 0.1), own, earlier, crossing)


def season(one: Part, *breaks: Break) -> Season:
    """With this quantity alone."""
    return Season("Larch", "agm", 11.2, TODAY, (one,), tuple(breaks), None, None, ())


def change(day: float, until: float | None = None, what: str = "new battery") -> Break:
    """Noted on a day, or found between two readings."""
    if until is None:
        return Break(after(day), after(day), {}, what)
    return Break(after(day), after(until), {"crank_minimum": 1.0}, "", "as with a new battery", 0.001)


def drawn(one: Part, *breaks: Break) -> tuple[Any, str]:
    """Its figure and its caption."""
    made = part_drawing(one, season(one, *breaks))
    assert made is not None
    return made


def days(x: Any) -> list[float]:
    """Moments as days after the first reading."""
    moments = np.asarray(x, dtype="datetime64[ms]").astype(float)
    return [float(value) for value in np.round(moments / 86_400_000 - FIRST, 6)]


def trace_of(figure: Any, name: str) -> Any:
    """The trace of this name."""
    (found,) = [trace for trace in figure.data if trace.name == name]
    return found


TEN = [(float(10 * k), 20.0 + k) for k in range(10)]


def test_readings_stand_where_they_were_taken():
    """Day and value of each, its uncertainty beside it, and the temperature told where it was noted."""
    plain, _ = drawn(part(TEN))
    warm, _ = drawn(part(TEN, celsius=18.04))
    measured = trace_of(plain, "measured")

    assert days(measured.x) == [10.0 * k for k in range(10)]
    assert list(measured.y) == [20.0 + k for k in range(10)]
    assert list(measured.error_y.array) == [0.2] * 10
    assert (measured.error_y.width, measured.error_y.thickness, measured.marker.size) == (3, 1.2, 7)
    assert (measured.text, plain.layout.height, plain.layout.margin.t) == (None, 290, 18)
    assert list(trace_of(warm, "measured").text) == [", 18.0 °C"] * 10
    assert trace_of(warm, "measured").hovertemplate == "%{x|%d %b %Y}: %{y:.4~g} V%{text}<extra></extra>"
    assert measured.hovertemplate == "%{x|%d %b %Y}: %{y:.4~g} V<extra></extra>"


@pytest.mark.parametrize(("n", "bars", "size"), [(400, True, 7), (401, False, 4)])
def test_four_hundred_readings_have_bars(n: int, bars: bool, size: int):
    """More would be one dark band; their points are smaller."""
    figure, caption = drawn(part([(k / 10, 20.0 + math.sin(k)) for k in range(n)]))

    assert bool(trace_of(figure, "measured").error_y.visible) is bars
    assert trace_of(figure, "measured").marker.size == size
    assert ("uncertainty" in caption) is bars


@pytest.mark.parametrize(("n", "thinned"), [(1000, False), (1001, True)])
def test_a_thousand_readings_are_drawn_themselves(n: int, thinned: bool):
    """One more, and medians stand for them."""
    points = drawn_of(part([(k / 10, 20.0) for k in range(n)]))

    assert (points.thinned, points.readings, len(points.day)) == (thinned, n, 1000)


def test_one_known_accuracy_is_drawn():
    """The others then have none."""
    one = part([(0, 20.0), (5, 21.0)])
    mixed = (one.readings[0], Reading(after(5), "crank_minimum", 21.0, None, None))
    drawn_so = drawn_of(Part(*(mixed if name == "readings" else getattr(one, name) for name in one.__slots__)))

    assert drawn_so.bars
    assert drawn_so.uncertainty.tolist() == [0.2, 0.0]


def test_the_figure_alone():
    """As it is drawn with its caption; None without readings."""
    one, none = part(TEN), part([])

    assert part_figure(one, season(one)) == drawn(one)[0]
    assert part_figure(none, season(none)) is None


def test_unknown_values_and_accuracies_are_left_out():
    """A reading that is no number is not drawn, an unknown temperature stays empty, no bar without accuracy."""
    some = [Reading(after(0), "crank_minimum", 20.0, None, 8.0), Reading(after(1), "crank_minimum", math.nan, 0.1, 8.0),
            Reading(after(2), "crank_minimum", 21.0, None, None)]  # fmt: skip
    one = part([])
    one = Part(*(tuple(some) if name == "readings" else getattr(one, name) for name in one.__slots__))
    points = drawn_of(one)

    assert (days(points.day * 86_400_000), points.readings, points.bars) == ([0.0, 2.0], 2, False)
    assert np.isnan(points.temperature_c).tolist() == [False, True]
    assert list(trace_of(drawn(one)[0], "measured").text) == [", 8.0 °C", ""]
    assert part_drawing(part([]), season(part([]))) is None


def test_trend_runs_from_its_first_day_to_the_end_of_its_last():
    """40 points from 0:00 of the first to 24:00 of the last day; the band to and fro around it."""
    own = trend(date(2026, 1, 1), date(2026, 1, 20))
    figure, caption = drawn(part(TEN, own=own))
    line = trace_of(figure, "trend")
    band = next(trace for trace in figure.data if trace.fill == "toself")

    assert (days(line.x)[0], days(line.x)[-1], len(line.x)) == (-0.5, 19.5, 40)
    assert (line.y[0], line.y[-1]) == pytest.approx((19.95, 21.95))
    assert (line.line.dash, line.line.width, line.line.color) == ("solid", 2, "#15886f")
    assert days(band.x) == days(line.x) + days(line.x)[::-1]
    high, low = band.y[39], band.y[40]
    # ± 0.5 V, and the slope 0.1 more or 0.05 less a day over 19.5 days
    assert (high, low) == pytest.approx((21.95 + math.hypot(0.5, 1.95), 21.95 - math.hypot(0.5, 0.975)))
    assert (band.showlegend, line.showlegend, band.line.width) == (False, True, 0)
    assert caption == "Cranking minimum: readings with their uncertainty (k = 2) and the trend with its 95 % band."


def test_trend_that_is_not_proven_is_dotted():
    """In another colour and under another name; two of one kind stand in the legend once."""
    early = trend(date(2026, 1, 1), date(2026, 1, 20), proven=False)
    late = trend(date(2026, 2, 1), date(2026, 2, 20), proven=False)
    figure, _ = drawn(part(TEN, own=late, earlier=(early,)))
    lines = [trace for trace in figure.data if trace.name == "no trend proven"]

    assert [line.showlegend for line in lines] == [True, False]
    assert [line.line.dash for line in lines] == ["dot", "dot"]
    assert lines[0].line.color != "#15886f"


@pytest.mark.parametrize(
    ("state", "earliest", "latest", "until"),
    [
        ("will cross", date(2026, 2, 1), date(2026, 2, 5), 34.5),
        ("will cross", date(2026, 1, 25), None, 23.5),
        ("will cross", date(2026, 2, 1), date(2030, 2, 1), 39.5),
        ("will cross", None, None, 39.5),
        ("inside", date(2026, 2, 1), date(2026, 2, 5), 19.5),
    ],
)
def test_trend_goes_on_to_the_crossing(state: Any, earliest: date | None, latest: date | None, until: float):
    """To its latest date, or its earliest, or today; never further than the readings reach themselves."""
    own = trend(date(2026, 1, 1), date(2026, 1, 20))
    figure, _ = drawn(part(TEN, own=own, crossing=LimitCrossing(state, "max", 30.0, earliest, latest)))

    assert days(trace_of(figure, "trend").x)[-1] == until


def test_only_the_last_trend_goes_on():
    """An earlier one ends with its readings."""
    early, own = trend(date(2026, 1, 1), date(2026, 1, 10)), trend(date(2026, 1, 12), date(2026, 1, 20))
    crossing = LimitCrossing("will cross", "max", 30.0, date(2026, 3, 1), None)
    figure, _ = drawn(part(TEN, own=own, earlier=(early,), crossing=crossing))
    lines = [trace for trace in figure.data if trace.name == "trend"]

    assert [days(line.x)[-1] for line in lines] == [9.5, 28.5]


def test_open_rings_are_as_at_20_degrees():
    """0.1 V a kelvin, at 8 °C: each 1.2 V more, of those within the trend's days, and the caption says so."""
    own = trend(date(2026, 1, 11), date(2026, 2, 10), per_other=0.1)
    figure, caption = drawn(part(TEN, own=own, celsius=8.0))
    rings = trace_of(figure, "at 20 °C")

    assert days(rings.x) == [10.0, 20.0, 30.0, 40.0]
    assert list(rings.y) == pytest.approx([22.2, 23.2, 24.2, 25.2])
    assert (rings.marker.symbol, rings.marker.size, rings.opacity) == ("circle-open", 7, 0.8)
    assert caption.endswith(" Trend and open rings: as it would be at 20 °C.")
    cold, _ = drawn(part(TEN, own=own))
    assert not [trace for trace in cold.data if trace.name == "at 20 °C"]


def test_limits_are_dashed_with_their_words():
    """Least and most, where they are near enough; the caption names them."""
    figure, caption = drawn(part(TEN, limit=(10.0, 31.0)))
    far, told = drawn(part(TEN, limit=(-100.0, 500.0)))

    assert [(shape.y0, shape.y1, shape.line.dash, shape.line.width) for shape in figure.layout.shapes] == [
        (10.0, 10.0, "dash", 2), (31.0, 31.0, "dash", 2),
    ]  # fmt: skip
    assert [note.text for note in figure.layout.annotations] == ["least 10 V", "most 31 V"]
    assert all((note.xanchor, note.yanchor) == ("left", "bottom") for note in figure.layout.annotations)
    assert "the plan's limit dashed" in caption
    one_near, words = drawn(part(TEN, limit=(10.0, 500.0)))
    assert len(one_near.layout.shapes) == 1
    assert "the plan's limit dashed" in words
    assert not far.layout.shapes
    assert "limit" not in told
