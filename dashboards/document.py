"""The document of every page: what a browser reads before Dash has begun, with the first look at what is drawn."""

import re
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from dash import Dash

from benchlog.report.figures.in_page import shipped

_OWN = files("dashboards")
#: The pages that draw at once.
DRAWING = re.compile(r"/(live|season|record/\d+|checked/[^/]+)/?")
#: Where Dash serves plotly's script, and where its graphs look for it: one address, so that it is read once.
PLOTLY_PATH = "/_dash-component-suites/plotly/package_data/plotly.min.js"

#: Dash fills the braces; nothing in it names another server.
DOCUMENT = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<script>{%ask%}</script>
<meta name="color-scheme" content="light dark">
<title>{%title%}</title>
<link rel="icon" href="data:,">
<style>{%look%}</style>
{%drawing%}</head>
<body>
<a class="skip" href="#content">Skip to the content</a>
{%app_entry%}
{%first_look%}
{%css%}
<noscript><p>These pages need JavaScript. Without it, benchlog check LOG --plan PLAN --report FILE.html writes the
result as one page.</p></noscript>
{%config%}
{%scripts%}
{%renderer%}
</body>
</html>
"""

#: Asks for the content at once; the content policy lets it stand inside the document.
ASK = (_OWN / "scripts" / "ask.js").read_text(encoding="utf-8")
#: The style sheet that pages and reports share, and the pages' own. They stand in the document, since a browser shows
#: nothing of it before the last sheet that it names has come.
LOOK = shipped("report.css") + "".join(
    (_OWN / "assets" / name).read_text(encoding="utf-8") for name in ("pages.css", "plan.css")
)


class Pages(Dash):
    """Dash with documents of our own."""

    #: Address -> HTML that is seen until the page itself is there; "" for none.
    first_look: Callable[[str], str] = staticmethod(lambda _path: "")

    def interpolate_index(self, **parts: Any) -> str:  # type: ignore[override]  # Dash lists its names one by one
        """The document of the requested page.

        One that draws begins to read plotly's script with the document, not once a figure has come.
        """
        from flask import request

        draws = DRAWING.fullmatch(request.path)
        document: str = super().interpolate_index(**parts)  # type: ignore[no-untyped-call]  # Dash gives it no types
        for place, text in (
            ("{%ask%}", ASK),
            ("{%look%}", LOOK),
            ("{%drawing%}", f'<script defer src="{PLOTLY_PATH}"></script>\n' if draws else ""),
            ("{%first_look%}", self.first_look(request.path) if draws else ""),
        ):
            document = document.replace(place, text, 1)
        return document
