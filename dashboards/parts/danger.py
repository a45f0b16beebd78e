"""What must be said before anything else: fuses that do not protect their wires."""

from dash import html

from benchlog.core.folding import held_together
from benchlog.report import words
from benchlog.verdict.result import Result


def dangers(result: Result) -> list[html.P]:
    """One paragraph for each; none where every fuse protects its wire."""
    return [
        html.P([html.Strong("Danger:"), " ", held_together(text)], className="danger") for text in words.dangers(result)
    ]
