"""One check as a small drawing: the allowed stretch, the limit, the value and how sure it is."""

from dataclasses import dataclass
from html import escape

from benchlog.core.numbers import number
from benchlog.report import words
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
    """Inline SVG of the check; empty where there is no measured value or no limit to show."""
    shape = bar_shape(check)
    if shape is None:
        return ""
    left, right = (share * _WIDTH for share in shape.allowed)
    centre = shape.value * _WIDTH
    middle = _TRACK_Y + _TRACK_H / 2
    parts = [
        f'<rect class="track" x="0" y="{_TRACK_Y}" width="{_WIDTH:g}" height="{_TRACK_H}" rx="2"/>',
        f'<rect class="allowed" x="{left:.1f}" y="{_TRACK_Y}" width="{max(right - left, 1.0):.1f}" '
        f'height="{_TRACK_H}"/>',
    ]
    parts += [_limit_mark(at * _WIDTH, label) for at, label in shape.limits]
    if shape.whisker is not None:
        first, last = (share * _WIDTH for share in shape.whisker)
        parts.append(f'<path class="whisker" d="M{first:.1f} {middle}H{last:.1f}"/>')
    parts.append(
        f'<path class="value v-{check.verdict.replace(" ", "-")}" d="M{centre:.1f} {middle - 6}l6 6l-6 6l-6 -6z"/>'
    )
    return (
        f'<svg class="bar" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{escape(shape.label)}">'
        f"{''.join(parts)}</svg>"
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


def _limit_mark(x: float, label: str) -> str:
    line = f'<path class="limit" d="M{x:.1f} {_TRACK_Y - 5}V{_TRACK_Y + _TRACK_H + 4}"/>'
    if not label:
        return line
    anchor = "start" if x < 24 else "end" if x > _WIDTH - 24 else "middle"
    return line + f'<text x="{x:.1f}" y="{_HEIGHT - 2}" text-anchor="{anchor}">{label}</text>'
