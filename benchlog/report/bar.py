"""One check as a small drawing: the allowed stretch, the limit, the value and how sure it is."""

from dataclasses import dataclass

from benchlog.core.numbers import number
from benchlog.report import words
from benchlog.report.templating import filled_in
from benchlog.verdict.result import Check

_WIDTH, _HEIGHT, _EDGE = 200.0, 34.0, 8.0
_TRACK_Y, _TRACK_H = 10.0, 8.0


@dataclass(frozen=True, slots=True)
class BarShape:
    """Where everything stands, as shares of the bar's width.

    Attributes:
        allowed: from and to. limits: place and label of each; "" where two labels would run into each other.
        whisker: from and to of value ± uncertainty; None without. value: of the measured value.
        label: the whole in words.
    """

    allowed: tuple[float, float]
    limits: tuple[tuple[float, str], ...]
    whisker: tuple[float, float] | None
    value: float
    label: str


def bar_shape(check: Check) -> BarShape | None:
    """The bar of a check; None where there is no measured value or no limit to show."""
    low, high = (check.limit.min, check.limit.max) if check.limit else (None, None)
    if check.measured is None or (low is None and high is None):
        return None
    if low is not None and high is not None and low > high:
        return None  # nothing is allowed, so there is no stretch to draw
    half = check.uncertainty or 0.0
    to_x = _scale(check.measured, half, low, high)
    # the two numbers of a narrow window would run into each other
    alone = low is None or high is None or low == high
    return BarShape(
        allowed=(to_x(low) if low is not None else 0.0, to_x(high) if high is not None else 1.0),
        limits=tuple((to_x(x), number(x) if alone else "") for x in (low, high) if x is not None),
        whisker=(to_x(check.measured - half), to_x(check.measured + half)) if half else None,
        value=to_x(check.measured),
        label=f"{words.measured_words(check)}, limit {words.limit_words(check)}",
    )


def bar(check: Check) -> str:
    """Inline SVG of the check, as markup; empty where there is no measured value or no limit to show."""
    from markupsafe import Markup

    shape = bar_shape(check)
    if shape is None:
        return ""
    return Markup(
        filled_in(
            "bar.html",
            shape=shape,
            verdict=check.verdict,
            width=_WIDTH,
            height=_HEIGHT,
            track_y=_TRACK_Y,
            track_h=_TRACK_H,
        )
    )


def _scale(value: float, half: float, low: float | None, high: float | None) -> "_Scale":
    points = [value - half, value + half, *(x for x in (low, high) if x is not None)]
    # an upper limit alone is read from zero; a lower limit or a window is read close up
    if low is None and min(points) >= 0:
        points.append(0.0)
    first, last = min(points), max(points)
    span = (last - first) or abs(last) or 1.0
    pad_low = 0.0 if first == 0.0 and low is None else 0.25 * span
    return _Scale(first - pad_low, last + 0.25 * span)


class _Scale:
    def __init__(self, first: float, last: float) -> None:
        self.first, self.last = first, last

    def __call__(self, value: float) -> float:
        return (_EDGE + (value - self.first) / (self.last - self.first) * (_WIDTH - 2 * _EDGE)) / _WIDTH
