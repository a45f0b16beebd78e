"""What to do next: the causes that fit, and the checks that are still open."""

from typing import Any

from dash import html

from benchlog import report_words as words
from benchlog.result import Cause, Result
from dashboards.parts.badge import badge


def next_steps(result: Result) -> html.Section | None:
    """Causes and open checks; None where nothing is open."""
    open_checks = [check for check in result.checks if check.verdict in ("fail", "not proven", "not seen")]
    if not open_checks:
        return None
    titles = {check.id: check.title for check in result.checks}
    explained = {check_id for cause in result.causes for check_id in cause.explains}
    rest = sorted(
        (check for check in open_checks if check.id not in explained),
        key=lambda check: words.READING_ORDER.index(check.verdict),
    )
    parts: list[Any] = [html.H2("What to do next")]
    if result.causes:
        parts.append(html.Ol([_cause(cause, titles) for cause in result.causes], className="causes"))
    if rest:
        parts.append(html.H3("Still open" if result.causes else "Open checks"))
        parts.append(
            html.Ul(
                [html.Li([badge(c.verdict), " ", html.Strong(c.title), f": {c.because}"]) for c in rest],
                className="open",
            )
        )
    return html.Section(parts, className="next")


def _cause(cause: Cause, titles: dict[str, str]) -> html.Li:
    explains = ", ".join(titles.get(check_id, check_id) for check_id in cause.explains)
    rows = [("Explains", explains), ("Found", "; ".join(cause.evidence)), ("Next test", cause.next_test)]
    facts = [part for name, text in rows if text for part in (html.Dt(name), html.Dd(text))]
    title = cause.text[:1].upper() + cause.text[1:]
    return html.Li([html.H3([f"{title} ", html.Small(words.fit_words(cause))]), html.Dl(facts)])
