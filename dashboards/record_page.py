"""A saved record: its boxes, and the result as on every page."""

from datetime import datetime, tzinfo
from typing import Any

from dash import html

from benchlog.core.contact import kept_contact
from benchlog.report.rider import rider_page
from benchlog.store import Record
from dashboards.context import Context
from dashboards.looked import behind
from dashboards.one_result import find_link, result_page
from dashboards.parts.rider import rider_section
from dashboards.words.times import spoken


def record_page(context: Context, number: int, zone: tzinfo) -> tuple[str, list[Any]]:
    """Title and content.

    Raises:
        BenchlogError: there is no such record.
    """
    whose = behind(context, f"record {number}")
    record = whose.record
    assert record is not None  # a record's source gives a record
    links = [
        html.A("Hand-over sheet: sign and print", href=f"/record/{number}/sheet", className="button"),
        *find_link(whose),
        html.A("Measuring sheet for a hand meter", href=f"/measuring?record={number}"),
        html.A("Season of this bike", href=f"/season?record={number}"),
    ]
    content = result_page(context, whose, record_boxes(record, zone), links)
    rider = html.Details([html.Summary("For the rider"), for_rider(record, zone)], className="screen-only")
    told = [html.P(f"{text[:1].upper()}{text[1:]}.", className="fact") for text in context.store.remarks(record)]
    at = 1 + next(n for n, part in enumerate(content) if isinstance(part, html.Header))
    return f"{record.bike}, sheet {number}", [*content[:at], *told, rider, *content[at:]]


def for_rider(record: Record, zone: tzinfo) -> html.Section:
    """The rider's page of a record, for a bike that is parked today, where the reader is."""
    return rider_section(rider_page(record.result, record.plan, datetime.now(zone).date(), kept_contact()))


def record_boxes(record: Record, zone: tzinfo) -> list[tuple[str, Any]]:
    """What stands in the boxes at the head of a record."""
    signed = ", ".join(dict.fromkeys(signature.by for signature in record.signatures)) or "not signed yet"
    filled: list[tuple[str, Any]] = [
        ("Sheet", f"No. {record.number}"),
        ("Recorded", spoken(record.recorded_at, zone)),
        ("Filed", spoken(record.made_at, zone)),
        ("Signed by", signed),
    ]
    if record.temperature_c is not None:
        filled.append(("Temperature", f"{record.temperature_c:g} °C"))
    if record.corrects is not None:
        filled.append(("Corrects", html.A(f"No. {record.corrects}", href=f"/record/{record.corrects}")))
    if record.corrected_by is not None:
        filled.append(("Corrected by", html.A(f"No. {record.corrected_by}", href=f"/record/{record.corrected_by}")))
    if record.notes:
        filled.append(("Notes", record.notes))
    return filled
