"""A figure in its frame, with a caption that also says to a screen reader what is drawn."""

from collections.abc import Iterable
from typing import Any

from dash import dcc, html

from benchlog.report.figures.legend import entries_of, entries_of_roles
from dashboards.parts.attributes import attributes
from dashboards.parts.legend import legend

_CONFIG: Any = {"displayModeBar": False, "responsive": True, "scrollZoom": False, "doubleClick": "reset"}


def drawing(
    figure: Any, caption: str, *, id: Any = None, wide: bool = False, roles: Iterable[str] = ()
) -> html.Figure:  # id is Dash's word
    """One figure.

    Args:
        figure: plotly figure or its plain form, with a height in px. caption: plain words.
        roles: what the lines of a plain form are; a plotly figure tells its own.
    """
    entries = entries_of_roles(roles) if isinstance(figure, dict) else entries_of(figure)
    height = figure["layout"]["height"]
    graph = dcc.Graph(
        figure=figure,
        config=_CONFIG,
        className="plot",
        responsive=True,
        style={"height": f"{int(height)}px"},
        **({} if id is None else {"id": id}),
    )
    return html.Figure(
        [
            html.Div(graph, role="img", **attributes(aria_label=caption)),
            *([legend(entries)] if entries else []),
            html.Figcaption(caption),
        ],
        className="wide" if wide else "narrow",
    )
