"""The boxes at the head of a sheet: a small label, and under it what stands in the box."""

from collections.abc import Sequence
from typing import Any

from dash import html

#: Texts with more letters than this are long.
LONG = 28


def boxes(filled: Sequence[tuple[str, Any]], className: str = "") -> html.Dl:  # noqa: N803  # Dash's own word
    """Label and content of each box; long texts get a wide one."""
    return html.Dl(
        [
            html.Div(
                [html.Dt(label), html.Dd(content)],
                className="box long" if isinstance(content, str) and len(content) > LONG else "box",
            )
            for label, content in filled
        ],
        className=f"boxes {className}".strip(),
    )
