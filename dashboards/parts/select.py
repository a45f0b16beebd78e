"""A choice among a few words: the browser's own list, which every keyboard and phone knows.

Dash has none that is free of serious faults of accessibility; ``select.js`` hands what is chosen to a store.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html

from dashboards.parts.attributes import attributes, dom_id


def select(
    label: str,
    named: Mapping[str, Any] | str,
    options: Sequence[tuple[str, str]],
    chosen: str,
    confirms: str | None = None,
) -> html.Label:
    """The list with its label.

    Args:
        label: above it. named: id of the store whose ``data`` is what is chosen.
        options: value and words of each. chosen: a value.
        confirms: the value that confirming takes where nothing is chosen; None for none.
    """
    listed = [html.Option(words, value=value, selected=value == chosen) for value, words in options]
    more = {} if confirms is None else {"data_confirms": confirms}
    return html.Label(
        [
            html.Span(label),
            html.Select(listed, **attributes(data_sets=dom_id(named), **more)),
            dcc.Store(id=named if isinstance(named, str) else dict(named), data=chosen),
        ]
    )
