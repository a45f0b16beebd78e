"""The frame around every page: the document, the way to the content, and the way between the pages."""

from typing import Any

from dash import dcc, html

from dashboards.parts.attributes import attributes

PAGES = (("/", "Results"), ("/season", "Season"), ("/live", "Live"))

#: Dash fills the braces; nothing in it names another server.
DOCUMENT = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/look/report.css">
{%css%}
</head>
<body>
<a class="skip" href="#content">Skip to the content</a>
{%app_entry%}
<noscript><p>These pages need JavaScript. Without it, benchlog check LOG --plan PLAN --report FILE.html writes the
result as one page.</p></noscript>
{%config%}
{%scripts%}
{%renderer%}
</body>
</html>
"""


def frame() -> html.Div:
    """What stays while pages come and go."""
    return html.Div(
        [
            dcc.Location(id="where", refresh=False),
            # leaving for another page by a callback's word
            dcc.Location(id="go", refresh=True),
            dcc.Store(id="here"),
            dcc.Store(id="title", data="benchlog"),
            dcc.Store(id="titled"),
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
