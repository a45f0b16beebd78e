"""Put the pages together: one Dash application over one store."""

import logging
import re
from collections.abc import Callable
from datetime import tzinfo
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qs

from dash import ClientsideFunction, Dash, Input, Output

from benchlog.errors import BenchlogError
from benchlog.figures.in_page import shipped
from benchlog.plotly_js import plotly_js
from benchlog.store import open_store
from dashboards import checked_page, drop_form, live_page, log_view, note_form, one_result, sheet
from dashboards.context import Context
from dashboards.frame import DOCUMENT, frame, menu, trouble
from dashboards.guard import SCRIPT, guard, kept
from dashboards.record_page import record_page
from dashboards.results import results_page
from dashboards.season_page import season_page as make_season
from dashboards.settings import Settings
from dashboards.trays import Trays
from dashboards.upload import take_uploads
from dashboards.words import empty
from dashboards.words.times import zone_of
from dashboards.work import BROKEN

_log = logging.getLogger("benchlog.page")

#: The pages that draw at once.
DRAWING = re.compile(r"/(live|season|record/\d+|checked/[^/]+)/?")


def make_app(settings: Settings) -> tuple[Dash, Callable[[], None]]:
    """The application, and what closes its store and takes dropped files away.

    Raises:
        BenchlogError: the store cannot be opened.
    """
    context = Context(settings, open_store(settings.store), Trays(settings.max_upload_mb << 20))
    try:
        return _app(settings, context), context.close
    except BaseException:  # Ctrl-C as well
        context.close()
        raise


def _app(settings: Settings, context: Context) -> Dash:
    app = _Pages(
        "benchlog",
        assets_folder=str(files("dashboards") / "assets"),
        serve_locally=True,
        suppress_callback_exceptions=True,
        title="benchlog",
        update_title=None,  # type: ignore[arg-type]  # Dash's way to leave the title alone
        index_string=DOCUMENT,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
        add_log_handler=False,
        enable_mcp=False,
    )
    app.layout = frame()
    _route(app, context)
    log_view.register(app, context)
    one_result.register(app, context)
    checked_page.register(app, context)
    drop_form.register(app, context)
    sheet.register(app, context)
    note_form.register(app, context)
    live_page.answer_looks(app.server)
    take_uploads(app.server, context)
    _look(app)
    guard(app.server, settings, app.csp_hashes())
    return app


def page_at(context: Context, path: str, asked: dict[str, str], zone: tzinfo) -> tuple[str, list[Any]]:
    """Title and content of an address.

    Args:
        path: of the address. asked: what stands behind its question mark. zone: of the reader's clock.

    Raises:
        BenchlogError: what it names is not there.
    """
    parts = [part for part in path.split("/") if part]
    bike = asked.get("bike") or None
    match parts:
        case []:
            page = asked.get("page", "0")
            return results_page(context, bike, int(page) if page.isdecimal() and len(page) < 6 else 0, zone)
        case ["record", number] if number.isdecimal() and len(number) < 12:
            return record_page(context, int(number), zone)
        case ["record", number, "sheet"] if number.isdecimal() and len(number) < 12:
            return sheet.sheet_page(context, int(number), zone)
        case ["checked", job]:
            return checked_page.checked_page(context, job)
        case ["season"]:
            if bike is None and asked.get("record", "").isdecimal():
                bike = context.store.record(int(asked["record"][:11])).bike
            return make_season(context, bike, zone)
        case ["live"]:
            return live_page.live_page()
    return "Not found", trouble("Not found", empty.NO_SUCH_PAGE)


def _route(app: Dash, context: Context) -> None:
    ours: Any = app.clientside_callback  # Dash gives it no types
    ours(
        ClientsideFunction("benchlog", "here"),
        Output("here", "data"),
        Input("where", "pathname"),
        Input("where", "search"),
    )
    ours(ClientsideFunction("benchlog", "title"), Output("titled", "data"), Input("title", "data"))

    @app.callback(
        Output("menu", "children"),
        Output("content", "children"),
        Output("title", "data"),
        Input("here", "data"),
        prevent_initial_call=True,
    )
    def _page(here):  # type: ignore[no-untyped-def]  # Dash calls it by position
        path = str((here or {}).get("path") or "/")
        asked = {
            name: values[-1] for name, values in parse_qs(str((here or {}).get("search") or "").lstrip("?")).items()
        }
        try:
            title, content = page_at(context, path, asked, zone_of((here or {}).get("zone")))
        except BenchlogError as problem:
            title, content = "Not here", trouble("This cannot be shown", str(problem))
        except Exception:  # the last frame before the browser: the window must say what broke, the page that it did
            _log.exception("the page %s failed", path)
            title, content = "Broken", trouble("This page broke", BROKEN)
        return menu(path), content, title


class _Pages(Dash):
    """Dash whose drawing pages begin to read plotly's script with the document, not once a figure has come."""

    def interpolate_index(self, **parts: Any) -> str:  # type: ignore[override]  # Dash lists its names one by one
        """The document; Dash's own graphs take the script that is there, and fetch their larger one elsewhere."""
        from flask import request

        document: str = super().interpolate_index(**parts)
        if not DRAWING.fullmatch(request.path):
            return document
        return document.replace("</head>", f'<script defer src="{SCRIPT}"></script>\n</head>', 1)


def _look(app: Dash) -> None:
    """What pages and reports share: the style sheet, so that they are one family, and the script that draws."""
    from flask import Response

    css = shipped("report.css")
    drawing = plotly_js()

    app.server.add_url_rule("/look/report.css", "css", lambda: Response(css, mimetype="text/css"))
    app.server.add_url_rule(SCRIPT, "drawing", lambda: kept(Response(drawing, mimetype="text/javascript")))
