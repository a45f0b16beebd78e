"""The document of every page: what a browser reads before Dash has begun, and no script that nothing here needs."""

import hashlib
import re
from importlib.resources import files
from typing import Any

from dash import Dash

from benchlog.plotly_js import plotly_js
from dashboards.guard import KEPT

#: The pages that draw at once.
DRAWING = re.compile(r"/(live|season|record/\d+|checked/[^/]+)/?")

#: Dash fills the braces; nothing in it names another server.
DOCUMENT = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<script>{%ask%}</script>
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="/look/report.css">
{%css%}
{%drawing%}</head>
<body>
<a class="skip" href="#content">Skip to the content</a>
{%app_entry%}
<noscript><p>These pages need JavaScript. Without it, benchlog check LOG --plan PLAN --report FILE.html writes the
result as one page.</p></noscript>
{%config%}
{%scripts%}
{%renderer%}
</body>
</html>
"""


def _text(name: str) -> str:
    return (files("dashboards") / "scripts" / name).read_text(encoding="utf-8")


#: Asks for the content at once; the content policy lets it stand inside the document.
ASK = _text("ask.js")
_PLOTLY, _REGENERATOR = plotly_js(), _text("regenerator-runtime.js")


def _name(start: str, text: str) -> str:
    return f"{KEPT}{start}-{hashlib.sha256(text.encode()).hexdigest()[:12]}.js"


#: Where the scripts are that Dash does not bring: address and text.
SCRIPTS = {_name("plotly", _PLOTLY): _PLOTLY, _name("regenerator", _REGENERATOR): _REGENERATOR}
_DRAW, _REGENERATE = SCRIPTS

# Dash brings core-js for browsers that are long gone, and of it needs the runtime of generators alone; it brings its
# table, which no page has. Without the two a page is ready 0.2 s sooner on two slow cores.
_POLYFILL = re.compile(r'src="[^"]*/dash/deps/polyfill@[^"]*"')
_TABLE = re.compile(r'<script src="[^"]*/dash/dash_table/[^"]*"></script>\s*')


class Pages(Dash):
    """Dash with documents of our own."""

    def interpolate_index(self, **parts: Any) -> str:  # type: ignore[override]  # Dash lists its names one by one
        """The document of the page that is asked for.

        One that draws begins to read plotly's script with the document, not once a figure has come; Dash's own graphs
        take the script that is there, and fetch their larger one elsewhere.
        """
        from flask import request

        scripts = _TABLE.sub("", _POLYFILL.sub(f'src="{_REGENERATE}"', parts.pop("scripts")))
        drawing = f'<script defer src="{_DRAW}"></script>\n' if DRAWING.fullmatch(request.path) else ""
        document: str = super().interpolate_index(scripts=scripts, **parts)
        return document.replace("{%ask%}", ASK, 1).replace("{%drawing%}", drawing, 1)
