"""The rider's page of a stored result, as on the report: plain words, printed before the technical sheet."""

from typing import Any

from dash import html

from benchlog.core.folding import held_together
from benchlog.report.rider import ADVICE, RiderPage

_COLUMNS = ("Where it sits", "Size", "What it feeds")


def rider_section(page: RiderPage) -> html.Section:
    """The whole section."""
    inside: list[Any] = [html.H2("For the rider"), html.P(page.headline, className="verdict")]
    if page.wrong:
        inside += [html.H3("Not as planned"), _listed(page.wrong)]
    inside += [html.H3("How long it may stand"), html.P(held_together(page.parked))]
    if page.fuses:
        inside += [html.H3("Which fuse feeds what"), _fuses(page)]
    inside.append(html.P(f"{page.switch} Battery: {held_together(page.battery)}.".strip()))
    if page.opened:
        opened = [f"{what}: {why}." for what, why in page.opened]
        inside += [html.H3("What was not shown"), _listed(opened)]
    inside += [html.H3("If something goes wrong"), _listed(ADVICE)]
    inside.append(html.P(["Fitted by, and phone: ", html.Strong(page.contact) if page.contact else "_" * 30]))
    return html.Section(inside, className="rider")


def _listed(texts: tuple[str, ...] | list[str]) -> html.Ul:
    return html.Ul([html.Li(text) for text in texts])


def _fuses(page: RiderPage) -> html.Table:
    rows = [
        html.Tr([html.Th(place, scope="row"), html.Td(held_together(size)), html.Td(device)])
        for place, size, device in page.fuses
    ]
    heads = html.Tr([html.Th(name, scope="col") for name in _COLUMNS])
    return html.Table([html.Thead(heads), html.Tbody(rows)], className="draws")
