"""Figures inside one HTML file: the script that draws them, their data, and ours that puts them in place."""

import json
from collections.abc import Iterable, Sequence
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from benchlog.report.figures.legend import LegendEntry, entries_of, swatch
from benchlog.report.figures.script import packed_script

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
        f'<script type="application/gzip" id="plotly">{packed_script()}</script>\n'
        f'<script type="application/json" id="figures">{_inert(json.dumps(listed, separators=(",", ":")))}</script>\n'
        f"<script>\n{shipped('report.js')}</script>\n"
    )


def filled(wide: Iterable[bool]) -> list[bool]:
    """Which figures are as wide as the page, with no empty place beside the last of those that stand two in a row."""
    found = list(wide)
    if found.count(False) % 2:
        found[len(found) - 1 - found[::-1].index(False)] = True
    return found


def box(number: int, figure: "go.Figure", caption: str, *, wide: bool, kind: str = "") -> str:
    """The element that a figure is drawn into: its box, which line is which, and its caption.

    Args:
        number: of the figure in ``scripts``. caption: plain words.
        wide: as the page; else two stand beside each other. kind: further CSS classes.
    """
    named = "".join(_entry(entry) for entry in entries_of(figure))
    classes = f"{'wide' if wide else 'narrow'} {kind}".strip()
    return (
        f'<figure class="{classes}"><div class="plot" id="plot-{number}" '
        f'style="height:{int(figure.layout.height)}px" role="img" aria-label="{escape(caption)}"></div>'
        + (f'<ul class="legend">{named}</ul>' if named else "")
        + f"<figcaption>{escape(caption)}</figcaption></figure>\n"
    )


def _entry(entry: LegendEntry) -> str:
    style = ";".join(f"{name}:{value}" for name, value in swatch(entry).items())
    return f'<li><span class="swatch k-{entry.kind}" style="{style}"></span>{escape(entry.name)}</li>'


def shipped(name: str) -> str:
    """The text of a style sheet or script of the report."""
    return (files("benchlog.report") / name).read_text(encoding="utf-8")


def _inert(text: str) -> str:
    """JSON that cannot end or open a tag inside a script element."""
    for char in "<>&\u2028\u2029":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text
