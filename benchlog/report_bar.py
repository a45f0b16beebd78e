"""One check as a small drawing: the allowed stretch, the limit, the value and how sure it is."""

from html import escape

from benchlog import report_words as words
from benchlog.numbers import number
from benchlog.result import Check

_WIDTH, _HEIGHT, _EDGE = 200.0, 34.0, 8.0
_TRACK_Y, _TRACK_H = 10.0, 8.0


def bar(check: Check) -> str:
    """Inline SVG of the check; empty where there is no measured value or no limit to show."""
    low, high = (check.limit.min, check.limit.max) if check.limit else (None, None)
    if check.measured is None or (low is None and high is None):
        return ""
    half = check.uncertainty or 0.0
    to_x = _scale(check.measured, half, low, high)
    left = to_x(low) if low is not None else 0.0
    right = to_x(high) if high is not None else _WIDTH
    centre = to_x(check.measured)
    middle = _TRACK_Y + _TRACK_H / 2
    parts = [
        f'<rect class="track" x="0" y="{_TRACK_Y}" width="{_WIDTH:g}" height="{_TRACK_H}" rx="2"/>',
        f'<rect class="allowed" x="{left:.1f}" y="{_TRACK_Y}" width="{max(right - left, 1.0):.1f}" '
        f'height="{_TRACK_H}"/>',
    ]
    for limit in (low, high):
        if limit is not None:
            parts.append(_limit_mark(to_x(limit), limit, alone=low is None or high is None or low == high))
    if half:
        parts.append(
            f'<path class="whisker" d="M{to_x(check.measured - half):.1f} {middle}H{to_x(check.measured + half):.1f}"/>'
        )
    parts.append(
        f'<path class="value v-{check.verdict.replace(" ", "-")}" d="M{centre:.1f} {middle - 6}l6 6l-6 6l-6 -6z"/>'
    )
    label = escape(f"{words.measured_words(check)}, limit {words.limit_words(check)}")
    return (
        f'<svg class="bar" viewBox="0 0 {_WIDTH:g} {_HEIGHT:g}" role="img" aria-label="{label}">{"".join(parts)}</svg>'
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
        return _EDGE + (value - self.first) / (self.last - self.first) * (_WIDTH - 2 * _EDGE)


def _limit_mark(x: float, limit: float, *, alone: bool) -> str:
    line = f'<path class="limit" d="M{x:.1f} {_TRACK_Y - 5}V{_TRACK_Y + _TRACK_H + 4}"/>'
    # the two numbers of a narrow window would run into each other
    if not alone:
        return line
    anchor = "start" if x < 24 else "end" if x > _WIDTH - 24 else "middle"
    return line + f'<text x="{x:.1f}" y="{_HEIGHT - 2}" text-anchor="{anchor}">{number(limit)}</text>'
