"""The frame around every page: what stays while pages come and go, and the way between them."""

from typing import Any

from dash import dcc, html

from dashboards.parts.attributes import attributes

PAGES = (("/", "Results"), ("/plan", "Plan"), ("/season", "Season"), ("/live", "Live"))


def frame() -> html.Div:
    """What stays while pages come and go."""
    return html.Div(
        [
            dcc.Location(id="where", refresh=False),
            # leaving for another page by a callback's word
            dcc.Location(id="go", refresh=True),
            dcc.Store(id="here"),
            html.Div(id="menu"),
            html.Main(html.P("Opening …", className="fact"), id="content", tabIndex="-1"),
        ]
    )


def menu(path: str) -> html.Header:
    """The way between the pages; the one that is open is marked."""

    def here(target: str) -> bool:
        if target == "/":
            return path == "/" or path.startswith(("/record", "/checked"))
        return path.startswith(target)

    marked = attributes(aria_current="page")
    links = [html.A(text, href=target, **(marked if here(target) else {})) for target, text in PAGES]
    return html.Header(
        [html.Span("benchlog", className="brand"), html.Nav(links, **attributes(aria_label="Pages"))], className="menu"
    )


def trouble(title: str, text: str) -> list[Any]:
    """A page that says what is wrong and what to do."""
    return [
        html.H1(title),
        html.Div([html.P(line) for line in text.splitlines()], className="problem", role="alert"),
        html.P(html.A("Back to the results", href="/")),
    ]
