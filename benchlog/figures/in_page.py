"""Figures inside one HTML file: the script that draws them, their data, and ours that puts them in place."""

import json
from collections.abc import Sequence
from importlib.resources import files
from typing import TYPE_CHECKING

from benchlog.plotly_js import plotly_js

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

#: What a browser may load: what stands in the page, and nothing from outside.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data: blob:"


def scripts(figures: Sequence["go.Figure"]) -> str:
    """The script elements for the boxes ``plot-0``, ``plot-1`` and so on; nothing where there is no figure."""
    if not figures:
        return ""
    listed = [json.loads(str(figure.to_json())) for figure in figures]
    return (
        f"<script>{plotly_js()}</script>\n"
        f'<script type="application/json" id="figures">{_inert(json.dumps(listed, separators=(",", ":")))}</script>\n'
        f"<script>\n{shipped('report.js')}</script>\n"
    )


def shipped(name: str) -> str:
    """The text of a style sheet or script of the report."""
    return (files("benchlog") / name).read_text(encoding="utf-8")


def _inert(text: str) -> str:
    """JSON that cannot end or open a tag inside a script element."""
    for char in "<>&\u2028\u2029":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text
