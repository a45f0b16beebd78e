"""A check's value against its limit, drawn with boxes: follows light, dark and paper like text does."""

from dash import html

from benchlog.report.bar import bar_shape
from benchlog.verdict.result import Check
from dashboards.parts.attributes import attributes


def bar(check: Check) -> html.Div | None:
    """The bar; None where there is no value or no limit to show."""
    shape = bar_shape(check)
    if shape is None:
        return None
    left, right = shape.allowed
    parts = [
        html.Span(className="track"),
        html.Span(className="allowed", style={"left": _pct(left), "width": _pct(max(right - left, 0.005))}),
    ]
    if shape.whisker is not None:
        first, last = shape.whisker
        parts.append(html.Span(className="whisker", style={"left": _pct(first), "width": _pct(last - first)}))
    for at, label in shape.limits:
        parts.append(html.Span(className="limit", style={"left": _pct(at)}))
        if label:
            side = "start" if at < 0.12 else "end" if at > 0.88 else "middle"
            parts.append(html.Span(label, className=f"label {side}", style={"left": _pct(at)}))
    name = check.verdict.replace(" ", "-")
    parts.append(html.Span(className=f"value v-{name}", style={"left": _pct(shape.value)}))
    return html.Div(parts, className="box-bar", role="img", **attributes(aria_label=shape.label))


def _pct(share: float) -> str:
    return f"{min(max(share, 0.0), 1.0) * 100:.2f}%"
