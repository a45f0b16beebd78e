"""Plotly figures of results, logs and recordings; no figure holds a word from the user's files."""

from benchlog.report.figures.circuits import circuits_figure
from benchlog.report.figures.loads import load_figure
from benchlog.report.figures.minute import minute_figure
from benchlog.report.figures.off_state import off_state_figure
from benchlog.report.figures.relay import MOST_EVENTS, relay_figure
from benchlog.report.figures.scale import stretch
from benchlog.report.figures.view import view_figure
from benchlog.report.figures.whole_log import log_figure

__all__ = [
    "MOST_EVENTS",
    "circuits_figure",
    "load_figure",
    "log_figure",
    "minute_figure",
    "off_state_figure",
    "relay_figure",
    "stretch",
    "view_figure",
]
