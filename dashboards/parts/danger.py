"""What must be said before anything else: fuses that do not protect their wires."""

from dash import html

from benchlog.report import words
from benchlog.verdict.result import Result
from dashboards.words.said import on_page


def dangers(result: Result) -> list[html.P]:
    """One paragraph for each; none where every fuse protects its wire."""
    return [html.P([html.Strong("Danger:"), " ", on_page(text)], className="danger") for text in words.dangers(result)]
