"""Figures inside one HTML file: the script that draws them, their data, and ours that puts them in place."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from itertools import count
from typing import TYPE_CHECKING, Any

from benchlog.report.figures.legend import LegendEntry, entries_of, swatch
from benchlog.report.figures.script import packed_script

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types

#: What a browser may load: what stands in the page, and nothing from outside.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data: blob:"


@dataclass(frozen=True, slots=True)
class FigureBox:
    """The box that a figure is drawn into.

    Attributes:
        number: of the figure in the page. caption: plain words.
        wide: as the page; else two stand beside each other. screen_only: whether paper has no room for it.
        height: px. legend: which line is which.
        data: what plotly draws.
    """

    number: int
    caption: str
    wide: bool
    screen_only: bool
    height: int
    legend: tuple[LegendEntry, ...]
    data: Mapping[str, Any]


def boxes_of(
    figures: "Sequence[tuple[str, go.Figure]]",
    wide: Iterable[bool],
    *,
    from_number: int = 0,
    screen_only: Collection[str] = (),
) -> list[FigureBox]:
    """A box for each figure.

    Args:
        figures: caption and figure. wide: which of them are to be as wide as the page.
        from_number: of the first one. screen_only: captions of those that are not printed.
    """
    places = zip(count(from_number), filled(wide), strict=False)
    return [
        FigureBox(number, caption, is_wide, caption in screen_only, int(figure.layout.height),
                  tuple(entries_of(figure)), json.loads(str(figure.to_json())))
        for (number, is_wide), (caption, figure) in zip(places, figures, strict=False)
    ]  # fmt: skip


def page_parts(drawn: Sequence[FigureBox]) -> dict[str, Any]:
    """What the template ``page.html`` needs beside its blocks: policy, style, scripts and the figures' data."""
    from markupsafe import Markup

    return {
        "policy": POLICY,
        "drawn": drawn,
        "swatch": swatch,
        # what is shipped with the program is no text that somebody else gives
        "shipped": lambda name: Markup(shipped(name)),
        "packed_script": packed_script,
    }


def filled(wide: Iterable[bool]) -> list[bool]:
    """Which figures are as wide as the page, with no empty place beside the last of those that stand two in a row."""
    found = list(wide)
    if found.count(False) % 2:
        found[len(found) - 1 - found[::-1].index(False)] = True
    return found


def shipped(name: str) -> str:
    """The text of a style sheet or script of the report."""
    return (files("benchlog.report") / name).read_text(encoding="utf-8")
