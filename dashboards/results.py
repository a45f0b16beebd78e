"""Results: the sheets on file by bike, newest first, and a tray to drop a log and its plan into."""

from datetime import tzinfo
from typing import Any
from urllib.parse import quote

from dash import html

from benchlog.store import RecordRow
from benchlog.verdict.registry.table import find_check
from dashboards.context import Context
from dashboards.drop_form import drop_form
from dashboards.parts.attributes import attributes
from dashboards.parts.badge import badge
from dashboards.parts.nothing import nothing
from dashboards.parts.table import row, table
from dashboards.trays import Tray
from dashboards.words import empty
from dashboards.words.times import spoken

#: Rows of one page of the list.
PAGE_ROWS = 30
_COLUMNS = ("Sheet", "Bike", "Verdict", "Recorded", "Passed", "Closest to its limit", "Signed by")


def results_page(
    context: Context, bike: str | None, page: int, zone: tzinfo, tray: Tray | None = None
) -> tuple[str, list[Any]]:
    """Title and content.

    Args:
        bike: only this one's; None for all. page: of the list, from 0.
        tray: files that were dropped in before; None for none.
    """
    bikes = context.store.bikes()
    rows = context.store.rows(bike, limit=PAGE_ROWS + 1, offset=page * PAGE_ROWS)
    if bikes:
        filed: list[Any] = [_chooser([(row.bike, row.records) for row in bikes], bike)]
        filed += [filed_table(rows[:PAGE_ROWS], zone), _pages(bike, page, more=len(rows) > PAGE_ROWS)]
        if not rows:
            filed[1:] = [nothing(empty.NO_RECORDS_OF_BIKE)]
    else:
        filed = [nothing(empty.NO_RECORDS, empty.NO_RECORDS_COMMANDS)]
    title = "Results" if bike is None else f"Results of {bike}"
    return title, [
        html.Header(
            [
                html.P("On file", className="kind"),
                html.H1(title),
                html.Div(html.A("Check a log", href="#check-a-log", className="button"), className="row screen-only"),
            ],
            className="top",
        ),
        html.Section([html.H2("Sheets"), *filed], className="filed-section"),
        drop_form(context, tray),
    ]


def filed_table(rows: list[RecordRow], zone: tzinfo) -> html.Table:
    """One row a record."""
    caption = "Every sheet on file, the last filed first."
    return table(caption, _COLUMNS, [_row(one, zone) for one in rows], "checks filed")


def _row(filed: RecordRow, zone: tzinfo) -> html.Tr:
    corrected = [html.Small(f"corrected by No. {filed.corrected_by}")] if filed.corrected_by is not None else []
    share = "" if filed.percent is None else f" ({filed.percent:.0f} %)"
    cells: list[tuple[str, Any]] = [
        ("Bike", filed.bike),
        ("Verdict", badge(filed.verdict)),
        ("Recorded", spoken(filed.recorded_at, zone)),
        ("Passed", f"{filed.passed} of {filed.planned}{share}"),
        ("Closest", title_of(filed.closest)),
        ("Signed by", ", ".join(filed.signed_by) or "not signed yet"),
    ]
    number = html.A(f"No. {filed.number}", href=f"/record/{filed.number}")
    return row([number, *corrected], cells)


def title_of(check_id: str | None) -> str:
    """A check's title by its id; the slot's number for a circuit."""
    if check_id is None:
        return ""
    known = find_check(check_id)
    return check_id if known is None else known.title


def bike_link(bike: str | None, where: str = "/") -> str:
    """Address of a page for one bike."""
    return where if bike is None else f"{where}?bike={quote(bike, safe='')}"


def _chooser(bikes: list[tuple[str, int]], chosen: str | None) -> html.Nav:
    choices: list[tuple[str | None, str]] = [(None, f"All bikes ({sum(n for _, n in bikes)})")]
    choices += [(bike, f"{bike} ({records})") for bike, records in bikes]
    return html.Nav(
        [
            html.A(
                text,
                href=bike_link(bike),
                className="chip",
                **(attributes(aria_current="true") if bike == chosen else {}),
            )
            for bike, text in choices
        ],
        className="chips",
        **attributes(aria_label="Choose a bike"),
    )


def _pages(bike: str | None, page: int, *, more: bool) -> html.Nav | None:
    if not page and not more:
        return None
    joint = "?" if bike is None else "&"
    links = []
    if page:
        links.append(html.A("Newer sheets", href=f"{bike_link(bike)}{joint}page={page - 1}"))
    if more:
        links.append(html.A("Older sheets", href=f"{bike_link(bike)}{joint}page={page + 1}"))
    return html.Nav(links, className="row links", **attributes(aria_label="More of the list"))
