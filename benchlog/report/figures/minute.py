"""The last minute of a running recording, drawn several times a second: plain values, nothing is worked out."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from benchlog.core.roles import ROLE_UNITS
from benchlog.report.figures.look import PLAIN_X, PLAIN_Y, colour, dash, plain_layout, spoken
from benchlog.report.figures.scale import stretch, stretched_axis

#: Most traces in one panel; a recording may have twelve slots, a screen has not.
MOST_TRACES = 8


def minute_roles(recent: Mapping[str, Sequence[float | None]]) -> tuple[list[str], list[str]]:
    """The roles that are drawn: voltages, and currents."""
    known = [role for role in recent if role in ROLE_UNITS]
    volts = [role for role in known if role.endswith("_v")]
    return volts[:MOST_TRACES], [role for role in known if role.endswith("_a")][:MOST_TRACES]


def minute_figure(time_s: Sequence[float], recent: Mapping[str, Sequence[float | None]]) -> dict[str, Any]:
    """Voltages above, currents on a stretched scale below, newest at 0 s.

    Args:
        time_s: of the points, s, increasing. recent: role -> values, None where missing; other names are left out.
    """
    at = np.asarray(time_s, dtype=float)
    back = at - at[-1] if len(at) else at
    known = {role: values for role, values in recent.items() if len(values) == len(at)}
    volts, amps = minute_roles(known)
    data: list[dict[str, Any]] = []
    currents = []
    for role in (*volts, *amps):
        value = np.array([np.nan if x is None else x for x in known[role]], dtype=float)
        if role in amps:
            currents.append(value)
        drawn = np.round(stretch(value), 4) if role in amps else np.round(value, 4)
        data.append({
            "type": "scatter", "mode": "lines", "name": spoken(role), "x": np.round(back, 3).tolist(),
            "y": [None if np.isnan(y) else y for y in drawn.tolist()], "yaxis": "y2" if role in amps else "y",
            "line": {"color": colour(role), "width": 1.8, "dash": dash(role)}, "hoverinfo": "skip",
        })  # fmt: skip
    layout = plain_layout(430)
    layout["margin"] = {"l": 70, "r": 16, "t": 12, "b": 44}
    layout["xaxis"] = {**PLAIN_X, "title": {"text": "Time before now / s"}, "range": [-60, 0], "fixedrange": True,
                       "anchor": "y2"}  # fmt: skip
    layout["yaxis"] = {**PLAIN_Y, "title": {"text": "Voltage / V"}, "domain": [0.56, 1], "fixedrange": True}
    layout["yaxis2"] = {**PLAIN_Y, "title": {"text": "Current, stretched"}, "domain": [0, 0.48],
                        "fixedrange": True, **stretched_axis(currents)}  # fmt: skip
    return {"data": data, "layout": layout}
