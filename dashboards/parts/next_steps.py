"""What to do next: the causes that fit, and the checks that are still open."""

from typing import Any

from dash import html

from benchlog.core.folding import held_together
from benchlog.report import words
from benchlog.verdict.result import Cause, Result
from dashboards.parts.badge import badge
from dashboards.words.said import DROP_BEFORE


def next_steps(result: Result) -> html.Section | None:
    """Causes and open checks; None where nothing is open."""
    rest = words.open_reasons(result, DROP_BEFORE)
    if not rest and not result.causes:
        return None
    titles = {check.id: check.title for check in result.checks}
    parts: list[Any] = [html.H2("What to do next")]
    if result.causes:
        parts.append(html.Ol([_cause(cause, titles) for cause in result.causes], className="causes"))
    if rest:
        parts.append(html.H3("Still open" if result.causes else "Open checks"))
        parts.append(
            html.Ul(
                [
                    html.Li([badge(verdict), " ", html.Strong(", ".join(named)), f": {held_together(because)}"])
                    for verdict, named, because in rest
                ],
                className="open",
            )
        )
    return html.Section(parts, className="next")


def _cause(cause: Cause, titles: dict[str, str]) -> html.Li:
    explains = ", ".join(titles.get(check_id, check_id) for check_id in cause.explains)
    rows = [("Explains", explains), ("Found", "; ".join(cause.evidence)), ("Next test", cause.next_test)]
    facts = [part for name, text in rows if text for part in (html.Dt(name), html.Dd(held_together(text)))]
    title = cause.text[:1].upper() + cause.text[1:]
    return html.Li([html.H3([f"{title} ", html.Small(words.fit_words(cause))]), html.Dl(facts)])
