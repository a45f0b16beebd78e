"""Which line is which, under a figure: wraps like text, so that a phone has room for the drawing."""

from collections.abc import Iterable

from dash import html

from benchlog.report.figures.legend import LegendEntry, swatch


def legend(entries: Iterable[LegendEntry]) -> html.Ul:
    """One line an entry."""
    return html.Ul(
        [html.Li([html.Span(className=f"swatch k-{one.kind}", style=_style(one)), one.name]) for one in entries],
        className="legend",
    )


def _style(entry: LegendEntry) -> dict[str, str]:
    """CSS names as Dash writes them."""
    return {"borderStyle" if name == "border-style" else name: value for name, value in swatch(entry).items()}
