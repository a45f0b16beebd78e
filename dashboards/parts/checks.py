"""The checks of a result as one table, with each value drawn against its limit."""

from collections.abc import Mapping
from typing import Any

from dash import html

from benchlog.core.folding import held_together
from benchlog.report import words
from benchlog.verdict.result import Check, Result
from dashboards.parts.attributes import attributes
from dashboards.parts.badge import badge
from dashboards.parts.bar import bar
from dashboards.parts.table import row, table
from dashboards.words.said import DROP_BEFORE

_COLUMNS = ("Check", "Verdict", "Measured", "Limit", "Against the limit", "Because")


def check_table(result: Result, drawn_logs: Mapping[str, int]) -> html.Table:
    """Every check, what needs attention first.

    Args:
        result: whose checks. drawn_logs: log name -> number of its figure on the page; those get a button
            that shows the check's stretch there.
    """
    ordered = sorted(result.checks, key=lambda check: words.READING_ORDER.index(check.verdict))
    return table(
        "What was measured, against what was planned. ± is the expanded uncertainty (k = 2), which covers "
        "about 95 in 100.",
        _COLUMNS,
        [_row(check, drawn_logs) for check in ordered],
        "checks",
    )


def _row(check: Check, drawn_logs: Mapping[str, int]) -> html.Tr:
    extras = [held_together(text) for text in (words.planned_words(check), words.margin_words(check)) if text]
    cells: list[tuple[str, Any]] = [
        ("Verdict", badge(check.verdict)),
        ("Measured", words.measured_words(check)),
        ("Limit", [words.limit_words(check) or "none planned", *(html.Small(extra) for extra in extras)]),
        ("Against the limit", bar(check)),
        ("Because", [held_together(words.because_of(check, DROP_BEFORE)), *_source(check, drawn_logs)]),
    ]
    return row(check.title, cells, f"r-{check.verdict.replace(' ', '-')}")


def _source(check: Check, drawn_logs: Mapping[str, int]) -> list[Any]:
    source = words.source_words(check)
    if not source:
        return []
    at = drawn_logs.get(check.log or "")
    if at is None or check.from_s is None:
        return [html.Small(source)]
    button = html.Button(
        "Show in the log",
        id={"part": "show", "log": at, "check": check.id},
        className="small screen-only",
        type="button",
        **attributes(data_goto=f"log-{at}", aria_label=f"Show {check.title} in the log"),
    )
    return [html.Div([html.Small(source), button], className="source")]
