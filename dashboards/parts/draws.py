"""What each circuit draws with the key off: the table that the report and the terminal show."""

from collections.abc import Sequence

from dash import html

from benchlog.report import words


def draws_section(walks: Sequence[words.Walk]) -> html.Section | None:
    """One table for each log in which fuses were pulled; None where there is none."""
    if not walks:
        return None
    return html.Section([html.H2(words.WALK_TITLE), *(_table(walk) for walk in walks)])


def _table(walk: words.Walk) -> html.Table:
    log, rows = walk
    return html.Table(
        [
            html.Caption(words.walk_caption(log)),
            html.Thead(html.Tr([html.Th(name, scope="col") for name in words.WALK_COLUMNS])),
            html.Tbody([html.Tr([html.Th(name, scope="row"), html.Td(amps), html.Td(share)])
                        for name, amps, share in rows]),
        ],
        className="draws",
    )  # fmt: skip
