"""What all figures share: colours, dashes, names and a quiet ground that suits light, dark and paper."""

from typing import Any

import numpy as np
import numpy.typing as npt

from benchlog.core.roles import slot_of
from benchlog.core.trace import Array
from benchlog.verdict.evidence import SpanKind

# every line colour keeps 3:1 against white and against the dark page (WCAG 2.1, 1.4.11)
COLOURS = {
    "battery_v": "#2f7fc1",
    "battery_a": "#2f7fc1",
    "feed_v": "#c4621a",
    "feed_a": "#c4621a",
    "trigger_v": "#8b6fc9",
    "key_v": "#7f7f7f",
    "drain_a": "#15886f",
    "ground_v": "#15886f",
}
SLOT_COLOURS = ("#a87a10", "#b8578f", "#4a8fa3", "#6f8f2a", "#a06a55", "#7f7f7f")
DASHES = {"trigger_v": "dot", "key_v": "dash", "drain_a": "dash"}
SPAN_FILLS: dict[SpanKind, str] = {
    "key off": "rgba(128,128,128,0.00)",
    "key on": "rgba(47,127,193,0.09)",
    "cranking": "rgba(196,98,26,0.30)",
    "running": "rgba(21,136,111,0.13)",
    "shunt bridged": "rgba(128,128,128,0.10)",
}
SPAN_LINES: dict[SpanKind, str] = {
    "key off": "#7f7f7f",
    "key on": "#2f7fc1",
    "cranking": "#c4621a",
    "running": "#15886f",
    "shunt bridged": "#7f7f7f",
}
#: Room above a plot for labels of one line, px.
LABEL_PX = 28
GRID = "rgba(128,128,128,0.25)"
INK = "#6a6f73"
#: Limits are dashed lines of this colour in every figure.
LIMIT = "#c4621a"
#: What was measured, where a figure has one kind of line only.
MEASURED = "#2f7fc1"
PLANNED = "#7f7f7f"


def plain(figure: Any, height: int) -> None:
    """See-through, system fonts, quiet grid: the page around it sets light or dark."""
    figure.update_layout(**plain_layout(height))
    figure.update_xaxes(**PLAIN_X)
    figure.update_yaxes(**PLAIN_Y)


_AXIS = {"gridcolor": GRID, "zeroline": False, "linecolor": GRID}
# margins grow to one side only: one that grows upward for a tick takes that tick away, and is drawn again and again
PLAIN_X: dict[str, Any] = {**_AXIS, "automargin": "bottom"}
PLAIN_Y: dict[str, Any] = {**_AXIS, "automargin": "left"}


def plain_layout(height: int) -> dict[str, Any]:
    """The layout that ``plain`` sets, as plain values; height in px."""
    return {
        "template": "none",
        "height": height,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 12, "color": INK},
        "margin": {"l": 70, "r": 16, "t": 14, "b": 44},
        "autosize": True,
        # which line is which stands under the figure as words, where it can wrap: see ``legend``
        "showlegend": False,
    }


def mode(time_s: Array) -> str:
    """Few samples are shown one by one: the gaps between them are the doubt."""
    return "lines+markers" if len(time_s) <= 60 else "lines"


def short(values: Array) -> npt.NDArray[np.float32]:
    """Half the bytes in the page; seven digits are more than a screen shows."""
    return values.astype(np.float32)


def colour(role: str) -> str:
    """The line colour of a role."""
    slot = slot_of(role)
    return COLOURS.get(role, "#7f7f7f") if slot is None else SLOT_COLOURS[(slot - 1) % len(SLOT_COLOURS)]


def dash(role: str) -> str:
    """The dash of a role; the slots' colours come round again after slot 6."""
    return "dash" if (slot_of(role) or 0) > len(SLOT_COLOURS) else DASHES.get(role, "solid")


def faint(line: str) -> str:
    """A line's colour as the fill of its band."""
    red, green, blue = (int(line[k : k + 2], 16) for k in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.28)"


def spoken(role: str) -> str:
    """A role in words."""
    slot = slot_of(role)
    if role == "ground_v":
        return "ground bus"
    if role == "battery_c":
        return "temperature"
    name = role[:-2] if slot is None else f"slot {slot}"
    return f"{name} {'voltage' if role.endswith('_v') else 'current'}"
