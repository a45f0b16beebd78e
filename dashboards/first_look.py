"""What is seen of a log before the page's scripts are there: its name and a still drawing, written by the server."""

import logging
from html import escape

from benchlog.core.errors import BenchlogError
from benchlog.report.figures.still import still
from dashboards.context import Context
from dashboards.log_view import whole_figure
from dashboards.looked import at_hand, behind

_log = logging.getLogger("benchlog.page")


def first_look(context: Context, path: str) -> str:
    """The HTML for an address; "" where there is no log at hand to be drawn, which the page itself then says.

    Args:
        path: of the page, such as ``/record/3`` or ``/checked/ID``.
    """
    kind, _, name = path.strip("/").partition("/")
    if kind not in ("record", "checked") or not name:
        return ""
    try:
        whose = behind(context, f"{kind} {name}")
        looked = at_hand(context, whose, 0)
        if looked is None:
            return ""
        picture = still(whole_figure(looked, whose.result))
        bike, log = escape(whose.result.bike), escape(looked.evidence.log)
        return (
            f'<div id="first-look"><p class="name">{bike}</p>'
            f'<p class="fact">Log {log}; loading the page.</p>{picture}</div>'
        )
    except BenchlogError:
        return ""
    except Exception:  # a picture that fails must not take the page with it
        _log.exception("the first look at %s failed", path)
        return ""
