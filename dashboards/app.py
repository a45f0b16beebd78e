"""Put the pages together: one Dash application over one store."""

import logging
from collections.abc import Callable
from datetime import tzinfo
from importlib.resources import files
from typing import Any
from urllib.parse import parse_qs

from dash import ClientsideFunction, Dash, Input, Output

from benchlog.core.errors import BenchlogError
from benchlog.store import open_store
from dashboards import (
    change_list,
    checked_page,
    drop_form,
    find_page,
    live_page,
    log_view,
    measuring_page,
    note_form,
    one_result,
    sheet,
)
from dashboards.context import Context
from dashboards.document import ASK, DOCUMENT, Pages
from dashboards.door import CONTENT_PATH, Door
from dashboards.first_look import first_look
from dashboards.foreign import connected as foreign
from dashboards.frame import frame, menu, trouble
from dashboards.guard import guard, hash_in_policy
from dashboards.planning import connected as planning
from dashboards.planning.page import plan_page
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


def make_app(settings: Settings, door: Door | None = None) -> tuple[Dash, Callable[[], None]]:
    """The application, and what closes its store and takes dropped files away.

    Raises:
        BenchlogError: the store cannot be opened.
    """
    context = Context(settings, open_store(settings.store), Trays(settings.max_upload_mb << 20))
    try:
        return _app(context, door or Door(settings)), context.close
    except BaseException:  # Ctrl-C as well
        context.close()
        raise


def _app(context: Context, door: Door) -> Dash:
    app = Pages(
        "benchlog",
        assets_folder=str(files("dashboards") / "assets"),
        assets_ignore=r"\.css$",  # they stand in the document
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
    app.first_look = lambda path: first_look(context, path)
    _route(app, context)
    log_view.register(app, context)
    one_result.register(app, context)
    checked_page.register(app, context)
    drop_form.register(app, context)
    sheet.register(app, context)
    measuring_page.register(app, context)
    note_form.register(app, context)
    change_list.register(app, context)
    find_page.register(app, context)
    planning.register(app, context)
    foreign.register(app, context)
    live_page.answer_looks(app.server)
    live_page.take_presses(app.server)
    take_uploads(app.server, context)
    guard(app.server, door, [*app.csp_hashes(), hash_in_policy(ASK)])
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
            return results_page(
                context,
                bike,
                int(page) if page.isdecimal() and len(page) < 6 else 0,
                zone,
                context.trays.get(asked.get("tray")),
            )
        case ["record", number] if number.isdecimal() and len(number) < 12:
            return record_page(context, int(number), zone)
        case ["record", number, "sheet"] if number.isdecimal() and len(number) < 12:
            return sheet.sheet_page(context, int(number), zone)
        case ["record", number, "find"] if number.isdecimal() and len(number) < 12:
            return find_page.find_page(context, f"record {number}")
        case ["checked", job, "find"]:
            return find_page.find_page(context, f"checked {job}")
        case ["checked", job]:
            return checked_page.checked_page(context, job)
        case ["measuring"]:
            return measuring_page.measuring_page(context, asked)
        case ["season"]:
            if bike is None and asked.get("record", "").isdecimal():
                bike = context.store.record(int(asked["record"][:11])).bike
            return make_season(context, bike, zone, asked.get("noted", ""))
        case ["live"]:
            return live_page.live_page()
        case ["plan"]:
            return plan_page(context, zone)
    return "Not found", trouble("Not found", empty.NO_SUCH_PAGE)


def _route(app: Dash, context: Context) -> None:
    from flask import Response, request
    from plotly.io.json import to_json_plotly  # type: ignore[import-untyped]  # plotly ships no types

    ours: Any = app.clientside_callback  # Dash gives it no types
    ours(
        ClientsideFunction("benchlog", "page"),
        Output("here", "data"),
        Output("menu", "children"),
        Output("content", "children"),
        Input("where", "pathname"),
        Input("where", "search"),
        prevent_initial_call=True,
    )

    # a question of its own instead of a callback's: a document asks it before Dash has begun
    def content() -> Response:
        path = request.args.get("path", "/")
        asked = {name: values[-1] for name, values in parse_qs(request.args.get("search", "").lstrip("?")).items()}
        try:
            title, inside = page_at(context, path, asked, zone_of(request.args.get("zone")))
        except BenchlogError as problem:
            title, inside = "Not here", trouble("This cannot be shown", str(problem))
        except Exception:  # the last frame before the browser: the window must say what broke, the page that it did
            _log.exception("the page %s failed", path)
            title, inside = "Broken", trouble("This page failed", BROKEN)
        told = to_json_plotly({"title": title, "menu": menu(path), "content": inside})
        return Response(told, mimetype="application/json")

    app.server.add_url_rule(CONTENT_PATH, "content", content)
