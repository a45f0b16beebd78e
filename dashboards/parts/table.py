"""Tables whose rows become cards on a narrow screen: each cell carries its column's name."""

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboards.parts.attributes import attributes


def table(caption: str, columns: Sequence[str], rows: Sequence[html.Tr], class_name: str) -> html.Table:
    """A table with a row of column names.

    Args:
        caption: a sentence above it. columns: their names. rows: as ``row`` makes them.
    """
    heads = [html.Th(name, scope="col", role="columnheader") for name in columns]
    return html.Table(
        [
            html.Caption(caption),
            html.Thead(html.Tr(heads, role="row"), role="rowgroup"),
            html.Tbody(list(rows), role="rowgroup"),
        ],
        className=class_name,
        role="table",
    )


def row(heading: Any, cells: Sequence[tuple[str, Any]], class_name: str | None = None) -> html.Tr:
    """One row.

    Args:
        heading: what its first cell holds. cells: column name and content of the others.
    """
    made: list[Any] = [html.Th(heading, scope="row", role="rowheader")]
    made += [
        html.Td(
            html.Div(content),
            role="cell",
            className=f"c-{name.split()[0].lower()}" + ("" if content else " none"),
            **attributes(data_label=name),
        )
        for name, content in cells
    ]
    return html.Tr(made, role="row", className=class_name)
