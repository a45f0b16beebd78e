"""A verdict as shape, word and colour."""

from dash import html

from dashboards.parts.attributes import attributes


def badge(verdict: str) -> html.Span:
    """The verdict; the shape is drawn by the style sheet and passed over by screen readers."""
    name = verdict.replace(" ", "-")
    return html.Span(
        [html.Span(className=f"shape s-{name}", **attributes(aria_hidden="true")), verdict], className=f"badge v-{name}"
    )
