"""Which line is which, as words under a figure: wraps like text, fits a phone, and never touches what is drawn."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from benchlog.report.figures.look import colour, dash, spoken

#: How a swatch is drawn; the style sheet of the report has one rule for each.
Kind = Literal["line", "dot", "ring", "diamond", "stroke", "box"]
_KINDS: dict[str, Kind] = {"circle": "dot", "circle-open": "ring", "diamond": "diamond", "line-ns": "stroke"}
_STYLES = {"solid": "solid", "dot": "dotted", "dash": "dashed"}


@dataclass(frozen=True, slots=True)
class LegendEntry:
    """One line of the legend.

    Attributes:
        name: in words. kind: of the swatch.
        colour: CSS; of the line, or of the marker's edge.
        style: of the line: "solid", "dotted" or "dashed".
        fill: CSS; of a box, else empty.
    """

    name: str
    kind: Kind
    colour: str
    style: str = "solid"
    fill: str = ""


def entries_of(figure: Any) -> list[LegendEntry]:
    """The entries of a plotly figure, one for each name, in the order they were drawn."""
    found: dict[str, LegendEntry] = {}
    for trace in figure.data:
        if trace.name and trace.showlegend is not False and trace.name not in found:
            found[trace.name] = _entry(trace)
    return list(found.values())


def entries_of_roles(roles: Iterable[str]) -> list[LegendEntry]:
    """The entries of figures that draw roles as lines."""
    return [LegendEntry(spoken(role), "line", colour(role), _STYLES[dash(role)]) for role in roles]


def swatch(entry: LegendEntry) -> dict[str, str]:
    """The CSS properties of an entry's swatch that the style sheet cannot know; its rule is that of its kind."""
    return {"color": entry.colour, "border-style": entry.style, **({"background": entry.fill} if entry.fill else {})}


def _entry(trace: Any) -> LegendEntry:
    if trace.type == "bar":
        return LegendEntry(trace.name, "box", trace.marker.line.color, fill=trace.marker.color)
    if "lines" in (trace.mode or "lines"):
        return LegendEntry(trace.name, "line", trace.line.color, _STYLES[trace.line.dash or "solid"])
    return LegendEntry(trace.name, _KINDS[trace.marker.symbol or "circle"], trace.marker.color)
