"""The result as one HTML page: opens from a memory stick, needs no network, prints as a hand-over sheet."""

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from benchlog.core.folding import held_together
from benchlog.report import words
from benchlog.report.bar import bar
from benchlog.report.figures.in_page import POLICY, box, filled, scripts, shipped
from benchlog.report.figures.loads import Where
from benchlog.verdict.result import Cause, Check, Result, Verdict

if TYPE_CHECKING:
    import plotly.graph_objects as go  # type: ignore[import-untyped]  # plotly ships no types


_SHAPE_PATHS: dict[Verdict, str] = {
    "pass": '<circle cx="8" cy="8" r="6"/>',
    "fail": '<path d="M8 1.5L15 14H1z"/>',
    "not proven": '<circle class="hollow" cx="8" cy="8" r="6"/><path d="M8 2a6 6 0 0 0 0 12z"/>',
    "not seen": '<circle class="hollow" cx="8" cy="8" r="6"/>',
    "not planned": '<path d="M2 7h12v2H2z"/>',
}

_LOG_CAPTION = (
    "The whole log: mean as a line, least to greatest as a band. Currents stand on a stretched scale, each mark ten "
    "times the one before; below zero the battery is charged."
)

#: Also under the figures of the pages.
LOAD_CAPTIONS: dict[Where, str] = {
    "battery": "Battery voltage against its current, engine off. The slope is the source resistance.",
    "feed": "Voltage lost from battery + to the fuse block against the load through the feed.",
    "return": "Ground bus above battery negative against the load through the feed.",
}
OFF_CAPTION = "The current after the key-off until it has settled, milliamperes beside amperes."
#: Figures that paper has no room for; the table says what they prove.
_SCREEN_ONLY = {*LOAD_CAPTIONS.values(), OFF_CAPTION}

_COLUMNS = ("Check", "Verdict", "Measured", "Limit", "Against the limit", "Because")


def render_html(result: Result) -> str:
    """The whole page. plotly.js is inside once, and only where there are figures to draw."""
    figures = _figures(result)
    title = f"{result.bike}: {result.verdict} (benchlog report)"
    body = [
        _head(result),
        _next_steps(result),
        _checks(result),
        _key_off_draws(result),
        _log_section(figures),
        _record(result),
        _cautions(),
        _handover(),
    ]
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        f'<title>{escape(title)}</title>\n<link rel="icon" href="data:,">\n'
        f"<style>\n{shipped('report.css')}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in body if part)
        + f"\n</main>\n{scripts([figure for _, drawn in figures for _, figure in drawn])}</body>\n</html>\n"
    )


def badge(verdict: Verdict) -> str:
    """The verdict as shape and word."""
    return (
        f'<span class="badge v-{verdict.replace(" ", "-")}"><svg viewBox="0 0 16 16" aria-hidden="true">'
        f"{_SHAPE_PATHS[verdict]}</svg>{verdict}</span>"
    )


def _head(result: Result) -> str:
    facts = [words.score_sentence(result), words.closest_sentence(result)]
    return (
        '<header class="top">\n<p class="kind">Install check</p>\n'
        f"<h1>{escape(result.bike)}</h1>\n"
        f'<p class="verdict">{badge(result.verdict)} <span>{escape(words.verdict_sentence(result))}</span></p>\n'
        + "".join(f'<p class="danger"><strong>Danger:</strong> {_reason(text)}</p>\n' for text in words.dangers(result))
        + "".join(f'<p class="fact">{escape(fact)}.</p>\n' for fact in facts if fact)
        + "</header>"
    )


def _next_steps(result: Result) -> str:
    rest = words.open_reasons(result)
    if not rest and not result.causes:
        return ""
    titles = {check.id: check.title for check in result.checks}
    items = [_cause(cause, titles) for cause in result.causes]
    parts = ['<section class="next">\n<h2>What to do next</h2>']
    if items:
        parts.append('<ol class="causes">\n' + "\n".join(items) + "\n</ol>")
    if rest:
        heading = "Still open" if items else "Open checks"
        rows = "".join(
            f"<li>{badge(verdict)} <strong>{escape(', '.join(named))}</strong>: {_reason(because)}</li>\n"
            for verdict, named, because in rest
        )
        parts.append(f'<h3>{heading}</h3>\n<ul class="open">\n{rows}</ul>')
    return "\n".join(parts) + "\n</section>"


def _cause(cause: Cause, titles: dict[str, str]) -> str:
    explains = ", ".join(titles.get(check_id, check_id) for check_id in cause.explains)
    evidence = "; ".join(cause.evidence)
    rows = [("Explains", explains), ("Found", evidence), ("Next test", cause.next_test)]
    facts = "".join(f"<dt>{name}</dt><dd>{_reason(text)}</dd>" for name, text in rows if text)
    return (
        f'<li><h3>{escape(cause.text[:1].upper() + cause.text[1:])} <small>{words.fit_words(cause)}</small></h3>'
        f"<dl>{facts}</dl></li>"
    )  # fmt: skip


def _reason(text: str) -> str:
    return escape(held_together(text))


def _checks(result: Result) -> str:
    ordered = sorted(result.checks, key=lambda check: words.READING_ORDER.index(check.verdict))
    head = "".join(f'<th role="columnheader" scope="col">{name}</th>' for name in _COLUMNS)
    rows = "\n".join(_row(check) for check in ordered)
    return (
        '<section>\n<h2>Checks</h2>\n<table role="table" class="checks">\n'
        "<caption>What was measured, against what was planned. "
        "± is the expanded uncertainty (k = 2), about 95 in 100.</caption>\n"
        f'<thead role="rowgroup"><tr role="row">{head}</tr></thead>\n'
        f'<tbody role="rowgroup">\n{rows}\n</tbody>\n</table>\n</section>'
    )


def _row(check: Check) -> str:
    limit = words.limit_words(check) or "none planned"
    extras = [words.planned_words(check), words.margin_words(check)]
    small = "".join(f"<small>{_reason(extra)}</small>" for extra in extras if extra)
    source = words.source_words(check)
    cells = [
        ("Verdict", badge(check.verdict)),
        ("Measured", escape(words.measured_words(check))),
        ("Limit", escape(limit) + small),
        ("Against the limit", bar(check)),
        ("Because", _reason(words.because_of(check)) + (f"<small>{escape(source)}</small>" if source else "")),
    ]
    tail = "".join(
        f'<td role="cell" data-label="{name}" class="c-{name.split()[0].lower()}{"" if content else " none"}">'
        f"<div>{content}</div></td>"
        for name, content in cells
    )
    return (
        f'<tr role="row" class="r-{check.verdict.replace(" ", "-")}">'
        f'<th role="rowheader" scope="row">{escape(check.title)}</th>{tail}</tr>'
    )


def _key_off_draws(result: Result) -> str:
    """One table a log in which fuses were pulled with the key off."""
    walks = words.walks_of(result)
    if not walks:
        return ""
    head = "".join(f'<th scope="col">{name}</th>' for name in words.WALK_COLUMNS)
    parts = [f"<section>\n<h2>{words.WALK_TITLE}</h2>"]
    for name, rows in walks:
        body = "\n".join(
            f'<tr><th scope="row">{escape(circuit)}</th><td>{escape(drawn)}</td><td>{escape(share)}</td></tr>'
            for circuit, drawn, share in rows
        )
        parts.append(
            f'<table class="draws">\n<caption>{escape(words.walk_caption(name))}</caption>\n'
            f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>"
        )
    return "\n".join(parts) + "\n</section>"


def _figures(result: Result) -> list[tuple[str, list[tuple[str, "go.Figure"]]]]:
    """Log name -> its figures with their captions; logs without any are left out."""
    evidence = result.evidence
    if evidence is None:
        return []
    from benchlog.report.figures import (  # heavy; evidence needs it
        load_figure,
        log_figure,
        off_state_figure,
        relay_figure,
    )

    drawn = []
    for log in evidence.logs:
        figures: list[tuple[str, go.Figure]] = []
        if len(log.overview) and log.overview.bands:
            figures.append((_LOG_CAPTION, log_figure(log)))
        for kind, check_id in (("pull in", "relay_pull_in"), ("drop out", "relay_drop_out")):
            figure = relay_figure(log, "pull in" if kind == "pull in" else "drop out", _limit_ms(result, check_id))
            if figure is not None:
                what = "closing" if kind == "pull in" else "opening"
                figures.append((f"The relay {what}, every event laid over the others.", figure))
        for where, caption in LOAD_CAPTIONS.items():
            figure = load_figure(log, result, where)
            if figure is not None:
                figures.append((caption, figure))
        figure = off_state_figure(log, result)
        if figure is not None:
            figures.append((OFF_CAPTION, figure))
        if figures:
            drawn.append((log.log, figures))
    return drawn


def _limit_ms(result: Result, check_id: str) -> float | None:
    for check in result.checks:
        if check.id == check_id and check.limit is not None:
            return check.limit.max
    return None


def _log_section(figures: list[tuple[str, list[tuple[str, "go.Figure"]]]]) -> str:
    if not figures:
        return ""
    parts = ["<section>\n<h2>The log over time</h2>"]
    number = 0
    for log, drawn in figures:
        parts.append(f'<h3 class="log">{escape(log)}</h3>\n<div class="figures">')
        wide = filled(caption in (_LOG_CAPTION, OFF_CAPTION) for caption, _ in drawn)
        for (caption, figure), is_wide in zip(drawn, wide, strict=True):
            kind = "screen-only" if caption in _SCREEN_ONLY else ""
            parts.append(box(number, figure, caption, wide=is_wide, kind=kind))
            number += 1
        parts.append("</div>")
    parts.append("<noscript><p>The drawings need JavaScript; every figure behind a verdict is in the table.</p>"
                 "</noscript>\n</section>")  # fmt: skip
    return "\n".join(parts)


def _record(result: Result) -> str:
    notes = [
        escape(f"{note.log}, line {note.line}: {note.text}" if note.line is not None else f"{note.log}: {note.text}")
        for note in result.notes
    ]
    return (
        f"<section>\n<h2>Notes</h2>\n{_list([escape(words.key_sentence(result)) + '.', *notes])}\n"
        f'<p class="quiet">benchlog {escape(result.benchlog_version)}</p>\n</section>'
    )


def _cautions() -> str:
    return (
        f'<section class="cautions">\n<h2>Cautions</h2>\n{_list(escape(text) for text in words.CAUTIONS)}\n</section>'
    )


def _handover() -> str:
    lines = "".join(
        f'<div class="line {size}"><dt>{name}</dt><dd></dd></div>'
        for name, size in (("Signed by", ""), ("Date", ""), ("Notes", "tall"))
    )
    return f'<section class="handover">\n<h2>Hand-over</h2>\n<dl>{lines}</dl>\n</section>'


def _list(items: Iterable[str]) -> str:
    return "<ul>\n" + "".join(f"<li>{item}</li>\n" for item in items) + "</ul>"
