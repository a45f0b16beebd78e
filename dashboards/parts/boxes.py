"""The boxes at the head of a sheet: a small label, and under it what stands in the box."""

from collections.abc import Sequence
from typing import Any

from dash import html

#: Texts with more letters than this are long, and those with a word of more letters than that.
LONG, LONG_WORD = 28, 18


def boxes(filled: Sequence[tuple[str, Any]], className: str = "") -> html.Dl:  # noqa: N803  # Dash's own word
    """Label and content of each box; long texts get a wide one."""
    return html.Dl(
        [
            html.Div(
                [html.Dt(label), html.Dd(_kept(content))],
                className="box long" if isinstance(content, str) and _is_long(content) else "box",
            )
            for label, content in filled
        ],
        className=f"boxes {className}".strip(),
    )


def _kept(content: Any) -> Any:
    """A per cent sign stays with its number."""
    return content.replace(" %", "\N{NO-BREAK SPACE}%") if isinstance(content, str) else content


def _is_long(text: str) -> bool:
    return len(text) > LONG or max(map(len, text.split()), default=0) > LONG_WORD
