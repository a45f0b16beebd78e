"""Which line is which, under a figure: wraps like text, so that a phone has room for the drawing."""

from collections.abc import Iterable

from dash import html

from benchlog.figures.look import colour, dash, spoken

_STYLES = {"solid": "solid", "dot": "dotted", "dash": "dashed"}


def legend(roles: Iterable[str]) -> html.Ul:
    """One entry a role."""
    entries = []
    for role in roles:
        line = {"borderTopColor": colour(role), "borderTopStyle": _STYLES[dash(role)]}
        entries.append(html.Li([html.Span(className="swatch", style=line), spoken(role)]))
    return html.Ul(entries, className="legend")
